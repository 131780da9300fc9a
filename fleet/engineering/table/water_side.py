"""Offered: evaporation, the level and how fast it falls, make-up water."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering import makeup, steam, water
from fleet.engineering.checks import Impossible
from fleet.engineering.table.form import NO_PERMISSION, Calculation, Input, Output
from fleet.engineering.table.pressure_side import ALTITUDE, GAUGE, psia

OUTPUT = Input("output_btu_h", "Output", water.OUTPUT_BTU_H)
SURFACE = Input("surface_ft2", "Water surface", water.SURFACE_FT2)
RETURNED = Input("return_share", "Share of condensate that comes back", water.SHARE, default=0.0)
FEED = Input("feed_gpm", "Feed", water.FEED_GPM, default=0.0)
FALL_FORMULA = "t = A x drop x density / (Q / h_fg x (1 - returned) - feed); not falling where that is 0 or less"
SECTION_8 = "Published values section 8; steam from IAPWS-IF97"
LOW_WATER = (
    "Never add water to a hot boiler whose glass is empty: fuel off, let it cool, have it inspected. The lowest safe "
    "line is the maker's. A surface that narrows on the way down makes the time shorter than this."
)
DAYS = Input("days", "Days of the readings, from any start", makeup.DAY, many=True)


@dataclass(frozen=True, slots=True)
class Evaporated:
    """Steam made, as weight and as the volume of cold feed water that replaces it."""

    steam_lb_h: float
    water_gal_h: float


@dataclass(frozen=True, slots=True)
class Metered:
    """Uses between readings in gal (None where not known), notes, and the total of what is known."""

    gallons: list[float | None]
    notes: list[str]
    known_gallons: float
    known_days: float
    gallons_per_day: float | None


def _evaporation(output_btu_h: float, pressure_psig: float, altitude_ft: float, feed_f: float | None) -> Evaporated:
    pressure = psia(pressure_psig, altitude_ft)
    if feed_f is None:
        made = water.evaporation_lb_h(output_btu_h, pressure)
    else:
        made = water.evaporation_cold_lb_h(output_btu_h, pressure, feed_f)
    return Evaporated(made, made / steam.water_lb_gal(60.0))


def _inch(surface_ft2: float, pressure_psig: float, altitude_ft: float) -> float:
    return water.weight_per_inch_lb(surface_ft2, psia(pressure_psig, altitude_ft))


def _fall(pressure_psig: float, altitude_ft: float, **rest: float) -> water.Fall:
    return water.fall(pressure_psia=psia(pressure_psig, altitude_ft), **rest)


def _falls(pressure_psig: float, altitude_ft: float, **rest: float) -> water.Falls:
    return water.falls(pressure_psia=psia(pressure_psig, altitude_ft), **rest)


def _metered(days: Sequence[float], values: Sequence[float], rolls_at: float | None, meter_unit: str) -> Metered:
    if len(days) != len(values):
        raise Impossible("shapes", f"{len(days)} days and {len(values)} figures.", ("values",))
    readings = [makeup.Reading(day, value) for day, value in zip(days, values, strict=True)]
    uses = makeup.uses(readings, rolls_at, meter_unit)
    known = [use for use in uses if use.gallons is not None]
    gallons, length = sum(use.gallons or 0.0 for use in known), sum(use.days for use in known)
    rate = gallons / length if known else None
    return Metered([use.gallons for use in uses], [use.note for use in uses], gallons, length, rate)


def _share(
    gallons: float, input_btu: float, efficiency_percent: float, pressure_psig: float, altitude_ft: float
) -> float:
    made = water.steam_made_lb(input_btu, efficiency_percent, psia(pressure_psig, altitude_ft))
    return makeup.share_of_steam_percent(gallons, made)


def _level(name: str, label: str, **more: object) -> Input:
    return Input(name, f"{label}, over the bottom of the glass", water.LEVEL_IN, **more)  # type: ignore[arg-type]


TABLE = (
    Calculation(
        "evaporation",
        "Steam made by an output",
        _evaporation,
        (
            OUTPUT,
            GAUGE,
            ALTITUDE,
            Input("feed_f", "Feed at (leave out: condensate boiling hot)", steam.WATER_F, default=None),
        ),
        (
            Output("steam_lb_h", "Steam", "lb/h", "steam_lb_h"),
            Output("water_gal_h", "As water at 60 F", "gal/h", "water_gal_h"),
        ),
        "Q / h_fg with hot condensate, Q / (h_g - h_feed) with cold feed",
        SECTION_8,
        "The safety valves are sized by output / 1000, not by this.",
    ),
    Calculation(
        "inch_of_water",
        "Weight of an inch of level",
        _inch,
        (SURFACE, GAUGE, ALTITUDE),
        (Output("weight_lb", "An inch weighs", "lb"),),
        "A / 12 x density of boiling water",
        SECTION_8,
        "The surface narrows between the sections of a cast-iron boiler.",
    ),
    Calculation(
        "level_fall",
        "How long the level takes to fall",
        _fall,
        (Input("drop_in", "Fall", water.DROP_IN), SURFACE, OUTPUT, GAUGE, ALTITUDE, RETURNED, FEED),
        (
            Output("minutes", "Time", "min", "minutes"),
            Output("net_lb_h", "Water lost", "lb/h", "net_lb_h"),
            Output("says", "In words", at="says"),
        ),
        FALL_FORMULA,
        SECTION_8,
        LOW_WATER,
    ),
    Calculation(
        "water_times",
        "From the normal line to the cutoff, and on to the lowest safe line",
        _falls,
        (
            _level("normal_in", "Normal line"),
            _level("cutoff_in", "Cutoff trips at"),
            _level("lowest_in", "Lowest safe line"),
            SURFACE,
            OUTPUT,
            GAUGE,
            ALTITUDE,
            RETURNED,
            FEED,
        ),
        (
            Output("minutes_to_cutoff", "To the cutoff", "min", "to_cutoff.minutes"),
            Output("minutes_to_lowest", "On to the lowest safe line", "min", "to_lowest.minutes"),
            Output("says", "In words", at="to_cutoff.says"),
            Output("verdict", "Verdict", at="judgement.verdict"),
            Output("reasons", "Reasons", at="judgement.sentences"),
        ),
        FALL_FORMULA,
        SECTION_8,
        LOW_WATER,
    ),
    Calculation(
        "cutoff_trip",
        "Cutoff: height of the trip",
        water.grade_cutoff_trip,
        (
            _level("trip_in", "Tripped at"),
            _level("last_in", "Last time", default=None),
            _level("lowest_in", "Lowest safe line", default=None),
            _level("below_in", "The cutoff under it trips at", default=None),
        ),
        (Output("grade", "Grade"),),
        "good: within 0.5 in of the last; drifted: else 1 in or more, over the lowest line and the cutoff under it",
        "Published values section 4; the half inch is common practice",
        NO_PERMISSION,
    ),
    Calculation(
        "column",
        "Height of water that holds a psi",
        water.column_in_per_psi,
        (Input("water_f", "Water at", steam.WATER_F),),
        (Output("column_in", "For each psi", "in"),),
        "1728 / density",
        SECTION_8,
        "A return leg needs this for the pressure and the pipe's loss on top, and room to spare.",
    ),
    Calculation(
        "meter_use",
        "Water used, from meter readings",
        _metered,
        (
            DAYS,
            Input("values", "Figures", makeup.METER, many=True),
            Input("rolls_at", "Register rolls over at", makeup.ROLLS_AT, default=None),
            Input("meter_unit", "Meter counts", choices=("gal", "ft3", "L", "m3"), default="gal"),
        ),
        (
            Output("gallons", "Used in each period", "gal", "gallons"),
            Output("notes", "Noted", at="notes"),
            Output("known_gallons", "Used in all that is known", "gal", "known_gallons"),
            Output("known_days", "In", "days", "known_days"),
            Output("gallons_per_day", "A day", "gal/day", "gallons_per_day"),
        ),
        "differences; back by at least half a turn of the register is a roll-over, other going back is not known",
        "Published values section 8",
        "A meter that went back was replaced, rolled over or misread: look at it.",
    ),
    Calculation(
        "makeup_per_degree_day",
        "Make-up for each degree-day",
        makeup.per_degree_day,
        (Input("gallons", "Used", makeup.GALLONS), Input("degree_days", "Degree-days", makeup.DEGREE_DAYS)),
        (Output("rate", "For each degree-day", "gal"),),
        "gallons / degree-days",
        "Published values section 8",
        "Of use in the season only: a leak into a cold boiler does not follow the weather.",
    ),
    Calculation(
        "makeup_share",
        "Make-up as a share of the steam",
        _share,
        (
            Input("gallons", "Make-up", makeup.GALLONS),
            Input("input_btu", "Fuel burned, gross", water.ENERGY_BTU),
            Input("efficiency_percent", "Efficiency, gross", water.EFFICIENCY),
            GAUGE,
            ALTITUDE,
        ),
        (Output("share_percent", "Make-up in the steam", "%"),),
        "gallons x 8.337 / (fuel x efficiency / h_fg)",
        SECTION_8,
        "No published limit exists: compare with the boiler's own past.",
    ),
    Calculation(
        "makeup_change",
        "Whether make-up left its own past",
        makeup.change,
        (
            Input("rates", "Rates, oldest first", makeup.RATE, many=True),
            Input("least", "Smallest rate the meter tells", makeup.LEAST, default=0.1),
        ),
        (
            Output("says", "In words", at="says"),
            Output("usual", "Usual rate", at="usual"),
            Output("times", "Newest over usual", at="times"),
            Output("false_alarm", "Chance of an alarm by luck", at="false_alarm"),
            Output("needs", "Still needed", at="needs"),
        ),
        "newest log rate against mean and spread of the 8 to 12 before without the highest; or three above all before",
        "Own method; its false alarms are measured by simulation",
        "Weather is no luck: use rates per degree-day. New water brings oxygen and scale: look for the leak.",
    ),
)
