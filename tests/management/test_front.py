"""The configurations of BEHIND_A_FRONT.md are read from the paper and held against each server's own check."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from fleet.deployment import read_deployment
from tests.management.machine import ROOT
from tests.servers import need

PAPER = (ROOT / "fleet" / "management" / "BEHIND_A_FRONT.md").read_text(encoding="utf-8")
NGINX = """
pid {folder}/nginx.pid;
error_log stderr;
events {{}}
http {{
    access_log off;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
{servers}
}}
"""


def text_of(kind: str) -> str:
    """The text that stands in the paper between these fences."""
    [text] = re.findall(rf"^```{kind}\n(.*?)^```$", PAPER, re.MULTILINE | re.DOTALL)
    return str(text)


def test_the_paper_sets_what_https_demands() -> None:
    first = next(iter(re.findall(r"^```sh\n(.*?)^```$", PAPER, re.MULTILINE | re.DOTALL)))
    environ = dict(re.findall(r"^export (\w+)=(.*)$", first, re.MULTILINE))
    assert read_deployment(environ).is_https


def certificate(folder: Path) -> None:
    subject = ("-subj", "/CN=boilers.example", "-addext", "subjectAltName=DNS:boilers.example")
    out = ("-keyout", str(folder / "key.pem"), "-out", str(folder / "cert.pem"))
    argv = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", *subject, *out]
    subprocess.run(argv, check=True, capture_output=True)


def test_nginx_takes_the_configuration_of_the_paper(tmp_path: Path) -> None:
    need("nginx", shutil.which("nginx", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin"))
    need("openssl", shutil.which("openssl"))
    certificate(tmp_path)
    servers = text_of("nginx").replace("/etc/ssl/boilers.example", str(tmp_path))
    for plain, ours in (("80", "8290"), ("443", "8291")):
        servers = re.sub(rf"(listen (?:\[::\]:)?){plain}\b", rf"\g<1>{ours}", servers)
    (tmp_path / "nginx.conf").write_text(NGINX.format(folder=tmp_path, servers=servers))
    nginx = shutil.which("nginx", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")
    assert nginx is not None
    argv = [nginx, "-t", "-e", "stderr", "-c", str(tmp_path / "nginx.conf")]
    result = subprocess.run(argv, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stderr
    assert "[warn]" not in result.stderr, result.stderr


def test_caddy_takes_the_configuration_of_the_paper(tmp_path: Path) -> None:
    need("caddy", shutil.which("caddy"))
    (tmp_path / "Caddyfile").write_text(text_of("caddy"))
    argv = ["caddy", "validate", "--adapter", "caddyfile", "--config", str(tmp_path / "Caddyfile")]
    env = {"HOME": str(tmp_path), "PATH": "/usr/bin:/bin"}
    result = subprocess.run(argv, capture_output=True, text=True, env=env, check=False)
    assert result.returncode == 0, result.stderr
    assert "Valid configuration" in result.stdout, result.stderr


@pytest.mark.parametrize("kind", ["nginx", "caddy"])
def test_a_front_hands_on_the_limit_of_a_file_with_its_form(kind: str) -> None:
    [most] = re.findall(r"(?:client_max_body_size|max_size) (\d+)", text_of(kind))
    assert int(most) == 21  # the site's 20 MiB and the form around it
