"""Does a webhook never reach into the operator's own network?"""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit

import pytest

from solespan.api.channels.deadline import Deadline
from solespan.api.channels.webhook.connect import (
    AddressRefused,
    connection_to,
    is_inside,
    is_public,
)


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "fe80::1%eth0", "LocalHost.", "a.localhost"])
def test_what_is_inside_without_a_look_up_is_known_before_anything_is_sent(host):
    assert is_inside(host)
    assert not is_inside("hooks.example")
    assert not is_inside("93.184.216.34")


@pytest.mark.parametrize(
    "address",
    [
        "127.0.0.1",
        "10.1.2.3",
        "172.16.0.1",
        "192.168.1.1",
        "169.254.169.254",
        "100.64.0.1",
        "0.0.0.0",
        "224.0.0.1",
        "255.255.255.255",
        "198.18.0.1",
        "::1",
        "::",
        "fe80::1",
        "fc00::1",
        "fec0::1",
        "ff02::1",
        "::ffff:127.0.0.1",
        "::ffff:10.0.0.1",
        "64:ff9b::7f00:1",
        "64:ff9b::a9fe:a9fe",
        "2002:7f00:1::",
        "2001:0:4136:e378:8000:63bf:3fff:fdd2",
    ],
)
def test_addresses_inside_are_not_public(address):
    """Ranges of the IANA special-purpose registries; wrappers of RFC 4291, 6052, 3056, 4380."""
    assert not is_public(ipaddress.ip_address(address))


@pytest.mark.parametrize("address", ["1.1.1.1", "2606:4700::1111", "64:ff9b::101:101"])
def test_addresses_of_the_internet_are(address):
    assert is_public(ipaddress.ip_address(address))


@pytest.mark.parametrize(
    "url",
    [
        "http://127.0.0.1:9/x",
        "http://localhost:9/x",
        "http://[::1]:9/x",
        "http://0x7f.1:9/x",
        "http://2130706433:9/x",
        "http://user@1.1.1.1/x",
        "ftp://1.1.1.1/x",
        "https:///x",
    ],
)
def test_such_addresses_are_refused_before_anything_is_connected(url, monkeypatch):
    def never(*_args, **_more):
        raise AssertionError("connected")

    monkeypatch.setattr(socket, "create_connection", never)
    with pytest.raises(AddressRefused):
        connection_to(urlsplit(url), Deadline(1.0), allow_private=False)


def test_a_name_with_one_address_inside_is_refused_and_the_judged_one_is_connected(monkeypatch):
    asked, connected = [], []

    def found(*places):
        def resolve(host, port, **_more):
            asked.append(host)
            return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (p, port)) for p in places]

        return resolve

    class Stop(OSError):
        pass

    def connect(place, _timeout):
        connected.append(place)
        raise Stop

    monkeypatch.setattr(socket, "create_connection", connect)
    monkeypatch.setattr(socket, "getaddrinfo", found("1.1.1.1", "10.0.0.1"))
    with pytest.raises(AddressRefused):
        connection_to(urlsplit("http://two.example/x"), Deadline(1.0), allow_private=False)
    assert connected == []
    monkeypatch.setattr(socket, "getaddrinfo", found("1.1.1.1"))
    with pytest.raises(Stop):
        connection_to(urlsplit("http://one.example/x"), Deadline(1.0), allow_private=False)
    assert connected == [("1.1.1.1", 80)], "the address judged, not the name once more"
    assert asked == ["two.example", "one.example"]
