"""The grader that reads the catalogue: each reading against its own row, for procedures without relative logic."""

from fleet.rules.catalogue import ReadingSpec
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench
from fleet.rules.verdicts.accepted import is_accepted, is_taken, reference_value
from fleet.rules.verdicts.graded import GradedTest
from fleet.rules.verdicts.reading_phrases import say_reading_against
from fleet.rules.vocabulary import Outcome

CLAIMED_FAILURE_RULE = FindingCode.TEST_FAILED
_IN_WORDS = {Outcome.FAIL: "failed", Outcome.INCONCLUSIVE: "proves nothing", Outcome.NOT_A_TEST: "was not a test"}


def finding_of_failure(bench: GradingBench) -> str:
    """Return the finding of a failure that no reading explains."""
    return bench.procedure.fails_as or CLAIMED_FAILURE_RULE


def grade_by_table(bench: GradingBench) -> GradedTest:
    """Grade each reading by its own row: *not a test* before *fail* before *inconclusive*.

    A trip that was never asked for neither proves nor accuses.
    """
    specs = [s for s in bench.procedure.readings.values() if s.rule and is_taken(bench, s)]
    wrong = [s for s in specs if is_accepted(bench, s) is False]
    for outcome in (Outcome.NOT_A_TEST, Outcome.FAIL, Outcome.INCONCLUSIVE):
        specs_against = [s for s in wrong if s.otherwise == outcome]
        if specs_against:
            return _graded_against(bench, outcome, specs_against)
    unknown = next((s for s in specs if is_accepted(bench, s) is None), None)
    if unknown is not None:
        return _graded_unknown(bench, unknown)
    limit, value = _shown_limit(bench, specs)
    sentence = f"{bench.procedure.name} on the {bench.name} passed."
    return GradedTest(
        Outcome.PASS,
        sentence,
        grade="good",
        proves=_proof_given(bench),
        limit=limit,
        set_value=value,
        reading=_decisive_reading(specs),
    )


def _proof_given(bench: GradingBench) -> str:
    """Return the procedure's own proof, or due_only where it covers a procedure that gives one."""
    procedure, procedures = bench.procedure, bench.ledger.catalogue.procedures
    if procedure.proof != "none":
        return procedure.proof
    return "due_only" if any(procedures[code].proof == "due_only" for code in procedure.covers) else ""


def _graded_against(bench: GradingBench, outcome: Outcome, specs: list[ReadingSpec]) -> GradedTest:
    position, is_failure = bench.record.position.id, outcome == Outcome.FAIL
    rules = dict.fromkeys(s.finding or finding_of_failure(bench) for s in specs if is_failure)
    sentence_parts = "; ".join(
        say_reading_against(s.name, _reading_text(bench, s), s.accept, is_yes_or_no=s.type == "bool") for s in specs
    )
    outcome_words = _IN_WORDS[outcome]
    limit, value = _shown_limit(bench, specs)
    sentence = f"{bench.procedure.name} on the {bench.name} {outcome_words}: {sentence_parts}."
    grade, faults = "failed" if is_failure else "", tuple((rule, position) for rule in rules)
    reading = _decisive_reading(specs)
    return GradedTest(outcome, sentence, grade, limit=limit, set_value=value, faults=faults, reading=reading)


def _graded_unknown(bench: GradingBench, spec: ReadingSpec) -> GradedTest:
    key = spec.rule.key.replace("_", " ") if spec.rule else ""
    sentence = f"{bench.procedure.name} on the {bench.name} proves nothing: its {key} is not recorded to compare with."
    return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=spec.accept, reading=spec.name)


def _shown_limit(bench: GradingBench, specs: list[ReadingSpec]) -> tuple[str, float | None]:
    """Return what is shown beside the verdict: the measured limit if there is one, with the value it is relative to."""
    spec = _decisive_spec(specs)
    if spec is None or spec.rule is None:
        return "", None
    return spec.accept, reference_value(bench, spec.rule)


def _decisive_spec(specs: list[ReadingSpec]) -> ReadingSpec | None:
    """Return the reading whose limit is shown: a measured one if there is one."""
    return next((s for s in specs if s.type == "number"), specs[0] if specs else None)


def _decisive_reading(specs: list[ReadingSpec]) -> str:
    spec = _decisive_spec(specs)
    return spec.name if spec else ""


def _reading_text(bench: GradingBench, spec: ReadingSpec) -> str:
    if spec.type == "number":
        return f"{bench.number_reading(spec.name):g} {spec.unit}".rstrip()
    return (
        ("yes" if bench.yes_or_no_reading(spec.name) else "no")
        if spec.type == "bool"
        else bench.choice_reading(spec.name)
    )
