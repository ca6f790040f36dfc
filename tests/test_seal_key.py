"""The console's commands about the key that seals."""

import io
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError

from lots.entries.passphrase import keep_passphrase, passphrase_file, read_passphrase
from lots.entries.sealing import ready_sealer
from lots.management.sealing import ready_at_start
from lots.models.book import BookLine
from lots.models.sealing import SealKey
from lots.pdf.key import is_encrypted, load_sealer, trusted_certificates
from lots.queries.house import establishment
from tests.make import PASSWORD, Book, moment
from tests.pdf import keys as certificates
from tests.pdf.keys import DOCUMENTS, WEB_SERVER, issued, rsa_key
from tests.pdf.test_key import unencrypted

PRINTED = re.compile(r"^ {4}((?:[A-HJ-NP-Z2-9]{4}-){5}[A-HJ-NP-Z2-9]{4})$", re.MULTILINE)
AT = moment("09:00")


@pytest.fixture
def keys(book: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Folders of the test's own, and a passphrase in a file."""
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE", "")
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE_FILE", "")
    monkeypatch.setattr(settings, "DATA_DIR", tmp_path / "house")
    monkeypatch.setattr(settings, "KEYS_DIR", tmp_path / "house" / "keys")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path / "house" / "keys"


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the person at the console types where it is hidden, in order."""
    words: list[str] = []
    monkeypatch.setattr("getpass.getpass", lambda prompt: words.pop(0))
    return words


def seal_key(*words: str) -> str:
    out = io.StringIO()
    call_command("seal_key", *words, stdout=out)
    return out.getvalue()


def start() -> str:
    return "\n".join(ready_at_start(AT))


def made(keys: Path) -> str:
    """The passphrase of a key made at set-up."""
    found = PRINTED.search(start())
    assert found
    return found[1]


# --- at set-up and at each start ---


def test_at_set_up_the_passphrase_is_shown_once_and_the_key_made_under_it(keys: Path) -> None:
    told = start()
    found = PRINTED.search(told)
    assert found
    assert load_sealer(keys, found[1].encode())
    assert read_passphrase() == found[1].encode()
    assert "write it down" in told
    assert start() == ""


def test_before_the_house_is_founded_the_passphrase_is_there_and_the_key_not_yet(
    keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for place in ("lots.management.sealing", "lots.entries.passphrase"):
        monkeypatch.setattr(f"{place}.establishment", lambda: None)
    assert PRINTED.search(start())
    assert not keys.exists()
    assert start() == ""


def test_a_passphrase_that_cannot_be_kept_is_not_shown_and_makes_no_key(
    keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE_FILE", str(keys / "words"))
    told = start()
    assert "NOTHING CAN BE SEALED" in told
    assert "lies in the data folder" in told
    assert not PRINTED.search(told)
    assert not keys.exists()


def test_a_start_says_that_an_old_key_lies_in_the_open(keys: Path) -> None:
    keys.mkdir(parents=True)
    unencrypted(keys)
    assert "seal_key --encrypt" in start()
    assert SealKey.objects.count() == 1


@pytest.mark.parametrize("words", ["", "another"])
def test_a_start_without_the_right_passphrase_says_so_and_what_to_do(
    keys: Path, words: str
) -> None:
    made(keys)
    passphrase_file().unlink()
    if words:
        keep_passphrase(words)
    told = start()
    assert "NOTHING CAN BE SEALED" in told
    assert "seal_key --passphrase" in told
    assert "served all the same" in told


def test_a_start_says_when_a_certificate_ends_soon(keys: Path) -> None:
    made(keys)
    ends = load_sealer(keys, read_passphrase()).certificate.not_valid_after_utc
    soon = round((ends - timedelta(days=20)).timestamp() * 1000)
    assert f"ends on {ends:%d %b %Y}, in 20 days" in "\n".join(ready_at_start(soon))


# --- looking, and the passphrase ---


def test_the_status_names_each_certificate_and_what_bars_sealing(keys: Path) -> None:
    assert "There is no key" in seal_key("--status")
    made(keys)
    told = seal_key("--status")
    assert ", encrypted." in told
    assert "It opens." in told
    assert SealKey.objects.get().fingerprint[:16] in told
    keep_passphrase("another")
    assert "It cannot seal" in seal_key("--status")


def test_the_fingerprint_is_shown_in_groups(keys: Path) -> None:
    made(keys)
    shown = seal_key("--show-fingerprint").strip()
    assert shown.replace(" ", "") == SealKey.objects.get().fingerprint
    assert len(shown.split()) == 16


def test_encrypting_shows_a_passphrase_once_and_leaves_the_certificate(keys: Path) -> None:
    keys.mkdir(parents=True)
    unencrypted(keys)
    before = load_sealer(keys, None).fingerprint
    found = PRINTED.search(seal_key("--encrypt"))
    assert found
    assert load_sealer(keys, found[1].encode()).fingerprint == before
    with pytest.raises(CommandError, match="encrypted already"):
        seal_key("--encrypt")


def test_a_passphrase_from_paper_is_kept_where_it_opens_the_key_and_not_where_not(
    keys: Path, typed: list[str]
) -> None:
    words = made(keys)
    passphrase_file().unlink()
    typed[:] = ["ABCD-EFGH"]
    with pytest.raises(CommandError, match="does not open"):
        seal_key("--passphrase")
    assert not passphrase_file().exists()
    typed[:] = [words.lower().replace("-", " ")]
    assert "It opens the key" in seal_key("--passphrase")
    assert read_passphrase() == words.encode()


# --- another key ---


def test_a_new_key_asks_for_the_keepers_password_and_stands_in_the_book_with_its_reason(
    keys: Path, typed: list[str], book: Book
) -> None:
    old = made(keys)
    typed[:] = [PASSWORD]
    told = seal_key("--new", "--by", "KK", "--reason", "exposed: a copy was left on a train")
    found = PRINTED.search(told)
    assert found
    assert found[1] != old  # what gave away the key may have given away that too
    row = SealKey.objects.order_by("id").last()
    assert row is not None
    assert (row.line.person, row.reason) == (book.keeper, "exposed: a copy was left on a train")
    assert load_sealer(keys, found[1].encode()).fingerprint == row.fingerprint
    assert len(trusted_certificates(keys)) == 2
    assert start() == ""


def test_a_new_key_after_the_passphrase_was_lost_needs_nothing_of_the_old(
    keys: Path, typed: list[str]
) -> None:
    made(keys)
    passphrase_file().unlink()
    typed[:] = [PASSWORD]
    assert PRINTED.search(seal_key("--new", "--by", "KK", "--reason", "lost with the paper"))
    house = establishment()
    assert house is not None
    assert ready_sealer(house, AT)


REFUSED: dict[str, tuple[list[str], list[str], str]] = {
    "nobody's name": (["--reason", "lost"], [], "Say in whose name"),
    "an unknown name": (["--by", "ZZ", "--reason", "lost"], [], "Nobody here has the initials ZZ"),
    "a wrong password": (["--by", "KK", "--reason", "lost"], ["wrong"], "not the password of Kim"),
    "no keeper": (["--by", "RR", "--reason", "lost"], [PASSWORD], "needs the right of keeper"),
    "no reason": (["--by", "KK"], [PASSWORD], "Say why"),
}


@pytest.mark.parametrize(("words", "hidden", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_a_new_key_refused_leaves_everything_as_it_was(
    keys: Path, typed: list[str], words: list[str], hidden: list[str], said: str
) -> None:
    old = made(keys)
    before = BookLine.objects.count()
    typed[:] = hidden
    with pytest.raises(CommandError, match=said):
        seal_key("--new", *words)
    assert BookLine.objects.count() == before
    assert read_passphrase() == old.encode()
    assert load_sealer(keys, old.encode())


def p12(tmp_path: Path, **changes: Any) -> Path:
    """A file from outside, valid on the day of the test by the machine's own clock."""
    days = (datetime.now(UTC) - certificates.NOW).days
    valid = {"days": (days - 10, days + 100)}
    root = issued("Root", key=rsa_key(2), ca=True, **valid)
    holder = issued("Creek", **{"by": root, "purposes": [DOCUMENTS]} | valid | changes)
    file = tmp_path / "house.p12"
    file.write_bytes(holder.p12(b"p12", root.certificate))
    return file


def test_a_key_from_outside_is_imported_in_a_keepers_name(
    keys: Path, typed: list[str], tmp_path: Path, book: Book
) -> None:
    words = made(keys)
    typed[:] = [PASSWORD, "p12"]
    told = seal_key("--import", str(p12(tmp_path)), "--by", "KK")
    assert "Its fingerprint" in told
    row = SealKey.objects.order_by("id").last()
    assert row is not None
    assert (row.source, row.line.person) == ("outside", book.keeper)
    assert row.reason == "from outside, issued by CN=Root"
    assert row.chain.count("BEGIN CERTIFICATE") == 1
    assert load_sealer(keys, words.encode()).fingerprint == row.fingerprint
    assert is_encrypted(keys)


def test_an_import_without_a_passphrase_makes_and_shows_one(
    keys: Path, typed: list[str], tmp_path: Path
) -> None:
    typed[:] = [PASSWORD, "p12"]
    found = PRINTED.search(seal_key("--import", str(p12(tmp_path)), "--by", "KK"))
    assert found
    assert read_passphrase() == found[1].encode()
    assert load_sealer(keys, found[1].encode())


@pytest.mark.parametrize(
    ("changes", "password", "said"),
    [
        ({"purposes": [WEB_SERVER]}, "p12", "is not taken. .*something else than documents"),
        ({"days": (-400, -300)}, "p12", "ended on"),
        ({}, "wrong", "does not open"),
    ],
)
def test_an_import_refused_leaves_everything_as_it_was(
    keys: Path,
    typed: list[str],
    tmp_path: Path,
    changes: dict[str, Any],
    password: str,
    said: str,
) -> None:
    old = made(keys)
    before = BookLine.objects.count()
    typed[:] = [PASSWORD, password]
    with pytest.raises(CommandError, match=said):
        seal_key("--import", str(p12(tmp_path, **changes)), "--by", "KK")
    assert BookLine.objects.count() == before
    assert load_sealer(keys, old.encode())


def test_a_file_that_is_not_there_is_said_so(keys: Path, typed: list[str]) -> None:
    typed[:] = [PASSWORD]
    with pytest.raises(CommandError, match="cannot be read"):
        seal_key("--import", "/nowhere/at/all.p12", "--by", "KK")
