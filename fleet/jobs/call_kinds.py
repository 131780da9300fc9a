"""What tenants call about: the words, what is said on the telephone first, the first questions, the effort.

Danger comes first, whatever the call is about. A caller is never told to reset anything or to add water.
"""

from collections.abc import Mapping
from dataclasses import dataclass

# Said and asked on every call, before anything else (common practice).
DANGER_QUESTION = "Does an alarm sound, is somebody dizzy or sick, or do you smell gas or smoke?"
DANGER_ANSWER = (
    "If yes: everyone out now, at once. Touch no switch and light nothing. Call 911 from outside, and stay outside "
    "until the fire department says otherwise."
)
NEVER = "Keep out of the boiler room. Do not reset anything, do not add water, do not touch a valve."


@dataclass(frozen=True, slots=True)
class CallKind:
    """One kind of call. `cautions` are said, then `questions` are asked; `minutes` are the work of the visit."""

    code: str
    label: str
    level: str
    minutes: int
    cautions: tuple[str, ...]
    questions: tuple[str, ...]


_KINDS = (
    CallKind(
        "alarm",
        "Carbon monoxide or other alarm",
        level="hold",
        minutes=60,
        cautions=(
            "Everyone out now, and knock on the other doors on the way. Call 911 from outside.",
            "Nobody goes back in, also when the alarm is silent again.",
        ),
        questions=("Is everybody out?", "Is anybody dizzy, sick or hard to wake?", "Was 911 called, and when?"),
    ),
    CallKind(
        "smell",
        "Smell",
        level="hold",
        minutes=60,
        cautions=(
            "A smell of gas: everyone out now. Touch no switch, light nothing. Call 911 from outside, and then "
            "the gas utility.",
            "Smoke, or a burnt or sour smell with a headache: everyone out now, call 911 from outside.",
        ),
        questions=("What does it smell of: gas, oil, smoke?", "Where is it strongest?", "Is everybody out?"),
    ),
    CallKind(
        "water",
        "Water or steam",
        level="urgent",
        minutes=75,
        cautions=("Hot water and steam scald: keep away from it, and keep children away.",),
        questions=(
            "Where does it come out: a radiator, a pipe, the ceiling, the cellar?",
            "Is it hot? Is it steam?",
            "Is it near wires or lamps?",
        ),
    ),
    CallKind(
        "no_heat",
        "No heat",
        level="urgent",
        minutes=75,
        cautions=("Do not heat with the oven or the stove: that makes carbon monoxide.",),
        questions=(
            "The whole flat, or some radiators?",
            "Do the neighbors have heat?",
            "Is there hot water?",
            "Are there small children, or old or sick people?",
        ),
    ),
    CallKind(
        "noise",
        "Noise",
        level="routine",
        minutes=60,
        cautions=(
            "A bang, a roar or a rumble from the boiler room: keep away from it, and call again if it comes back.",
        ),
        questions=("Knocking in the pipes, hissing, or something from the boiler room?", "When, and how often?"),
    ),
)
CALL_KINDS: Mapping[str, CallKind] = {kind.code: kind for kind in _KINDS}
