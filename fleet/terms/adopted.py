"""How often a procedure is asked for: by the catalogue, and by what a portfolio adopted there."""

from dataclasses import dataclass

from fleet.rules.catalogue import Catalogue, Procedure, Variant
from fleet.rules.clocks import timing
from fleet.rules.values import Law, Override, Terms


@dataclass(frozen=True, slots=True)
class Adopted:
    """What a portfolio's terms in force make of a procedure; the interval "" is none."""

    variant: str
    override: Override | None
    interval: str
    anchor: str
    grace_days: int


def adopted(procedure: Procedure, terms: Terms, release: Catalogue) -> Adopted:
    """By override, else by variant, else by the catalogue."""
    asked = timing(Law(None, terms, release), procedure)
    variant, override = terms.variants.get(procedure.code, ""), terms.overrides.get(procedure.code)
    if asked is None:
        return Adopted(variant, override, "", "", 0)
    return Adopted(variant, override, str(asked.interval), asked.anchor, asked.grace_days)


def variants(procedure: Procedure, release: Catalogue) -> list[Variant]:
    """The other published intervals of a procedure."""
    return [v for (code, _), v in sorted(release.variants.items()) if code == procedure.code]
