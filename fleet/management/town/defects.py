"""Defects of register data: set points, stamps, ranges, empty places; and the lines that repair them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from fleet.management.town.story_values import TownBoiler, TownLine, Value

LONG_IN_PLACE_DAYS = 12 * 365  # longer than a cutoff is commonly kept
Spoil = Callable[[TownBoiler, date], TownBoiler]


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect of register data. `spoil` puts it into the register; `repair_lines` of a visit repair it.

    `rules`: findings that are right about it. `stands`: the first service does not repair it. `new`: only on a boiler
    that came on record lately.
    """

    code: str
    spoil: Spoil
    repair_lines: tuple[TownLine, ...]
    rules: tuple[str, ...]
    needs: tuple[str, ...]  # the places it is about
    stands: bool = False
    new: bool = False


def _spoil_values(place: str, **values: Value) -> Spoil:
    def spoil(boiler: TownBoiler, today: date) -> TownBoiler:
        old_place = boiler.places[place]
        new_values = {k: v for k, v in {**old_place.values, **values}.items() if v is not None}
        return replace(boiler, places={**boiler.places, place: replace(old_place, values=new_values)})

    return spoil


def _empty_place(place: str) -> Spoil:
    def spoil(boiler: TownBoiler, today: date) -> TownBoiler:
        empty_place = replace(boiler.places[place], kind="", values={}, fitted_on=None, hangs_on=())
        return replace(boiler, places={**boiler.places, place: empty_place})

    return spoil


def _one_chamber(boiler: TownBoiler, today: date) -> TownBoiler:
    lower = replace(boiler.places["lower"], hangs_on=("chamber",), kind="float_cutoff")
    return replace(boiler, places={**boiler.places, "lower": lower})


def _alarm_too_old(boiler: TownBoiler, today: date) -> TownBoiler:
    return _spoil_values("alarm", end_of_life=(today - timedelta(days=38)).isoformat())(boiler, today)


def _lower_cutoff_too_old(boiler: TownBoiler, today: date) -> TownBoiler:
    lower = replace(boiler.places["lower"], fitted_on=today - timedelta(days=LONG_IN_PLACE_DAYS))
    return replace(boiler, places={**boiler.places, "lower": lower})


def _set_line(place: str, **values: Value) -> TownLine:
    return TownLine("set", "", place, 5, values=values)


def _replace_line(place: str, kind: str, **values: Value) -> TownLine:
    return TownLine("replace", "", place, 5, kind=kind, values=values)


DEFECTS: Mapping[str, Defect] = {
    d.code: d
    for d in (
        Defect(
            "gauge_too_wide",
            _spoil_values("gauge", range_psi=100.0),
            repair_lines=(),
            rules=("gauge_range",),
            needs=("gauge",),
            stands=True,
        ),
        Defect(
            "stamp_not_read",
            _spoil_values("valve", capacity_lb_h=None),
            repair_lines=(),
            rules=("capacity_unknown",),
            needs=("valve",),
            stands=True,
        ),
        Defect(
            "cut_out_high",
            _spoil_values("control", cut_out_psi=10.5, cut_in_psi=9.0, differential_psi=1.5),
            repair_lines=(_set_line("control", cut_out_psi=1.5, cut_in_psi=0.5, differential_psi=1.0),),
            rules=("ladder_operating_gap", "ladder_limit_at_cut_out"),
            needs=("control",),
        ),
        Defect(
            "valve_small",
            _spoil_values("valve", capacity_lb_h=250.0),
            repair_lines=(_replace_line("valve", "safety_valve", set_psi=15.0, capacity_lb_h=2400.0),),
            rules=("capacity_short",),
            needs=("valve",),
        ),
        Defect(
            "valve_of_another_boiler",
            _spoil_values("valve", set_psi=30.0),
            repair_lines=(_replace_line("valve", "safety_valve", set_psi=15.0, capacity_lb_h=2400.0),),
            rules=("valve_over_fifteen", "ladder_over_fifteen"),
            needs=("valve",),
        ),
        Defect(
            "limit_over_all",
            _spoil_values("limit", set_psi=16.0),
            repair_lines=(_set_line("limit", set_psi=8.0),),
            rules=("ladder_over_fifteen", "ladder_limit_at_valve"),
            needs=("limit",),
        ),
        Defect(
            "limit_at_valve",
            _spoil_values("limit", set_psi=15.0),
            repair_lines=(_set_line("limit", set_psi=8.0),),
            rules=("ladder_limit_at_valve",),
            needs=("limit",),
        ),
        Defect(
            "limit_under_control",
            _spoil_values("limit", set_psi=1.2),
            repair_lines=(_set_line("limit", set_psi=8.0),),
            rules=("ladder_limit_at_cut_out",),
            needs=("limit",),
        ),
        Defect(
            "limit_close_to_valve",
            _spoil_values("limit", set_psi=14.0),
            repair_lines=(_set_line("limit", set_psi=8.0),),
            rules=("ladder_limit_gap",),
            needs=("limit",),
        ),
        Defect(
            "cut_in_over_cut_out",
            _spoil_values("control", cut_in_psi=1.9),
            repair_lines=(_set_line("control", cut_in_psi=0.5),),
            rules=("ladder_cut_in",),
            needs=("control",),
        ),
        Defect(
            "two_in_one_chamber",
            _one_chamber,
            repair_lines=(),
            rules=("cutoffs_in_one_chamber",),
            needs=("chamber",),
            stands=True,
            new=True,
        ),
        Defect(
            "no_upper",
            _empty_place("upper"),
            repair_lines=(TownLine("fit", "", "upper", 5, kind="probe_cutoff"),),
            rules=("not_fitted",),
            needs=("upper",),
        ),
        Defect(
            "no_lower",
            _empty_place("lower"),
            repair_lines=(TownLine("fit", "", "lower", 5, kind="probe_cutoff"),),
            rules=("not_fitted_last_line",),
            needs=("lower",),
        ),
        Defect(
            "alarm_too_old",
            _alarm_too_old,
            repair_lines=(),
            rules=("alarm_out_of_date",),
            needs=("alarm",),
            stands=True,
        ),
        Defect(
            "never_popped",
            lambda boiler, today: boiler,
            repair_lines=(),
            rules=("set_pressure_unproven",),
            needs=("valve",),
            stands=True,
        ),
        Defect(
            "lower_long_in_place",
            _lower_cutoff_too_old,
            repair_lines=(),
            rules=("past_service_life",),
            needs=("lower",),
            stands=True,
        ),
    )
}


def mend_boiler(boiler: TownBoiler, defect: Defect) -> TownBoiler:
    """Return the boiler after the repair lines."""
    for line in defect.repair_lines:
        old_place = boiler.places[line.place]
        kind, old_values = line.kind or old_place.kind, {} if line.kind else dict(old_place.values)
        new_place = replace(old_place, kind=kind, values={**old_values, **line.values})
        boiler = replace(boiler, places={**boiler.places, line.place: new_place})
    return boiler
