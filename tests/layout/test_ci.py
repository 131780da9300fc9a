"""The script of the checks: what it installs, that nothing it runs can fail unseen, and where its tests come from."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.layout.tree import ROOT

TOOLS = ("awk", "bash", "cat", "chmod", "cp", "dirname", "env", "mkdir", "mktemp", "rm")
README = "# A site\n\n```\nother\n```\n\n<!-- tests -->\n```bash\n{}\n```\n\n```\nother\n```\n"
COMMAND = "mkdir -p .venv/bin && cp linters/* .venv/bin/ && echo '== 3 passed, by pytest =='"
# Fails on its first call, as a mirror that is being renewed does, and notes every call.
APT_GET = "#!/bin/bash\necho \"$*\" >>apt.log\n[[ $(<apt.log) == *$'\\n'* ]] || exit 100\n"


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A machine where every command is a stand-in: linters that pass, a Python with venv, a Chromium."""
    for folder in ("bin", "linters", ".ci"):
        (tmp_path / folder).mkdir()
    for tool in TOOLS:
        (tmp_path / "bin" / tool).symlink_to(shutil.which(tool) or tool)
    programs = ("python3", "chromium", "nginx", "caddy", "openssl")
    for name in (*(f"bin/{program}" for program in programs), "linters/ruff", "linters/mypy", "linters/lint-imports"):
        script(tmp_path / name, "#!/bin/bash\nexit 0\n")
    shutil.copy(ROOT / ".ci/run", tmp_path / ".ci/run")
    (tmp_path / "README.md").write_text(README.format(COMMAND))
    return tmp_path


def script(path: Path, text: str) -> None:
    path.write_text(text)
    path.chmod(0o755)


def run(bench: Path) -> tuple[int, list[str]]:
    """Run the checks on the bench with nothing but its own commands; return the code and the lines said."""
    done = subprocess.run(
        [str(bench / ".ci/run")],
        env={"PATH": str(bench / "bin"), "TMPDIR": str(bench)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout.splitlines()


def test_the_script_may_be_run() -> None:
    assert os.access(ROOT / ".ci/run", os.X_OK)


def test_the_readme_gives_one_command_for_the_tests() -> None:
    before, _, after = (ROOT / "README.md").read_text().partition("\n<!-- tests -->\n```")
    assert before
    assert "python -m pytest" in after.partition("\n```")[0]


def test_when_all_is_well_the_summary_of_the_tests_is_last(bench: Path) -> None:
    code, said = run(bench)
    assert (code, said[-1]) == (0, "== 3 passed, by pytest ==")


@pytest.mark.parametrize("linter", ["ruff", "mypy", "lint-imports"])
def test_a_failing_linter_fails_the_run_after_the_tests(bench: Path, linter: str) -> None:
    script(bench / "linters" / linter, "#!/bin/bash\nexit 1\n")
    code, said = run(bench)
    assert code == 1
    assert said[said.index("== 3 passed, by pytest ==") + 1].startswith(f"failed: .venv/bin/{linter}")


def test_failing_tests_fail_the_run(bench: Path) -> None:
    (bench / "README.md").write_text(README.format(COMMAND.replace("echo", "! echo")))
    code, said = run(bench)
    assert code == 1
    assert said[-1].startswith("failed: bash")


def test_a_failing_setup_stops_the_run(bench: Path) -> None:
    shutil.rmtree(bench / "linters")
    code, said = run(bench)
    assert code != 0
    assert "== 3 passed, by pytest ==" not in said


@pytest.mark.parametrize("text", ["# A site\n", README.format("pytest"), README.format("a && b")])
def test_a_readme_without_the_command_stops_the_run(bench: Path, text: str) -> None:
    (bench / "README.md").write_text(text)
    code, said = run(bench)
    assert code == 1
    assert said[-1].startswith("README.md: no ") is True


def test_a_missing_browser_is_installed_at_the_second_try(bench: Path) -> None:
    (bench / "bin/chromium").unlink()
    script(bench / "bin/apt-get", APT_GET)
    code, _ = run(bench)
    assert code == 0
    calls = (bench / "apt.log").read_text().splitlines()
    assert [call.split()[0] for call in calls] == ["update", "update", "install"]
    assert "chromium" in calls[-1].split()


@pytest.mark.parametrize("missing", ["nginx", "caddy", "openssl"])
def test_missing_servers_of_the_papers_are_installed_and_not_started(bench: Path, missing: str) -> None:
    (bench / "bin" / missing).unlink()
    script(bench / "bin/apt-get", '#!/bin/bash\necho "$RUNLEVEL $*" >>apt.log\n')
    code, _ = run(bench)
    assert code == 0
    runlevel, *words = (bench / "apt.log").read_text().splitlines()[-1].split()
    assert runlevel == "1"
    assert {"install", "nginx-light", "caddy", "openssl"} <= set(words)


def test_a_browser_that_cannot_be_installed_stops_the_run(bench: Path) -> None:
    (bench / "bin/chromium").unlink()
    script(bench / "bin/apt-get", "#!/bin/bash\nexit 100\n")
    code, said = run(bench)
    assert (code, len([line for line in said if line.startswith("apt-get failed")])) == (1, 2)


def test_a_python_without_environments_gets_them(bench: Path) -> None:
    script(bench / "bin/python3", "#!/bin/bash\n[[ -e apt.log && $(<apt.log) == *python3-venv* ]]\n")
    script(bench / "bin/apt-get", APT_GET)
    code, _ = run(bench)
    assert code == 0
