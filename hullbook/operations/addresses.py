"""What this computer is called on the shed network, and what a person may call it."""

import re
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, ip_address, ip_network

Host = str | IPv4Address

# The address ranges that no one on the internet answers at (RFC 1918, RFC 4193, loopback).
SHED_NETWORKS = tuple(
    ip_network(network)
    for network in ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "::1/128", "fc00::/7")
)
SHED_NETWORKS_IN_WORDS = "10.x.x.x, 172.16.x.x to 172.31.x.x, 192.168.x.x"
THIS_COMPUTER: tuple[Host, ...] = ("localhost", IPv4Address("127.0.0.1"))

LABEL = r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?"
NAME = re.compile(rf"{LABEL}(\.{LABEL})*")
# One address in each private network; a datagram socket pointed at it sends nothing and tells which way it would go.
TOWARDS = ("10.0.0.1", "172.16.0.1", "192.168.0.1")


class HostRefused(ValueError):
    """Says which host was given and what is accepted."""


@dataclass(frozen=True)
class Hosts:
    """Names and addresses the shed's server answers to: those a person gave first, then those found here."""

    given: tuple[Host, ...]
    found: tuple[Host, ...]


def on_the_shed_network(address: IPv4Address) -> bool:
    return any(address in network for network in SHED_NETWORKS if isinstance(network, IPv4Network))


def read_host(given: str) -> Host:
    """A name or a private IPv4 address that a yard gives its server; an address the internet answers at is refused."""
    text = given.strip().rstrip(".").lower()
    try:
        address = ip_address(text)
    except ValueError:
        if len(text) <= 253 and NAME.fullmatch(text) and not text.replace(".", "").isdigit():
            return text
        raise HostRefused(
            f'--host "{given}" is neither a name (letters, digits, hyphens, dots) nor an address such as 192.168.1.20.'
        ) from None
    if not isinstance(address, IPv4Address):
        raise HostRefused(f"--host {given}: the shed network is served by IPv4; give an address such as 192.168.1.20.")
    if not on_the_shed_network(address):
        raise HostRefused(
            f"--host {given} is not an address of a private network; "
            f"the yard's certificates are for {SHED_NETWORKS_IN_WORDS} only."
        )
    return address


def shed_hosts(given: Sequence[str]) -> Hosts:
    """Who the server is: hosts given, otherwise at least one address found on a private network."""
    read = tuple(dict.fromkeys(read_host(host) for host in given))
    addresses = addresses_found()
    if not read and not addresses:
        raise HostRefused(
            f"This computer has no address on a private network ({SHED_NETWORKS_IN_WORDS}). "
            "Connect it to the shed's network, or give its address or name with --host."
        )
    found = dict.fromkeys((*addresses, *names_found(), *THIS_COMPUTER))
    return Hosts(given=read, found=tuple(host for host in found if host not in read))


def addresses_found() -> tuple[IPv4Address, ...]:
    """This computer's addresses on private networks, loopback left out."""
    found: dict[IPv4Address, None] = {}
    for towards in TOWARDS:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as datagram:
            try:
                datagram.connect((towards, 9))
            except OSError:
                continue  # no way there
            found[IPv4Address(datagram.getsockname()[0])] = None
    try:
        own = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
    except OSError:
        own = []  # the computer's own name is not in any table
    found |= {IPv4Address(str(answer[4][0])): None for answer in own}
    return tuple(address for address in found if on_the_shed_network(address) and not address.is_loopback)


def names_found() -> tuple[str, ...]:
    """The computer's name, bare and as it is called where names are found without a name server (RFC 6762)."""
    name = socket.gethostname().lower().rstrip(".")
    if name == "localhost" or not NAME.fullmatch(name) or name.replace(".", "").isdigit():
        return ()
    return (name,) if "." in name else (name, f"{name}.local")
