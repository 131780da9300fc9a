"""The boiler's standings from the beginning of time on, cut at every instant at which one of their causes changes."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from fleet.rules.capacity import compare_capacity, with_known_output
from fleet.rules.catalogue import FindingRule, NeedExposure
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.needed_roles import in_words, sum_burner_inputs
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.timeline.levels import level_segments
from fleet.rules.timeline.standing import (
    ACT_BY_STANDING,
    BoilerView,
    OpenCase,
    OpenGaps,
    PositionState,
    bare_hazards,
    decide_standing,
)
from fleet.rules.values import (
    Level,
    LevelSegment,
    PositionStateSegment,
    Reason,
    ServiceMode,
    Standing,
    StandingSegment,
    State,
    Value,
)
from fleet.rules.wording import local_day

OpenList = list[tuple[EpisodeCase, Level]]


@dataclass(frozen=True, slots=True)
class PositionTrack:
    """One position through time: item i of each list holds from `starts[i - 1]` on, the first from ever.

    `figures`: of a safety valve its stamped capacity in lb/h, of a burner its plate's input in Btu/h, else None.
    """

    starts: list[datetime]
    positions_seen: list[PositionState]
    figures: list[float | None]

    def index_at(self, at: datetime | None) -> int:
        """Return the index of the values that hold at an instant."""
        return bisect_right(self.starts, at) if at else 0

    def figure_at(self, at: datetime | None) -> float | None:
        """Return the capacity or the input that holds at an instant."""
        return self.figures[self.index_at(at)]

    def visible_changes(self) -> Iterator[datetime]:
        """Yield the instants at which the standing may change. One proof after another changes nothing."""
        for start, before, after, old, new in zip(
            self.starts, self.positions_seen, self.positions_seen[1:], self.figures, self.figures[1:], strict=False
        ):
            quiet = before.state is after.state is State.PROVEN
            if not quiet or before.needed != after.needed or old != new:
                yield start


class Timeline:
    """Looks up, at any instant, the states, open episodes and service state that a replay left behind."""

    def __init__(self, run: ReplayRun, states: Sequence[PositionStateSegment]) -> None:
        self.run, self.evidence = run, run.ledger.evidence
        self.services = sorted(self.evidence.services, key=lambda s: (s.since, s.state))
        self.surveyed_at = surveyed_at(run)
        self._states: dict[UUID, list[PositionStateSegment]] = {}
        for segment in states:
            self._states.setdefault(segment.position, []).append(segment)
        self._tracks = {p: _build_track(run, p, segments) for p, segments in self._states.items()}
        self._boiler_settings = sorted(
            (s for s in self.evidence.settings if s.position is None), key=lambda s: (s.since, s.key)
        )
        self._valves, self._burners = (
            [p for p, r in run.ledger.records.items() if r.role.code == role] for role in ("safety_valve", "burner")
        )
        self._last_view: BoilerView | None = None
        self.cases = list(run.ledger.all_cases())
        self.time_cases = [c for c in self.cases if c.by_time]  # opened and closed by time alone
        self.levels = [level_segments(c) for c in self.cases]
        self._open_starts, self._open = _open_lists(self.cases, self.levels)

    def change_instants(self) -> list[datetime]:
        """Return every instant at which anything changes that a standing rests on, in order."""
        instants = {at for track in self._tracks.values() for at in track.visible_changes()}
        instants |= set(self._open_starts) | {s.since for s in self.services} | {g.at for g in self.run.ledger.gaps}
        if len(self._valves) > 1:  # whether one of them is backed rests on what the valves must carry together
            instants |= {s.since for s in self._boiler_settings} | {
                law.since for law in self.evidence.laws if law.since
            }
        if self.surveyed_at:
            instants.add(self.surveyed_at)
        return sorted(instants)

    def states_of(self, position: UUID) -> list[PositionStateSegment]:
        """Return all states of one position, in order."""
        return self._states[position]

    def view_at(self, at: datetime | None) -> BoilerView:
        """Return everything the standing depends on at `at`. The newest view is kept: it is asked for repeatedly."""
        if self._last_view is None or self._last_view.at != at:
            self._last_view = self._build_view(at)
        return self._last_view

    def _build_view(self, at: datetime | None) -> BoilerView:
        cases = self._open[bisect_right(self._open_starts, at)] if at else []
        return BoilerView(
            at=at,
            service=self.service_at(at),
            surveyed=bool(at and self.surveyed_at and self.surveyed_at <= at),
            hazards=list(self.run.ledger.catalogue.hazards.values()),
            positions=self._seen_positions(at),
            cases=[self._open_case(case, level) for case, level in cases],
            gaps=self._gaps_at(at, cases),
            told_whole=bool(at and self.evidence.register and self.evidence.register.at <= at),
        )

    def _open_case(self, case: EpisodeCase, level: Level) -> OpenCase:
        is_presumed = case.rule.code == FindingCode.PRESUMED_BY_VALVE
        return OpenCase(level, self._reason_of_case(case), endangers_people(case.rule), is_presumed)

    def _gaps_at(self, at: datetime | None, cases: OpenList) -> OpenGaps | None:
        """Return what the register leaves out at an instant, and which of that leaves nothing to rely on."""
        gaps = next((g.gaps for g in reversed(self.run.ledger.gaps) if at and g.at <= at), ())
        found = next(((case, level) for case, level in cases if case.rule.code == FindingCode.NOT_ON_RECORD), None)
        if not gaps or found is None:
            return None
        case, level = found
        counted = (NeedExposure.FROM_SURVEY, *((NeedExposure.AFTER_GRACE,) if level is not Level.ROUTINE else ()))
        exposing = [
            Reason(
                case.rule.code,
                f"Not on record: {in_words([g])}. Nobody knows of one.",
                hazard=g.hazard,
                since=case.opened_at,
            )
            for g in gaps
            if g.exposes in counted
        ]
        sentence = f"Not on record: {in_words(gaps)}. ({local_day(case.opened_at, self.evidence.zone)})"
        return OpenGaps(replace(self._reason_of_case(case), sentence=sentence), tuple(exposing))

    def service_at(self, at: datetime | None) -> ServiceMode:
        """Return the service state at `at`. Without one the boiler is in service."""
        past = [s for s in self.services if at and s.since <= at]
        return past[-1].state if past else ServiceMode.IN_SERVICE

    def _seen_positions(self, at: datetime | None) -> list[PositionState]:
        positions = [track.positions_seen[track.index_at(at)] for track in self._tracks.values()]
        if len(self._valves) == 1:
            return positions
        return [
            replace(s, backed=self._is_backed(s.position, at)) if s.position in self._valves else s for s in positions
        ]

    def _is_backed(self, position: UUID, at: datetime | None) -> bool:
        """Return whether the other standing safety valves carry the output by their stamps. Unknown is not adequate."""
        other_tracks = [self._tracks[p] for p in self._valves if p != position]
        if at is None or not other_tracks:
            return False
        then = [(track.positions_seen[track.index_at(at)], track.figure_at(at)) for track in other_tracks]
        stamps = [lb_h for state_then, lb_h in then if state_then.needed and state_then.state.stands]
        burner_input = sum_burner_inputs(self._tracks[p].figure_at(at) for p in self._burners)
        boiler = with_known_output(self._boiler_at(at), burner_input)
        relief = compare_capacity(boiler, self.evidence.terms_at(at), [s for s in stamps if s is not None])
        return bool(stamps and relief and relief.adequate)

    def _boiler_at(self, at: datetime) -> dict[str, Value]:
        """Return what the register said of the boiler as a whole at an instant."""
        return {s.key: s.value for s in self._boiler_settings if s.since <= at and not isinstance(s.value, tuple)}

    def _reason_of_case(self, case: EpisodeCase) -> Reason:
        record = self.run.ledger.records[case.position] if case.position else None
        hazard = record.role.hazard if record else ""
        sentence = f"{case.sentence} ({local_day(case.opened_at, self.evidence.zone)})"
        return Reason(
            case.rule.code, sentence, hazard=hazard, position=case.position, entry=case.entry, since=case.opened_at
        )


def endangers_people(rule: FindingRule) -> bool:
    """Return whether a finding is gas or flue gas among people."""
    return rule.code == FindingCode.PEOPLE_IN_DANGER or rule.joins == "flue_gas"


def _start_of(segment: PositionStateSegment) -> datetime:
    assert segment.since is not None  # only the first has none, and it is not looked at
    return segment.since


def _build_track(run: ReplayRun, position: UUID, segments: Sequence[PositionStateSegment]) -> PositionTrack:
    """Join a position's states with what the register said about it."""
    snapshots, role = run.snapshots[position], run.ledger.records[position].role
    starts = sorted({s.since for s in segments if s.since} | {s.at for s in snapshots if s.at})
    positions_seen, figures, segment_number, snapshot_number = list[PositionState](), list[float | None](), 0, 0
    for at in (None, *starts):
        while at and segment_number + 1 < len(segments) and _start_of(segments[segment_number + 1]) <= at:
            segment_number += 1
        while at and snapshot_number + 1 < len(snapshots) and (snapshots[snapshot_number + 1].at or at) <= at:
            snapshot_number += 1
        segment = segments[segment_number]
        positions_seen.append(
            PositionState(
                position, role, needed=snapshots[snapshot_number].needed, state=segment.state, reason=segment.reason
            )
        )
        figures.append(snapshots[snapshot_number].figure)
    return PositionTrack(starts, positions_seen, figures)


def _open_lists(
    cases: Sequence[EpisodeCase], levels: Sequence[tuple[LevelSegment, ...]]
) -> tuple[list[datetime], list[OpenList]]:
    """Return the instants at which the open episodes or their classes change, and the list from each instant on.

    One pass in time: looking up every episode at every instant would cost their product.
    """
    changes: dict[datetime, list[tuple[int, Level | None]]] = {}
    for number, segments in enumerate(levels):
        for segment in segments:
            changes.setdefault(segment.since, []).append((number, segment.level))
        if segments and (end := segments[-1].until):
            changes.setdefault(end, []).insert(0, (number, None))
    open_levels: dict[int, Level] = {}
    starts, lists = sorted(changes), list[OpenList]([[]])
    for at in starts:
        for number, level in changes[at]:
            if level is None:
                open_levels.pop(number, None)
            else:
                open_levels[number] = level
        lists.append([(cases[n], level) for n, level in sorted(open_levels.items())])
    return starts, lists


def surveyed_at(run: ReplayRun) -> datetime | None:
    """Return when the first visit with a qualified technician ended, None without one."""
    visits = run.ledger.evidence.visits
    # A neighbour's visit, known here by its entries on shared positions, surveyed the neighbour.
    return min(
        (run.after[v.id].at for v in visits if v.of_this_boiler and "technician" in v.qualifications), default=None
    )


def cut_standings(timeline: Timeline) -> tuple[StandingSegment, ...]:
    """Cut the whole of time into standings. Neighbors with the same content are joined."""
    starts: list[datetime | None] = [None, *timeline.change_instants()]
    cut: list[StandingSegment] = []
    for since, until in pairwise([*starts, None]):
        view = timeline.view_at(since)
        standing, reasons = decide_standing(view)
        segment = StandingSegment(
            since,
            until,
            standing,
            reasons=reasons,
            then=_next_act(timeline, standing, reasons),
            bare=bare_hazards(view) if standing in (Standing.HOLD, Standing.EXPOSED) else (),
        )
        if cut and replace(cut[-1], since=since, until=until) == segment:
            segment = replace(segment, since=cut.pop().since)
        cut.append(segment)
    return tuple(cut)


def _next_act(timeline: Timeline, standing: Standing, reasons: Sequence[Reason]) -> str:
    """Return the next thing to do: the first act of the worst rule, else what the board says for this standing."""
    rules = timeline.run.ledger.catalogue.findings
    act = next((rules[r.rule].first_act for r in reasons if r.rule in rules), "")
    return act or ACT_BY_STANDING[standing]
