"""Start database and broker of a data folder, creating the database first where it is missing."""

from dataclasses import dataclass

import psycopg

from fleet.management.embedded import binaries, sockets
from fleet.management.embedded.broker import Broker
from fleet.management.embedded.crew import Crew
from fleet.management.embedded.postgres import Cluster
from fleet.management.embedded.trouble import from_log

LONG = 600.0  # after a crash both recover their last writes before they answer


@dataclass(frozen=True, slots=True)
class Urls:
    """Addresses of the servers, passwords included."""

    database: str
    broker: str


def start(crew: Crew, *, database: str = "", broker: str = "", throwaway: bool = False) -> Urls:
    """Start the servers whose address is not given, and return both addresses."""
    if database and broker:
        return Urls(database, broker)
    found = binaries.find(crew.folder.account)
    place = sockets.fresh(crew.folder)
    if not database:
        database = _start_database(crew, Cluster(crew.folder, found, place, throwaway))
    if not broker:
        broker = _start_broker(crew, Broker(crew.folder, found, place, throwaway))
    return Urls(database, broker)


def _start_database(crew: Crew, cluster: Cluster) -> str:
    cluster.check()
    crew.folder.check_room()
    making = cluster.making()
    if making:
        crew.say("Making the database; this happens once.")
        crew.run(making)
        cluster.keep()
    crew.say("Starting the database.")
    crew.start(cluster.serving(), cluster.ready, LONG)
    try:
        cluster.settle()
    except psycopg.Error as error:
        log = crew.folder.log("postgres")
        raise from_log("The database could not be prepared", log, crew.folder.path) from error
    return cluster.url


def _start_broker(crew: Crew, broker: Broker) -> str:
    crew.say("Starting the broker.")
    crew.start(broker.serving(), broker.ready, LONG)
    return broker.url
