"""The grader that reads the catalogue: each reading against its own row, for procedures without relative logic."""

from fleet.rules.catalogue import ReadingSpec
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Bench
from fleet.rules.verdicts.accepted import accepted, reference, taken
from fleet.rules.verdicts.graded import Graded
from fleet.rules.vocabulary import Outcome

CLAIMED = FindingCode.TEST_FAILED
_IN_WORDS = {Outcome.FAIL: "failed", Outcome.INCONCLUSIVE: "proves nothing", Outcome.NOT_A_TEST: "was not a test"}


def fails_as(bench: Bench) -> str:
    """The finding of a failure that no reading explains."""
    return bench.procedure.fails_as or CLAIMED


def table(bench: Bench) -> Graded:
    """Not a test before failed before inconclusive: a trip that was never asked for neither proves nor accuses."""
    asked = [s for s in bench.procedure.readings.values() if s.rule and taken(bench, s)]
    wrong = [s for s in asked if accepted(bench, s) is False]
    for outcome in (Outcome.NOT_A_TEST, Outcome.FAIL, Outcome.INCONCLUSIVE):
        found = [s for s in wrong if s.otherwise == outcome]
        if found:
            return _against(bench, outcome, found)
    unknown = next((s for s in asked if accepted(bench, s) is None), None)
    if unknown is not None:
        return _unknown(bench, unknown)
    limit, value = _limit(bench, asked)
    sentence = f"{bench.procedure.name} on the {bench.name} passed."
    return Graded(Outcome.PASS, sentence, "good", _proves(bench), limit, value)


def _proves(bench: Bench) -> str:
    """Its own proof. What is never asked for by itself still stands for a due-only procedure that it covers."""
    own, known = bench.procedure, bench.ledger.catalogue.procedures
    if own.proof != "none":
        return own.proof
    return "due_only" if any(known[code].proof == "due_only" for code in own.covers) else ""


def _against(bench: Bench, outcome: Outcome, found: list[ReadingSpec]) -> Graded:
    here, failed = bench.record.position.id, outcome == Outcome.FAIL
    rules = dict.fromkeys(s.finding or fails_as(bench) for s in found if failed)
    told = "; ".join(f"{_label(s)} {_value(bench, s)}, accepted: {s.accept}" for s in found)
    what = _IN_WORDS[outcome]
    limit, value = _limit(bench, found)
    sentence = f"{bench.procedure.name} on the {bench.name} {what}: {told}."
    grade, faults = "failed" if failed else "", tuple((rule, here) for rule in rules)
    return Graded(outcome, sentence, grade, limit=limit, set_value=value, faults=faults)


def _unknown(bench: Bench, spec: ReadingSpec) -> Graded:
    key = spec.rule.key.replace("_", " ") if spec.rule else ""
    sentence = f"{bench.procedure.name} on the {bench.name} proves nothing: its {key} is not recorded to compare with."
    return Graded(Outcome.INCONCLUSIVE, sentence, limit=spec.accept)


def _limit(bench: Bench, specs: list[ReadingSpec]) -> tuple[str, float | None]:
    """What is shown beside the verdict: the measured limit where there is one, with the value it is relative to."""
    spec = next((s for s in specs if s.type == "number"), specs[0] if specs else None)
    if spec is None or spec.rule is None:
        return "", None
    return spec.accept, reference(bench, spec.rule)


def _label(spec: ReadingSpec) -> str:
    return spec.name.replace("_", " ")


def _value(bench: Bench, spec: ReadingSpec) -> str:
    if spec.type == "number":
        return f"{bench.number(spec.name):g} {spec.unit}".rstrip()
    return ("yes" if bench.flag(spec.name) else "no") if spec.type == "bool" else bench.word(spec.name)
