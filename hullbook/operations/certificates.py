"""The yard's own root certificate, and the server certificate that a tablet checks against it (RFC 5280).

The root is made once and kept ten years; a tablet trusts it by hand. Its name constraints let it speak for this
server's names and for private addresses and for nothing else, so a stolen root key opens no other site. The server
certificate lives 397 days and is made anew when fewer than 60 are left, or when the server's names or addresses
changed; `serving` looks daily, so a server that is never stopped is renewed as well.
"""

import os
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from hullbook.operations.addresses import SHED_NETWORKS, Host, Hosts

ROOT_LIVES = timedelta(days=3652)
SERVER_LIVES = timedelta(days=397)
RENEWED_WITH_LESS_THAN = timedelta(days=60)
# Both begin a day early: a tablet's clock may be behind the server's.
CLOCKS_APART = timedelta(days=1)

ROOT_KEY, ROOT = "root.key", "root.pem"
SERVER_KEY, SERVER = "server.key", "server.pem"


class CertificateRefused(Exception):
    """Says why the shed network cannot be served with the certificates there are, and the way out."""


@dataclass(frozen=True)
class Certificates:
    """What the shed network is served with; `answers_to` are the hosts that the server certificate names."""

    root: x509.Certificate
    server: x509.Certificate
    server_file: Path
    server_key_file: Path
    answers_to: tuple[Host, ...]


def certificates_for(hosts: Hosts, folder: Path, now: datetime) -> Certificates:
    """The yard's root and a server certificate good for these hosts, made or renewed where that is due.

    Raises CertificateRefused where the root has ended, is not whole, or may not speak for a host that was given. Hosts
    only found here are left out where the root may not speak for them: tablets already trust this root.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    folder.chmod(0o700)  # a folder brought back from a copy may be open to others
    root, root_key = _root_in(folder, hosts, now)
    for host in hosts.given:
        if not _speaks_for(root, host):
            raise CertificateRefused(
                f"The yard's root certificate may speak for {', '.join(_permitted_names(root))} and private addresses, "
                f"not for {host}. Leave {host} out, or {_new_root(folder)}"
            )
    answers_to = tuple(host for host in (*hosts.given, *hosts.found) if _speaks_for(root, host))
    server = _kept_server(folder, root, answers_to, now) or _make_server(folder, root, root_key, answers_to, now)
    return Certificates(root, server, folder / SERVER, folder / SERVER_KEY, answers_to)


def days_left(certificate: x509.Certificate, now: datetime) -> int:
    return (certificate.not_valid_after_utc - now).days


def fingerprint_words(certificate: x509.Certificate) -> str:
    """SHA-256 of the certificate in sixteen words of four hexadecimal digits, to be compared by eye."""
    digits = certificate.fingerprint(SHA256()).hex().upper()
    return " ".join(digits[place : place + 4] for place in range(0, len(digits), 4))


def _root_in(folder: Path, hosts: Hosts, now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    # The key is written first, so a root without its key was not left by a start that broke off.
    if not (folder / ROOT).exists():
        return _make_root(folder, hosts, now)
    try:
        root = x509.load_pem_x509_certificate((folder / ROOT).read_bytes())
        key = _load_key(folder / ROOT_KEY)
    except (OSError, ValueError) as error:
        raise CertificateRefused(
            f"The yard's root in {folder} cannot be read ({error}). Bring the folder back from a copy, "
            f"or {_new_root(folder)}"
        ) from error
    if key.public_key() != root.public_key():
        raise CertificateRefused(
            f"{ROOT_KEY} and {ROOT} in {folder} do not belong together. Bring the folder back from a copy, "
            f"or {_new_root(folder)}"
        )
    if now >= root.not_valid_after_utc:
        raise CertificateRefused(f"The yard's root ended on {_day(root.not_valid_after_utc)}: {_new_root(folder)}")
    if now < root.not_valid_before_utc:
        raise CertificateRefused(
            f"This computer's clock says {_day(now)}; the yard's root was made later, on "
            f"{_day(root.not_valid_before_utc)}. Set the clock and start again."
        )
    return root, key


def _make_root(folder: Path, hosts: Hosts, now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = _named(f"hullbook yard root {now:%Y-%m-%d}")
    names = [x509.DNSName(host) for host in (*hosts.given, *hosts.found) if isinstance(host, str)]
    addresses = [x509.IPAddress(network) for network in SHED_NETWORKS]
    root = (
        _builder(name, name, key, now, until=now - CLOCKS_APART + ROOT_LIVES)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints([*names, *addresses], None), critical=True)
        .sign(key, SHA256())
    )
    _write_key(folder / ROOT_KEY, key)
    _write(folder / ROOT, root.public_bytes(Encoding.PEM), mode=0o644)
    return root, key


def _kept_server(
    folder: Path, root: x509.Certificate, answers_to: tuple[Host, ...], now: datetime
) -> x509.Certificate | None:
    """The server certificate in the folder, if it still serves."""
    try:
        server = x509.load_pem_x509_certificate((folder / SERVER).read_bytes())
        key = _load_key(folder / SERVER_KEY)
        server.verify_directly_issued_by(root)
        named = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, InvalidSignature, x509.ExtensionNotFound):
        return None
    ends = server.not_valid_after_utc
    serves = (
        key.public_key() == server.public_key()
        and set(named) == set(_alternative_names(answers_to))
        and server.not_valid_before_utc <= now < ends
        # One that ends with the root cannot be made to last longer.
        and (ends - now >= RENEWED_WITH_LESS_THAN or ends == root.not_valid_after_utc)
    )
    return server if serves else None


def _make_server(
    folder: Path,
    root: x509.Certificate,
    root_key: ec.EllipticCurvePrivateKey,
    answers_to: tuple[Host, ...],
    now: datetime,
) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    until = min(now - CLOCKS_APART + SERVER_LIVES, root.not_valid_after_utc)
    server = (
        _builder(_named("hullbook yard server"), root.subject, key, now, until=until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(_alternative_names(answers_to)), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False)
        .sign(root_key, SHA256())
    )
    _write_key(folder / SERVER_KEY, key)
    _write(folder / SERVER, server.public_bytes(Encoding.PEM), mode=0o644)
    return server


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, *, until: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCKS_APART)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _named(common_name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common_name)])


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _alternative_names(hosts: tuple[Host, ...]) -> list[x509.GeneralName]:
    return [x509.DNSName(host) if isinstance(host, str) else x509.IPAddress(host) for host in hosts]


def _permitted_names(root: x509.Certificate) -> list[str]:
    constraints = root.extensions.get_extension_for_class(x509.NameConstraints).value
    return [
        permitted.value for permitted in constraints.permitted_subtrees or () if isinstance(permitted, x509.DNSName)
    ]


def _speaks_for(root: x509.Certificate, host: Host) -> bool:
    # Every address that gets here is of a private network, which every root of ours may speak for.
    if not isinstance(host, str):
        return True
    return any(host == name or host.endswith(f".{name}") for name in _permitted_names(root))


def _load_key(path: Path) -> ec.EllipticCurvePrivateKey:
    key = load_pem_private_key(path.read_bytes(), password=None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise ValueError(f"{path.name} is not a P-256 key")
    return key


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    _write(path, key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()), mode=0o600)


def _write(path: Path, content: bytes, *, mode: int) -> None:
    """Whole or not at all, and never readable by more than `mode` even for a moment."""
    beside = path.with_name(f"{path.name}.new")
    beside.unlink(missing_ok=True)
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def _day(when: datetime) -> str:
    return f"{when.day} {when:%b %Y}"


def _new_root(folder: Path) -> str:
    return f"move {folder} aside and start again: a new root is made, and every tablet has to trust the new one."
