"""The address of a receiver on the web, read strictly: what two readers could read differently is refused. PURE."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import urlsplit

from fleet.notices.channels.outbound.public_addresses import Address, Network, is_allowed

MAX_URL_LENGTH = 2000
PRINTABLE = re.compile(r"[\x21\x23-\x5b\x5d\x5f\x61-\x7a\x7e]+")  # ASCII without ", \, ^, `, {, | and }
HOST_NAME = re.compile(r"(?!-)[a-z0-9_-]{1,63}(?:\.[a-z0-9_-]{1,63})*\.?")
DEFAULT_PORTS = {"https": 443, "http": 80}
FIRST_FREE_PORT = 1024  # below it listen mail, names, remote control and others, which must not be talked to


class UnfitTarget(ValueError):
    """Raised for an address to which nothing is sent; its text is a sentence."""


@dataclass(frozen=True, slots=True)
class TargetUrl:
    """Where a request goes. `path` carries the query; `literal` is the host where it is an address and not a name."""

    scheme: str
    host: str
    port: int
    path: str
    literal: Address | None

    @property
    def host_header(self) -> str:
        """The host as a request names it."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == DEFAULT_PORTS[self.scheme] else f"{host}:{self.port}"

    @property
    def origin(self) -> str:
        """Scheme, host and port."""
        return f"{self.scheme}://{self.host_header}"


def read_target(text: str, networks: Sequence[Network] = ()) -> TargetUrl:
    """Return the target that an address names. Raises UnfitTarget.

    What a name stands for is only known when it is connected to, so it is checked again there.
    """
    target = _split_url(text)
    if target.port not in DEFAULT_PORTS.values() and target.port < FIRST_FREE_PORT:
        raise UnfitTarget(f"Port {target.port} is not for receivers: use 443, 80 or one from {FIRST_FREE_PORT} on.")
    if target.scheme == "http" and not networks:
        raise UnfitTarget("The address has to begin with https://.")
    if target.literal and not is_allowed(target.literal, networks):
        raise UnfitTarget("The address is in a network that this site does not send to.")
    if target.literal and target.scheme == "http" and not any(target.literal in network for network in networks):
        raise UnfitTarget("Outside the networks that the operator names the address has to begin with https://.")
    return target


def _split_url(text: str) -> TargetUrl:
    if len(text) > MAX_URL_LENGTH or not PRINTABLE.fullmatch(text):
        raise UnfitTarget(f"A web address has at most {MAX_URL_LENGTH} characters, ASCII letters and no spaces.")
    try:
        url = urlsplit(text)
        host, port = (url.hostname or "").lower(), url.port
    except ValueError:
        raise UnfitTarget("This is not a web address.") from None
    if url.scheme not in DEFAULT_PORTS:
        raise UnfitTarget("The address has to begin with https://.")
    if "@" in url.netloc:
        raise UnfitTarget("The address may hold no user and no password: everybody who sees it would know them.")
    literal = _read_literal(host, is_bracketed="[" in url.netloc)
    if not literal and not HOST_NAME.fullmatch(host):
        raise UnfitTarget("This is not a web address: its host is no name.")
    path = (url.path or "/") + (f"?{url.query}" if url.query else "")
    return TargetUrl(
        scheme=url.scheme,
        host=host,
        port=DEFAULT_PORTS[url.scheme] if port is None else port,
        path=path,
        literal=literal,
    )


def _read_literal(host: str, *, is_bracketed: bool) -> Address | None:
    """Return the address that a host is, None for a name. Raises UnfitTarget for brackets around anything else."""
    try:
        address = ip_address(host)
    except ValueError:
        address = None
    if is_bracketed and (address is None or address.version != 6 or "%" in host):
        raise UnfitTarget("This is not a web address: between brackets stands no IPv6 address.")
    return address
