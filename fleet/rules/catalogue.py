"""The reference data that rules read: kinds, roles, procedures, readings, findings; built by `fleet.catalog`."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from fleet.calendar import Interval


@dataclass(frozen=True, slots=True)
class SourceSpec:
    """A document that is cited by number: what it is, what it holds for, and how much of it was seen."""

    number: str
    title: str
    publisher: str
    dated: str
    scope: str
    seen: str


@dataclass(frozen=True, slots=True)
class KindSpec:
    """A kind of device and the attributes that rules need of it.

    `life_years` is how long one is commonly kept before its replacement is planned (None: nobody says), with a source
    of its own. Releases older than the column have none.
    """

    code: str
    name: str
    attributes: frozenset[str]
    source: str
    life_years: int | None = None
    life_source: str = ""


@dataclass(frozen=True, slots=True)
class RoleSpec:
    """What a position is for. `part` is protection, initiator, input_path, output_path or reference."""

    code: str
    name: str
    part: str
    hazard: str
    order: int
    last_line: bool
    kinds: frozenset[str]


@dataclass(frozen=True, slots=True)
class Hazard:
    """A way people or the boiler get hurt. `stops_firing`: its bad state means the boiler must not be left firing."""

    code: str
    name: str
    stops_firing: bool


@dataclass(frozen=True, slots=True)
class Acceptance:
    """What a reading must be. `op` is is, in, within or a comparison; `key` names a value of the device or setting."""

    op: str
    number: float | None = None
    key: str = ""
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingSpec:
    """One reading of a procedure: type bool, number or choice; the *physical* range refuses, acceptance judges.

    `accept` tells people, `rule` the table grader (None: not judged by it). A reading that violates its rule makes the
    test what `otherwise` says (fail, inconclusive or not_a_test); a failure fires `finding`.
    """

    name: str
    type: str
    unit: str
    low: float | None
    high: float | None
    choices: tuple[str, ...]
    required: bool
    accept: str
    source: str
    rule: Acceptance | None = None
    otherwise: str = "fail"
    finding: str = ""


@dataclass(frozen=True, slots=True)
class ProcedureSpec:
    """A test or inspection. `who` may give good news; `judged_by` is its grader.

    `proof` is full, partial, due_only (missed, it makes the device due and never lapsed) or none. `fails_as` is the
    finding of a failure that no reading explains ('' test_failed). `voids` is the touch it is of its own device unless
    the setting is read back. `minutes` is its standard time, `people` how many it takes (1 or 2). `source` is for the
    way it is done, `interval_source` for how often.
    """

    code: str
    name: str
    kinds: frozenset[str]
    proof: str
    interval: Interval | None
    anchor: str
    grace_days: int
    who: frozenset[str]
    covers: frozenset[str]
    judged_by: str
    readings: Mapping[str, ReadingSpec]
    source: str
    caution: str = ""
    side: str = ""
    steps: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    minutes: int = 0
    people: int = 1
    voids: str = ""
    fails_as: str = ""
    interval_source: str = ""

    def covers_or_is(self, code: str) -> bool:
        """Return whether a pass of this procedure answers a failure found by `code`."""
        return code == self.code or code in self.covers


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two entries that can't both be true when they lie within the window and nothing was done between them.

    Each is an observation's code, or a procedure with what came of it: `flush:pass`. `same_place`: on one position.
    `tested_by`: what tests a suspect, beside the procedures of the pair and those that answer what was seen.
    """

    first: str
    second: str
    window_minutes: int
    same_place: bool
    sentence: str
    source: str
    tested_by: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class TouchRule:
    """After this touch of this kind of device (or of its path) one of each of `needs` must pass: then it is proven."""

    kind: str
    touch: str
    needs: tuple[frozenset[str], ...]


@dataclass(frozen=True, slots=True)
class FindingRule:
    """A row of the table of findings: what the finding is, and what closes it. The rules ask here and nowhere else.

    `fails` is device, path (of a device the piping around it), presumed or none: what it puts down while open.
    `clears_by` names the procedures whose pass answers it; empty: the test that found it. `joins` is air_or_vent,
    flue_gas or soot where two of these together are a danger of their own, else empty.
    """

    code: str
    level: str
    fails: str
    title: str
    first_act: str
    clears_by: frozenset[str]
    source: str
    needs_cause: bool = False  # no pass closes it before a qualified person has named the cause
    needs_manager: bool = False  # the owner's side must stand by that cause, by name
    needs_work: bool = False  # no pass closes it before something was done: a lift does not make a stamp readable
    closes_by_readings: bool = False  # one more passed test closes nothing: its own readings must come back in band
    tested_in_place: bool = False  # has no test of its own: any full proof in its place answers it, or what found it
    closes_unneeded: bool = False  # closes by itself where the empty place is no longer needed
    recurs: bool = False  # wear, cleaning, or a pattern over time: finding it again is no repeat of a repaired fault
    blinds_gauge: bool = False  # what the gauge read since its last good check is in doubt
    joins: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """Work on a device or path. `touch` names what it voids ('' nothing); `repairs` counts as something done."""

    code: str
    name: str
    touch: str
    repairs: bool
    source: str


@dataclass(frozen=True, slots=True)
class Observation:
    """Something seen. `finding` is the rule it fires ('' none), `roles` where it may be seen on (none: anywhere)."""

    code: str
    name: str
    finding: str
    roles: frozenset[str]
    source: str


@dataclass(frozen=True, slots=True)
class Variant:
    """Another published interval of a procedure. `due_only`: missing it makes the device due, never lapsed."""

    procedure: str
    name: str
    interval: Interval | None
    anchor: str
    grace_days: int
    due_only: bool
    source: str


class NeedExposure(StrEnum):
    """From when a needed role without a place on record makes the boiler *exposed*, not only *due*."""

    NO = "no"
    FROM_SURVEY = "from_survey"
    AFTER_GRACE = "after_grace"


@dataclass(frozen=True, slots=True)
class NeededRole:
    """A role that a boiler needs by its kind. A place of one of `roles`, with one of `kinds` if any are named, answers.

    `conditions` are (key, words) pairs that must all hold: a value of the boiler is one of the words, a kind is
    `fitted`, the input is at least `input_from` Btu/h. `none_allowed`: the register may say *none here*, and why.
    `carries`: roles whose devices must hang on such a place. `values`: what must be on record of a device there.
    """

    code: str
    name: str
    roles: frozenset[str]
    kinds: frozenset[str]
    conditions: tuple[tuple[str, tuple[str, ...]], ...]
    none_allowed: bool
    exposes: NeedExposure
    source: str
    carries: frozenset[str] = frozenset()
    values: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Catalogue:
    """One release, whole. `touches[kind, touch]` gives what must pass after that touch."""

    release: int
    hazards: Mapping[str, Hazard]
    kinds: Mapping[str, KindSpec]
    roles: Mapping[str, RoleSpec]
    procedures: Mapping[str, ProcedureSpec]
    touches: Mapping[tuple[str, str], TouchRule]
    findings: Mapping[str, FindingRule]
    actions: Mapping[str, Action]
    observations: Mapping[str, Observation]
    variants: Mapping[tuple[str, str], Variant] = field(default_factory=dict)  # by procedure and name
    contradictions: tuple[Contradiction, ...] = ()
    sources: Mapping[str, SourceSpec] = field(default_factory=dict)  # by number; none in a release from before them
    needed_roles: tuple[NeededRole, ...] = ()  # empty in releases older than the table

    def tests_of(self, pair: Contradiction) -> frozenset[str]:
        """Return what tests a suspect of a contradiction: by its row, by the pair, by what answers what was seen."""
        procedure_codes = set(pair.tested_by)
        for label in (pair.first, pair.second):
            observation = self.observations.get(label)
            rule = self.findings.get(observation.finding) if observation else None
            procedure_codes |= {label.split(":")[0]} if observation is None else rule.clears_by if rule else frozenset()
        return frozenset(procedure_codes)

    def contradicted_by(self, label: str) -> list[Contradiction]:
        """Return the pairs that have this label, an observation or a test with its outcome, as one of their sides."""
        return self._contradicted.get(label, [])

    @cached_property
    def _contradicted(self) -> Mapping[str, list[Contradiction]]:
        pairs_by_label: dict[str, list[Contradiction]] = {}
        for pair in self.contradictions:
            for label in dict.fromkeys((pair.first, pair.second)):
                pairs_by_label.setdefault(label, []).append(pair)
        return pairs_by_label

    def closing_procedures(self, codes: Iterable[str], role: str | None) -> list[ProcedureSpec]:
        """Return the closing procedures of a finding that a place of this role can have; all without a place.

        A missing limit, for one, is not proven by the test of an alarm.
        """
        kinds = self.roles[role].kinds if role else None
        procedures = (self.procedures[code] for code in codes if code in self.procedures)
        return [p for p in procedures if kinds is None or kinds & p.kinds]

    def proofs_of_kind(self, kind: str, proof: str) -> list[ProcedureSpec]:
        """Return the procedures that give this kind a proof of this sort: `full`, `partial` or `due_only`."""
        return self._proofs.get((kind, proof), [])

    @cached_property
    def _proofs(self) -> Mapping[tuple[str, str], list[ProcedureSpec]]:
        proofs_by_kind: dict[tuple[str, str], list[ProcedureSpec]] = {}
        for procedure in self.procedures.values():
            for kind in procedure.kinds:
                proofs_by_kind.setdefault((kind, procedure.proof), []).append(procedure)
        return proofs_by_kind
