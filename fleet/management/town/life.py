"""One boiler's life: planned visits, hidden failures, incidents, and the visits that follow from them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from heapq import heappop

from fleet.management.town import agenda, incidents, work
from fleet.management.town.hands import PARTS_IN_THE_VAN, Hands, Visiting
from fleet.management.town.incidents import INCIDENTS, Incident
from fleet.management.town.season import daytime, minute
from fleet.management.town.told import Failure, Line, Service
from fleet.management.town.troubles import BY_CODE, TROUBLES, Trouble

CLEANS_FIRST = 0.15
CLEANED_FIRST = "cleaned_first"  # staged: at the next service a clogged chamber is cleaned before anybody sees it


@dataclass(frozen=True, slots=True)
class Staged:
    """A trouble or an incident, by code, that happens at an instant whatever the luck.

    `open`: nobody repairs it until today. `again`: days after which it happens once more, 0 for never.
    """

    at: datetime
    code: str
    open: bool = False
    again: int = 0


class Life(Hands):
    """Plays a boiler's agenda item by item. The method named by an item's kind handles it."""

    def live(self, staged: Sequence[Staged] = (), quiet: bool = False, served: bool = True) -> None:
        """Play the agenda to its end. `quiet`: only staged events fail. `served`: services come after the first one."""
        for nth, (at, what) in enumerate(agenda.planned(self.chance.of("plan"), self.boiler, self.begin, self.end)):
            if served or nth == 0:
                self.plan(at, what)
        for at in agenda.checks(self.chance.of("checks"), self.habits, self.begin, self.end, self.paper):
            self.plan(at, "check")
        for item in staged:
            self.plan(item.at, "staged", item)
        if not quiet:
            self._luck()
        while self._agenda:
            now = heappop(self._agenda)
            getattr(self, f"_{now.what}")(now.at, now.about)

    def _luck(self) -> None:
        """Draw the instants of hidden failures and incidents."""
        for trouble in TROUBLES:
            self._draw(trouble, self.begin)
        for incident in INCIDENTS:
            at = self.begin + self.chance.of(incident.code).wait(incident.rate)
            if at < self.end:  # technicians are called at any hour, others come in daytime
                self.plan(minute(at) if incident.by == "technician" else daytime(at), "incident", incident)

    def _fail(self, at: datetime, about: object) -> None:
        assert isinstance(about, Trouble)
        if self.laid_up:  # a boiler out of use does not wear
            self._draw(about, at)
            return
        self._begin(about, at)

    def _staged(self, at: datetime, about: object) -> None:
        assert isinstance(about, Staged)
        if about.open:
            self.kept_open.add(about.code)
        if about.again:
            self.plan(at + timedelta(days=about.again), "staged", replace(about, at=at, again=0))
        if about.code == CLEANED_FIRST:
            self.cleans_next = True
            return
        incident = incidents.BY_CODE.get(about.code)
        if incident is not None:
            self._happen(at, incident)
            return
        trouble = BY_CODE[about.code]
        self._begin(trouble, at - timedelta(minutes=30))
        visit = Visiting()
        for code in dict.fromkeys((*trouble.shows, *sorted(trouble.claimed))):
            self._test(visit, trouble.place, code)
        self._end(visit, at, "follow_up")

    def _incident(self, at: datetime, about: object) -> None:
        assert isinstance(about, Incident)
        if len(self.boiler.having(*about.needs)) == len(about.needs) and not (self.laid_up or self.off):
            self._happen(at, about)

    def _happen(self, at: datetime, incident: Incident) -> None:
        for days in incident.days:
            before = at - timedelta(days=days)
            if before > self.begin:
                self._scene(before, incident, last=False)
        self._scene(at, incident, last=True)

    def _scene(self, at: datetime, incident: Incident, *, last: bool) -> None:
        failure = Failure(self.boiler.key, incident.needs[0], incident.code, at, incident.rules, "found", at)
        self.truth.append(failure)
        visit, who = Visiting(), self._who(incident.by)
        visit.add(*self._filled(incident.found))
        keep = incident.code in self.kept_open
        mends = not keep and (not last or (not incident.papers and incident.by == "technician"
                                           and self.chance.happens(PARTS_IN_THE_VAN)))  # fmt: skip
        if not last:
            visit.add(Line("action", "reset", incident.needs[0], visit.minute + 5))
        elif mends:
            self._mend_lines(visit, incident, failure)
            failure.repaired_at = at
        kind = {"inspector": "inspector", "caretaker": "routine_check"}.get(incident.by, "no_heat")
        left = "on_call" if mends or not last else incident.left
        self._post(visit, at, kind, who, left, incident.arrival, key=f"{incident.code}")
        failure.visit = self.visits[-1].key
        if last and not mends:
            self.off = self.off or left == "off_locked"
            if not keep:
                self.plan(daytime(at + timedelta(hours=self.chance.whole(16, 120))), "mend", (incident, failure))

    def _mend(self, at: datetime, about: object) -> None:
        assert isinstance(about, tuple)
        incident, failure = about
        visit = Visiting()
        self._mend_lines(visit, incident, failure)
        failure.repaired_at = at
        papers = bool(incident.papers)
        self.off = any(BY_CODE[f.trouble].stops for f in self.waiting)
        kind, who = ("inspector", (self.crew.inspector,)) if papers else ("follow_up", self._who("technician"))
        self._post(visit, at, kind, who, "off" if self.off else "on_call", "off", key=f"mend-{incident.code}")

    def _mend_lines(self, visit: Visiting, incident: Incident, failure: Failure) -> None:
        if not incident.papers:
            self._root_cause(visit, failure)
        visit.add(*self._filled(incident.mended))

    def _check(self, at: datetime, about: object) -> None:
        """The caretaker's check: flush and gauge glass; once a month also meter, air and try cocks."""
        if self.laid_up or self.off:
            return
        visit = Visiting()
        rows = [("upper", "flush"), ("glass", "gauge_glass_blowdown")]
        monthly = self.last_readings is None or at - self.last_readings > timedelta(days=26)
        if monthly:
            rows += [("air", "combustion_air_check"), ("try-cocks", "try_cock_check")]
        for place, code in work.asked(self.boiler, tuple(rows)):
            self._test(visit, place, code)
        if monthly and self.boiler.having("meter"):
            self._read_meter(visit, at)
        self._end(visit, at, "routine_check")

    def _stop_leak(self, at: datetime, about: object) -> None:
        visit = Visiting()
        visit.add(Line("action", "repair", "feeder", 20, reason="A return line under the floor leaked."))
        self._test(visit, "feeder", "feeder_check")
        self.truth.append(self.leak.told(self.boiler.key, at))
        self._end(visit, at, "follow_up")

    def _shutdown(self, at: datetime, about: object) -> None:
        visit = Visiting()
        for place, code in work.asked(
            self.boiler, (("upper", "flush"), ("lower", "slow_drain"), ("valve", "lever_lift"))
        ):
            self._test(visit, place, code)
        self._end(visit, at, "season_shutdown", left="off")
        self.laid_up = True
        self.leak.pause(at)
        self.services.append(Service(self.boiler.key, "laid_up_wet", at + timedelta(hours=2)))

    def _start(self, at: datetime, about: object) -> None:
        if self.laid_up:
            self.services.append(Service(self.boiler.key, "in_service", at - timedelta(minutes=30)))
            self.leak.resume(at)
        self.laid_up = self.off = False
        self._whole(at, "season_start")

    def _service(self, at: datetime, about: object) -> None:
        self.off = False
        self._whole(at, "annual_service")

    def _midseason(self, at: datetime, about: object) -> None:
        """The visit half a year after the service: drains, lever lift, and open repairs."""
        if self.off:
            return
        visit = Visiting()
        rows = (("upper", "flush"), ("lower", "slow_drain"), ("upper", "slow_drain"), ("valve", "lever_lift"))
        for place, code in work.asked(self.boiler, rows):
            self._test(visit, place, code)
        self._end(visit, at, "follow_up")

    def _whole(self, at: datetime, kind: str) -> None:
        """Post a full service. Where cleaning comes first, failures it removes are never found."""
        visit = Visiting()
        for defect in [d for d in self.defects if not d.stands]:
            self._put_on_paper(visit, defect)
            self.defects.remove(defect)
        first = self.chance.happens(CLEANS_FIRST)
        if self.cleans_next and self.boiler.having("chamber"):
            self.cleans_next, first = False, True
            self._begin(BY_CODE["chamber_full_of_sediment"], at - timedelta(hours=20))
        if first:
            self._cold(visit, at, lost=True)
        for place, code in work.asked(self.boiler, work.AS_FOUND):
            self._test(visit, place, code)
        if not first:
            self._cold(visit, at, lost=False)
        self._mended(visit, at)
        for place, code in (*work.asked(self.boiler, work.LAST), *work.asked(self.boiler, work.RESTART)):
            self._test(visit, place, code)
        self._end(visit, at, kind)

    def _follow_up(self, at: datetime, about: object) -> None:
        """The visit that repairs what was left open."""
        visit = Visiting()
        for failure in [f for f in self.waiting if f.trouble not in self.kept_open]:
            self._put_right(visit, failure, BY_CODE[failure.trouble], at)
        if visit.lines:
            self._end(visit, at, "follow_up")
