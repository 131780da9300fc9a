"""Offered: evaporation, the level and how fast it falls, make-up water."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering import makeup, steam, trips, water
from fleet.engineering.checks import Impossible
from fleet.engineering.table.definitions import GRADE_OUTPUTS, NO_PERMISSION, CalculationSpec, InputSpec, OutputSpec
from fleet.engineering.table.pressure_side import ALTITUDE, GAUGE, psia_at_altitude

OUTPUT = InputSpec("output_btu_h", "Output", water.OUTPUT_BTU_H)
SURFACE = InputSpec("surface_ft2", "Water surface", water.SURFACE_FT2)
RETURNED = InputSpec(
    "return_share",
    "Share of condensate that comes back",
    water.SHARE,
    default=0.0,
    assumed="No condensate comes back, as in the first minutes from cold.",
)
FEED = InputSpec("feed_gpm", "Feed", water.FEED_GPM, default=0.0, assumed="Nothing is fed.")
FALL_FORMULA = "t = A x drop x density / (Q / h_fg x (1 - returned) - feed); not falling where that is 0 or less"
STEAM_SOURCE = "S1 for steam and water; D3 for the altitude"
LOW_WATER = (
    "Never add water to a hot boiler whose glass is empty: fuel off, let it cool, have it inspected. The lowest safe "
    "line is the maker's. A surface that narrows on the way down makes the time shorter than this."
)
DAYS = InputSpec("days", "Days of the readings, from any start", makeup.DAY, many=True)


@dataclass(frozen=True, slots=True)
class SteamMade:
    """Steam made, as weight and as the volume of cold feed water that replaces it."""

    steam_lb_h: float
    water_gal_h: float


@dataclass(frozen=True, slots=True)
class MeteredUse:
    """Uses between readings in gal (None where not known), notes, and the total of what is known."""

    gallons: list[float | None]
    notes: list[str]
    known_gallons: float
    known_days: float
    gallons_per_day: float | None


def _steam_made(output_btu_h: float, pressure_psig: float, altitude_ft: float, feed_f: float | None) -> SteamMade:
    pressure = psia_at_altitude(pressure_psig, altitude_ft)
    if feed_f is None:
        steam_lb_h = water.evaporation_lb_h(output_btu_h, pressure)
    else:
        steam_lb_h = water.evaporation_cold_lb_h(output_btu_h, pressure, feed_f)
    return SteamMade(steam_lb_h, steam_lb_h / steam.water_lb_gal(60.0))


def _inch_weight_lb(surface_ft2: float, pressure_psig: float, altitude_ft: float) -> float:
    return water.weight_per_inch_lb(surface_ft2, psia_at_altitude(pressure_psig, altitude_ft))


def _level_fall(pressure_psig: float, altitude_ft: float, **rest: float) -> water.LevelFall:
    return water.level_fall(pressure_psia=psia_at_altitude(pressure_psig, altitude_ft), **rest)


def _level_falls(pressure_psig: float, altitude_ft: float, **rest: float) -> water.LevelFalls:
    return water.level_falls(pressure_psia=psia_at_altitude(pressure_psig, altitude_ft), **rest)


def _metered_use(days: Sequence[float], values: Sequence[float], rolls_at: float | None, meter_unit: str) -> MeteredUse:
    if len(days) != len(values):
        raise Impossible("shapes", f"{len(days)} days and {len(values)} figures.", ("values",))
    readings = [makeup.MeterReading(day, value) for day, value in zip(days, values, strict=True)]
    uses = makeup.water_uses(readings, rolls_at, meter_unit)
    known_uses = [use for use in uses if use.gallons is not None]
    gallons, length = sum(use.gallons or 0.0 for use in known_uses), sum(use.days for use in known_uses)
    rate = gallons / length if known_uses else None
    return MeteredUse(
        [use.gallons for use in uses],
        [use.note for use in uses],
        known_gallons=gallons,
        known_days=length,
        gallons_per_day=rate,
    )


def _cutoff_grade(trip_in: float, **levels: float | None) -> trips.TripGrade:
    return trips.grade_cutoff_trip(trip_in, trips.CutoffLevels(**levels))


def _makeup_share_percent(
    gallons: float, input_btu: float, efficiency_percent: float, pressure_psig: float, altitude_ft: float
) -> float:
    steam_lb = water.steam_made_lb(input_btu, efficiency_percent, psia_at_altitude(pressure_psig, altitude_ft))
    return makeup.share_of_steam_percent(gallons, steam_lb)


def _level_input(name: str, label: str, **more: object) -> InputSpec:
    return InputSpec(name, f"{label}, over the bottom of the glass", water.LEVEL_IN, **more)  # type: ignore[arg-type]


def _height_input(name: str, label: str, **more: object) -> InputSpec:
    return InputSpec(name, f"{label}, over the bottom of the glass", trips.HEIGHT_IN, **more)  # type: ignore[arg-type]


TABLE = (
    CalculationSpec(
        "evaporation",
        "Steam made by an output",
        function=_steam_made,
        inputs=(
            OUTPUT,
            GAUGE,
            ALTITUDE,
            InputSpec(
                "feed_f",
                "Feed at (leave out: condensate boiling hot)",
                steam.WATER_F,
                default=None,
                assumed="All water comes back as condensate, boiling hot.",
            ),
        ),
        outputs=(
            OutputSpec("steam_lb_h", "Steam", "lb/h", "steam_lb_h"),
            OutputSpec("water_gal_h", "As water at 60 F", "gal/h", "water_gal_h"),
        ),
        formula="Q / h_fg with hot condensate, Q / (h_g - h_feed) with cold feed",
        source=STEAM_SOURCE,
        caution="The safety valves are sized by output / 1000, not by this.",
    ),
    CalculationSpec(
        "inch_of_water",
        "Weight of an inch of level",
        function=_inch_weight_lb,
        inputs=(SURFACE, GAUGE, ALTITUDE),
        outputs=(OutputSpec("weight_lb", "An inch weighs", "lb"),),
        formula="A / 12 x density of boiling water",
        source=STEAM_SOURCE,
        caution="The surface narrows between the sections of a cast-iron boiler.",
    ),
    CalculationSpec(
        "level_fall",
        "How long the level takes to fall",
        function=_level_fall,
        inputs=(InputSpec("drop_in", "Fall", water.DROP_IN), SURFACE, OUTPUT, GAUGE, ALTITUDE, RETURNED, FEED),
        outputs=(
            OutputSpec("minutes", "Time", "min", "minutes"),
            OutputSpec("net_lb_h", "Water lost", "lb/h", "net_lb_h"),
            OutputSpec("says", "In words", at="says"),
        ),
        formula=FALL_FORMULA,
        source=STEAM_SOURCE,
        caution=LOW_WATER,
    ),
    CalculationSpec(
        "water_times",
        "From the normal line to the cutoff, and on to the lowest safe line",
        function=_level_falls,
        inputs=(
            _level_input("normal_in", "Normal line"),
            _level_input("cutoff_in", "Cutoff trips at"),
            _level_input("lowest_in", "Lowest safe line"),
            SURFACE,
            OUTPUT,
            GAUGE,
            ALTITUDE,
            RETURNED,
            FEED,
        ),
        outputs=(
            OutputSpec("minutes_to_cutoff", "To the cutoff", "min", "to_cutoff.minutes"),
            OutputSpec("minutes_to_lowest", "On to the lowest safe line", "min", "to_lowest.minutes"),
            OutputSpec("says", "In words", at="to_cutoff.says"),
            OutputSpec("verdict", "Verdict", at="judgement.verdict"),
            OutputSpec("reasons", "Reasons", at="judgement.sentences"),
        ),
        formula=FALL_FORMULA,
        source=STEAM_SOURCE,
        caution=LOW_WATER,
    ),
    CalculationSpec(
        "cutoff_trip",
        "Cutoff: height of the trip",
        function=_cutoff_grade,
        inputs=(
            _height_input("trip_in", "Tripped at"),
            _height_input(
                "reference_in",
                "Maker's mark, else its first height as left",
                default=None,
                assumed="No mark or first height is known: any height in the glass passes for good.",
            ),
            _level_input(
                "lowest_in",
                "Lowest safe line",
                default=None,
                assumed="No lowest safe line is known: the bottom of the glass is taken for it.",
            ),
            _height_input(
                "glass_top_in",
                "Top of the glass that can be seen",
                default=None,
                assumed="The top of the glass is not known, and so not compared.",
            ),
            _height_input(
                "under_in",
                "The cutoff that must act after it trips at",
                default=None,
                assumed="No cutoff is known that must act after it.",
            ),
            _height_input(
                "over_in",
                "The cutoff that must act before it trips at",
                default=None,
                assumed="No cutoff is known that must act before it.",
            ),
        ),
        outputs=GRADE_OUTPUTS,
        formula=(
            "failed: no water left in the glass, over its top, under the lowest safe line, or out of order; good: "
            "within 0.5 in of the mark or first height; else drifted"
        ),
        source="S8 for the bottom of the glass; common practice for the half inch",
        caution=NO_PERMISSION,
    ),
    CalculationSpec(
        "column",
        "Height of water that holds a psi",
        function=water.column_in_per_psi,
        inputs=(InputSpec("water_f", "Water at", steam.WATER_F),),
        outputs=(OutputSpec("column_in", "For each psi", "in"),),
        formula="1728 / density",
        source=STEAM_SOURCE,
        caution="A return leg needs this for the pressure and the pipe's loss on top, and room to spare.",
    ),
    CalculationSpec(
        "meter_use",
        "Water used, from meter readings",
        function=_metered_use,
        inputs=(
            DAYS,
            InputSpec("values", "Figures", makeup.METER, many=True),
            InputSpec(
                "rolls_at",
                "Register rolls over at",
                makeup.ROLLS_AT,
                default=None,
                assumed="It is not known where the register rolls over: what goes back is not counted.",
            ),
            InputSpec(
                "meter_unit",
                "Meter counts",
                choices=("gal", "ft3", "L", "m3"),
                default="gal",
                assumed="The meter counts gallons. One that counts cubic feet stands for 7.48 times as much.",
            ),
        ),
        outputs=(
            OutputSpec("gallons", "Used in each period", "gal", "gallons"),
            OutputSpec("notes", "Noted", at="notes"),
            OutputSpec("known_gallons", "Used in all that is known", "gal", "known_gallons"),
            OutputSpec("known_days", "In", "days", "known_days"),
            OutputSpec("gallons_per_day", "A day", "gal/day", "gallons_per_day"),
        ),
        formula=(
            "differences; back by at least half a turn of the register is a roll-over, other going back is not known"
        ),
        source="Common practice",
        caution="A meter that went back was replaced, rolled over or misread: look at it.",
    ),
    CalculationSpec(
        "makeup_per_degree_day",
        "Make-up for each degree-day",
        function=makeup.use_per_degree_day,
        inputs=(
            InputSpec("gallons", "Used", makeup.GALLONS),
            InputSpec("degree_days", "Degree-days", makeup.DEGREE_DAYS),
        ),
        outputs=(OutputSpec("rate", "For each degree-day", "gal"),),
        formula="gallons / degree-days",
        source="Common practice",
        caution="Of use in the season only: a leak into a cold boiler does not follow the weather.",
    ),
    CalculationSpec(
        "makeup_share",
        "Make-up as a share of the steam",
        function=_makeup_share_percent,
        inputs=(
            InputSpec("gallons", "Make-up", makeup.GALLONS),
            InputSpec("input_btu", "Fuel burned, gross", water.ENERGY_BTU),
            InputSpec("efficiency_percent", "Efficiency, gross", water.EFFICIENCY),
            GAUGE,
            ALTITUDE,
        ),
        outputs=(OutputSpec("share_percent", "Make-up in the steam", "%"),),
        formula="gallons x 8.337 / (fuel x efficiency / h_fg)",
        source=STEAM_SOURCE,
        caution="No published limit exists: compare with the boiler's own past.",
    ),
    CalculationSpec(
        "makeup_change",
        "Whether make-up left its own past",
        function=makeup.judge_change,
        inputs=(
            InputSpec("rates", "Rates, oldest first", makeup.RATE, many=True),
            InputSpec(
                "least",
                "Smallest rate the meter tells",
                makeup.SMALLEST_RATE,
                default=0.1,
                assumed="The smallest rate that the meter tells is 0.1.",
            ),
        ),
        outputs=(
            OutputSpec("says", "In words", at="says"),
            OutputSpec("usual", "Usual rate", at="usual"),
            OutputSpec("times", "Newest over usual", at="times"),
            OutputSpec("false_alarm", "Chance of an alarm by luck", at="false_alarm"),
            OutputSpec("needs", "Still needed", at="needs"),
        ),
        formula=(
            "newest log rate against mean and spread of the 8 to 12 before without the highest; or three "
            "above all before"
        ),
        source="Our choice of method, its false alarms measured by simulation",
        caution="Weather is no luck: use rates per degree-day. New water brings oxygen and scale: look for the leak.",
    ),
)
