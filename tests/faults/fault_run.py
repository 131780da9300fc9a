"""One fault run from start to end: a site, its load, the kills, the checks, and the figures."""

import http.client
import json
import random
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fleet.notices.channels.webhook.signed_payload import make_secret
from tests.faults.availability import ServingProbe
from tests.faults.killer import ProgramKiller
from tests.faults.receivers import FORGED, ReceivedMessages, run_receivers
from tests.faults.running_site import PROGRAMS, RunningSite, run_fault_site
from tests.faults.visitors import PostLedger, VisitPoster, start_posters
from tests.management.machine import eventually

MAX_ANSWERS_ASKED = 400
SEEN_PARTS = ("beat", "worker", "sweep", "delivery")


@dataclass(frozen=True)
class FaultPlan:
    """How hard a run is. `delivery_seconds`: how long the site itself is given at the end to send what is left.

    `seen_parts`: which parts must be seen again before the checks; all but the sweep are seen twice a minute only.
    """

    seed: int
    kills: int
    mean_pause: float = 3.0
    clients: int = 4
    client_pause: float = 0.8
    people_per_building: int = 4
    delivery_seconds: float = 180.0
    seen_parts: tuple[str, ...] = SEEN_PARTS


@dataclass
class FaultReport:
    """What came of a run. It is well where `faults` is empty."""

    plan: FaultPlan
    figures: dict[str, object] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    killed: Mapping[str, int] = field(default_factory=dict)
    acknowledged: int = 0
    expected_alerts: int = 0
    notices_sent: int = 0

    def lines(self) -> Iterator[str]:
        """Yield the figures, one a line, and the faults."""
        yield f"seed {self.plan.seed}"
        for name, value in self.figures.items():
            yield f"{name}: {value}"
        yield f"faults: {len(self.faults)}"
        yield from (f"  {fault}" for fault in self.faults[:40])


@dataclass
class FaultRun:
    """A run in progress: the site with everybody who works on it."""

    plan: FaultPlan
    site: RunningSite
    received: ReceivedMessages
    report: FaultReport
    ledger: PostLedger = field(default_factory=PostLedger)

    def carry_out(self) -> None:
        """Prepare, load, kill, settle, check."""
        setup = self.site.ask_helper("preparation", str(self.plan.people_per_building))
        probe = ServingProbe(self.site.port)
        killer = ProgramKiller(self.site, random.Random(f"{self.plan.seed} kills"), self.plan.mean_pause)
        probing = threading.Thread(target=probe.run)
        probing.start()
        try:
            began = time.monotonic()
            self._kill_under_load(setup, killer)
            self._note_load(killer, time.monotonic() - began)
            self._wait_for_programs(probe)
            ended_at = datetime.now(UTC)
        finally:
            probe.has_ended.set()
            probing.join()
        self._note_outages(probe)
        self._check_answers(setup["key"])
        self._check_probes()
        self._check_database(setup["told"], ended_at)

    def _kill_under_load(self, setup: Mapping[str, Any], killer: ProgramKiller) -> None:
        has_ended = threading.Event()
        posters = [
            VisitPoster(
                self.site.port,
                setup,
                chance=random.Random(f"{self.plan.seed} client {number}"),
                ledger=self.ledger,
                has_ended=has_ended,
                pause=self.plan.client_pause,
            )
            for number in range(self.plan.clients)
        ]
        threads = start_posters(posters)
        try:
            killer.kill_programs(self.plan.kills)
        finally:
            has_ended.set()
            for thread in threads:
                thread.join(120)
        if any(thread.is_alive() for thread in threads):
            self.report.faults.append("a visit was not acknowledged within two minutes after the last kill")

    def _wait_for_programs(self, probe: ServingProbe) -> None:
        if not eventually(lambda: all(self.site.processes_of(name) for name in PROGRAMS), 60.0):
            self.report.faults.append("a program did not come back")
        if not eventually(lambda: probe.is_serving, 60.0):
            self.report.faults.append("the site does not serve again")
        self.received.fails = False

    def _note_load(self, killer: ProgramKiller, seconds: float) -> None:
        ledger, kills = self.ledger, killer.kills
        self.report.faults += [f"a visit was refused: {refusal}" for refusal in ledger.refused]
        self.report.faults += [f"visit {visit} was answered in two ways" for visit in ledger.different_answers]
        self.report.killed, self.report.acknowledged = dict(kills), len(ledger.acknowledged)
        by_program = ", ".join(f"{name} {kills[name]}" for name in PROGRAMS)
        self.report.figures |= {
            "kills": f"{kills.total()} in {seconds:.0f} s ({by_program}; {killer.of_main_process} of a main process)",
            "broker besides": f"restarted {killer.broker_restarts} times, wiped {killer.broker_wipes} times",
            "posts": f"{len(ledger.acknowledged)} acknowledged of {ledger.tries} sent, {ledger.repeated} repeated "
            f"after it, {ledger.answers_thrown_away} answers thrown away",
        }

    def _note_outages(self, probe: ServingProbe) -> None:
        outages = sorted(probe.outages)
        if outages:
            median, whole = statistics.median(outages), sum(outages)
            words = f"{len(outages)} times, p50 {median:.1f} s, longest {outages[-1]:.1f} s, {whole:.0f} s in all"
            self.report.figures["could not serve"] = words

    def _check_answers(self, key: str) -> None:
        """Ask for acknowledged visits from outside: each is answered as it was answered when it was posted."""
        some = random.Random(self.plan.seed).sample(
            sorted(self.ledger.acknowledged), min(MAX_ANSWERS_ASKED, len(self.ledger.acknowledged))
        )
        client = http.client.HTTPConnection("127.0.0.1", self.site.port, timeout=30)
        for visit in some:
            client.request("GET", f"/api/v1/visits/{visit}/", headers={"Authorization": f"Bearer {key}"})
            answer = client.getresponse()
            body = answer.read().decode()
            if answer.status != 200 or json.loads(body) != json.loads(self.ledger.acknowledged[visit]):
                self.report.faults.append(f"visit {visit} is answered {answer.status}, otherwise than when posted")
        client.close()
        self.report.figures["answers asked for again"] = f"{len(some)}, each as it was first given"

    def _check_probes(self) -> None:
        """Ask the real web server what programs ask: a request that a front hands on sees no figures."""
        asked = [("/healthz", {}, 200), ("/readyz", {}, 200), ("/metrics", {}, 200)]
        asked += [("/metrics", {"X-Forwarded-For": "127.0.0.1"}, 404), ("/metrics", {"Host": "boilers.example"}, 400)]
        for path, headers, expected in asked:
            client = http.client.HTTPConnection("127.0.0.1", self.site.port, timeout=30)
            client.request("GET", path, headers=headers)
            if (status := client.getresponse().status) != expected:
                self.report.faults.append(f"{path} with {headers} is answered {status}, not {expected}")
            client.close()

    def _check_database(self, people: int, settled_since: datetime) -> None:
        """Let the site settle and send, send the rest with the time moved on, and compare with what arrived."""
        plan = self.plan
        settling = {"since": settled_since.isoformat(), "parts": plan.seen_parts, "seconds": plan.delivery_seconds}
        known = {**settling, "acknowledged": self.ledger.entry_counts}
        settled, facts, delivered = self._ask(("settled", "facts", "delivered"), known)
        self.received.is_time_real = False
        if not settled["settled"]:
            self.report.faults.append(f"the site did not settle: {settled}")
        self.report.expected_alerts = facts["expected"]
        self.report.figures |= {
            "alerts of boilers": f"{facts['expected']} expected by the rules, {facts['open']} open",
            "rows that a rebuild wrote": facts["rebuild_rows"],
        }
        [later] = self._ask(("later",), {})
        [notices] = self._ask(("notices",), {"taken": self.received.count_taken()})
        self.report.faults += [*facts["faults"], *notices["faults"]]
        self._note_notices(people, notices, {**delivered, **later})

    def _note_notices(self, people: int, notices: Mapping[str, Any], sending: Mapping[str, int]) -> None:
        ways = [way for arrivals in self.received.arrivals.values() for way in arrivals]
        if FORGED in ways:
            self.report.faults.append(f"{ways.count(FORGED)} messages were not signed by the site")
        self.report.notices_sent = notices["statuses"].get("sent", 0)
        self.report.figures |= {
            "notices": f"{notices['written']} written to {people} people ({notices['statuses']}), "
            f"repeated {notices['repeated']}, {notices['lost']} lost",
            "sent": f"{sending['sent']} by the site itself, {sending['left']} left to be tried again, "
            f"{sending['attempts']} attempts with the time moved on",
            "calls that the watcher heard": len(self.received.watcher_calls),
            "the receivers": ", ".join(f"{way} {ways.count(way)}" for way in sorted(set(ways))),
        }

    def _ask(self, questions: Sequence[str], known: Mapping[str, object]) -> list[Any]:
        with tempfile.NamedTemporaryFile("w", suffix=".json") as file:
            Path(file.name).write_text(json.dumps(known))
            answers = self.site.ask_helper("verification", file.name, *questions)
        return list(answers)


def run_faults(plan: FaultPlan) -> FaultReport:
    """Carry out a run and return what came of it."""
    report = FaultReport(plan)
    received = ReceivedMessages(random.Random(f"{plan.seed} receivers"))
    began = time.monotonic()
    with run_receivers(received, make_secret()) as channels, run_fault_site(channels) as site:
        report.figures["the site opened after"] = f"{time.monotonic() - began:.1f} s"
        FaultRun(plan, site, received, report).carry_out()
        if "Traceback" in site.output:
            report.faults.append("the supervisor failed")
    return report
