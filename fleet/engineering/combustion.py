"""Results of flue-gas readings: excess air, carbon monoxide air-free, stack loss, efficiency on gross value.

Oxygen is in dry flue gas, in %. From 20.9, that of air, it is refused. Over 18 the sample holds hardly any flue gas, so
results that scale up from it are refused too.
"""

from fleet.engineering.burner_grades import ANALYZER_AIR_PERCENT, MAX_O2_PERCENT, grade_flue_co, grade_room_co
from fleet.engineering.checks import Num, Range, faults_of_choice, refuse_where, require, require_same_shape
from fleet.engineering.fuels import AIR_O2_PERCENT, FUELS, LATENT_KJ_MOL, Fuel, heat_kj_mol
from fleet.engineering.steam import saturation_f
from fleet.engineering.units import ATMOSPHERE_PSIA, STANDARD_ATMOSPHERE_PSIA, convert, factor
from fleet.engineering.verdicts import EngineeringJudgement
from fleet.errors import Fault

O2 = Range("%", 0, ANALYZER_AIR_PERCENT, high_in=False, why="air itself holds 20.9 %, so the probe saw no flue gas")
O2_OF_A_RESULT = Range("%", 0, MAX_O2_PERCENT, why="over 18 % hardly any flue gas is in the sample, at 20.9 it is air")
CO2 = Range("%", 0, 100, low_in=False, why="burning makes carbon dioxide")
CO = Range("ppm", 0, 1_000_000, why="a share is between nothing and all")
STACK_F = Range("F", -40, 1300, why="no flue of a heating boiler is that cold or hot")
ROOM_F = Range("F", -40, 200, why="no boiler draws air that cold or hot")
SMOKE_NUMBER = Range("", 0, 9, why="the smoke scale goes from 0 to 9")
DIFFERENCE_F = Range("F", 0, 1300, why="a stack is not colder than the room, nor as hot as the flame")

CO2_SCATTER = 1.05  # gases of other wells: our choice
SIEGERT_AIR = 21.0  # the formula's own constant (S32)
KELVIN_STEP = factor("F diff", "K diff")


def faults_of_flue_o2(o2_percent: object, name: str = "o2_percent") -> list[Fault]:
    """Return the faults of an oxygen reading in % that a result is scaled up from (0 to 18)."""
    return O2.faults(name, o2_percent) or O2_OF_A_RESULT.faults(name, o2_percent)


def excess_air_percent(o2_percent: Num, fuel: str = "natural_gas") -> Num:
    """Return the excess air in % for oxygen in dry flue gas in % (0 to under 20.9), by the fuel's own stoichiometry.

    Within 0.1 of the column of S31 for natural gas. Impossible outside the range, or for an unknown fuel.
    """
    require(O2.faults("o2_percent", o2_percent), faults_of_choice("fuel", fuel, FUELS))
    burned = FUELS[fuel]
    extra_o2_mol = _extra_o2_mol(burned, o2_percent)
    return 100 * extra_o2_mol / burned.oxygen_mol


def excess_air_plain_percent(o2_percent: Num) -> Num:
    """Return 100 O2/(20.9 - O2), the textbook form: about a tenth too high for gas. Range and errors as above."""
    require(O2.faults("o2_percent", o2_percent))
    return 100 * o2_percent / (ANALYZER_AIR_PERCENT - o2_percent)


def co2_percent(o2_percent: Num, fuel: str = "natural_gas") -> Num:
    """Return the carbon dioxide in dry flue gas in % for oxygen in % (0 to under 20.9), complete combustion."""
    require(O2.faults("o2_percent", o2_percent), faults_of_choice("fuel", fuel, FUELS))
    return FUELS[fuel].co2_max_percent * (1 - o2_percent / AIR_O2_PERCENT)


def co_air_free_ppm(co_ppm: Num, o2_percent: Num) -> Num:
    """Return carbon monoxide in ppm as it would be without excess air, for CO in ppm and oxygen in % (0 to 18).

    CO x 20.9/(20.9 - O2); with 21, as some texts have it, the answer is a little smaller, which is less safe.
    Source: S33 and published values 6.4. Impossible outside the ranges.
    """
    require(CO.faults("co_ppm", co_ppm), faults_of_flue_o2(o2_percent))
    require_same_shape(co_ppm=co_ppm, o2_percent=o2_percent)
    return co_ppm * (ANALYZER_AIR_PERCENT / (ANALYZER_AIR_PERCENT - o2_percent))


def dilution_times(o2_before_percent: Num, o2_after_percent: Num) -> Num:
    """Return how many times the flue gas grew between two places, from oxygen in % (0 to 18) before and after.

    By the balance of oxygen; 1 is none. Impossible where oxygen fell: no air leaves on the way.
    """
    require(
        faults_of_flue_o2(o2_before_percent, "o2_before_percent"),
        faults_of_flue_o2(o2_after_percent, "o2_after_percent"),
    )
    require_same_shape(o2_before_percent=o2_before_percent, o2_after_percent=o2_after_percent)
    message = "o2_after_percent: oxygen cannot fall on the way up: were the readings taken at other times, or swapped?"
    refuse_where(o2_after_percent < o2_before_percent, "oxygen_fell", message, ("o2_after_percent",))
    return (ANALYZER_AIR_PERCENT - o2_before_percent) / (ANALYZER_AIR_PERCENT - o2_after_percent)


def dew_point_f(o2_percent: Num, fuel: str = "natural_gas", atmosphere_psia: float = STANDARD_ATMOSPHERE_PSIA) -> Num:
    """Return the temperature in F under which water condenses from flue gas with oxygen in % (0 to 18), dry air.

    From the share of water and the saturation line. Acid condenses earlier from a fuel with sulphur.
    """
    require(
        faults_of_flue_o2(o2_percent),
        faults_of_choice("fuel", fuel, FUELS),
        ATMOSPHERE_PSIA.faults("atmosphere_psia", atmosphere_psia),
    )
    burned = FUELS[fuel]
    dry_mol = burned.dry_flue_mol / (1 - o2_percent / AIR_O2_PERCENT)
    return saturation_f(atmosphere_psia * burned.water_mol / (dry_mol + burned.water_mol))


def stack_loss_gross_percent(o2_percent: Num, stack_f: Num, room_f: Num, fuel: str = "natural_gas") -> Num:
    """Return the heat up the stack in % of the GROSS heating value: dry gas, and water as vapour.

    For oxygen in % (0 to 18), flue gas in F (to 1300) and combustion air in F (-40 to 200); dry air, complete
    combustion, no jacket or off-cycle loss. Up to 0.8 points less than the table of S31. Impossible for a stack colder
    than the room, or so cold that water condenses, which this balance does not count.
    """
    _check_stack(o2_percent, stack_f, room_f, fuel)
    burned = FUELS[fuel]
    hot_k, cold_k = convert(stack_f, "F", "K"), convert(room_f, "F", "K")
    lost = _dry_kj(burned, o2_percent, hot_k, cold_k) + burned.water_mol * (
        LATENT_KJ_MOL + heat_kj_mol("H2O", hot_k, cold_k)
    )
    return 100 * lost / burned.gross_kj_mol


def efficiency_gross_percent(o2_percent: Num, stack_f: Num, room_f: Num, fuel: str = "natural_gas") -> Num:
    """Return the combustion efficiency in % of the GROSS heating value: 100 less the stack loss, with its limits."""
    return 100 - stack_loss_gross_percent(o2_percent, stack_f, room_f, fuel)


def siegert_loss_net_percent(o2_percent: Num, difference_f: Num, fuel: str = "natural_gas") -> Num:
    """Return the dry-gas loss in % of the NET heating value by Siegert's formula, for oxygen in % (0 to 18).

    `difference_f` is flue gas less air, in F. Never to be taken from 100 for a gross efficiency: that is 9 points too
    good. Formula S32; coefficients from memory, rounded to two figures (published values, 6.1).
    """
    require(
        faults_of_flue_o2(o2_percent),
        DIFFERENCE_F.faults("difference_f", difference_f),
        faults_of_choice("fuel", fuel, FUELS),
    )
    require_same_shape(o2_percent=o2_percent, difference_f=difference_f)
    _, a2, b, _ = FUELS[fuel].siegert
    return difference_f * KELVIN_STEP * (a2 / (SIEGERT_AIR - o2_percent) + b)


def siegert_loss_net_by_co2_percent(co2_percent: Num, difference_f: Num, fuel: str = "natural_gas") -> Num:
    """Return the same loss in % of the NET heating value from carbon dioxide in dry flue gas in % (over 0).

    For an analyzer that reads CO2; within 0.1 of the oxygen form. Impossible over what a complete burn of the fuel
    makes and 5 % for its scatter. Formula S32; coefficients from memory (published values, 6.1).
    """
    require(
        CO2.faults("co2_percent", co2_percent),
        DIFFERENCE_F.faults("difference_f", difference_f),
        faults_of_choice("fuel", fuel, FUELS),
    )
    require_same_shape(co2_percent=co2_percent, difference_f=difference_f)
    a1, _, b, most = FUELS[fuel].siegert
    message = f"co2_percent: {FUELS[fuel].name} makes {most:g} % at most, so the fuel or the reading is another."
    refuse_where(co2_percent > most * CO2_SCATTER, "co2_over_most", message, ("co2_percent",))
    return difference_f * KELVIN_STEP * (a1 / co2_percent + b)


def saving_percent(efficiency_now_percent: float, efficiency_after_percent: float) -> float:
    """Return the fuel saved in % when efficiency rises from one % to another (over 0 to 100), same heat made (S31)."""
    efficiency = Range("%", 0, 100, low_in=False)
    require(
        efficiency.faults("efficiency_now_percent", efficiency_now_percent),
        efficiency.faults("efficiency_after_percent", efficiency_after_percent),
    )
    return 100 * (1 - efficiency_now_percent / efficiency_after_percent)


def judge_co(co_ppm: float, o2_percent: float, steady: bool = True) -> EngineeringJudgement:
    """Return hold, urgent, inconclusive or good for carbon monoxide in ppm in flue gas with oxygen in % (under 20.9).

    As `grade_flue_co`. Impossible outside the ranges.
    """
    require(CO.faults("co_ppm", co_ppm), O2.faults("o2_percent", o2_percent))
    return grade_flue_co(co_ppm, o2_percent, steady)


def judge_room_co(
    co_ppm: float, outdoors_ppm: float = 0.0, again_ppm: float | None = None, firing: bool = True
) -> EngineeringJudgement:
    """Return hold, urgent, inconclusive or good for carbon monoxide in ppm in the room's air. Impossible under 0.

    As `grade_room_co`.
    """
    require(
        CO.faults("co_ppm", co_ppm),
        CO.faults("outdoors_ppm", outdoors_ppm),
        CO.faults_if_known("again_ppm", again_ppm),
    )
    return grade_room_co(co_ppm, outdoors_ppm, again_ppm=again_ppm, firing=firing)


def _check_stack(o2_percent: Num, stack_f: Num, room_f: Num, fuel: str) -> None:
    require(
        faults_of_flue_o2(o2_percent),
        STACK_F.faults("stack_f", stack_f),
        ROOM_F.faults("room_f", room_f),
        faults_of_choice("fuel", fuel, FUELS),
    )
    require_same_shape(o2_percent=o2_percent, stack_f=stack_f, room_f=room_f)
    message = "stack_f: the stack is colder than the room, so the readings are swapped or the burner was off."
    refuse_where(stack_f < room_f, "stack_colder_than_room", message, ("stack_f",))
    message = "stack_f: water condenses from flue gas this cold, and this balance does not count that."
    refuse_where(stack_f < dew_point_f(o2_percent, fuel), "stack_condensing", message, ("stack_f",))


def _dry_kj(fuel: Fuel, o2_percent: Num, hot_k: Num, cold_k: Num) -> Num:
    """Return the heat in kJ in the dry flue gas of a mole of fuel, excess air included."""
    extra_o2_mol = _extra_o2_mol(fuel, o2_percent)
    nitrogen_mol = fuel.nitrogen_mol + (fuel.oxygen_mol + extra_o2_mol) * (100 / AIR_O2_PERCENT - 1)
    return (
        fuel.carbon * heat_kj_mol("CO2", hot_k, cold_k)
        + nitrogen_mol * heat_kj_mol("N2", hot_k, cold_k)
        + extra_o2_mol * heat_kj_mol("O2", hot_k, cold_k)
    )


def _extra_o2_mol(fuel: Fuel, o2_percent: Num) -> Num:
    """Return the unused oxygen in mol for a mol of fuel. It and its nitrogen are part of the dry flue gas measured."""
    return fuel.dry_flue_mol * o2_percent / (100 * (1 - o2_percent / AIR_O2_PERCENT))
