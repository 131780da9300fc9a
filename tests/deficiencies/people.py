"""A boiler with what people decide about: a hold, an urgent and a routine deficiency; a manager and a dispatcher."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from fleet import pipeline
from fleet.accounts.models import User
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.models import Deficiency
from fleet.deficiencies.queries import DeficiencyDetail, deficiency_detail
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet, make_person

HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Desk:
    """Who decides, and on what."""

    fleet: Fleet
    manager: User

    def act(
        self, row: Deficiency, decision: DeficiencyDecision, *, at: datetime = NOW, by: User | None = None
    ) -> Deficiency:
        """Decide on the row as it is stored now."""
        row.refresh_from_db()
        cause = Cause(who="ines", request_id="desk-00001")
        return pipeline.act_on_deficiency(
            deficiency=row.id, decision=decision, version=row.version, by=by or self.manager, at=at, cause=cause
        )

    def assigned(self, until: datetime = NOW + 3 * DAY, **more: Any) -> DeficiencyDecision:
        """To the technician."""
        return DeficiencyDecision("assigned", until=until, assignee=self.fleet.technician.id, **more)


def desk(fleet: Fleet) -> Desk:
    """A desk with its manager."""
    return Desk(fleet, make_person("ines", fleet.portfolio, "manager", "technician"))


def failed(fleet: Fleet, at: datetime = NOW - DAY) -> Deficiency:
    """The hold that a failed flush opens."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(at, burner_stopped=False), at=at)
    return Deficiency.objects.get(rule="flush_keeps_firing")


def dirty(fleet: Fleet, at: datetime = NOW - DAY) -> Deficiency:
    """The routine one that a very dirty flush opens."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(at, sediment="very_dirty"), at=at)
    return Deficiency.objects.get(rule="flush_dirty")


def told(row: Deficiency, at: datetime = NOW) -> DeficiencyDetail:
    """The deficiency as it is shown, read anew."""
    return deficiency_detail(Deficiency.objects.get(id=row.id), at)


REPORT = DeficiencyDecision("repair_reported", "New float and gasket.", done_at=NOW - HOUR)
DEFER = DeficiencyDecision("deferred", "Part comes on Friday.", until=NOW + 5 * DAY)
EXPLAIN = DeficiencyDecision("explained", "The return line is rusting away.", cause="rust from the returns")
