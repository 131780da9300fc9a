"""What lies at the top of the repository, and what no file of it may contain."""

import re
import subprocess
from pathlib import Path

import pytest

from tests.layout.tree import ROOT, listed, tree_files

ALLOWED = {"README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml"}
ALLOWED_FOLDERS = {"fleet", "api", "templates", "tests", "fixtures"}

# Put together here, so that this file does not hold what it looks for.
HOSTS = [
    ".".join(parts)
    for parts in [
        ("pypi", "org"),
        ("files", "pythonhosted", "org"),
        ("registry", "npmjs", "org"),
        ("registry", "yarnpkg", "com"),
        ("npmjs", "com"),
        ("unpkg", "com"),
        ("cdn", "jsdelivr", "net"),
        ("cdnjs", "cloudflare", "com"),
        ("esm", "sh"),
        ("anaconda", "org"),
        ("crates", "io"),
        ("proxy", "golang", "org"),
        ("rubygems", "org"),
        ("docker", "io"),
        ("ghcr", "io"),
        ("quay", "io"),
        ("deb", "debian", "org"),
        ("archive", "ubuntu", "com"),
    ]
]
REGISTRY = re.compile(r"(?<![\w-])(" + "|".join(re.escape(host) for host in HOSTS) + r")(?![\w-])", re.IGNORECASE)
# "/work/" alone may well be a page of the site; with these folders in it, it is somebody's disk.
FOLDERS = [
    "/" + "home/[a-z]",
    "/" + "root/",
    "/" + "Users/[A-Za-z]",
    "/" + "work/(main|shared|venv|\\.)",
    "[A-Z]:\\\\Users",
]
MACHINE = re.compile(r"(?<![\w.~})/-])(" + "|".join(FOLDERS) + ")")


def strangers(root: Path) -> list[str]:
    """Return what lies at the top without a right to; hidden names are the tools' own."""
    tops = {path.relative_to(root).parts for path in tree_files(root)}
    files = {parts[0] for parts in tops if len(parts) == 1} - ALLOWED
    folders = {parts[0] for parts in tops if len(parts) > 1} - ALLOWED_FOLDERS
    return sorted(name for name in files | folders if not name.startswith("."))


def lines_with(pattern: re.Pattern[str], root: Path) -> list[str]:
    """Return `file:line: what` for each line of a text file of the tree that matches."""
    found = []
    for path in tree_files(root):
        text = path.read_bytes().decode(errors="replace")
        for number, line in enumerate(text.splitlines() if pattern.search(text) else (), 1):
            if match := pattern.search(line):
                found.append(f"{path.relative_to(root)}:{number}: {match[0]}")
    return found


def test_only_the_named_files_and_folders_are_at_the_top() -> None:
    assert strangers(ROOT) == []


def test_the_files_a_reader_looks_for_are_there() -> None:
    assert [name for name in sorted(ALLOWED) if not (ROOT / name).is_file()] == []


def test_no_file_names_the_host_of_a_package_registry() -> None:
    faults = lines_with(REGISTRY, ROOT)
    assert not faults, listed(faults)


def test_no_file_holds_a_path_of_somebodys_machine() -> None:
    faults = lines_with(MACHINE, ROOT)
    assert not faults, listed(faults)


@pytest.mark.parametrize("with_git", [True, False])
def test_a_stranger_at_the_top_is_found(tmp_path: Path, with_git: bool) -> None:
    for name in ["README.md", "fleet/errors.py", ".ci/run", "gaugeglass.egg-info/PKG-INFO", "notes.txt", "docs/a.md"]:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    (tmp_path / ".gitignore").write_text("*.egg-info/\n")
    if with_git:
        subprocess.run(["git", "init", "-q"], cwd=tmp_path, check=True)
    assert strangers(tmp_path) == ["docs", "notes.txt"]


@pytest.mark.parametrize(
    "line", [f"see https://{HOSTS[0]}/simple", f"index = {HOSTS[2]}", f"HTTPS://{HOSTS[0].upper()}"]
)
def test_a_planted_registry_is_found(tmp_path: Path, line: str) -> None:
    (tmp_path / "README.md").write_text(f"one\n{line}\n")
    assert len(lines_with(REGISTRY, tmp_path)) == 1


@pytest.mark.parametrize("folder", ["home/ann/gg", "root/x", "Users/Ann/x", "work/main/fleet", "work/shared/a.md"])
def test_a_planted_path_is_found(tmp_path: Path, folder: str) -> None:
    (tmp_path / "run").write_text(f"cd '/{folder}'\n")
    assert lines_with(MACHINE, tmp_path) == [f"run:1: {MACHINE.search(f'/{folder}')[0]}"]  # type: ignore[index]


@pytest.mark.parametrize("line", ["client.get('/work/')", "https://example.org/home/page", "$HOME/x", "~/root/x"])
def test_an_address_of_the_site_is_no_path_of_a_machine(tmp_path: Path, line: str) -> None:
    (tmp_path / "run").write_text(line)
    assert lines_with(MACHINE, tmp_path) == []
