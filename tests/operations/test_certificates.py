"""The certificates of the yard, judged by verifiers not ours: cryptography, and OpenSSL in the TLS client of Python."""

import ipaddress
import socket
import ssl
import stat
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from ipaddress import IPv4Address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, load_pem_private_key
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from hullbook.operations.addresses import Host, Hosts
from hullbook.operations.certificates import (
    CertificateRefused,
    Certificates,
    certificates_for,
    days_left,
    fingerprint_words,
)

# Whole seconds, as certificates keep them; today, because OpenSSL and TLS clients go by the computer's own clock.
NOW = datetime.now(UTC).replace(microsecond=0)
HOSTS = Hosts(
    given=("localhost", IPv4Address("127.0.0.1")), found=(IPv4Address("192.168.1.20"), "yard-pc", "yard-pc.local")
)
GOOD_HOSTS: list[Host] = ["localhost", "yard-pc.local", IPv4Address("127.0.0.1"), IPv4Address("192.168.1.20")]
WRONG_HOSTS: list[Host] = ["book.example", "yard-pc.example", IPv4Address("192.168.1.21"), IPv4Address("203.0.113.9")]


@pytest.fixture
def tls(tmp_path: Path) -> Path:
    return tmp_path / "tls"


def words(host: Host) -> str:
    return str(host)


def cryptography_accepts(root: x509.Certificate, server: x509.Certificate, host: Host, at: datetime = NOW) -> bool:
    subject = x509.DNSName(host) if isinstance(host, str) else x509.IPAddress(host)
    verifier = PolicyBuilder().store(Store([root])).time(at).build_server_verifier(subject)
    try:
        verifier.verify(server, [])
    except VerificationError:
        return False
    return True


def client_accepts(root: x509.Certificate, server_file: Path, key_file: Path, host: Host) -> tuple[bool, str]:
    """A TLS handshake over a pair of sockets, with OpenSSL judging strictly on the client's side."""
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(server_file, key_file)
    client = ssl.create_default_context(cadata=root.public_bytes(Encoding.PEM).decode())
    client.verify_flags |= ssl.VERIFY_X509_STRICT
    near, far = socket.socketpair()

    def answer() -> None:
        try:
            serving.wrap_socket(far, server_side=True).close()
        except (ssl.SSLError, OSError):
            far.close()  # the client hung up, which is what the test is about

    answering = threading.Thread(target=answer)
    answering.start()
    try:
        client.wrap_socket(near, server_hostname=str(host)).close()
    except ssl.SSLCertVerificationError as refused:
        return False, refused.verify_message
    finally:
        near.close()
        answering.join(timeout=10)
    return True, ""


def forged(made: Certificates, tls: Path, host: Host) -> tuple[x509.Certificate, Path, Path]:
    """What somebody with the stolen root key could make: a server certificate for any host."""
    root_key = load_pem_private_key((tls / "root.key").read_bytes(), None)
    assert isinstance(root_key, ec.EllipticCurvePrivateKey)
    alternative = x509.DNSName(host) if isinstance(host, str) else x509.IPAddress(host)
    builder = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "forged server")]))
        .issuer_name(made.root.subject)
        .public_key(made.server.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(made.server.not_valid_before_utc)
        .not_valid_after(made.server.not_valid_after_utc)
    )
    for extension in made.server.extensions:
        value = extension.value
        if isinstance(value, x509.SubjectAlternativeName):
            value = x509.SubjectAlternativeName([alternative])
        builder = builder.add_extension(value, extension.critical)
    server = builder.sign(root_key, SHA256())
    path = tls / "forged.pem"
    path.write_bytes(server.public_bytes(Encoding.PEM))
    return server, path, made.server_key_file


@pytest.mark.parametrize("host", GOOD_HOSTS, ids=words)
def test_every_verifier_accepts_the_server_under_its_own_names_and_addresses(host: Host, tls: Path) -> None:
    made = certificates_for(HOSTS, tls, NOW)
    assert cryptography_accepts(made.root, made.server, host)
    assert client_accepts(made.root, made.server_file, made.server_key_file, host) == (True, "")


@pytest.mark.parametrize("host", WRONG_HOSTS, ids=words)
def test_no_verifier_accepts_it_under_another(host: Host, tls: Path) -> None:
    made = certificates_for(HOSTS, tls, NOW)
    assert not cryptography_accepts(made.root, made.server, host)
    accepted, said = client_accepts(made.root, made.server_file, made.server_key_file, host)
    assert not accepted
    assert "mismatch" in said


@pytest.mark.parametrize(
    "host", ["book.example", "example.com", IPv4Address("203.0.113.9"), IPv4Address("172.32.0.1")], ids=words
)
def test_a_stolen_root_key_opens_no_site_of_the_internet(host: Host, tls: Path) -> None:
    made = certificates_for(HOSTS, tls, NOW)
    server, path, key = forged(made, tls, host)
    assert not cryptography_accepts(made.root, server, host)
    accepted, said = client_accepts(made.root, path, key, host)
    assert not accepted
    assert "permitted subtree violation" in said


def test_the_forger_is_stopped_by_the_constraints_and_by_nothing_else(tls: Path) -> None:
    made = certificates_for(HOSTS, tls, NOW)
    server, path, key = forged(made, tls, IPv4Address("192.168.9.9"))
    assert cryptography_accepts(made.root, server, IPv4Address("192.168.9.9"))
    assert client_accepts(made.root, path, key, IPv4Address("192.168.9.9"))[0]


def test_the_root_is_for_ten_years_and_may_only_sign_for_the_shed(tls: Path) -> None:
    root = certificates_for(HOSTS, tls, NOW).root
    extensions = root.extensions
    assert timedelta(days=3650) <= root.not_valid_after_utc - root.not_valid_before_utc <= timedelta(days=3653)
    basic = extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    usage = extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert (usage.value.key_cert_sign, usage.value.crl_sign, usage.value.digital_signature) == (True, True, False)
    constraints = extensions.get_extension_for_class(x509.NameConstraints)
    assert constraints.critical
    assert {str(permitted.value) for permitted in constraints.value.permitted_subtrees or ()} == {
        "localhost", "yard-pc", "yard-pc.local",
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "::1/128", "fc00::/7",
    }  # fmt: skip
    public_key = root.public_key()
    assert isinstance(public_key, ec.EllipticCurvePublicKey)
    assert isinstance(public_key.curve, ec.SECP256R1)


def test_the_server_certificate_is_for_397_days_at_most_and_only_serves(tls: Path) -> None:
    server = certificates_for(HOSTS, tls, NOW).server
    assert server.not_valid_after_utc - server.not_valid_before_utc == timedelta(days=397)
    assert server.not_valid_before_utc < NOW
    assert not server.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    usage = server.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [ExtendedKeyUsageOID.SERVER_AUTH]
    named = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert named.get_values_for_type(x509.DNSName) == ["localhost", "yard-pc", "yard-pc.local"]
    assert named.get_values_for_type(x509.IPAddress) == [
        ipaddress.ip_address("127.0.0.1"),
        ipaddress.ip_address("192.168.1.20"),
    ]


def test_keys_are_for_their_owner_only(tls: Path) -> None:
    certificates_for(HOSTS, tls, NOW)
    assert stat.S_IMODE(tls.stat().st_mode) == 0o700
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in tls.iterdir()}
    assert modes == {"root.key": 0o600, "server.key": 0o600, "root.pem": 0o644, "server.pem": 0o644}


def test_a_folder_brought_back_open_to_others_is_shut_again(tls: Path) -> None:
    certificates_for(HOSTS, tls, NOW)
    tls.chmod(0o755)
    certificates_for(HOSTS, tls, NOW)
    assert stat.S_IMODE(tls.stat().st_mode) == 0o700


def test_the_days_left_are_whole_days(tls: Path) -> None:
    server = certificates_for(HOSTS, tls, NOW).server
    assert days_left(server, NOW) == 396
    assert days_left(server, server.not_valid_after_utc - timedelta(hours=25)) == 1


def test_started_again_the_same_certificates_serve(tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    assert certificates_for(HOSTS, tls, NOW + timedelta(days=300)) == first


def test_in_its_last_sixty_days_the_server_certificate_is_renewed_and_the_root_kept(tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    ends = first.server.not_valid_after_utc
    assert certificates_for(HOSTS, tls, ends - timedelta(days=60)).server == first.server
    late = ends - timedelta(days=60) + timedelta(seconds=1)
    renewed = certificates_for(HOSTS, tls, late)
    assert renewed.server != first.server
    assert renewed.root == first.root
    assert renewed.server.public_key() != first.server.public_key()
    assert cryptography_accepts(renewed.root, renewed.server, "localhost", at=ends + timedelta(days=300))


def test_a_new_address_renews_the_server_certificate_and_keeps_the_root(tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    moved = replace(HOSTS, found=(IPv4Address("192.168.1.77"), "yard-pc", "yard-pc.local"))
    second = certificates_for(moved, tls, NOW)
    assert second.root == first.root
    assert cryptography_accepts(second.root, second.server, IPv4Address("192.168.1.77"))
    assert not cryptography_accepts(second.root, second.server, IPv4Address("192.168.1.20"))


def test_a_name_the_root_may_not_speak_for_is_refused_if_given_and_left_out_if_found(tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    with pytest.raises(CertificateRefused, match="not for new-pc. Leave new-pc out, or move"):
        certificates_for(replace(HOSTS, given=("new-pc",)), tls, NOW)
    renamed = certificates_for(replace(HOSTS, found=(IPv4Address("192.168.1.20"), "new-pc")), tls, NOW)
    assert renamed.root == first.root
    assert renamed.answers_to == ("localhost", IPv4Address("127.0.0.1"), IPv4Address("192.168.1.20"))


def test_an_ended_root_is_refused_in_words_and_nothing_is_changed(tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    before = {path.name: path.read_bytes() for path in tls.iterdir()}
    with pytest.raises(CertificateRefused, match="root ended on .* every tablet has to trust the new one"):
        certificates_for(HOSTS, tls, first.root.not_valid_after_utc)
    assert {path.name: path.read_bytes() for path in tls.iterdir()} == before


def test_near_the_end_of_the_root_the_server_certificate_does_not_outlive_it(tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    late = certificates_for(HOSTS, tls, first.root.not_valid_after_utc - timedelta(days=100))
    assert late.server.not_valid_after_utc == first.root.not_valid_after_utc
    assert certificates_for(HOSTS, tls, first.root.not_valid_after_utc - timedelta(days=1)).server == late.server


def test_a_clock_set_years_back_is_named(tls: Path) -> None:
    certificates_for(HOSTS, tls, NOW)
    with pytest.raises(CertificateRefused, match="Set the clock"):
        certificates_for(HOSTS, tls, NOW - timedelta(days=800))


@pytest.mark.parametrize("broken", ["root.key", "root.pem"])
def test_a_root_that_is_not_whole_is_refused_and_never_replaced_unasked(broken: str, tls: Path) -> None:
    certificates_for(HOSTS, tls, NOW)
    (tls / broken).write_text("torn")
    with pytest.raises(CertificateRefused, match="cannot be read"):
        certificates_for(HOSTS, tls, NOW)
    assert (tls / broken).read_text() == "torn"


def test_a_root_without_its_key_or_with_anothers_is_refused(tls: Path, tmp_path: Path) -> None:
    certificates_for(HOSTS, tls, NOW)
    certificates_for(HOSTS, tmp_path / "another", NOW)
    (tmp_path / "another" / "root.key").replace(tls / "root.key")
    with pytest.raises(CertificateRefused, match="do not belong together"):
        certificates_for(HOSTS, tls, NOW)
    (tls / "root.key").unlink()
    with pytest.raises(CertificateRefused, match="cannot be read"):
        certificates_for(HOSTS, tls, NOW)


@pytest.mark.parametrize("broken", ["server.key", "server.pem"])
def test_a_torn_server_certificate_or_key_is_made_anew(broken: str, tls: Path) -> None:
    first = certificates_for(HOSTS, tls, NOW)
    (tls / broken).write_text("torn")
    again = certificates_for(HOSTS, tls, NOW)
    assert again.root == first.root
    assert client_accepts(again.root, again.server_file, again.server_key_file, "localhost")[0]


def test_the_sixteen_words_are_the_sha_256_of_the_certificate_as_it_is_kept(tls: Path) -> None:
    made = certificates_for(HOSTS, tls, NOW)
    kept = ssl.PEM_cert_to_DER_cert((tls / "root.pem").read_text())
    assert fingerprint_words(made.root).replace(" ", "") == sha256(kept).hexdigest().upper()
    assert [len(word) for word in fingerprint_words(made.root).split()] == [4] * 16
