"""A key from outside: taken where it may seal, refused in words where it may not."""

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from lots.pdf.check import check
from lots.pdf.key import install, load_sealer, trusted_certificates
from lots.pdf.outside import NotTaken, read_outside
from lots.pdf.seal import seal
from tests.pdf.keys import DOCUMENTS, NOW, WEB_SERVER, Holder, ec_key, issued, rsa_key
from tests.pdf.test_check import unsealed

WORDS = b"alder, oak and salt"


def signing(**changes: Any) -> Holder:
    return issued("Invented Creek Smokehouse", **{"purposes": [DOCUMENTS]} | changes)


def taken(data: bytes, password: bytes = b"p12", now: datetime = NOW) -> Any:
    return read_outside(data, password, now, WORDS)


def test_a_key_from_outside_seals_and_keeps_its_chain(tmp_path: Path) -> None:
    root = issued("Root", key=rsa_key(2), ca=True)
    middle = issued("Middle", root, key=rsa_key(3), ca=True)
    stranger = issued("Stranger", key=rsa_key(4), ca=True)
    holder = signing(by=middle)
    others = (root.certificate, stranger.certificate, middle.certificate)
    new = taken(holder.p12(b"p12", *others))
    assert new.chain == (middle.certificate, root.certificate)
    assert not new.own
    install(tmp_path, new)
    sealer = load_sealer(tmp_path, WORDS)
    pdf = seal(unsealed(), sealer, now=NOW, reason="", location="", name="")
    assert check(pdf, trusted_certificates(tmp_path)).exit_code == 0
    assert check(pdf, [middle.pem]).exit_code == 0
    assert check(pdf, [stranger.pem]).exit_code == 3


def test_a_certificate_that_says_nothing_of_its_purposes_is_taken() -> None:
    assert taken(issued("Invented Creek Smokehouse").p12()).chain == ()


FAULTS: dict[str, tuple[dict[str, Any], str]] = {
    "not an RSA key": ({"key": ec_key()}, "not an RSA key"),
    "a short key": ({"key": rsa_key(5, 1024)}, "1024 bits, which is too short"),
    "not valid yet": ({"days": (1, 300)}, "valid from 07 Mar 2026 only"),
    "ended": ({"days": (-300, -1)}, "ended on 05 Mar 2026"),
    "an authority": ({"ca": True, "purposes": ()}, "that of an authority"),
    "not for signing": ({"signs": False}, "not for signing"),
    "for a web server": ({"purposes": [WEB_SERVER]}, "something else than documents"),
}


@pytest.mark.parametrize(("changes", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_a_certificate_that_may_not_seal_is_refused_in_words(
    changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(NotTaken, match=words):
        taken(signing(**changes).p12())


def test_a_wrong_password_and_what_is_no_such_file_are_refused_in_words() -> None:
    for data, password in ((signing().p12(), b"wrong"), (b"PDF, perhaps", b""), (b"", b"")):
        with pytest.raises(NotTaken, match="does not open"):
            taken(data, password)


def test_a_file_without_its_key_is_refused_in_words() -> None:
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.serialization import pkcs12

    holder, how = signing(), serialization.BestAvailableEncryption(b"p12")
    alone = pkcs12.serialize_key_and_certificates(b"x", None, None, [holder.certificate], how)
    with pytest.raises(NotTaken, match="no private key"):
        taken(alone)
    bare = pkcs12.serialize_key_and_certificates(b"x", holder.key, None, None, how)  # type: ignore[arg-type]
    with pytest.raises(NotTaken, match="no certificate for its key"):
        taken(bare)
