"""How the site is reached, as the environment says it: hosts, origins, proxies, HTTPS, and the key that signs.

Also who watches it from outside: the key of the metrics, and the address that is called while all is well.

`read_deployment` refuses in one sentence what would leave a site half protected.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from pathlib import Path
from urllib.parse import urlsplit

Network = IPv4Network | IPv6Network

MIN_KEY_LENGTH, MIN_KEY_LETTERS = 50, 10  # as long as the framework demands, with twice the different letters
LOCAL_HOSTS = "127.0.0.1,localhost,[::1]"
HSTS_SECONDS = 365 * 24 * 3600
# Asked on this machine by programs that do not speak HTTPS; none of them signs anybody in.
PROBE_PATHS = (r"^healthz$", r"^readyz$", r"^metrics$")
MIN_METRICS_KEY_LENGTH, MAX_METRICS_KEY_BYTES = 32, 4096
METRICS_KEY, METRICS_KEY_FILE = "GAUGEGLASS_METRICS_KEY", "GAUGEGLASS_METRICS_KEY_FILE"
WATCHER_URL, MAX_WATCHER_URL_LENGTH = "GAUGEGLASS_WATCHER_URL", 2000
# Printed and published: whoever has read the demonstration's papers knows them.
KNOWN_VALUES = (
    "gaugeglass_demo_rosa_field_key",
    "gg_demo_rosa_field_key",  # of earlier demonstrations
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
    metrics_key: str = ""
    watcher_url: str = ""

    @property
    def https_settings(self) -> Mapping[str, object]:
        """The framework's settings that HTTPS is made of; without it, those that only name cookies as not secure."""
        secure = {"SESSION_COOKIE_SECURE": self.is_https, "CSRF_COOKIE_SECURE": self.is_https}
        if not self.is_https:
            return secure
        return {
            **secure,
            "SECURE_SSL_REDIRECT": True,
            "SECURE_REDIRECT_EXEMPT": list(PROBE_PATHS),
            "SECURE_HSTS_SECONDS": HSTS_SECONDS,
            # A middleware drops this header from whoever is no named proxy.
            "SECURE_PROXY_SSL_HEADER": ("HTTP_X_FORWARDED_PROTO", "https"),
            # The site speaks for its own host only: neither for the hosts below it, nor for a list in browsers.
            "SILENCED_SYSTEM_CHECKS": ["security.W005", "security.W021"],
        }


def read_deployment(environ: Mapping[str, str], kept_key: str = "") -> Deployment:
    """Return what the environment says; `kept_key` is the data folder's, used where the environment has none.

    Raises UnfitDeployment for a weak key, for HTTPS without hosts, origins and proxies named, and for an address of a
    watcher that would be called in the clear.
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
        metrics_key=_read_metrics_key(environ),
        watcher_url=_check_watcher_url(environ.get(WATCHER_URL, "")),
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


def _read_metrics_key(environ: Mapping[str, str]) -> str:
    """Return the key that opens the metrics to other machines, "" for none. It is given itself, or in a file."""
    key, path = environ.get(METRICS_KEY, ""), environ.get(METRICS_KEY_FILE, "")
    if key and path:
        raise UnfitDeployment(f"Give {METRICS_KEY} or {METRICS_KEY_FILE}, and not both.")
    if path:
        key = _read_key_file(Path(path))
    elif not key:
        return ""
    is_strong = len(key) >= MIN_METRICS_KEY_LENGTH and len(set(key)) >= MIN_KEY_LETTERS
    if not is_strong or not key.isascii() or not key.isprintable() or " " in key:
        raise UnfitDeployment(
            f"{METRICS_KEY_FILE if path else METRICS_KEY} is too weak: give it at least {MIN_METRICS_KEY_LENGTH} "
            f"letters, digits and signs without spaces, at least {MIN_KEY_LETTERS} of them different."
        )
    return key


def _read_key_file(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return file.read(MAX_METRICS_KEY_BYTES).decode().strip()
    except (OSError, ValueError):
        raise UnfitDeployment(
            f"{METRICS_KEY_FILE} cannot be read: it is a text file that the account of the site may read."
        ) from None


def _check_watcher_url(url: str) -> str:
    """Return the address of an outside watcher, "" for none. It may hold a secret, so no fault repeats it."""
    if not url:
        return ""
    if not _is_watcher_url(url):
        raise UnfitDeployment(
            f"{WATCHER_URL} is an address that begins with https://, such as https://watch.example/boilers, or with "
            "http:// on this machine."
        )
    return url


def _is_watcher_url(url: str) -> bool:
    is_plain = (
        url.isascii() and url.isprintable() and not set(url) & set(' "<>\\') and len(url) <= MAX_WATCHER_URL_LENGTH
    )
    try:
        parts = urlsplit(url)
        has_host = bool(parts.hostname) and parts.port != 0
    except ValueError:  # a port that is no number
        return False
    has_user = "@" in parts.netloc
    is_private = parts.scheme == "https" or (parts.scheme == "http" and is_loopback(parts.hostname or ""))
    return is_plain and has_host and is_private and not has_user and not parts.fragment


def is_loopback(host: str) -> bool:
    """Return whether a host is this machine by its address, also in the form that IPv6 gives an address of IPv4."""
    if host == "localhost":
        return True
    try:
        address = ip_address(host)
    except ValueError:
        return False
    return (getattr(address, "ipv4_mapped", None) or address).is_loopback


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
