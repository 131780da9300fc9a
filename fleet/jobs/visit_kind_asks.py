"""What a kind of visit asks of a boiler whatever is due: all of a yearly service, the four things of a routine check.

A service asks here for what `rules.answers.readiness` will ask of it at its end, so that nothing is missed on the way.
"""

from collections.abc import Iterator

from fleet.jobs import work
from fleet.jobs.asks import Ask, WorkFacts, season_procedures
from fleet.rules.answers.readiness import PROVES_EVERYTHING
from fleet.rules.catalogue import Catalogue, ProcedureSpec
from fleet.rules.vocabulary import OPERATOR

ROUTINE_CHECK = "routine_check"
# Of a float cutoff, the glass, the gauge and the make-up meter, in that order of worth (common practice).
ROUTINE_PROCEDURES = ("flush", "level_observation", "pressure_observation", "meter_reading")
SERVICE_SKILLS = (work.DEFAULT_SKILL, "fire_side", "gas_train", "backflow_tester")
_SEASON_START_ONLY = "season_restart_check"
_AS_LEFT = ("normal_restart", "three_cycles", _SEASON_START_ONLY)
VISIT_REASON = {
    "annual_service": "An annual service does this, whatever is due.",
    "season_start": "A season start does this, whatever is due.",
    ROUTINE_CHECK: "A routine check does this.",
}


def visit_kind_asks(facts: WorkFacts, kind: str) -> Iterator[Ask]:
    """Yield what this kind of visit asks of every place that is filled. Other kinds ask nothing of their own."""
    for place, device_kind in facts.kinds.items():
        for procedure in _procedures_of_visit(facts.release, device_kind, kind):
            phase = "as_left" if procedure.code in _AS_LEFT else "as_found"
            yield Ask(place, procedure.code, phase=phase, because="visit", why=VISIT_REASON[kind])


def _procedures_of_visit(release: Catalogue, device_kind: str, kind: str) -> list[ProcedureSpec]:
    fitting_procedures = [p for p in release.procedures.values() if device_kind in p.kinds]
    if kind == ROUTINE_CHECK:
        return [p for p in fitting_procedures if p.code in ROUTINE_PROCEDURES]
    if kind not in PROVES_EVERYTHING:
        return []
    yearly_procedures = season_procedures(fitting_procedures, release)
    # What an operator does between visits is done once by whoever serves the boiler, as found.
    own_checks = [p for p in fitting_procedures if OPERATOR in p.who and p.interval and p not in yearly_procedures]
    return [p for p in (*own_checks, *yearly_procedures) if _is_done_on_visit(p, kind)]


def _is_done_on_visit(procedure: ProcedureSpec, kind: str) -> bool:
    """Whether it is done at the boiler by those who serve it: not by a valve shop, nor by an inspector of his own."""
    is_done_here = work.skill_of(procedure) in SERVICE_SKILLS
    return is_done_here and (procedure.code != _SEASON_START_ONLY or kind == "season_start")
