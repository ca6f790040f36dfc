"""The house's own certificates: whom they vouch for, whom they do not, and what serving asks of them."""

import ipaddress
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError

from lots.lan import (
    CA_CERT,
    CA_KEY,
    SERVER,
    BadName,
    Reached,
    lan_cert,
    make_lan_cert,
    own_addresses,
    reached,
    renew_server,
)
from lots.management.commands.serve import _where
from lots.management.serving import Logbook, speak_https

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
HOUSE = "Invented Creek Smokehouse"


def verify(folder: Path, leaf: Path) -> str:
    """What openssl says of a certificate under the authority."""
    at = str(int(NOW.timestamp()))
    words = ["openssl", "verify", "-attime", at, "-CAfile", str(folder / CA_CERT), str(leaf)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


def leaf_for(
    folder: Path, name: x509.GeneralName, now: datetime = NOW, key_file: Path | None = None
) -> Path:
    """A certificate that somebody with the authority's key makes for another name or address."""
    ca = x509.load_pem_x509_certificate((folder / CA_CERT).read_bytes())
    ca_key = serialization.load_pem_private_key((folder / CA_KEY).read_bytes(), None)
    assert isinstance(ca_key, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "another")]))
        .issuer_name(ca.subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=90))
        .add_extension(x509.SubjectAlternativeName([name]), critical=False)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(ca_key, hashes.SHA256())
    )
    if key_file is not None:
        plain = serialization.NoEncryption()
        key_file.write_bytes(
            key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
        )
    file = folder / "another.pem"
    file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return file


BOTH = reached(["smokehouse.home.arpa"], ["192.168.1.20", "fd00::20"])
NAMES = reached(["smokehouse.home.arpa"], [])
ADDRESSES = reached([], ["192.168.1.20"])


@pytest.mark.parametrize("where", [BOTH, NAMES, ADDRESSES], ids=["both", "names", "addresses"])
def test_the_server_s_certificate_is_accepted_under_the_authority(
    tmp_path: Path, where: Reached
) -> None:
    made = make_lan_cert(tmp_path, HOUSE, where, NOW)
    assert "OK" in verify(tmp_path, tmp_path / SERVER)
    assert (made, made.reached) == (lan_cert(tmp_path), where)


OTHERS = (
    x509.DNSName("bank.example.com"), x509.DNSName("other.home.arpa"), x509.DNSName("home.arpa"),
    x509.IPAddress(ipaddress.ip_address("192.168.1.21")), x509.IPAddress(ipaddress.ip_address("8.8.8.8")),
    x509.IPAddress(ipaddress.ip_address("fd00::21")),
)  # fmt: skip


@pytest.mark.parametrize("other", OTHERS, ids=lambda one: str(one.value))
@pytest.mark.parametrize("where", [BOTH, NAMES, ADDRESSES], ids=["both", "names", "addresses"])
def test_a_certificate_for_another_name_is_not_accepted_under_it(
    tmp_path: Path, where: Reached, other: x509.GeneralName
) -> None:
    make_lan_cert(tmp_path, HOUSE, where, NOW)
    said = verify(tmp_path, leaf_for(tmp_path, other))
    assert "OK" not in said
    assert "subtree violation" in said


def test_the_constraints_are_critical_and_name_exactly_what_was_given(tmp_path: Path) -> None:
    make_lan_cert(tmp_path, HOUSE, BOTH, NOW)
    ca = x509.load_pem_x509_certificate((tmp_path / CA_CERT).read_bytes())
    found = ca.extensions.get_extension_for_class(x509.NameConstraints)
    permitted = found.value.permitted_subtrees or []
    assert found.critical
    assert {str(one.value) for one in permitted} == {
        "smokehouse.home.arpa", "192.168.1.20/32", "fd00::20/128",
    }  # fmt: skip
    basic = ca.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)


def test_phones_accept_how_long_it_lasts(tmp_path: Path) -> None:
    make_lan_cert(tmp_path, HOUSE, BOTH, NOW)
    server = x509.load_pem_x509_certificate((tmp_path / SERVER).read_bytes())
    assert server.not_valid_after_utc - server.not_valid_before_utc <= timedelta(days=398)
    assert server.not_valid_before_utc < NOW


def test_the_keys_are_their_owner_s_alone_and_not_the_seal_s(tmp_path: Path) -> None:
    make_lan_cert(tmp_path, HOUSE, BOTH, NOW)
    for name in (CA_KEY, SERVER):
        assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o600
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o700
    assert not list(tmp_path.glob("seal*"))


def test_renewing_keeps_the_authority_that_tablets_trust(tmp_path: Path) -> None:
    first = make_lan_cert(tmp_path, HOUSE, BOTH, NOW - timedelta(days=370))
    assert first.wants_renewing(NOW)
    renewed = renew_server(tmp_path, NOW)
    assert (renewed.fingerprint, renewed.reached) == (first.fingerprint, BOTH)
    assert not renewed.wants_renewing(NOW)
    assert "OK" in verify(tmp_path, tmp_path / SERVER)


@pytest.mark.parametrize(
    ("name", "words"),
    [("bank.example.com", "public internet"), ("smoke_house", "is no name"), ("-a.lan", "is no name"),
     ("com", "single word"), ("smokehouse", "single word"), ("home.arpa", "public internet"), ("", "is no name"), ("a..lan", "is no name"), ("192.168.1.20", "Is it an address"), ("x" * 64, "is no name")],
)  # fmt: skip
def test_a_name_that_is_none_or_not_the_house_s_is_refused(name: str, words: str) -> None:
    with pytest.raises(BadName, match=words):
        reached([name], [])


@pytest.mark.parametrize(
    ("address", "words"),
    [("8.8.8.8", "public internet"), ("192.168.1", "is no address"), ("0.0.0.0", "every address"),
     ("2606:4700::1", "public internet"), ("fe80::1%eth0", "interface"), ("smokehouse", "is no address")],
)  # fmt: skip
def test_an_address_that_is_none_or_not_the_house_s_is_refused(address: str, words: str) -> None:
    with pytest.raises(BadName, match=words):
        reached([], [address])


def test_nothing_at_all_is_refused() -> None:
    with pytest.raises(BadName, match="at least one"):
        reached([], [])


def test_a_name_is_taken_in_small_letters_and_once() -> None:
    assert reached(["Smoke.LAN", "smoke.lan."], []).names == ("smoke.lan",)


def test_this_machine_s_addresses_are_private_ones() -> None:
    for text in own_addresses():
        assert ipaddress.ip_address(text).is_private


def test_serving_on_a_name_or_an_address_asks_for_both(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.management.commands.serve.own_addresses", lambda: ["192.168.1.9"])
    assert _where("smoke.lan").covers("smoke.lan")
    assert _where("10.0.0.7").covers("10.0.0.7")
    assert _where("0.0.0.0").covers("192.168.1.9")


def test_over_https_no_cookie_goes_another_way_and_only_the_house_s_names_are_served(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("ALLOWED_HOSTS", "SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE"):
        monkeypatch.setattr(settings, name, getattr(settings, name))
    speak_https(make_lan_cert(tmp_path, HOUSE, BOTH, NOW))
    assert settings.SESSION_COOKIE_SECURE and settings.CSRF_COOKIE_SECURE
    assert settings.ALLOWED_HOSTS[-3:] == ["smokehouse.home.arpa", "192.168.1.20", "[fd00::20]"]
    assert "*" not in settings.ALLOWED_HOSTS


def test_the_server_takes_the_certificate_and_nothing_older_than_tls_1_2(tmp_path: Path) -> None:
    import ssl

    make_lan_cert(tmp_path, HOUSE, BOTH, NOW)
    book = Logbook("127.0.0.2", 8443, tmp_path)
    assert (book.cfg.certfile, book.cfg.keyfile) == (str(tmp_path / SERVER), str(tmp_path / SERVER))
    context = book.cfg.ssl_context(book.cfg, lambda: ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER))
    assert context.minimum_version is ssl.TLSVersion.TLSv1_2


@pytest.fixture
def keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(settings, "KEYS_DIR", tmp_path / "keys")
    return tmp_path / "keys" / "lan"


@pytest.mark.django_db
def test_the_command_makes_one_and_says_its_fingerprint(
    keys: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("make_lan_cert", "--name", "smoke.lan", "--address", "192.168.1.20")
    standing = lan_cert(keys)
    assert standing is not None
    said = capsys.readouterr().out
    assert standing.fingerprint in said
    assert "smoke.lan, 192.168.1.20" in said


@pytest.mark.django_db
def test_the_command_throws_no_authority_away_unasked(keys: Path) -> None:
    call_command("make_lan_cert", "--name", "smoke.lan")
    before = (keys / CA_CERT).read_bytes()
    with pytest.raises(CommandError, match="already"):
        call_command("make_lan_cert", "--name", "other.lan")
    with pytest.raises(CommandError, match="constrained to its names"):
        call_command("make_lan_cert", "--renew", "--name", "other.lan")
    call_command("make_lan_cert", "--renew")
    assert (keys / CA_CERT).read_bytes() == before
    call_command("make_lan_cert", "--anew", "--name", "other.lan")
    assert (keys / CA_CERT).read_bytes() != before


@pytest.mark.django_db
def test_there_is_nothing_to_renew_at_first(keys: Path) -> None:
    with pytest.raises(CommandError, match="no certificate to renew"):
        call_command("make_lan_cert", "--renew")
