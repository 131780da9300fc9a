"""How often a procedure is asked for: by the catalogue, and by a portfolio's adopted terms."""

from dataclasses import dataclass

from fleet.rules.catalogue import Catalogue, Procedure, Variant
from fleet.rules.clocks import timing
from fleet.rules.values import Law, Override, Terms


@dataclass(frozen=True, slots=True)
class Adopted:
    """The interval of a procedure under a portfolio's terms, and where it comes from. The interval "" is none."""

    variant: str
    override: Override | None
    interval: str
    anchor: str
    grace_days: int


def adopted(procedure: Procedure, terms: Terms, release: Catalogue) -> Adopted:
    """Return a procedure's interval by override, else by variant, else by the catalogue."""
    asked = timing(Law(None, terms, release), procedure)
    variant, override = terms.variants.get(procedure.code, ""), terms.overrides.get(procedure.code)
    if asked is None:
        return Adopted(variant, override, "", "", 0)
    return Adopted(variant, override, str(asked.interval), asked.anchor, asked.grace_days)


def variants(procedure: Procedure, release: Catalogue) -> list[Variant]:
    """Return the published variants of a procedure's interval, by name."""
    return [v for (code, _), v in sorted(release.variants.items()) if code == procedure.code]
