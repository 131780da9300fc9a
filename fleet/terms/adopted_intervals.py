"""How often a procedure is asked for: by the catalogue, and by a portfolio's adopted terms."""

from dataclasses import dataclass

from fleet.rules.catalogue import Catalogue, ProcedureSpec, Variant
from fleet.rules.ledger.clocks import adopted_timing
from fleet.rules.values import AdoptedTerms, LawInForce, Override


@dataclass(frozen=True, slots=True)
class AdoptedInterval:
    """The interval of a procedure under a portfolio's terms, and where it comes from. The interval "" is none."""

    variant: str
    override: Override | None
    interval: str
    anchor: str
    grace_days: int


def adopted_interval(procedure: ProcedureSpec, terms: AdoptedTerms, release: Catalogue) -> AdoptedInterval:
    """Return a procedure's interval by override, else by variant, else by the catalogue."""
    interval_terms = adopted_timing(LawInForce(None, terms, release), procedure)
    variant, override = terms.variants.get(procedure.code, ""), terms.overrides.get(procedure.code)
    if interval_terms is None:
        return AdoptedInterval(variant, override, interval="", anchor="", grace_days=0)
    return AdoptedInterval(
        variant,
        override,
        interval=str(interval_terms.interval),
        anchor=interval_terms.anchor,
        grace_days=interval_terms.grace_days,
    )


def published_variants(procedure: ProcedureSpec, release: Catalogue) -> list[Variant]:
    """Return the published variants of a procedure's interval, by name."""
    return [v for (code, _), v in sorted(release.variants.items()) if code == procedure.code]
