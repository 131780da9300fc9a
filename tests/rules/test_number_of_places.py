"""What fills a place together is spoken of in the plural: of every role, in every sentence that a story brings."""

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.rules import judge
from fleet.rules.catalogue import ReadingSpec, RoleSpec
from fleet.rules.values import EntryFact, Evidence, FittingFact, PositionFact, RegisterPosted, ServiceMode, Value
from fleet.rules.wording import PLURAL_ROLES, agree
from tests.rules.build import FITTED, START, Boiler, at, catalogue, ident

SINGULAR = "is|was|has|does|needs|hangs|fires|passes"
PLURAL = "are|were|have|do|need|hang|fire|pass"
SUBJECT = r"(?<!of )(?<!at )(?<!on )(?:[Tt]he|No)"  # "the check of the try cocks is due" speaks of the check
ROLES = sorted(catalogue().roles.values(), key=lambda role: role.code)


def _place(role: RoleSpec, name: str = "") -> PositionFact:
    return PositionFact(ident("place"), "place", name or role.name.lower(), role.code)


def _reading(spec: ReadingSpec) -> st.SearchStrategy[Value]:
    if spec.type == "bool":
        return st.booleans()
    if spec.type == "choice":
        return st.sampled_from(spec.choices)
    return st.sampled_from([spec.low or 0.0, (spec.low or 0.0) + 1.0, spec.high or 20.0])


def _entry(act: str, code: str, **more: object) -> EntryFact:
    return EntryFact(ident("e"), 0, act, code, ident("place"), START, **more)  # type: ignore[arg-type]


def _entries(role: RoleSpec, kind: str) -> st.SearchStrategy[EntryFact]:
    """Anything that may be written down of a place of this role."""
    tests = [
        st.builds(
            lambda readings, outcome, code=p.code: _entry("test", code, readings=readings, outcome=outcome),
            st.fixed_dictionaries({s.name: _reading(s) for s in p.readings.values()}),
            st.sampled_from(["pass", "fail", "inconclusive"]),
        )
        for p in catalogue().procedures.values()
        if kind in p.kinds
    ]
    seen = [_entry("observe", o.code) for o in catalogue().observations.values() if role.code in o.roles]
    done = [_entry("action", a.code) for a in catalogue().actions.values()]
    swaps = [_entry("replace", "", device=ident("new"), kind=kind), _entry("remove", "")]
    return st.one_of(*tests, st.sampled_from([*seen, *done, *swaps]))


def _evidence(role: RoleSpec, kind: str, visits: list[list[EntryFact]], who: str) -> Evidence:
    boiler = Boiler()
    for number, entries in enumerate(visits):
        boiler.visit(number * 10.0, *entries, who=who, kind="annual_service")
    boiler.goes(50, ServiceMode.LAID_UP_WET).goes(60, ServiceMode.IN_SERVICE)
    stamped: dict[str, Value] = {"set_psi": 8.0}
    fittings = (FittingFact(ident("place"), ident("first"), kind, FITTED, stamped),)
    return replace(
        boiler.evidence(),
        positions=(_place(role),),
        fittings=fittings,
        settings=(),
        register=RegisterPosted(FITTED),
    )


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, (tuple, list, frozenset)):
        for item in value:
            yield from _texts(item)
    elif is_dataclass(value):
        for part in fields(value):
            yield from _texts(getattr(value, part.name))


@pytest.mark.parametrize("role", ROLES, ids=lambda role: role.code)
@settings(max_examples=15, deadline=None)
@given(st.data())
def test_every_sentence_speaks_of_a_place_in_its_own_number(role: RoleSpec, data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(role.kinds)))
    visits = data.draw(st.lists(st.lists(_entries(role, kind), max_size=4), max_size=3))
    who = data.draw(st.sampled_from(["technician|fire_side|gas_train", "operator", ""]))
    name, is_plural = role.name.lower(), role.code in PLURAL_ROLES
    verbs, pronouns = (
        (SINGULAR, "passed its|since it|before it|and it|and needs|and has")
        if is_plural
        else (
            PLURAL,
            "passed their|since they|before they|and they|and need|and have",
        )
    )
    wrong = rf"{SUBJECT} {name} ({verbs})\b|{name}[^.:]* ({pronouns})\b"
    told = list(_texts(judge(_evidence(role, kind, visits, who), (), at(400))))
    assert any(name in text for text in told)
    assert [text for text in told if re.search(wrong, text)] == []


def test_the_plural_roles_are_those_whose_name_is_a_plural() -> None:
    plural_names = {r.code for r in ROLES if r.name.endswith("s") and not r.name.endswith("ss")}
    assert plural_names == PLURAL_ROLES


def test_one_valve_of_a_train_is_spoken_of_in_the_singular() -> None:
    role = catalogue().roles["fuel_valves"]
    assert [agree(_place(role, name), "is") for name in ("main gas valve", "fuel shut-off valves")] == ["is", "are"]
