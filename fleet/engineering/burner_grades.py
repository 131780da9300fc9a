"""Grades of what is read at a burner, for the rules and the calculator alike: carbon monoxide, smoke, stack, input.

Nothing is refused here: what is dangerous or absurd is graded, and what was not read is None. The doors check that a
number is possible. A figure near a bound is shown with its tenth, so that 400 ppm never stands beside a grade of 399.6.
"""

from fleet.engineering.last_places import compare
from fleet.engineering.verdicts import EngineeringJudgement, EngineeringReason, judge_reasons

ANALYZER_AIR_PERCENT = 20.9  # what an analyzer shows in fresh air; for CO air-free 20.9 is safer than 21
MAX_O2_PERCENT = 18.0  # over it hardly any flue gas is in the sample: common practice
CO_HOLD_PPM = 400.0  # air-free, vented heating appliances: ANSI Z21 (S33)
CO_ADJUST_PPM = 100.0  # common practice, second-hand
CO_BOUNDS_PPM = (CO_ADJUST_PPM, CO_HOLD_PPM)
CO_ROOM_PPM = 35.0  # ambient (S34)
CO_ROOM_RAISED_PPM = 9.0  # over outdoors, read twice: common practice
MAX_SMOKE_NUMBER = 2.0  # of light oil, where the burner's maker says nothing: from memory
MAX_STACK_F = 700.0  # where the boiler's maker says nothing: common practice
GOOD_INPUT_PERCENT, ROUTINE_INPUT_PERCENT = 5.0, 10.0  # off the plate's input: common practice

BEFORE_ADJUSTING = "find out what is assumed here before anybody adjusts the burner"


def is_diluted(o2_percent: float) -> bool:
    """Return whether a sample with so much oxygen in % holds hardly any flue gas (over 18): it gives no result."""
    return compare(o2_percent, MAX_O2_PERCENT, "%") > 0


def air_free_ppm(co_ppm: float, o2_percent: float) -> float:
    """Return carbon monoxide in ppm as it would be without excess air; oxygen in % up to 18."""
    return co_ppm * (ANALYZER_AIR_PERCENT / (ANALYZER_AIR_PERCENT - o2_percent))


def air_free_text(ppm: float) -> str:
    """Return carbon monoxide in whole ppm, with its tenth where rounding would carry it over a bound."""
    whole = round(ppm)
    is_carried = any(compare(whole, bound, "ppm") >= 0 > compare(ppm, bound, "ppm") for bound in CO_BOUNDS_PPM)
    return f"{ppm:.1f}" if is_carried else f"{whole}"


def grade_flue_co(co_ppm: float | None, o2_percent: float | None, steady: bool = True) -> EngineeringJudgement:
    """Return hold, urgent, inconclusive or good for carbon monoxide in ppm in flue gas with oxygen in %.

    Hold at 400 air-free (S33), at 400 as read whatever the oxygen, or where it is unsteady or rising; urgent, to be
    adjusted, at 100 (common practice). Without both readings, or over 18 % oxygen, no result.
    """
    if not steady:
        return _judge_one("co_unsteady", "hold", "Carbon monoxide in the flue is not steady: shut the burner down.")
    has_no_result = o2_percent is None or is_diluted(o2_percent)
    if has_no_result and co_ppm is not None and compare(co_ppm, CO_HOLD_PPM, "ppm") >= 0:
        # Mostly air, or nobody knows how much, and even so too much: without the air it is more.
        sentence = f"{co_ppm:g} ppm carbon monoxide as read, {CO_HOLD_PPM:g} or more: shut the burner down."
        return _judge_one("co_high", "hold", sentence)
    if o2_percent is not None and is_diluted(o2_percent):
        too_much = f"{o2_percent:g} % oxygen is over {MAX_O2_PERCENT:g}"
        sentence = f"No result: {too_much}, hardly any flue gas is in the sample."
        return _judge_one("co_no_result", "inconclusive", sentence)
    if co_ppm is None or o2_percent is None:
        sentence = "No result: carbon monoxide and oxygen of the flue were not both read."
        return _judge_one("co_not_read", "inconclusive", sentence)
    return judge_reasons(_reasons_about_co(air_free_ppm(co_ppm, o2_percent)))


def grade_room_co(
    co_ppm: float, outdoors_ppm: float = 0.0, *, again_ppm: float | None = None, firing: bool = True
) -> EngineeringJudgement:
    """Return hold, urgent, inconclusive or good for carbon monoxide in ppm in the room's air.

    Hold over 35 (S34), or where 9 or more over outdoors rises while the burner fires; urgent where both readings are 9
    or more over outdoors; inconclusive where one was, or the only one (common practice).
    """
    highest = max(co_ppm, co_ppm if again_ppm is None else again_ppm)
    if compare(highest, CO_ROOM_PPM, "ppm") > 0:
        sentence = f"{highest:g} ppm carbon monoxide in the room, over {CO_ROOM_PPM:g}"
        return _judge_one("co_in_the_room", "hold", f"{sentence}: get everybody out, call from outside.")
    raised = outdoors_ppm + CO_ROOM_RAISED_PPM
    over_outdoors = f"{CO_ROOM_RAISED_PPM:g} ppm or more over outdoors"
    first_is_raised = compare(co_ppm, raised, "ppm") >= 0
    again_is_raised = again_ppm is not None and compare(again_ppm, raised, "ppm") >= 0
    if firing and again_ppm is not None and again_is_raised and compare(again_ppm, co_ppm, "ppm") > 0:
        sentence = f"Carbon monoxide in the room rises from {co_ppm:g} to {again_ppm:g} ppm while the burner fires"
        return _judge_one("co_rises_in_room", "hold", f"{sentence}: shut it down and air the room.")
    if first_is_raised and again_is_raised:
        sentence = f"Twice {over_outdoors} in the room: find where it comes from."
        return _judge_one("co_raised_in_room", "urgent", sentence)
    if first_is_raised or again_is_raised:
        sentence = f"{highest:g} ppm in the room, {over_outdoors}: read it again."
        return _judge_one("co_read_again", "inconclusive", sentence)
    return judge_reasons([])


def grade_smoke(smoke_number: float, most: float | None = None) -> EngineeringJudgement:
    """Return good for a smoke number up to the burner maker's `most` (2 where not known, light oil), else urgent."""
    limit = MAX_SMOKE_NUMBER if most is None else most
    if compare(smoke_number, limit) <= 0:
        return judge_reasons([])
    sentence = f"Smoke number {smoke_number:g}, over {limit:g}: have the burner adjusted."
    return _judge_one("smoke_high", "urgent", sentence)


def grade_stack(stack_f: float, most_f: float | None = None) -> EngineeringJudgement:
    """Return good for a stack temperature in F up to the maker's `most_f` (700 where not known), else urgent."""
    limit = MAX_STACK_F if most_f is None else most_f
    if compare(stack_f, limit, "F") <= 0:
        return judge_reasons([])
    return _judge_one("stack_hot", "urgent", f"The stack is at {stack_f:g} F, over {limit:g}: clean and adjust.")


def grade_input(input_btu_h: float, plate_btu_h: float, *, is_assumed: bool = False) -> EngineeringJudgement:
    """Return good within 5 % of the plate (over 0), routine within 10 %; beyond: urgent over it, routine under it.

    Btu/h both; common practice. Over the plate, the safety valves must be looked at again for the larger fire (S2).
    `is_assumed`: the heating value or the meter's factor was not read. Then what is not urgent is inconclusive, and
    nobody is told to adjust the burner (ENG-06).
    """
    percent = 100 * (input_btu_h / plate_btu_h - 1)
    if compare(abs(percent), GOOD_INPUT_PERCENT, "%") <= 0:
        return judge_reasons([])
    deviation = f"{abs(percent):.1f}% {'over' if percent > 0 else 'under'} the name plate"
    is_over_fired = compare(percent, ROUTINE_INPUT_PERCENT, "%") > 0
    if is_assumed:
        valves = "compare the safety valves with the larger input, and " if is_over_fired else ""
        sentence = f"The burner seems to fire {deviation}: {valves}{BEFORE_ADJUSTING}."
        return _judge_one("input_assumed", "urgent" if is_over_fired else "inconclusive", sentence)
    if is_over_fired:
        sentence = f"The burner fires {deviation}: adjust it, and compare the safety valves with the larger input."
        return _judge_one("over_fired", "urgent", sentence)
    code = "fires_over_plate" if percent > 0 else "fires_under_plate"
    return _judge_one(code, "routine", f"The burner fires {deviation}: adjust it at the next service.")


def _judge_one(code: str, level: str, sentence: str) -> EngineeringJudgement:
    return judge_reasons([EngineeringReason(code, level, sentence)])


def _reasons_about_co(ppm: float) -> list[EngineeringReason]:
    reading = f"{air_free_text(ppm)} ppm carbon monoxide air-free"
    if compare(ppm, CO_HOLD_PPM, "ppm") >= 0:
        return [EngineeringReason("co_high", "hold", f"{reading}, {CO_HOLD_PPM:g} or more: shut the burner down.")]
    if compare(ppm, CO_ADJUST_PPM, "ppm") >= 0:
        sentence = f"{reading}, {CO_ADJUST_PPM:g} or more: have the burner adjusted."
        return [EngineeringReason("co_adjust", "urgent", sentence)]
    return []
