"""The address a request comes from, as far as it can be trusted, for counting requests."""

import ipaddress
from collections.abc import Mapping

from django.conf import settings

UNREADABLE = "unreadable"
HOLDER_PREFIX_BITS = 64  # bits: one connection usually has a /64 of IPv6 (common practice)


def address_of(meta: Mapping[str, object]) -> str:
    """Return the sender's address: the connection's, or what the outermost trusted proxy saw.

    Proxies are named by PROXY_NETWORKS, or counted by PROXIES whoever connects. Entries further left in X-Forwarded-For
    are written by the sender and not used.
    """
    connected = str(meta.get("REMOTE_ADDR", ""))
    forwarded = [a.strip() for a in str(meta.get("HTTP_X_FORWARDED_FOR", "")).split(",") if a.strip()]
    if settings.PROXY_NETWORKS:
        return _address_holder(_outermost_seen([*forwarded, connected]))
    trusted = settings.PROXIES
    return _address_holder(forwarded[-min(trusted, len(forwarded))] if trusted and forwarded else connected)


def _address_holder(address: str) -> str:
    """Return an IPv4 address, or the /64 network of an IPv6 address: one holder has all addresses in it."""
    try:
        read = ipaddress.ip_address(address)
    except ValueError:
        return UNREADABLE
    if isinstance(read, ipaddress.IPv4Address):
        return str(read)
    return str(read.ipv4_mapped or ipaddress.ip_network((read, HOLDER_PREFIX_BITS), strict=False))


def is_named_proxy(address: str) -> bool:
    """Return whether this is the address of a proxy that PROXY_NETWORKS names."""
    try:
        read = ipaddress.ip_address(address)
    except ValueError:
        return False
    plain = getattr(read, "ipv4_mapped", None) or read
    return any(plain.version == network.version and plain in network for network in settings.PROXY_NETWORKS)


def _outermost_seen(hops: list[str]) -> str:
    """Return the nearest of the hops, from the sender to the connection, that is no named proxy; else the first."""
    return next((hop for hop in reversed(hops) if not is_named_proxy(hop)), hops[0])
