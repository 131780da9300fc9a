"""Interpreter and code where the site's account can read them: as they lie there, or copied once out of a private home.

A copy belongs to root. It has the form of a virtual environment, and of its three parts (interpreter, packages, code)
only those are copied that the account cannot read.
"""

import compileall
import errno
import fcntl
import os
import shutil
import sys
import sysconfig
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path

from fleet.management.embedded.account import Account
from fleet.management.embedded.binaries import COPIES, make_copies_folder
from fleet.management.embedded.machine_errors import DISK_FULL_ERRNOS, MachineError, explain_os_errors
from fleet.management.embedded.processes import Program, wait_until
from fleet.management.embedded.site_accounts import SiteAccounts

PREFIX, UNFINISHED_PREFIX = "program-", "copying-program-"
LOCK_LIMIT_SECONDS = 120.0  # a copy takes seconds
ROOT = Path(__file__).resolve().parents[3]
CODE_PARTS = ("fleet", "api", "templates", "fixtures", "manage.py")
PYTHON_NAME = f"python{sys.version_info.major}.{sys.version_info.minor}"
LIBRARY = f"lib/{PYTHON_NAME}"
# What no site needs of an interpreter; `config-*` is for building programs that contain one.
LEFT_OUT_OF_LIBRARY = ("site-packages", "dist-packages", "test", "tests", "idlelib", "ensurepip", "config-*")


@dataclass(frozen=True, slots=True)
class ProgramPlace:
    """Where interpreter and code are that the account runs. `owner_account` runs what is for the tables' owner."""

    account: Account
    owner_account: Account
    python: str = sys.executable
    root: str = str(ROOT)
    env: Mapping[str, str] = field(default_factory=dict)

    def move_program(self, program: Program) -> Program:
        """Return `program` as the account runs it: with the interpreter and the code that it can read."""
        argv = tuple(self._move_word(word) for word in program.argv)
        env = {**program.env, **self.env}
        account = self.owner_account if program.for_owner else self.account
        return replace(program, argv=argv, cwd=self._move_word(program.cwd), env=env, account=account)

    def _move_word(self, word: str) -> str:
        if word == sys.executable:
            return self.python
        is_code = word == str(ROOT) or word.startswith(f"{ROOT}/")
        return self.root + word.removeprefix(str(ROOT)) if is_code else word


@contextmanager
def program_place(
    accounts: SiteAccounts, code_parts: tuple[str, ...], say: Callable[[str], None]
) -> Iterator[ProgramPlace]:
    """Give the place of interpreter and code that the site's account runs in the block; a copy is kept that long.

    Raises MachineError where the account can read neither what is installed nor a copy of it.
    """
    account, owner_account = accounts.site, replace(accounts.data, gid=accounts.site.gid)
    copied = _find_unreadable(account, code_parts) if account.switch else []
    if account.switch and not sys.dont_write_bytecode:
        _compile_code(ROOT)
    if not copied:
        yield ProgramPlace(account, owner_account)
        return
    with ExitStack() as endings:
        with explain_os_errors(COPIES):
            home = endings.enter_context(_held_copy(copied, account, say))
        place = _place_in(home, (account, owner_account), copied)
        can_start = account.can_run([place.python, "-c", "import django, ssl"], place.env)
        if not (can_start and account.can_reach(Path(place.root))):
            raise MachineError(
                f"The account {account.name} can neither read {copied[0].source} nor run the copy in {home}: install "
                "Gaugeglass and its Python where all may read them, such as below /opt."
            )
        yield place


@dataclass(frozen=True, slots=True)
class CopiedPart:
    """One tree or file that the account cannot read, and its place in the copy."""

    source: Path
    target: str
    left_out: tuple[str, ...] = ()

    def list_files(self) -> Iterator[Path]:
        """Yield the files to copy, in a fixed order."""
        if not self.source.is_dir():
            yield self.source
            return
        ignore = shutil.ignore_patterns(*self.left_out)
        for folder, names, files in os.walk(self.source):
            skipped = ignore(folder, [*names, *files]) if Path(folder) == self.source else set()
            names[:] = sorted(name for name in names if name not in skipped)
            yield from (Path(folder, name) for name in sorted(files) if name not in skipped)


def _find_unreadable(account: Account, code_parts: tuple[str, ...]) -> list[CopiedPart]:
    """Return the parts that `account` cannot read."""
    unreadable_parts = []
    library = Path(sysconfig.get_path("stdlib"))
    if not (account.can_run([sys.executable, "-I", "-c", ""]) and account.can_read_all(library)):
        base = Path(getattr(sys, "_base_executable", sys.executable)).resolve()
        unreadable_parts += [
            CopiedPart(base, f"python/bin/{PYTHON_NAME}"),
            CopiedPart(library, f"python/{LIBRARY}", LEFT_OUT_OF_LIBRARY),
            *(CopiedPart(shared, f"python/lib/{shared.name}") for shared in library.parent.glob("lib*.so*")),
        ]
    packages = Path(sysconfig.get_path("purelib"))
    if not account.can_read_all(packages):
        unreadable_parts.append(CopiedPart(packages, f"environment/{LIBRARY}/site-packages"))
    code = [CopiedPart(ROOT / name, f"code/{name}") for name in code_parts if (ROOT / name).exists()]
    if not all(account.can_read_all(part.source) for part in code):
        unreadable_parts += code
    return unreadable_parts


@contextmanager
def _held_copy(parts: list[CopiedPart], account: Account, say: Callable[[str], None]) -> Iterator[Path]:
    """Give the folder of the copy, made if it is missing, and mark it as used while the block runs."""
    make_copies_folder(COPIES)
    home = COPIES / f"{PREFIX}{_digest_of(parts)}"
    with _locked_copies():  # of several starts one copies, and nobody removes what another begins to use
        if not home.is_dir():
            say(
                f"Copying Gaugeglass and its Python to {COPIES}, where {account.name} can read them; this happens once."
            )
            _make_copy(parts, home)
        os.chown(home, -1, account.gid)  # the copy may hold what nobody else was to read
        home.chmod(0o750)
        home_handle = os.open(home, os.O_RDONLY | os.O_CLOEXEC)
        fcntl.flock(home_handle, fcntl.LOCK_SH)
        _remove_unused(home)
    try:
        yield home
    finally:
        os.close(home_handle)


@contextmanager
def _locked_copies() -> Iterator[None]:
    """Be the only start that copies or removes. Raises MachineError where another one takes too long.

    The lock is root's alone: anybody who could open it could hold it.
    """
    handle = os.open(COPIES / "program.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    try:
        os.fchmod(handle, 0o600)
        if not wait_until(lambda: _try_lock(handle), LOCK_LIMIT_SECONDS):
            raise MachineError(
                f"Another start has copied programs to {COPIES} for {LOCK_LIMIT_SECONDS:g} s: wait for it, or stop it."
            )
        yield
    finally:
        os.close(handle)


def _try_lock(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _digest_of(parts: list[CopiedPart]) -> str:
    digest = sha256(f"1 {sys.version} {sys.prefix}".encode())
    for part in parts:
        # Bytecode comes and goes beside the sources that it was made of.
        for path in (path for path in part.list_files() if path.parent.name != "__pycache__"):
            with suppress(FileNotFoundError):  # a link that leads nowhere
                status = path.stat()
                digest.update(f"{part.target} {path} {status.st_size} {status.st_mtime_ns}\n".encode())
    return digest.hexdigest()[:16]


def _make_copy(parts: list[CopiedPart], home: Path) -> None:
    """Copy the parts under another name first, so that a copy that was cut is never taken for a whole one."""
    for cut in COPIES.glob(f"{UNFINISHED_PREFIX}*"):
        shutil.rmtree(cut)
    unfinished = Path(tempfile.mkdtemp(prefix=UNFINISHED_PREFIX, dir=COPIES))
    try:
        for part in parts:
            _copy_part(part, unfinished / part.target)
        _make_environment(unfinished, home)
        for folder, _, _ in os.walk(unfinished):
            os.chmod(folder, 0o755)
        unfinished.rename(home)
    except OSError as error:
        shutil.rmtree(unfinished, ignore_errors=True)
        if error.errno not in DISK_FULL_ERRNOS:
            raise
        raise MachineError(
            f"There is no room in {COPIES} for a copy of Gaugeglass and its Python, which the site's account cannot "
            "read where they are: make room there, or install them where all may read them, such as below /opt."
        ) from error


def _copy_part(part: CopiedPart, target: Path) -> None:
    made_folders: set[Path] = set()
    is_folder = part.source.is_dir()
    for path in part.list_files():
        where = target / path.relative_to(part.source) if is_folder else target
        if where.parent not in made_folders:
            where.parent.mkdir(parents=True, exist_ok=True)
            made_folders.add(where.parent)
        with suppress(FileNotFoundError):  # a link that leads nowhere
            _link_or_copy(path.resolve(strict=True) if path.is_symlink() else path, where)


def _link_or_copy(source: Path, target: Path) -> None:
    """Link a file of root's that all may read and nobody else may write; copy any other, and from another disk."""
    status = source.stat()
    if status.st_uid == 0 and status.st_mode & 0o4 and not status.st_mode & 0o022:
        try:
            os.link(source, target)
            return
        except OSError as error:
            if error.errno not in {errno.EXDEV, errno.EPERM, errno.EMLINK, errno.EOPNOTSUPP}:
                raise
    shutil.copy2(source, target)
    target.chmod(0o755 if status.st_mode & 0o100 else 0o644)


def _make_environment(unfinished: Path, home: Path) -> None:
    """Make a virtual environment of interpreter and packages, each copied or where it was. It will lie in `home`."""
    base = Path(getattr(sys, "_base_executable", sys.executable)).resolve()
    is_copied = (unfinished / "python").is_dir()
    interpreter = home / "python" / "bin" / PYTHON_NAME if is_copied else base
    environment = unfinished / "environment"
    packages = environment / LIBRARY / "site-packages"
    (environment / "bin").mkdir(parents=True, exist_ok=True)
    (environment / "bin" / "python").symlink_to(interpreter)
    (environment / "pyvenv.cfg").write_text(f"home = {interpreter.parent}\ninclude-system-site-packages = false\n")
    (environment / "pyvenv.cfg").chmod(0o644)
    if not packages.exists():
        packages.parent.mkdir(parents=True, exist_ok=True)
        packages.symlink_to(sysconfig.get_path("purelib"))


def _compile_code(root: Path) -> None:
    """Compile the code for the account, which cannot write beside it and would do it anew in each process."""
    for name in CODE_PARTS:
        if (root / name).is_dir():
            compileall.compile_dir(root / name, quiet=2)


def _place_in(home: Path, accounts: tuple[Account, Account], parts: list[CopiedPart]) -> ProgramPlace:
    targets = {part.target.partition("/")[0] for part in parts}
    root = str(home / "code") if "code" in targets else str(ROOT)
    if targets == {"code"}:
        return ProgramPlace(*accounts, root=root)
    env = {"LD_LIBRARY_PATH": str(home / "python" / "lib")} if "python" in targets else {}
    return ProgramPlace(*accounts, str(home / "environment" / "bin" / "python"), root, env)


def _remove_unused(used_home: Path) -> None:
    """Remove older copies that no running site uses."""
    for path in COPIES.glob(f"{PREFIX}*"):
        if path == used_home or not path.is_dir():
            continue
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(path)
        except BlockingIOError:
            continue
        finally:
            os.close(handle)
