"""The key at rest: encrypted, read once, replaced; what it leaves behind."""

from datetime import UTC, datetime
from pathlib import Path
from subprocess import run

import pytest
from asn1crypto import keys, pem
from cryptography.hazmat.primitives import serialization

from lots.pdf import key as key_file
from lots.pdf.check import check
from lots.pdf.key import (
    KeyTrouble,
    NeedsPassphrase,
    NewKey,
    NoKey,
    WrongPassphrase,
    encrypt_key,
    encrypted_pem,
    has_key,
    install,
    is_encrypted,
    load_sealer,
    signature_holds,
    trusted_certificates,
)
from lots.pdf.own_authority import make_seal_key, new_key
from lots.pdf.seal import seal
from tests.pdf.keys import issued, rsa_key
from tests.pdf.test_check import unsealed

NOW = datetime(2026, 3, 6, 14, 10, tzinfo=UTC)
WORDS = b"alder, oak and salt"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    make_seal_key(tmp_path / "keys", "Larkwater Smokehouse", NOW, WORDS)
    return tmp_path / "keys"


def unencrypted(folder: Path) -> Path:
    """A folder as earlier versions left it: both keys there, open."""
    for name in ("seal-key.pem", "seal-ca-key.pem"):
        (folder / name).write_bytes(
            rsa_key(1).private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
    (folder / "seal.pem").write_bytes(issued("record seal", key=rsa_key(1)).pem)
    return folder


def sealed(folder: Path, words: bytes = WORDS) -> bytes:
    sealer = load_sealer(folder, words)
    return seal(unsealed(), sealer, now=NOW, reason="", location="", name="Larkwater Smokehouse")


def test_the_key_at_rest_opens_with_its_passphrase_and_with_nothing_else(folder: Path) -> None:
    assert is_encrypted(folder)
    assert load_sealer(folder, WORDS).sign(b"x")
    with pytest.raises(WrongPassphrase):
        load_sealer(folder, b"alder")
    with pytest.raises(NeedsPassphrase):
        load_sealer(folder, None)


def test_no_file_of_the_folder_holds_a_key_in_the_open(folder: Path) -> None:
    for file in folder.rglob("*"):
        held = file.read_bytes()
        assert b"BEGIN PRIVATE KEY" not in held
        assert b"BEGIN RSA PRIVATE KEY" not in held


def test_openssl_opens_the_key_with_the_passphrase_alone(folder: Path) -> None:
    ask = ["openssl", "pkey", "-in", str(folder / "seal-key.pem"), "-noout", "-passin"]
    assert run([*ask, f"pass:{WORDS.decode()}"], capture_output=True).returncode == 0
    assert run([*ask, "pass:alder"], capture_output=True).returncode != 0


def test_guessing_the_passphrase_costs_what_the_rules_of_today_ask(folder: Path) -> None:
    _, _, der = pem.unarmor((folder / "seal-key.pem").read_bytes())
    how = keys.EncryptedPrivateKeyInfo.load(der)["encryption_algorithm"]
    assert (how.kdf, how.kdf_hmac, how.encryption_cipher) == ("pbkdf2", "sha256", "aes")
    assert how.kdf_iterations >= 600_000


def test_two_encryptions_under_one_passphrase_share_nothing() -> None:
    first, second = (encrypted_pem(rsa_key(1), WORDS).splitlines() for _ in range(2))
    assert not set(first[2:-2]) & set(second[2:-2])


def test_an_empty_passphrase_is_none() -> None:
    with pytest.raises(ValueError, match="passphrase is needed"):
        encrypted_pem(rsa_key(1), b"")


def test_the_key_is_opened_once_a_process_and_anew_when_file_or_passphrase_is_another(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[int] = []
    opening = serialization.load_pem_private_key

    def counting(*given: object) -> object:
        opened.append(1)
        return opening(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(key_file.serialization, "load_pem_private_key", counting)
    for _ in range(3):
        load_sealer(folder, WORDS)
    assert len(opened) == 1
    with pytest.raises(WrongPassphrase):
        load_sealer(folder, b"another")
    with pytest.raises(WrongPassphrase):  # a wrong one is not remembered as anything
        load_sealer(folder, b"another")
    install(folder, new_key("Larkwater Smokehouse", NOW, WORDS))
    load_sealer(folder, WORDS)
    assert len(opened) == 4


def test_a_key_in_the_open_is_still_read_and_then_encrypted(folder: Path) -> None:
    unencrypted(folder)
    assert not is_encrypted(folder)
    before = load_sealer(folder, None).certificate
    encrypt_key(folder, WORDS)
    assert is_encrypted(folder)
    assert load_sealer(folder, WORDS).certificate == before
    assert not (folder / "seal-ca-key.pem").exists()
    test_no_file_of_the_folder_holds_a_key_in_the_open(folder)
    assert (folder / "seal-key.pem").stat().st_mode & 0o777 == 0o600


def test_a_new_key_leaves_the_old_certificate_trusted_and_the_old_key_gone(folder: Path) -> None:
    before, old_key = sealed(folder), (folder / "seal-key.pem").read_bytes()
    install(folder, new_key("Larkwater Smokehouse", NOW, b"another"))
    after = sealed(folder, b"another")
    trusted = trusted_certificates(folder)
    assert len(trusted) == 2
    assert trusted[0] == (folder / "seal-ca.pem").read_bytes()
    assert [check(one, trusted).exit_code for one in (before, after)] == [0, 0]
    assert check(before, trusted[:1]).exit_code == 3
    assert all(file.read_bytes() != old_key for file in folder.rglob("*") if file.is_file())


def test_who_issued_a_key_from_outside_is_not_trusted_for_others(folder: Path) -> None:
    authority = issued("Everybody's authority", key=rsa_key(2), ca=True)
    ours = issued("record seal", authority, key=rsa_key(3))
    theirs = issued("record seal", authority, key=rsa_key(4))
    for holder in (theirs, ours):
        held = encrypted_pem(holder.key, WORDS)  # type: ignore[arg-type]
        new = NewKey(holder.certificate, (authority.certificate,), own=False, encrypted=held)
        target = folder if holder is ours else folder.parent / "other"
        install(target, new)
    trusted = trusted_certificates(folder)
    assert check(sealed(folder), trusted).exit_code == 0
    assert check(sealed(folder.parent / "other"), trusted).exit_code == 3
    assert (folder / "seal-chain.pem").read_bytes() == authority.pem
    assert not (folder / "seal-ca.pem").exists()


def test_a_key_and_a_certificate_of_different_hands_do_not_seal(folder: Path) -> None:
    (folder / "seal.pem").write_bytes(issued("another", key=rsa_key(1)).pem)
    with pytest.raises(KeyTrouble, match="do not belong together"):
        load_sealer(folder, WORDS)


@pytest.mark.parametrize("name", ["seal.pem", "seal-key.pem"])
def test_a_file_that_is_gone_or_damaged_is_named_in_words(folder: Path, name: str) -> None:
    (folder / name).write_bytes(b"not what it was")
    with pytest.raises(KeyTrouble):
        load_sealer(folder, WORDS)
    (folder / name).unlink()
    with pytest.raises(NoKey, match=name):
        load_sealer(folder, WORDS)
    assert has_key(folder) == (name == "seal.pem")


def test_what_the_key_signs_holds_for_its_certificate_alone(folder: Path) -> None:
    sealer = load_sealer(folder, WORDS)
    signature = sealer.sign(b"a head")
    assert signature_holds(sealer.certificate, b"a head", signature)
    assert not signature_holds(sealer.certificate, b"another", signature)
    assert not signature_holds(issued("x", key=rsa_key(1)).certificate, b"a head", signature)
