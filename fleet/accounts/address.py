"""Where a request comes from, as far as it can be believed, for counting what comes from there."""

import ipaddress
from collections.abc import Mapping
from typing import Any

from django.conf import settings

UNREADABLE = "unreadable"
ONE_HOLDER = 64  # bits: what one connection is usually given of IPv6, or more (common practice)


def address_of(meta: Mapping[str, Any]) -> str:
    """The sender's address: the connection's, or behind so many proxies of one's own what the outermost of them saw.

    Whatever stands further left in X-Forwarded-For was written by whoever sent it.
    """
    connected = str(meta.get("REMOTE_ADDR", ""))
    seen = [a.strip() for a in str(meta.get("HTTP_X_FORWARDED_FOR", "")).split(",") if a.strip()]
    trusted = settings.PROXIES
    return _holder(seen[-min(trusted, len(seen))] if trusted and seen else connected)


def _holder(address: str) -> str:
    """An IPv4 address; of IPv6 the network, in which one holder has any number of addresses."""
    try:
        read = ipaddress.ip_address(address)
    except ValueError:
        return UNREADABLE
    if isinstance(read, ipaddress.IPv4Address):
        return str(read)
    return str(read.ipv4_mapped or ipaddress.ip_network((read, ONE_HOLDER), strict=False))
