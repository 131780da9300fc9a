"""The address a request comes from, as far as it can be trusted, for counting requests."""

import ipaddress
from collections.abc import Mapping
from typing import Any

from django.conf import settings

UNREADABLE = "unreadable"
HOLDER_PREFIX_BITS = 64  # bits: one connection usually has a /64 of IPv6 (common practice)


def address_of(meta: Mapping[str, Any]) -> str:
    """Return the sender's address: the connection's, or with PROXIES trusted proxies what the outermost of them saw.

    Entries further left in X-Forwarded-For are written by the sender and not used.
    """
    connected = str(meta.get("REMOTE_ADDR", ""))
    forwarded = [a.strip() for a in str(meta.get("HTTP_X_FORWARDED_FOR", "")).split(",") if a.strip()]
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
