import socket
from ipaddress import IPv4Address
from typing import Any

import pytest

from hullbook.operations import addresses
from hullbook.operations.addresses import HostRefused, Hosts, addresses_found, names_found, read_host, shed_hosts


@pytest.mark.parametrize(
    ("given", "read"),
    [
        ("192.168.1.20", IPv4Address("192.168.1.20")),
        (" 10.0.0.5 ", IPv4Address("10.0.0.5")),
        ("172.31.255.254", IPv4Address("172.31.255.254")),
        ("127.0.0.1", IPv4Address("127.0.0.1")),
        ("Yard-PC.local.", "yard-pc.local"),
        ("localhost", "localhost"),
    ],
)
def test_a_name_or_a_private_address_is_taken(given: str, read: object) -> None:
    assert read_host(given) == read


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ("8.8.8.8", "not an address of a private network"),
        ("172.32.0.1", "not an address of a private network"),
        ("fd00::1", "served by IPv4"),
        ("192.168.1.300", "neither a name"),
        ("https://yard", "neither a name"),
        ("yard:8300", "neither a name"),
        ("*", "neither a name"),
        ("-yard", "neither a name"),
        ("yard pc", "neither a name"),
        ("", "neither a name"),
        ("a" * 64, "neither a name"),
        ("ya,rd", "neither a name"),
    ],
)
def test_what_is_no_host_of_a_shed_network_is_refused_in_words(given: str, says: str) -> None:
    with pytest.raises(HostRefused, match=says) as refused:
        read_host(given)
    assert given in str(refused.value)


def test_a_yard_without_a_network_is_told_to_join_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "addresses_found", lambda: ())
    with pytest.raises(HostRefused, match="no address on a private network"):
        shed_hosts([])


def test_a_host_given_stands_before_what_is_found_and_once_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(addresses, "addresses_found", lambda: (IPv4Address("192.168.1.20"),))
    monkeypatch.setattr(addresses, "names_found", lambda: ("yard-pc", "yard-pc.local"))
    assert shed_hosts(["localhost", "LOCALHOST"]) == Hosts(
        given=("localhost",),
        found=(IPv4Address("192.168.1.20"), "yard-pc", "yard-pc.local", IPv4Address("127.0.0.1")),
    )


def test_only_private_addresses_of_this_computer_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def answers(*_: object) -> list[Any]:
        own = ("127.0.1.1", "192.168.7.8", "203.0.113.9")
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, 0)) for address in own]

    class Unconnected:
        def __enter__(self) -> "Unconnected":
            return self

        def __exit__(self, *_: object) -> None: ...

        def connect(self, towards: tuple[str, int]) -> None:
            if towards[0].startswith("172."):
                raise OSError("Network is unreachable")
            self.towards = towards[0]

        def getsockname(self) -> tuple[str, int]:
            return {"10.0.0.1": "10.3.2.1", "192.168.0.1": "203.0.113.9"}[self.towards], 0

    monkeypatch.setattr(addresses.socket, "getaddrinfo", answers)
    monkeypatch.setattr(addresses.socket, "socket", lambda *_: Unconnected())
    assert addresses_found() == (IPv4Address("10.3.2.1"), IPv4Address("192.168.7.8"))


@pytest.mark.parametrize(
    ("called", "names"),
    [
        ("Yard-PC", ("yard-pc", "yard-pc.local")),
        ("pc.yard.example", ("pc.yard.example",)),
        ("localhost", ()),
        ("büro", ()),
    ],
)
def test_the_computers_own_name_is_used_where_it_is_one(
    called: str, names: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(addresses.socket, "gethostname", lambda: called)
    assert names_found() == names
