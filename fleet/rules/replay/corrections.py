"""Which visits count: the end of each chain of corrections, but out of a hold only with a second qualified name."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from uuid import UUID

from fleet.rules.values import Evidence, VisitFact

Holds = Callable[[Evidence], frozenset[str]]


@dataclass(frozen=True, slots=True)
class CorrectionChain:
    """A visit and its restatements, oldest first; from `firm` on nobody has stood behind them yet."""

    visits: tuple[VisitFact, ...]
    firm: int


def choose_visits(evidence: Evidence, holds: Holds) -> tuple[Evidence, tuple[UUID, ...]]:
    """Return the evidence with only those visits that count, and the corrections that wait.

    `holds` names what a boiler would be on hold for by some evidence. A correction that nobody else stands behind waits
    while it would lift a hold that is open without it. It follows from the evidence alone, never from when it came.
    """
    chains = _correction_chains(evidence.visits)
    chosen_numbers = {c.visits[0].id: c.firm for c in chains}
    open_ = [c for c in chains if c.firm < len(c.visits) - 1]
    if open_:
        before = holds(_with_chosen(evidence, chains, chosen_numbers))
        ends = chosen_numbers | {c.visits[0].id: len(c.visits) - 1 for c in open_}
        if not before or before <= holds(_with_chosen(evidence, chains, ends)):
            chosen_numbers = ends
        else:
            for chain in open_:
                chosen_numbers[chain.visits[0].id] = _newest_restatement(
                    evidence, chains, chosen_numbers=chosen_numbers, chain=chain, holds=holds
                )
    waiting = [v.id for c in chains for v in c.visits[chosen_numbers[c.visits[0].id] + 1 :]]
    return _with_chosen(evidence, chains, chosen_numbers), tuple(waiting)


def _newest_restatement(
    evidence: Evidence,
    chains: list[CorrectionChain],
    chosen_numbers: Mapping[UUID, int],
    chain: CorrectionChain,
    holds: Holds,
) -> int:
    """The newest restatement that lifts no hold; the last one that somebody stood behind where each of them does."""
    before, root = holds(_with_chosen(evidence, chains, chosen_numbers)), chain.visits[0].id
    for number in range(len(chain.visits) - 1, chain.firm, -1):
        if before <= holds(_with_chosen(evidence, chains, {**chosen_numbers, root: number})):
            return number
    return chain.firm


def _correction_chains(visits: Iterable[VisitFact]) -> list[CorrectionChain]:
    """Every chain, in the order of what its first visit says; one that restates an unknown visit begins a chain."""
    by_id = {v.id: v for v in visits}
    successors = {v.corrects: v for v in by_id.values() if v.corrects}
    roots = [v for v in by_id.values() if v.corrects not in by_id]
    chains = []
    for root in sorted(roots, key=lambda v: (v.at, v.id)):
        chain = [root]
        while chain[-1].id in successors:
            chain.append(successors[chain[-1].id])
        firm = max((i for i, v in enumerate(chain) if v.seconded), default=0)
        chains.append(CorrectionChain(tuple(chain), firm))
    return chains


def _with_chosen(evidence: Evidence, chains: list[CorrectionChain], chosen_numbers: Mapping[UUID, int]) -> Evidence:
    chosen_visits = [c.visits[chosen_numbers[c.visits[0].id]] for c in chains]
    return replace(evidence, visits=tuple(v for v in chosen_visits if not v.void))
