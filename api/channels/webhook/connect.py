"""Webhook connection.

Which address does a webhook's name stand for, and may this program connect to it?

The name is resolved once, and every address it resolves to is checked. The connection goes to the
checked address, so a later change of the name has no effect. An address inside the operator's
network is refused unless a setting allows it.
"""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
from collections.abc import Sequence
from urllib.parse import SplitResult, urlsplit

from solespan.api.channels.deadline import Deadline

__all__ = ["INSIDE", "AddressRefused", "connection_to", "is_inside", "is_public", "post_to"]

IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address
MOST_PLACES = 8
INSIDE = (
    "the webhook's address lies inside this network; the setting "
    "SOLESPAN_WEBHOOK_PRIVATE_ADDRESSES=true would allow it"
)
_NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052: an IPv4 address in the last 32 bits


class AddressRefused(Exception):
    """The webhook's address lies inside the operator's network, or cannot be used at all."""


def is_public(address: IPAddress) -> bool:
    """Whether an address is one of the public internet, also where it wraps another."""
    if isinstance(address, ipaddress.IPv6Address):
        if address in _NAT64:
            return is_public(ipaddress.IPv4Address(int(address) & 0xFFFF_FFFF))
        inner = address.ipv4_mapped or address.sixtofour
        if inner is not None:
            return is_public(inner)
        if address.teredo is not None or address.is_site_local:
            return False
    return address.is_global and not address.is_multicast and not address.is_reserved


def is_inside(host: str) -> bool:
    """Whether a host can be told to be inside without a look-up: a number, or this machine."""
    name = host.rstrip(".").lower()
    try:
        return not is_public(ipaddress.ip_address(name.partition("%")[0]))
    except ValueError:
        return name == "localhost" or name.endswith(".localhost")  # RFC 6761, 6.3


def connection_to(
    parts: SplitResult, deadline: Deadline, *, allow_private: bool
) -> http.client.HTTPConnection:
    """Connect to the host of an address, judged, until a deadline; the caller closes it.

    Raises `AddressRefused`, or OSError when it cannot be reached.
    """
    host = parts.hostname
    if parts.scheme not in ("http", "https") or not host or parts.username is not None:
        raise AddressRefused("the webhook's address is no plain http or https address")
    port = parts.port or (443 if parts.scheme == "https" else 80)
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    places = [place for *_, place in found]
    if not allow_private:
        judged = [ipaddress.ip_address(str(place[0]).partition("%")[0]) for place in places]
        if not all(is_public(address) for address in judged):
            raise AddressRefused(INSIDE)
    opened = _open(places, deadline)
    try:
        if parts.scheme == "https":
            opened = ssl.create_default_context().wrap_socket(opened, server_hostname=host)
    except BaseException:
        opened.close()
        raise
    connection = http.client.HTTPConnection(host, port, timeout=deadline.seconds)
    connection.sock = opened  # connected already, to the address that was judged
    return connection


def post_to(
    url: str, body: bytes, headers: dict[str, str], deadline: Deadline, *, allow_private: bool
) -> int:
    """Post, and return the answer's status; what comes after its head is not read.

    Raises as `connection_to` does, TimeoutError at the deadline, and
    `http.client.HTTPException` where the answer is none.
    """
    parts = urlsplit(url)
    connection = connection_to(parts, deadline, allow_private=allow_private)
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        connection.request("POST", target, body, headers)
        with connection.getresponse() as answer:
            if deadline.over:  # a head that was cut off reads as a short one
                raise TimeoutError
            return answer.status
    finally:
        connection.close()


def _open(places: Sequence[tuple[object, ...]], deadline: Deadline) -> socket.socket:
    failure: OSError = OSError("the name has no address")
    for place in places[:MOST_PLACES]:
        try:
            address = (str(place[0]), int(str(place[1])))
            return deadline.guard(socket.create_connection(address, deadline.remaining_s))
        except OSError as cause:
            failure = cause
    raise failure
