"""A PostgreSQL cluster of our own: sockets only, passwords for all roles, two roles without superuser."""

import os
import shutil
import signal
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import quote

import psycopg
from psycopg import sql

from fleet.management.embedded import process_identity, sockets
from fleet.management.embedded.binaries import Binaries
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.machine_errors import MachineError
from fleet.management.embedded.processes import Program
from fleet.management.embedded.records import read_untrusted

SUPERUSER, DATABASE, PORT = "postgres", "gaugeglass", 5432
# Web and worker connect as the site's role. The tables belong to the other, as which only the migrations run.
SITE_ROLE, OWNER_ROLE = "gaugeglass", "gaugeglass_owner"
# For short-lived clusters of tests: their data need not survive a power cut.
UNSAFE_SETTINGS = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "max_wal_size": "4GB",
    "checkpoint_timeout": "1h",
    "autovacuum": "off",
    "jit": "off",
    "shared_buffers": "256MB",
}
FIRST_PASSWORD = "superuser-password"  # read once, by the program that makes the cluster
SERVER_ENV = {"PATH": "/usr/bin:/bin", "LC_ALL": "C", "TZ": "UTC"}


@dataclass(frozen=True, slots=True)
class Cluster:
    """The database of one data folder.

    `throwaway`: for tests. It is fast instead of safe; its owner may create databases and act as the site's role.
    """

    folder: Folder
    binaries: Binaries
    socket_folder: Path
    throwaway: bool = False

    @property
    def url(self) -> str:
        """The address that web and worker use."""
        return self._url_of(SITE_ROLE, "database")

    @property
    def owner_url(self) -> str:
        """The address of the role that owns the tables, for migrations and the set-up of tests."""
        return self._url_of(OWNER_ROLE, "database_owner")

    def _url_of(self, role: str, key: str) -> str:
        host = quote(str(self.socket_folder), safe="")
        return f"postgresql://{role}:{self.folder.load_keys()[key]}@{host}:{PORT}/{DATABASE}"

    def check_files(self) -> None:
        """Raise MachineError for files of another major version, or a server on them that we did not start."""
        version_file, own_version = self.folder.cluster / "PG_VERSION", self.binaries.read_major_version()
        written_version = read_untrusted(version_file).strip() or own_version
        if written_version != own_version:
            raise MachineError(
                f"The data in {self.folder.path} were written by PostgreSQL {written_version} and this "
                "Gaugeglass brings "
                f"PostgreSQL {own_version}: start them with the version that wrote them."
            )
        self._check_no_stranger_runs()

    def _check_no_stranger_runs(self) -> None:
        """Raise MachineError for a server started by hand. Our own leftovers have been stopped before."""
        lock = self.folder.cluster / "postmaster.pid"
        if not os.path.lexists(lock):
            return
        first_word = (read_untrusted(lock).split() or ["0"])[0]
        pid = int(first_word) if first_word.isdecimal() else 0
        if process_identity.start_of(pid) and str(self.folder.cluster) in process_identity.arguments(pid):
            raise MachineError(
                f"A PostgreSQL not started by Gaugeglass runs on {self.folder.cluster} (process {pid}): stop it first."
            )
        lock.unlink()  # after a crash another process may have its number; the server would refuse to start

    def initdb_program(self) -> Program | None:
        """Return the program that makes a cluster, None where there is one. `adopt_new_cluster` puts it in place."""
        if self.folder.cluster.is_dir():
            return None
        shutil.rmtree(self._new_folder, ignore_errors=True)  # left by an interrupted start
        self.folder.private_folder(self._new_folder.name)
        options = ("--username", SUPERUSER, "--auth", "scram-sha-256", "--encoding", "UTF8", "--no-instructions")
        places = ("--pgdata", str(self._new_folder), "--pwfile", str(self._password_file()))
        # The built-in locale sorts by code point and does not depend on locales installed on the machine.
        letters = ("--locale-provider", "builtin", "--builtin-locale", "C.UTF-8", "--locale", "C")
        careless = ("--no-sync",) if self.throwaway else ()
        argv = (str(self.binaries.initdb), *places, *options, *letters, *careless)
        return Program("initdb", argv, SERVER_ENV, self.folder.accounts.data)

    def adopt_new_cluster(self) -> None:
        """Move the completed new cluster to its place."""
        (self.folder.path / FIRST_PASSWORD).unlink()
        self._new_folder.rename(self.folder.cluster)

    @property
    def _new_folder(self) -> Path:
        return self.folder.path / "postgres.new"

    def _password_file(self) -> Path:
        return self.folder.write_for_servers(FIRST_PASSWORD, self.folder.load_keys()["superuser"])

    def server_program(self) -> Program:
        """Return the server program. SIGINT is its fast shutdown: sessions end, all data are written."""
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": f'"{self.socket_folder}"',
            "unix_socket_permissions": sockets.socket_mode(self.folder.accounts),
            "port": str(PORT),
            "password_encryption": "scram-sha-256",
            "lc_messages": "C",
            "timezone": "UTC",
            **(UNSAFE_SETTINGS if self.throwaway else {}),
        }
        options = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        argv = (str(self.binaries.postgres), "-D", str(self.folder.cluster), *options)
        account = self.folder.accounts.data
        program = Program("postgres", argv, SERVER_ENV, account, stop_signal=signal.SIGINT, patience=30, vital=True)
        return replace(program, helpers_folder=str(self.folder.cluster.resolve()), helpers_title="postgres: ")

    def is_ready(self) -> bool:
        """Return whether the server accepts connections."""
        try:
            self._connect_as_superuser().close()
        except psycopg.OperationalError:
            return False
        return True

    def prepare_roles(self) -> None:
        """Create both roles and the database where missing, and reset the roles' rights and passwords.

        A database of an earlier version, whose tables the site's role owns, is handed over to the other role.
        """
        with self._connect_as_superuser() as connection:
            self._prepare_role(connection, SITE_ROLE, "database")
            self._prepare_role(connection, OWNER_ROLE, "database_owner")
            if self.throwaway:
                connection.execute(f"ALTER ROLE {OWNER_ROLE} CREATEDB")
                connection.execute(f"GRANT {SITE_ROLE} TO {OWNER_ROLE}")
            if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
                connection.execute(f"CREATE DATABASE {DATABASE} OWNER {OWNER_ROLE}")
            connection.execute(f"ALTER DATABASE {DATABASE} OWNER TO {OWNER_ROLE}")
        with self._connect_as_superuser(DATABASE) as connection:
            connection.execute(f"REASSIGN OWNED BY {SITE_ROLE} TO {OWNER_ROLE}")

    def _prepare_role(self, connection: psycopg.Connection[tuple[object, ...]], role: str, key: str) -> None:
        password = connection.pgconn.encrypt_password(
            self.folder.load_keys()[key].encode(), role.encode(), b"scram-sha-256"
        )
        if not connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role]).fetchone():
            connection.execute(f"CREATE ROLE {role}")
        rights = sql.SQL(
            f"ALTER ROLE {role} LOGIN NOSUPERUSER NOCREATEROLE NOREPLICATION NOBYPASSRLS NOCREATEDB PASSWORD "
        )
        connection.execute(rights + sql.Literal(password.decode()))

    def _connect_as_superuser(self, database: str = "postgres") -> psycopg.Connection[tuple[object, ...]]:
        password = self.folder.load_keys()["superuser"]
        return psycopg.connect(
            host=os.fspath(self.socket_folder),
            port=PORT,
            dbname=database,
            user=SUPERUSER,
            password=password,
            connect_timeout=5,
            autocommit=True,
        )
