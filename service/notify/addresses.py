"""Which addresses and URLs the service may call on a storefront's word.

The table follows OWASP API7 (request forgery) and the registries of special addresses. The
standard library's ``is_global`` is not enough: it passes multicast, 6to4 relays and NAT64.
"""

from __future__ import annotations

import asyncio
import re
import socket
from collections.abc import Awaitable, Callable, Sequence
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

import httpx

URL_LENGTH_MAX = 2_000
HTTPS_PORTS = (443, 8443)

Resolver = Callable[[str, int], Awaitable[Sequence[str]]]
"""Gives every address of a host name for a port; raises ``OSError`` if there is none."""

_Network = IPv4Network | IPv6Network
_Address = IPv4Address | IPv6Address

_MAPPED = IPv6Network("::ffff:0:0/96")


def _networks(text: str) -> tuple[_Network, ...]:
    return tuple(ip_network(part) for part in text.split())


_NOT_PUBLIC = _networks(
    "0.0.0.0/8 10.0.0.0/8 100.64.0.0/10 127.0.0.0/8 169.254.0.0/16 172.16.0.0/12 192.0.0.0/24 "
    "192.0.2.0/24 192.88.99.0/24 192.168.0.0/16 198.18.0.0/15 198.51.100.0/24 203.0.113.0/24 "
    "224.0.0.0/4 240.0.0.0/4 "
    "::/96 64:ff9b::/96 64:ff9b:1::/48 100::/64 2001::/23 2001:db8::/32 2002::/16 3fff::/20 "
    "5f00::/16 fc00::/7 fe80::/10 fec0::/10 ff00::/8"
)
"""Special networks; ``::/96`` holds the unspecified and the loopback address too."""

_PRIVATE = _networks("10.0.0.0/8 127.0.0.0/8 172.16.0.0/12 192.168.0.0/16 ::1/128 fc00::/7")
"""What trying out may reach besides: this machine and private networks, never link-local."""

_LABEL = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?")
_PRINTABLE_ASCII = re.compile(r"[!-~]+")
_NUMBER = re.compile(r"[0-9]+|0x[0-9a-f]*")


def address_is_public(ip: str) -> bool:
    """Whether ``ip`` is an address of the public Internet that may be called.

    False for special networks, for text with a scope id, and for anything that is no address.
    """
    address = _parsed(ip)
    return address is not None and not _within(address, _NOT_PUBLIC)


def address_is_allowed(ip: str, *, allow_private: bool) -> bool:
    """As ``address_is_public``; with ``allow_private`` loopback and private networks pass too.

    Link-local (where clouds answer with their secrets), multicast and the rest never pass.
    """
    if address_is_public(ip):
        return True
    address = _parsed(ip)
    return allow_private and address is not None and _within(address, _PRIVATE)


def endpoint_url_fault(url: str, *, allow_private: bool) -> str | None:
    """What forbids ``url`` as a webhook endpoint, as a sentence naming the limit; None if nothing.

    ``allow_private`` permits plain http, any port, bare addresses and one-word names besides. What
    the name resolves to is another question: ``host_fault`` when registering, and every delivery.
    """
    shape = _text_fault(url)
    if shape is not None:
        return shape
    try:
        parsed = httpx.URL(url)
        host = parsed.host
    except (httpx.InvalidURL, UnicodeError):
        return "The URL cannot be read: write https://, a host name and a path."
    if parsed.scheme != "https" and not (allow_private and parsed.scheme == "http"):
        return "The URL must begin with https://."
    return _port_fault(parsed, allow_private=allow_private) or _host_text_fault(
        parsed.raw_host.decode("ascii") if host else "", allow_private=allow_private
    )


HOST_FAULT = "The host name must resolve, and to public addresses only."


async def host_fault(url: str, resolver: Resolver, *, allow_private: bool) -> str | None:
    """What forbids the addresses behind ``url`` (already free of ``endpoint_url_fault``).

    One sentence whether the name is unknown or leads inside, so that inner names stay hidden.
    """
    parsed = httpx.URL(url)
    try:
        found = await resolver(parsed.raw_host.decode("ascii"), port_of(parsed))
    except OSError:
        found = ()
    if found and all(address_is_allowed(ip, allow_private=allow_private) for ip in found):
        return None
    return HOST_FAULT


async def system_resolver(host: str, port: int) -> Sequence[str]:
    """Every address the operating system knows for ``host``, in its order, each once.

    Raises ``OSError`` if there is none.
    """
    found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return tuple(dict.fromkeys(str(entry[4][0]) for entry in found))


def port_of(url: httpx.URL) -> int:
    """The port ``url`` is called on: its own, or that of its scheme."""
    return url.port if url.port is not None else {"http": 80}.get(url.scheme, 443)


def _parsed(ip: str) -> _Address | None:
    """The address in ``ip``; IPv4 inside ``::ffff:0:0/96`` is taken out; scope ids are refused."""
    try:
        address = ip_address(ip)
    except ValueError:
        return None
    if isinstance(address, IPv4Address):
        return address
    if address.scope_id is not None:
        return None
    return IPv4Address(int(address) & 0xFFFF_FFFF) if address in _MAPPED else address


def _within(address: _Address, networks: tuple[_Network, ...]) -> bool:
    return any(address in network for network in networks)


def _text_fault(url: str) -> str | None:
    if not url or len(url) > URL_LENGTH_MAX:
        return f"The URL must have 1 to {URL_LENGTH_MAX} characters, not {len(url)}."
    if not _PRINTABLE_ASCII.fullmatch(url):
        return (
            "The URL may hold printable ASCII without blanks only: percent-encode the path and "
            "write an international host name in its xn-- form."
        )
    if "\\" in url:
        return "The URL may hold no backslash."
    if "#" in url:
        return "The URL may hold no fragment (#)."
    if "@" in url.partition("//")[2].partition("/")[0].partition("?")[0]:
        return "The URL may hold no user name or password (@)."
    return None


def _port_fault(url: httpx.URL, *, allow_private: bool) -> str | None:
    port = port_of(url)
    if allow_private:
        return None if 0 < port < 65_536 else "The port must be 1 to 65535."
    if port not in HTTPS_PORTS:
        return f"The port must be {' or '.join(map(str, HTTPS_PORTS))}, not {port}."
    return None


def _host_text_fault(host: str, *, allow_private: bool) -> str | None:
    if _parsed(host) is None and ":" not in host:
        return _name_fault(host, allow_private=allow_private)
    if not allow_private:
        return "The host must be a name, not a bare address."
    if not address_is_allowed(host, allow_private=True):
        return "The address is not one that may be called."
    return None


def _name_fault(host: str, *, allow_private: bool) -> str | None:
    """Also refuses names ending in a number: look-ups turn ``127.1`` into an address."""
    labels = host.split(".")
    if len(host) > 253 or not all(_LABEL.fullmatch(label) for label in labels):
        return "The host must be a name of letters, digits, hyphens and single dots."
    if _NUMBER.fullmatch(labels[-1]):
        return "The host must be a name, not a number in place of an address."
    if len(labels) == 1 and not allow_private:
        return "The host must be a full name with a dot in it."
    return None
