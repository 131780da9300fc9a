"""Start database and broker of a data folder, creating the database first where it is missing."""

from dataclasses import dataclass

import psycopg

from fleet.management.embedded import binaries, sockets
from fleet.management.embedded.broker import Broker
from fleet.management.embedded.machine_errors import error_from_log
from fleet.management.embedded.postgres import Cluster
from fleet.management.embedded.process_crew import ProcessCrew

START_LIMIT_SECONDS = 600.0  # after a crash both recover their last writes before they answer


@dataclass(frozen=True, slots=True)
class ServerUrls:
    """Addresses of the servers, passwords included.

    `database_owner`: that of the role that owns the tables; empty where web and worker use the same role.
    """

    database: str
    broker: str
    database_owner: str = ""


NONE_GIVEN = ServerUrls("", "")


def start_servers(crew: ProcessCrew, given_urls: ServerUrls = NONE_GIVEN, throwaway: bool = False) -> ServerUrls:
    """Start the servers whose address is not given, and return all addresses."""
    database, broker, owner = given_urls.database, given_urls.broker, given_urls.database_owner
    if database and broker:
        return given_urls
    programs = binaries.find_binaries(crew.folder.accounts.data)
    socket_folder = sockets.fresh_socket_folder(crew.folder)
    if not database:
        cluster = Cluster(crew.folder, programs, socket_folder, throwaway)
        _start_database(crew, cluster)
        database, owner = cluster.url, cluster.owner_url
    if not broker:
        broker = _start_broker(crew, Broker(crew.folder, programs, socket_folder, throwaway))
    return ServerUrls(database, broker, owner)


def _start_database(crew: ProcessCrew, cluster: Cluster) -> None:
    cluster.check_files()
    crew.folder.check_room()
    initdb = cluster.initdb_program()
    if initdb:
        crew.say("Making the database; this happens once.")
        crew.run_step(initdb)
        cluster.adopt_new_cluster()
    crew.say("Starting the database.")
    log = crew.folder.log_path("postgres")
    log_start = log.stat().st_size if log.exists() else 0
    crew.start_program(cluster.server_program(), cluster.is_ready, START_LIMIT_SECONDS)
    try:
        cluster.prepare_roles()
    except psycopg.Error as error:
        raise error_from_log("The database could not be prepared", log, log_start, crew.folder.path) from error


def _start_broker(crew: ProcessCrew, broker: Broker) -> str:
    crew.say("Starting the broker.")
    crew.start_program(broker.server_program(), broker.is_ready, START_LIMIT_SECONDS)
    return broker.url
