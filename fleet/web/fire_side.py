"""The boiler's fire side in numbers: flue-gas readings and results, the trend of the stack, the clocked input."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from fleet.engineering.combustion import O2_OF_A_RESULT
from fleet.engineering.firing import input_ratio, judge_input
from fleet.engineering.fuels import FUELS
from fleet.rules.verdicts.fire import worked_out_btu_h
from fleet.web.figures import FIGURES, brief, figures
from fleet.web.measured import Measure, Measured
from fleet.web.panels import Answered, Cell, Column, Panel, Plot, asked, cell, newest_first, row, without_empty_note

DAY = timedelta(days=1)
USUAL_FUEL = "natural_gas"
MOST_READINGS = 200  # readings the exact trend test takes
LEAST_PERCENT = 0.01
NAMES = {"o2_percent": "oxygen", "stack_f": "stack", "room_f": "room", "co_ppm": "carbon monoxide"}
NO_PLATE = "The burner's name-plate input is not on record."
COLUMNS = (
    Column("Efficiency", "% gross"),
    Column("CO air-free", "ppm"),
    Column("Stack over room", "F diff"),
    Column("Excess air", "%"),
    Column("Stack loss", "% gross"),
    Column("O2", "%"),
    Column("CO read", "ppm"),
    Column("Stack", "F"),
    Column("Room", "F"),
    Column("Note"),
)
FIRED = (
    Column("Input", "Btu/h"),
    Column("Plate", "Btu/h"),
    Column("Of the plate", "%"),
    Column("One turn", "s"),
)
FLUE_CAUTION = (
    "Carbon monoxide in the room first: over 35 ppm get everybody out. A burner is adjusted by a licensed person with "
    "an analyser in the flue, to its maker's instructions."
)


@dataclass(frozen=True, slots=True)
class Burned:
    """One flue-gas reading and its results."""

    measure: Measure
    flue: Answered
    air_free: Answered

    def read(self, name: str) -> float | None:
        """Return a reading as taken."""
        return self.measure.number(name)


def fuel(measured: Measured) -> tuple[str, str]:
    """Return the code and words of the fuel to compute with; if none is on record, natural gas, and words for that."""
    known = measured.boilers_values.get("fuel")
    if known in FUELS:
        return known, FUELS[known].name
    return USUAL_FUEL, f"{FUELS[USUAL_FUEL].name}, taken since the fuel is not on record"


def burned(measure: Measure, fuel_code: str) -> Burned:
    """Return the results of one flue-gas reading."""
    o2, co = measure.number("o2_pct"), measure.number("co_ppm")
    taken = {"o2_percent": o2, "stack_f": measure.number("stack_f"), "room_f": measure.number("room_f")}
    return Burned(
        measure,
        _asked("flue_gas", {**taken, "fuel": fuel_code}),
        _asked("co_air_free", {"co_ppm": co, "o2_percent": o2}),
    )


def _asked(code: str, inputs: dict[str, Any]) -> Answered:
    lacking = [NAMES[name] for name, value in inputs.items() if value is None]
    if lacking:
        return Answered(refused=f"Not read: {', '.join(lacking)}.")
    return asked(code, **inputs)


def combustion(measured: Measured) -> Panel:
    """Return the panel of every flue-gas reading with its results, and the trend of the stack."""
    code, words = fuel(measured)
    found = [burned(m, code) for m in measured.tests(("combustion_test",))]
    rows = [row(b.measure, _cells(b)) for b in found]
    columns, rows = without_empty_note(COLUMNS, rows)
    return Panel(
        code="combustion",
        title="Flue gas",
        columns=columns,
        rows=newest_first(rows),
        plots=_plots(found),
        basis=f"On gross heating value, {words}; combustion only, without jacket and off-cycle loss.",
        caution=FLUE_CAUTION,
        nothing="No flue-gas reading is on record yet: a combustion test brings the first.",
    )


def _cells(one: Burned) -> tuple[Cell, ...]:
    note = " ".join(dict.fromkeys(filter(None, (one.flue.refused, one.air_free.refused))))
    return (
        cell(one.flue.number("efficiency_gross_percent")),
        cell(one.air_free.number("air_free_ppm")),
        cell(_over_room(one)),
        *(cell(one.flue.number(name)) for name in ("excess_air_percent", "stack_loss_gross_percent")),
        *(cell(one.read(name)) for name in ("o2_pct", "co_ppm", "stack_f", "room_f")),
        Cell(note or "\u2013"),
    )


def _over_room(one: Burned) -> float | None:
    stack, room = one.read("stack_f"), one.read("room_f")
    return None if stack is None or room is None else stack - room


def _plots(found: list[Burned]) -> tuple[Plot, ...]:
    if not found:
        return ()
    newest = found[-1]
    efficiency = newest.flue.number("efficiency_gross_percent")
    air_free = newest.air_free.number("air_free_ppm")
    burns = f"Newest: {figures(efficiency, 3)} % of gross value." if efficiency else f"Newest: {newest.flue.refused}"
    gas = f"Newest: {figures(air_free, 3)} ppm." if air_free is not None else f"Newest: {newest.air_free.refused}"
    return (
        Plot("Does it still burn as well as it did?", burns, "% gross", ((0, "points"),), least=6.0),
        Plot("Is the stack growing hotter?", stack_word(found), "F over room", ((2, "points"),), least=100.0),
        Plot(
            "How much carbon monoxide is in the flue, air-free?", gas, "ppm", ((1, "points"),), least=100.0, zero=True
        ),
    )


def stack_word(found: list[Burned]) -> str:
    """Return what the trend test says of stack over room temperature, assuming all readings were at one firing rate."""
    usable = {b.measure.at: d for b in found if _has_flue(b) and (d := _over_room(b)) is not None and d >= 0}
    newest = sorted(usable.items())[-MOST_READINGS:]
    days = [(at - newest[0][0]) / DAY for at, _ in newest]
    answered = asked("stack_trend", days=days, differences_f=[d for _, d in newest])
    says, slope = answered.outputs.get("says"), answered.number("slope_f_month")
    if says == "not enough":
        return f"Nothing can be said yet: {answered.outputs['needs']}."
    if says is None or slope is None:
        return answered.refused
    rate = f"{brief(abs(slope), 'F diff', 2)} {'up' if slope >= 0 else 'down'} in 30 days"
    percent = 100 * (answered.number("chance") or 0.0)
    chance = "under 0.01 %" if percent < LEAST_PERCENT else f"{figures(percent, 2)} %"
    if says == "rising":
        return f"Rising, {rate}; by luck alone: {chance}. Soot and scale do that. At one firing rate throughout?"
    return f"No trend: {rate}; by luck alone: {chance}."


def _has_flue(one: Burned) -> bool:
    """Return whether the probe was in flue gas at all."""
    o2 = one.read("o2_pct")
    return o2 is None or not O2_OF_A_RESULT.faults("o2_percent", o2)


def clocked_btu_h(measure: Measure) -> float | None:
    """Return the input in Btu/h worked out from meter or nozzle, else the one written down; None without either."""
    return worked_out_btu_h(measure.number) or measure.number("input_btu_h")


def plate_btu_h(measured: Measured, measure: Measure | None = None) -> float | None:
    """Return the input on the burner's plate in Btu/h, now or at the time of `measure`; None if not on record."""
    burners = [measured.occupant(p.id, measure.at if measure else None) for p in measured.of_role("burner")]
    plates = [p for b in burners if (p := b.number("input_btu_h"))]
    return plates[0] if len(plates) == 1 else None


def fired(measured: Measured) -> Panel:
    """Return the panel of clocked input against the plate."""
    read = [(m, clocked_btu_h(m)) for m in measured.tests(("clock_input",))]
    found = [(m, value, plate_btu_h(measured, m)) for m, value in read if value is not None and value > 0]
    rows = [
        row(m, (cell(value, 4), cell(plate, 4), cell(share_percent(value, plate)), cell(m.number("seconds"))))
        for m, value, plate in found
    ]
    plots: tuple[Plot, ...] = ()
    if found:
        _, value, plate = found[-1]
        question = "Does it fire what its plate says?"
        plots = (Plot(question, input_word(value, plate), "Btu/h", ((0, "points"), (1, "line")), least=0.3 * value),)
    return Panel(
        code="input",
        title="Input by clocking",
        columns=FIRED,
        rows=newest_first(rows),
        plots=plots,
        nothing="No input has been clocked yet." + ("" if plate_btu_h(measured) else f" {NO_PLATE}"),
        caution="All other gas appliances off while the meter is clocked; a burner is adjusted by a licensed person.",
    )


def share_percent(value: float, plate: float | None) -> float | None:
    """Return an input in % of the plate's; None without a plate."""
    return None if plate is None else 100 * input_ratio(value, plate)


def input_word(value: float, plate: float | None) -> str:
    """Return the sentences about a clocked input."""
    shown = f"Newest: {brief(value, 'Btu/h', FIGURES)}"
    if plate is None:
        return f"{shown}. {NO_PLATE}"
    sentences = judge_input(value, plate).sentences or ("Within 5 % of its plate.",)
    return f"{shown}, {figures(share_percent(value, plate) or 0.0, 3)} % of the plate. {sentences[0]}"
