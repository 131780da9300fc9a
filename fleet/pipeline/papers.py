"""add_paper: a dated paper is written like any other fact, and its reminders are judged in the same transaction."""

from datetime import date, datetime
from uuid import UUID

from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.pipeline.conclude import EventsByPortfolio, write_and_conclude
from fleet.portfolio.models import Boiler, Building, Paper
from fleet.records.events import Cause, ChangeEvent

MAX_NAME_LENGTH = 200


def add_paper(
    *,
    building: UUID,
    boiler: UUID | None = None,
    kind: str,
    name: str,
    since: datetime,
    until: date,
    by: User | None = None,
    at: datetime,
    cause: Cause | None = None,
) -> Paper:
    """Add a paper of a boiler, or of its whole building. `until` is its last local day.

    Raises Refused: 404 for an unknown building or boiler, else for an empty kind, or a name that is empty or too long.
    """
    house = Building.objects.filter(id=building).first()
    boilers = Boiler.objects.filter(building=building, **({"id": boiler} if boiler else {}))
    if house is None or not boilers.exists():
        raise Refused("unknown_boiler" if boiler else "unknown_building", "Place not found.", status=404)
    if not name.strip() or not kind.strip() or len(name) > MAX_NAME_LENGTH:
        raise Refused(
            "required", f"A paper needs a kind and a name of at most {MAX_NAME_LENGTH} characters.", ("name",)
        )

    def write_facts(locked: list[Boiler]) -> Paper:
        values = {"kind": kind, "name": name, "since": since, "until": until, "posted_at": at}
        return Paper.objects.create(portfolio_id=house.portfolio_id, building=house, boiler_id=boiler, **values)

    return write_and_conclude(
        boilers=boilers.values_list("id", flat=True),
        at=at,
        cause=cause or Cause(who=by.get_username() if by else ""),
        write_facts=write_facts,
        describe_events=_paper_events,
    )


def _paper_events(paper: Paper) -> EventsByPortfolio:
    sentence = f"The {paper.name} runs to {paper.until:%a %d %b %Y}."
    subject = paper.boiler_id or paper.building_id
    return {
        paper.portfolio_id: [
            ChangeEvent(
                "paper.added",
                subject,
                boiler=paper.boiler_id,
                before="",
                after=paper.kind,
                sentence=sentence,
                rule="",
                at=paper.since,
            )
        ]
    }
