"""How the site is reached, as the environment says it: hosts, origins, proxies, HTTPS, and the key that signs.

`read_deployment` refuses in one sentence what would leave a site half protected.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_network
from urllib.parse import urlsplit

Network = IPv4Network | IPv6Network

MIN_KEY_LENGTH, MIN_KEY_LETTERS = 50, 10  # as long as the framework demands, with twice the different letters
LOCAL_HOSTS = "127.0.0.1,localhost,[::1]"
HSTS_SECONDS = 365 * 24 * 3600
# Printed and published: whoever has read the demonstration's papers knows them.
KNOWN_VALUES = (
    "gg_demo_rosa_field_key",
    "copper-ladle-42",
    "brass-union-17",
    "slate-roof-93",
    "coal-chute-58",
    "lamp-oil-71",
)


class UnfitDeployment(Exception):
    """Raised for settings with which the site does not start; its text is one sentence for whoever starts it."""


@dataclass(frozen=True, slots=True)
class Deployment:
    """How the site is reached. `proxy_count` is 0 where the proxies are named by `proxy_networks`."""

    secret_key: str
    hosts: list[str]
    origins: list[str]
    is_https: bool
    proxy_count: int
    proxy_networks: tuple[Network, ...]

    @property
    def https_settings(self) -> Mapping[str, object]:
        """The framework's settings that HTTPS is made of; without it, those that only name cookies as not secure."""
        secure = {"SESSION_COOKIE_SECURE": self.is_https, "CSRF_COOKIE_SECURE": self.is_https}
        if not self.is_https:
            return secure
        return {
            **secure,
            "SECURE_SSL_REDIRECT": True,
            "SECURE_HSTS_SECONDS": HSTS_SECONDS,
            # A middleware drops this header from whoever is no named proxy.
            "SECURE_PROXY_SSL_HEADER": ("HTTP_X_FORWARDED_PROTO", "https"),
            # The site speaks for its own host only: neither for the hosts below it, nor for a list in browsers.
            "SILENCED_SYSTEM_CHECKS": ["security.W005", "security.W021"],
        }


def read_deployment(environ: Mapping[str, str], kept_key: str = "") -> Deployment:
    """Return what the environment says; `kept_key` is the data folder's, used where the environment has none.

    Raises UnfitDeployment for a weak key, and for HTTPS without hosts, origins and proxies named.
    """
    count, networks = _read_proxies(environ.get("GAUGEGLASS_PROXIES", ""))
    deployment = Deployment(
        secret_key=_check_key(environ.get("GAUGEGLASS_SECRET_KEY", ""))
        # If no key is given, a random one is used, never a guessable one; `demo` and `up` keep one in the data folder.
        or kept_key
        or os.urandom(32).hex(),
        hosts=_split_list(environ.get("GAUGEGLASS_HOSTS", LOCAL_HOSTS)),
        origins=_split_list(environ.get("GAUGEGLASS_ORIGINS", "")),
        is_https=_read_switch(environ.get("GAUGEGLASS_HTTPS", "")),
        proxy_count=count,
        proxy_networks=networks,
    )
    if deployment.is_https:
        _check_https(deployment)
    return deployment


def _check_key(key: str) -> str:
    if not key:
        return ""
    if len(key) < MIN_KEY_LENGTH or len(set(key)) < MIN_KEY_LETTERS:
        raise UnfitDeployment(
            f"GAUGEGLASS_SECRET_KEY is too weak: give it at least {MIN_KEY_LENGTH} characters, at least "
            f"{MIN_KEY_LETTERS} of them different, or leave it out and a random one is kept in the data folder."
        )
    is_repeated = key in (key + key)[1:-1]  # a shorter text over and over
    if is_repeated or any(value in key.casefold() for value in KNOWN_VALUES) or key.startswith("django-insecure-"):
        raise UnfitDeployment("GAUGEGLASS_SECRET_KEY holds a value that is known to all: make a random one.")
    return key


def _check_https(deployment: Deployment) -> None:
    own_hosts = [host for host in deployment.hosts if host not in _split_list(LOCAL_HOSTS)]
    if not own_hosts or any("*" in host for host in own_hosts):
        raise UnfitDeployment(
            "GAUGEGLASS_HTTPS=1 needs GAUGEGLASS_HOSTS: the names of the site, such as boilers.example, without a *."
        )
    if not deployment.origins or not all(_is_own_origin(origin, own_hosts) for origin in deployment.origins):
        raise UnfitDeployment(
            "GAUGEGLASS_HTTPS=1 needs GAUGEGLASS_ORIGINS: each https:// and a name of GAUGEGLASS_HOSTS, such as "
            "https://boilers.example."
        )
    if not deployment.proxy_networks or any(network.prefixlen < 8 for network in deployment.proxy_networks):
        raise UnfitDeployment(
            "GAUGEGLASS_HTTPS=1 needs GAUGEGLASS_PROXIES: the addresses of the servers in front, such as 127.0.0.1; "
            "only they are believed."
        )


def _is_own_origin(origin: str, hosts: list[str]) -> bool:
    parts = urlsplit(origin)
    is_bare = not parts.path and not parts.query
    return parts.scheme == "https" and is_bare and any(_is_host(parts.hostname or "", host) for host in hosts)


def _is_host(name: str, host: str) -> bool:
    """Return whether a name is a host as ALLOWED_HOSTS writes it: with a point before it, those below it too."""
    return name == host.lstrip(".").lower() or (host.startswith(".") and name.endswith(host.lower()))


def _read_switch(text: str) -> bool:
    if text not in ("", "0", "1"):
        raise UnfitDeployment(f"GAUGEGLASS_HTTPS is 1 or 0, and not {text[:20]!r}.")
    return text == "1"


def _read_proxies(text: str) -> tuple[int, tuple[Network, ...]]:
    """Return a count of proxies, or their addresses and networks. Raises UnfitDeployment for anything else."""
    parts = _split_list(text)
    if not parts:
        return 0, ()
    if len(parts) == 1 and parts[0].isdecimal():
        return int(parts[0]), ()
    try:
        return 0, tuple(ip_network(part) for part in parts)
    except ValueError:
        raise UnfitDeployment(
            "GAUGEGLASS_PROXIES is a number, or addresses and networks with commas between, such as "
            "127.0.0.1,10.1.0.0/16."
        ) from None


def _split_list(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]
