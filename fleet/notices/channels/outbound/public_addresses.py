"""Which addresses a request may go to: those of the public internet, and the networks that the operator names. PURE.

The tables follow IANA's registries of special-purpose addresses, since the interpreter's own answer differs by version.
"""

from collections.abc import Iterable
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_network

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network

NOT_PUBLIC_V4 = tuple(
    IPv4Network(text)
    for text in (
        "0.0.0.0/8",  # this network
        "10.0.0.0/8",  # private
        "100.64.0.0/10",  # shared by the customers of a provider
        "127.0.0.0/8",  # loopback
        "169.254.0.0/16",  # link-local: where clouds answer with their keys
        "172.16.0.0/12",  # private
        "192.0.0.0/24",  # protocol assignments
        "192.0.2.0/24",  # documentation
        "192.88.99.0/24",  # 6to4 relays
        "192.168.0.0/16",  # private
        "198.18.0.0/15",  # benchmarks
        "198.51.100.0/24",  # documentation
        "203.0.113.0/24",  # documentation
        "224.0.0.0/4",  # multicast
        "240.0.0.0/4",  # reserved, and broadcast
    )
)
PUBLIC_V6 = IPv6Network("2000::/3")  # all that is assigned for use as a global unicast address
NOT_PUBLIC_V6 = tuple(
    IPv6Network(text)
    for text in (
        "2001::/23",  # protocol assignments, Teredo among them, which wraps an IPv4 address
        "2001:db8::/32",  # documentation
        "2002::/16",  # 6to4, which wraps an IPv4 address
        "3fff::/20",  # documentation
    )
)
NAT64 = IPv6Network("64:ff9b::/96")  # the last four bytes are the IPv4 address that is meant (RFC 6052)


def is_allowed(address: Address, networks: Iterable[Network]) -> bool:
    """Return whether a request may go to an address: a public one, or one of the operator's networks."""
    return any(address in network for network in networks) or is_public(address)


def is_public(address: Address) -> bool:
    """Return whether an address is global unicast. One that wraps an IPv4 address (IPv4-mapped, 6to4) is not."""
    if isinstance(address, IPv4Address):
        return not any(address in network for network in NOT_PUBLIC_V4)
    if address in NAT64:
        return is_public(IPv4Address(int(address) & 0xFFFFFFFF))
    return address in PUBLIC_V6 and not any(address in network for network in NOT_PUBLIC_V6)


def read_networks(text: str) -> tuple[Network, ...]:
    """Return the networks of a list with commas between. Raises ValueError for what is none."""
    return tuple(ip_network(part.strip()) for part in text.split(",") if part.strip())
