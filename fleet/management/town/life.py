"""One boiler's life: planned visits, hidden failures, incidents, and the visits that follow from them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from heapq import heappop

from fleet.management.town import agenda, incidents, work
from fleet.management.town.boiler_work import PARTS_IN_THE_VAN, BoilerWork, VisitDraft
from fleet.management.town.hidden_trouble import HiddenTrouble
from fleet.management.town.incident_form import Incident
from fleet.management.town.incidents import INCIDENTS
from fleet.management.town.season import next_daytime, to_minute
from fleet.management.town.story_values import Failure, TownLine, TownServiceState
from fleet.management.town.troubles import TROUBLES, TROUBLES_BY_CODE

CLEANS_FIRST = 0.15
CLEANED_FIRST = "cleaned_first"  # staged: at the next service a clogged chamber is cleaned before anybody sees it


@dataclass(frozen=True, slots=True)
class StagedEvent:
    """A trouble or an incident, by code, that happens at an instant whatever the luck.

    `open`: nobody repairs it until today. `again`: days after which it happens once more, 0 for never.
    """

    at: datetime
    code: str
    open: bool = False
    again: int = 0


class BoilerLife(BoilerWork):
    """Plays a boiler's agenda item by item. The method named by an item's kind handles it."""

    def play_through(self, staged: Sequence[StagedEvent] = (), quiet: bool = False, served: bool = True) -> None:
        """Play the agenda to its end. `quiet`: only staged events fail. `served`: services come after the first one."""
        for nth, (at, item_name) in enumerate(
            agenda.planned_visits(self.chance.branch("plan"), self.boiler, self.begin, self.end)
        ):
            if served or nth == 0:
                self.plan_item(at, item_name)
        for at in agenda.check_times(
            self.chance.branch("checks"), self.habits, begin=self.begin, end=self.end, paper=self.paper
        ):
            self.plan_item(at, "check")
        for item in staged:
            self.plan_item(item.at, "staged", item)
        if not quiet:
            self._draw_luck()
        while self._agenda:
            agenda_item = heappop(self._agenda)
            getattr(self, f"_{agenda_item.what}")(agenda_item.at, agenda_item.about)

    def _draw_luck(self) -> None:
        """Draw the instants of hidden failures and incidents."""
        for trouble in TROUBLES:
            self._draw_failure(trouble, self.begin)
        for incident in INCIDENTS:
            at = self.begin + self.chance.branch(incident.code).waiting_time(incident.rate)
            if at < self.end:  # technicians are called at any hour, others come in daytime
                self.plan_item(to_minute(at) if incident.by == "technician" else next_daytime(at), "incident", incident)

    def _fail(self, at: datetime, about: object) -> None:
        assert isinstance(about, HiddenTrouble)
        if self.laid_up:  # a boiler out of use does not wear
            self._draw_failure(about, at)
            return
        self._begin_failure(about, at)

    def _staged(self, at: datetime, about: object) -> None:
        assert isinstance(about, StagedEvent)
        if about.open:
            self.kept_open.add(about.code)
        if about.again:
            self.plan_item(at + timedelta(days=about.again), "staged", replace(about, at=at, again=0))
        if about.code == CLEANED_FIRST:
            self.cleans_next = True
            return
        incident = incidents.INCIDENTS_BY_CODE.get(about.code)
        if incident is not None:
            self._play_incident(at, incident)
            return
        trouble = TROUBLES_BY_CODE[about.code]
        self._begin_failure(trouble, at - timedelta(minutes=30))
        visit = VisitDraft()
        for code in dict.fromkeys((*trouble.shows, *sorted(trouble.failing_procedures))):
            self._run_test(visit, trouble.place, code)
        self._end_visit(visit, at, "follow_up")

    def _incident(self, at: datetime, about: object) -> None:
        assert isinstance(about, Incident)
        if len(self.boiler.filled_refs(*about.needs)) == len(about.needs) and not (self.laid_up or self.off):
            self._play_incident(at, about)

    def _play_incident(self, at: datetime, incident: Incident) -> None:
        for days in incident.days:
            before = at - timedelta(days=days)
            if before > self.begin:
                self._play_incident_visit(before, incident, last=False)
        self._play_incident_visit(at, incident, last=True)

    def _play_incident_visit(self, at: datetime, incident: Incident, *, last: bool) -> None:
        failure = Failure(
            self.boiler.key,
            incident.needs[0],
            trouble=incident.code,
            failed_at=at,
            # Called to a boiler that is laid up on record, people leave it firing all the same.
            rules=(*incident.rules, *(("firing_while_off",) if self.laid_up else ())),
            how="found",
            found_at=at,
        )
        self.truth.append(failure)
        visit, visitors = VisitDraft(), self._people_for(incident.by)
        visit.add_lines(*self._fill_lines(incident.found_lines))
        stays_open = incident.code in self.kept_open
        is_mended_at_once = not stays_open and (not last or (not incident.papers and incident.by == "technician"
                                           and self.chance.happens(PARTS_IN_THE_VAN)))  # fmt: skip
        if not last:
            visit.add_lines(TownLine("action", "reset", incident.needs[0], visit.minute + 5))
        elif is_mended_at_once:
            self._add_repair_lines(visit, incident, failure)
            failure.repaired_at = at
        kind = {"inspector": "inspector", "caretaker": "routine_check"}.get(incident.by, "no_heat")
        left_as = "on_call" if is_mended_at_once or not last else incident.left_as
        self._post_visit(
            visit, at, kind=kind, visitors=visitors, left_as=left_as, arrival=incident.arrival, key=f"{incident.code}"
        )
        failure.visit = self.visits[-1].key
        if last and not is_mended_at_once:
            self.off = self.off or left_as == "off_locked"
            if not stays_open:
                self.plan_item(
                    next_daytime(at + timedelta(hours=self.chance.whole_number(16, 120))), "mend", (incident, failure)
                )

    def _mend(self, at: datetime, about: object) -> None:
        assert isinstance(about, tuple)
        incident, failure = about
        visit = VisitDraft()
        self._add_repair_lines(visit, incident, failure)
        failure.repaired_at = at
        papers = bool(incident.papers)
        self.off = any(TROUBLES_BY_CODE[f.trouble].stops for f in self.waiting)
        kind, visitors = (
            ("inspector", (self.crew.inspector,)) if papers else ("follow_up", self._people_for("technician"))
        )
        self._post_visit(
            visit,
            at,
            kind=kind,
            visitors=visitors,
            left_as="off" if self.off else "on_call",
            arrival="off",
            key=f"mend-{incident.code}",
        )

    def _add_repair_lines(self, visit: VisitDraft, incident: Incident, failure: Failure) -> None:
        if not incident.papers:
            self._note_root_cause(visit, failure)
        visit.add_lines(*self._fill_lines(incident.repair_lines))

    def _check(self, at: datetime, about: object) -> None:
        """The caretaker's check: flush and gauge glass; once a month also meter, air and try cocks."""
        if self.laid_up or self.off:
            return
        visit = VisitDraft()
        rows = [("upper", "flush"), ("glass", "gauge_glass_blowdown")]
        monthly = self.last_readings is None or at - self.last_readings > timedelta(days=26)
        if monthly:
            rows += [("air", "combustion_air_check"), ("try-cocks", "try_cock_check")]
        for place, code in work.possible_rows(self.boiler, tuple(rows)):
            self._run_test(visit, place, code)
        if monthly and self.boiler.filled_refs("meter"):
            self._read_meter(visit, at)
        self._end_visit(visit, at, "routine_check")

    def _stop_leak(self, at: datetime, about: object) -> None:
        visit = VisitDraft()
        visit.add_lines(TownLine("action", "repair", "feeder", 20, reason="A return line under the floor leaked."))
        self._run_test(visit, "feeder", "feeder_check")
        self.truth.append(self.leak.end_leak(self.boiler.key, at))
        self._end_visit(visit, at, "follow_up")

    def _shutdown(self, at: datetime, about: object) -> None:
        visit = VisitDraft()
        for place, code in work.possible_rows(
            self.boiler, (("upper", "flush"), ("lower", "slow_drain"), ("valve", "lever_lift"))
        ):
            self._run_test(visit, place, code)
        self._end_visit(visit, at, "season_shutdown", left_as="off")
        self.laid_up = True
        self.leak.pause_use(at)
        self.services.append(TownServiceState(self.boiler.key, "laid_up_wet", at + timedelta(hours=2)))

    def _start(self, at: datetime, about: object) -> None:
        if self.laid_up:
            self.services.append(TownServiceState(self.boiler.key, "in_service", at - timedelta(minutes=30)))
            self.leak.resume_use(at)
        self.laid_up = self.off = False
        self._do_full_service(at, "season_start")

    def _service(self, at: datetime, about: object) -> None:
        self.off = False
        self._do_full_service(at, "annual_service")

    def _midseason(self, at: datetime, about: object) -> None:
        """The visit half a year after the service: drains, lever lift, and open repairs."""
        if self.off:
            return
        visit = VisitDraft()
        rows = (("upper", "flush"), ("lower", "slow_drain"), ("upper", "slow_drain"), ("valve", "lever_lift"))
        for place, code in work.possible_rows(self.boiler, rows):
            self._run_test(visit, place, code)
        self._end_visit(visit, at, "follow_up")

    def _do_full_service(self, at: datetime, kind: str) -> None:
        """Post a full service. Where cleaning comes first, failures it removes are never found."""
        visit = VisitDraft()
        for defect in [d for d in self.defects if not d.stands]:
            self._mend_on_paper(visit, defect)
            self.defects.remove(defect)
        cleans_first = self.chance.happens(CLEANS_FIRST)
        if self.cleans_next and self.boiler.filled_refs("chamber"):
            self.cleans_next, cleans_first = False, True
            self._begin_failure(TROUBLES_BY_CODE["chamber_full_of_sediment"], at - timedelta(hours=20))
        if cleans_first:
            self._do_cold_work(visit, at, lost=True)
        for place, code in work.possible_rows(self.boiler, work.AS_FOUND):
            self._run_test(visit, place, code)
        if not cleans_first:
            self._do_cold_work(visit, at, lost=False)
        self._mend_found(visit, at)
        for place, code in (
            *work.possible_rows(self.boiler, work.PROOFS_AFTER_COLD_WORK),
            *work.possible_rows(self.boiler, work.RESTART),
        ):
            self._run_test(visit, place, code)
        self._end_visit(visit, at, kind)

    def _follow_up(self, at: datetime, about: object) -> None:
        """The visit that repairs what was left open."""
        visit = VisitDraft()
        for failure in [f for f in self.waiting if f.trouble not in self.kept_open]:
            self._put_right(visit, failure, TROUBLES_BY_CODE[failure.trouble], at)
        if visit.lines:
            self._end_visit(visit, at, "follow_up")
