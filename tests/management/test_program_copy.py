"""Interpreter, packages and code in a private home are copied once to where the site's account reads them."""

import errno
import os
import stat
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from fleet.management.embedded import MachineError, program_copy
from fleet.management.embedded.account import Account
from fleet.management.embedded.processes import Program
from fleet.management.embedded.program_copy import CopiedPart, ProgramPlace, program_place
from fleet.management.embedded.site_accounts import SiteAccounts, choose_accounts
from tests.servers import need

CODE = ("fleet", "manage.py")
ASK = "import sys, fleet.errors, django; print(fleet.errors.__file__, django.__file__, sys.executable)"


@pytest.fixture
def account(home: Path, monkeypatch: pytest.MonkeyPatch) -> Account:
    """The account of the site; copies go below `home`."""
    need("root, since only then the site changes its account", os.geteuid() == 0)
    monkeypatch.setattr(program_copy, "COPIES", home / "copies")
    return choose_accounts("test").site


@pytest.fixture
def private_clone(home: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A clone below a private home, in place of the one that runs."""
    clone = home / "private" / "clone"
    (clone / "fleet").mkdir(parents=True)
    (home / "private").chmod(0o700)
    for name in ("fleet/__init__.py", "fleet/errors.py", "manage.py"):
        (clone / name).write_text("")
    monkeypatch.setattr(program_copy, "ROOT", clone)
    return clone


def run(place: ProgramPlace, root: Path, code: str = ASK) -> str:
    program = place.move_program(Program("ask", (sys.executable, "-c", code), {"PATH": "/usr/bin:/bin"}, cwd=str(root)))
    return subprocess.run(
        program.argv,
        env=program.env,
        cwd=program.cwd,
        capture_output=True,
        text=True,
        check=True,
        **account_options(place),
    ).stdout


def account_options(place: ProgramPlace) -> dict[str, object]:
    return place.account.spawn_options


def copies(home: Path) -> list[Path]:
    return sorted((home / "copies").glob("program-*"))


def test_code_in_a_private_home_is_copied_once_and_run_from_there(
    home: Path, account: Account, private_clone: Path
) -> None:
    told: list[str] = []
    for _ in range(2):
        with program_place(SiteAccounts(account, account), CODE, told.append) as place:
            assert run(place, private_clone).startswith(f"{place.root}/fleet/errors.py")
            assert Path(place.root).is_relative_to(home / "copies")
    assert len(told) == len(copies(home)) == 1
    assert told[0].startswith(f"Copying Gaugeglass and its Python to {home}/copies, where gaugeglass can read them")


def test_the_copy_belongs_to_root_and_nobody_else_may_write_in_it(
    home: Path, account: Account, private_clone: Path
) -> None:
    (private_clone / "fleet" / "errors.py").chmod(0o666)
    with program_place(SiteAccounts(account, account), CODE, print) as place:
        made = [path for path in (Path(place.root).parent).rglob("*") if not path.is_symlink()]
        assert {path.stat().st_uid for path in made} == {0}
        assert not [path for path in made if path.stat().st_mode & 0o022]
    assert stat.S_IMODE((private_clone / "fleet" / "errors.py").stat().st_mode) == 0o666
    assert stat.S_IMODE((home / "private").stat().st_mode) == 0o700


def test_code_that_changed_is_copied_anew_and_the_older_copy_goes_once_no_site_uses_it(
    home: Path, account: Account, private_clone: Path
) -> None:
    with program_place(SiteAccounts(account, account), CODE, print) as older:
        (private_clone / "fleet" / "errors.py").write_text("pass")
        with program_place(SiteAccounts(account, account), CODE, print) as newer:
            assert older.root != newer.root
            assert len(copies(home)) == 2
            assert Path(older.root).exists()
    with program_place(SiteAccounts(account, account), CODE, print) as last:
        assert last.root == newer.root
        assert len(copies(home)) == 1


def test_bytecode_beside_the_code_makes_no_new_copy(home: Path, account: Account, private_clone: Path) -> None:
    with program_place(SiteAccounts(account, account), CODE, print):
        (private_clone / "fleet" / "__pycache__").mkdir(exist_ok=True)
        (private_clone / "fleet" / "__pycache__" / "errors.pyc").write_text("")
    with program_place(SiteAccounts(account, account), CODE, print):
        assert len(copies(home)) == 1


def test_what_the_account_can_read_is_not_copied(home: Path, account: Account, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(program_copy, "_find_unreadable", lambda *_: [])
    with program_place(SiteAccounts(account, account), CODE, print) as place:
        assert (place.python, place.root) == (sys.executable, str(program_copy.ROOT))
    assert copies(home) == []


def test_an_ordinary_user_runs_what_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(program_copy, "_find_unreadable", lambda *_: pytest.fail("asked"))
    with program_place(SiteAccounts(*[Account(1000, 1000, "ines", switch=False)] * 2), CODE, print) as place:
        assert (place.python, place.env) == (sys.executable, {})


def test_without_room_for_the_copy_one_sentence_says_so_and_nothing_stays(
    home: Path, account: Account, private_clone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(program_copy, "_copy_part", fail)
    with pytest.raises(
        MachineError, match=f"There is no room in {home}/copies for a copy of Gaugeglass and its Python"
    ):
        program_place(SiteAccounts(account, account), CODE, print).__enter__()
    assert [path.name for path in (home / "copies").iterdir()] == ["program.lock"]


def test_a_copy_that_cannot_be_run_either_is_one_sentence(
    home: Path, account: Account, private_clone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (home / "copies").mkdir(mode=0o700)
    with pytest.raises(MachineError, match=r"The account gaugeglass can neither read \S+ nor run the copy"):
        program_place(SiteAccounts(account, account), CODE, print).__enter__()


def test_a_copy_that_was_cut_is_not_taken_for_a_whole_one(home: Path, account: Account, private_clone: Path) -> None:
    cut = home / "copies" / "copying-program-x"
    cut.mkdir(parents=True)
    (cut / "half").write_text("")
    with program_place(SiteAccounts(account, account), CODE, print) as place:
        assert Path(place.root).is_dir()
    assert not cut.exists()


@pytest.mark.parametrize(("mode", "links"), [(0o644, 2), (0o600, 1), (0o664, 1), (0o755, 2)])
def test_a_file_is_linked_where_all_may_read_it_and_its_owner_alone_write_it(
    mode: int, links: int, tmp_path: Path
) -> None:
    need("root, whose files are linked", os.geteuid() == 0)
    source, target = tmp_path / "source", tmp_path / "target"
    source.write_text("x")
    source.chmod(mode)
    program_copy._link_or_copy(source, target)
    assert source.stat().st_nlink == links
    assert stat.S_IMODE(target.stat().st_mode) == (0o755 if mode & 0o100 else 0o644)
    assert stat.S_IMODE(source.stat().st_mode) == mode


def test_a_file_of_another_user_is_never_linked(tmp_path: Path) -> None:
    need("root, to give a file away", os.geteuid() == 0)
    (tmp_path / "source").write_text("x")
    os.chown(tmp_path / "source", 1000, 1000)
    program_copy._link_or_copy(tmp_path / "source", tmp_path / "target")
    assert ((tmp_path / "target").stat().st_uid, (tmp_path / "target").stat().st_nlink) == (0, 1)


def test_of_an_interpreter_neither_its_tests_nor_its_packages_are_copied(tmp_path: Path) -> None:
    for name in ("os.py", "test/test_os.py", "site-packages/other.py", "json/tool.py", "unittest/test/x.py"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("")
    part = CopiedPart(tmp_path, "python/lib", program_copy.LEFT_OUT_OF_LIBRARY)
    names = {path.relative_to(tmp_path).as_posix() for path in part.list_files()}
    assert names == {"os.py", "json/tool.py", "unittest/test/x.py"}


@pytest.fixture
def private_interpreter(account: Account, monkeypatch: pytest.MonkeyPatch) -> None:
    """The account cannot run the interpreter of this run, wherever that lies."""
    can_run = Account.can_run

    def can_run_other(self: Account, argv: list[str], env: Mapping[str, str] | None = None) -> bool:
        return argv[0] != sys.executable and can_run(self, argv, env)

    monkeypatch.setattr(Account, "can_run", can_run_other)


def test_a_copied_interpreter_finds_the_packages_and_the_code_that_were_not_copied(
    home: Path, account: Account, private_interpreter: object
) -> None:
    with program_place(SiteAccounts(account, account), CODE, print) as place:
        code, package, python = run(place, program_copy.ROOT).split()
    assert Path(code).is_relative_to(program_copy.ROOT)
    assert Path(package).resolve().is_relative_to(Path(sys.prefix))
    assert Path(python).is_relative_to(home / "copies")
