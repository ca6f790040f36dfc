"""The house's own certificate authority for https on its own network, and the certificate of the server.

It stands apart from the authority of the seals: who may vouch for the server's address may not vouch for a
record.  It is constrained to the names and addresses given (RFC 5280, 4.2.1.10), so that a tablet that
trusts it trusts it for nothing else.
"""

import ipaddress
import os
import re
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
CA_KEY, CA_CERT, SERVER = "ca-key.pem", "ca.pem", "server.pem"  # SERVER: key and certificate in one
CA_DAYS: Final = 10 * 365
SERVER_DAYS: Final = (
    397  # phones refuse server certificates of more than 398 days (common practice)
)
RENEW_DAYS: Final = 30
EARLIER: Final = timedelta(days=1)  # a tablet whose clock is a little behind still takes it
LABEL: Final = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")
# RFC 8375, RFC 6762, RFC 6761; .internal is reserved for private use; .lan is common practice
PRIVATE_ENDINGS: Final = (".home.arpa", ".local", ".test", ".internal", ".lan")
ALL_NETWORKS: Final = ("0.0.0.0/0", "::/0")


class BadName(ValueError):
    """A name or address that the house's own authority must not vouch for; the message says why."""


@dataclass(frozen=True, slots=True)
class Reached:
    """The names and addresses under which the server is reached."""

    names: tuple[str, ...]
    addresses: tuple[Address, ...]

    @property
    def words(self) -> list[str]:
        return [*self.names, *map(str, self.addresses)]

    def covers(self, host: str) -> bool:
        bare = host.strip("[]").lower()
        try:
            return ipaddress.ip_address(bare) in self.addresses
        except ValueError:
            return bare in self.names


@dataclass(frozen=True, slots=True)
class LanCert:
    """What stands in the folder: whom the server's certificate names, when it ends, and the authority's
    fingerprint, by which a person knows that it is the right one."""

    reached: Reached
    ends: datetime
    fingerprint: str

    def wants_renewing(self, now: datetime) -> bool:
        return self.ends - now < timedelta(days=RENEW_DAYS)


def reached(names: Iterable[str], addresses: Iterable[str]) -> Reached:
    """The names and addresses, each once.

    Raises:
        BadName: one is malformed, or belongs to the public internet.
    """
    found = tuple(dict.fromkeys(_name(text) for text in names))
    at = tuple(dict.fromkeys(_address(text) for text in addresses))
    if not found and not at:
        raise BadName("Give at least one name or address under which tablets reach the server.")
    return Reached(found, at)


def _name(text: str) -> str:
    name = text.strip().rstrip(".").lower()
    labels = name.split(".")
    if not all(LABEL.fullmatch(label) for label in labels) or len(name) > 253:
        raise BadName(f"“{text}” is no name: letters, digits and hyphens, parts joined by points.")
    if labels[-1].isdigit():
        raise BadName(f"“{text}” is no name. Is it an address? Give it with --address.")
    if len(labels) == 1:  # a constraint to one word would permit every name that ends in it
        raise BadName(
            f"“{text}” is a single word. Give it one of the endings of a house's own network, "
            f"such as {text}.home.arpa."
        )
    if not name.endswith(PRIVATE_ENDINGS) or f".{name}" in PRIVATE_ENDINGS:
        raise BadName(
            f"“{text}” belongs to the public internet. Choose a name of the house's own network, ending in "
            f"{', '.join(PRIVATE_ENDINGS)}."
        )
    return name


def _address(text: str) -> Address:
    try:
        address = ipaddress.ip_address(text.strip().strip("[]"))
    except ValueError as error:
        raise BadName(f"“{text}” is no address such as 192.168.1.20.") from error
    if "%" in text:
        raise BadName(
            f"“{text}” names an interface of this machine only. Give the address without it."
        )
    if address.is_unspecified:
        raise BadName(f"{text} stands for every address. Give the one that tablets type.")
    if not (address.is_private or address.is_link_local or address.is_loopback):
        raise BadName(f"{text} is an address of the public internet, not of the house's network.")
    return address


def own_addresses() -> list[str]:
    """This machine's addresses on private networks.  Connecting a datagram socket sends nothing: it only
    makes the system choose the address it would send from."""
    found = []
    for family, far in ((socket.AF_INET, "192.168.255.254"), (socket.AF_INET6, "fd00::ffff")):
        with socket.socket(family, socket.SOCK_DGRAM) as trial:
            try:
                trial.connect((far, 9))
                found.append(str(trial.getsockname()[0]))
            except OSError:
                continue
    return [text for text in dict.fromkeys(found) if _is_own(text)]


def _is_own(text: str) -> bool:
    try:
        return not _address(text).is_loopback
    except BadName:
        return False


def usual_name() -> str:
    """The name by which this machine is found on a house's network without a name server (RFC 6762)."""
    plain = socket.gethostname().split(".")[0].lower()
    return f"{plain}.local" if LABEL.fullmatch(plain) else "smokehouse.local"


def lan_folder(keys: Path) -> Path:
    return keys / "lan"


def lan_cert(folder: Path) -> LanCert | None:
    """What stands in the folder; None where nothing does."""
    if not (folder / SERVER).exists():
        return None
    server = x509.load_pem_x509_certificate((folder / SERVER).read_bytes())
    said = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    names = tuple(said.get_values_for_type(x509.DNSName))
    addresses = tuple(said.get_values_for_type(x509.IPAddress))
    own = tuple(one for one in addresses if isinstance(one, Address))
    return LanCert(Reached(names, own), server.not_valid_after_utc, fingerprint(folder))


def fingerprint(folder: Path) -> str:
    """SHA-256 of the authority's certificate, as devices show it."""
    digest = x509.load_pem_x509_certificate((folder / CA_CERT).read_bytes()).fingerprint(
        hashes.SHA256()
    )
    return ":".join(f"{byte:02X}" for byte in digest)


def ca_der(folder: Path) -> bytes:
    """The authority's certificate as devices install it."""
    certificate = x509.load_pem_x509_certificate((folder / CA_CERT).read_bytes())
    return certificate.public_bytes(serialization.Encoding.DER)


def make_lan_cert(folder: Path, house: str, where: Reached, now: datetime) -> LanCert:
    """A new authority for these names and addresses, and the server's certificate under it.  Tablets must
    install the new one."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.chmod(0o700)
    ca_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    ca = _authority(house, ca_key, where, now)
    server = _server(key, where, ca, ca_key, now)
    _write(folder / CA_KEY, _pem(ca_key), 0o600)
    _write(folder / CA_CERT, ca.public_bytes(serialization.Encoding.PEM), 0o644)
    _write_server(folder, key, server)
    return LanCert(where, server.not_valid_after_utc, fingerprint(folder))


def renew_server(folder: Path, now: datetime) -> LanCert:
    """A new certificate of the server under the authority that tablets already trust."""
    standing = lan_cert(folder)
    if standing is None:
        raise BadName(f"{folder} holds no certificate to renew.")
    ca = x509.load_pem_x509_certificate((folder / CA_CERT).read_bytes())
    ca_key = serialization.load_pem_private_key((folder / CA_KEY).read_bytes(), None)
    if not isinstance(ca_key, ec.EllipticCurvePrivateKey):
        raise BadName(f"{folder / CA_KEY} is no key of this program's making.")
    key = ec.generate_private_key(ec.SECP256R1())
    server = _server(key, standing.reached, ca, ca_key, now)
    _write_server(folder, key, server)
    return LanCert(standing.reached, server.not_valid_after_utc, standing.fingerprint)


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _write_server(
    folder: Path, key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate
) -> None:
    """Both in one file: a power cut leaves a pair that fits, the old one or the new."""
    pem = certificate.public_bytes(serialization.Encoding.PEM)
    _write(folder / SERVER, _pem(key) + pem, 0o600)


def _write(file: Path, content: bytes, mode: int) -> None:
    """Under another name first: a server that starts meanwhile reads the old one or the new one whole."""
    new = file.with_name(file.name + ".new")
    new.unlink(missing_ok=True)
    descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "wb") as opened:
        opened.write(content)
    new.replace(file)


def _authority(
    house: str, key: ec.EllipticCurvePrivateKey, where: Reached, now: datetime
) -> x509.Certificate:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{house}: own network"[:64])])
    usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    identity = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    builder = _builder(name, name, key, now, CA_DAYS)
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(usage, critical=True)
    builder = builder.add_extension(_constraints(where), critical=True)
    builder = builder.add_extension(  # for nothing but servers: no mail, no programs
        x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False
    )
    return builder.add_extension(identity, critical=False).sign(key, hashes.SHA256())


def _constraints(where: Reached) -> x509.NameConstraints:
    """These names and addresses and no others.  A kind of name of which none is permitted would be free
    of constraint: it is excluded whole."""
    permitted: list[x509.GeneralName] = [x509.DNSName(name) for name in where.names]
    permitted += [x509.IPAddress(ipaddress.ip_network(one)) for one in where.addresses]
    versions = {one.version for one in where.addresses}
    excluded: list[x509.GeneralName] = [
        x509.IPAddress(ipaddress.ip_network(text))
        for text in ALL_NETWORKS
        if ipaddress.ip_network(text).version not in versions
    ]
    if not where.names:
        excluded.append(x509.DNSName(""))
    return x509.NameConstraints(permitted, excluded or None)


def _server(
    key: ec.EllipticCurvePrivateKey,
    where: Reached,
    ca: x509.Certificate,
    ca_key: ec.EllipticCurvePrivateKey,
    now: datetime,
) -> x509.Certificate:
    # words, not a host's name: some take a host's name here for one more to be held to the constraints
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Smokehouse logbook server")])
    names: list[x509.GeneralName] = [x509.DNSName(one) for one in where.names]
    names += [x509.IPAddress(one) for one in where.addresses]
    usage = x509.KeyUsage(True, False, False, False, False, False, False, False, False)
    issuer = ca.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    builder = _builder(name, ca.subject, key, now, SERVER_DAYS)
    builder = builder.add_extension(
        x509.BasicConstraints(ca=False, path_length=None), critical=True
    )
    builder = builder.add_extension(usage, critical=True)
    builder = builder.add_extension(
        x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False
    )
    builder = builder.add_extension(x509.SubjectAlternativeName(names), critical=False)
    builder = builder.add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(issuer), critical=False
    )
    return builder.sign(ca_key, hashes.SHA256())


def _builder(
    name: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.astimezone(UTC) - EARLIER)
        .not_valid_after(now.astimezone(UTC) + timedelta(days=days) - EARLIER)
    )
