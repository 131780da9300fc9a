"""Visits by who posted them, who is named and what those said of it, with what each is worth."""

from dataclasses import dataclass

from tests.cast import TRADES

ROSA = frozenset(TRADES)
NORA, OPERATOR, NOBODY = frozenset({"technician"}), frozenset({"operator"}), frozenset[str]()


@dataclass(frozen=True)
class Told:
    """Who posted, who is named, who of them seconded and denied it, and what it is worth."""

    poster: str
    named: str
    seconded: str = ""
    denied: str = ""
    worth: frozenset[str] = NOBODY

    def __str__(self) -> str:  # a set is shown in another order in each process
        return f"{self.poster or 'nobody'} names {self.named}, seconded {self.seconded}, denied {self.denied}"


TABLE = [
    Told("bram", "nora"),  # who was not there lends it nothing of his own
    Told("bram", "nora", seconded="nora", worth=NORA),
    Told("bram", "nora", denied="nora"),
    Told("bram", "rosa"),  # nor does he relay what an operator told him
    Told("bram", "rosa", seconded="rosa", worth=ROSA),
    Told("bram", "rosa", denied="rosa"),
    Told("bram", "bram", worth=OPERATOR),
    Told("bram", "bram nora", worth=OPERATOR),
    Told("bram", "bram nora", seconded="nora", worth=OPERATOR | NORA),
    Told("bram", "bram nora", denied="nora", worth=OPERATOR),
    Told("bram", "rosa nora"),
    Told("bram", "rosa nora", seconded="nora", worth=NORA),
    Told("bram", "rosa nora", seconded="nora", denied="rosa", worth=NORA),
    Told("bram", "rosa nora", seconded="rosa", denied="nora", worth=ROSA),
    Told("bram", "rosa nora", seconded="rosa nora", worth=ROSA),
    Told("bram", "rosa nora", denied="rosa nora"),
    Told("rosa", "rosa", worth=ROSA),
    Told("rosa", "rosa nora", worth=ROSA),
    Told("rosa", "rosa nora", denied="nora", worth=ROSA),
    Told("nora", "nora rosa", worth=NORA),
    Told("nora", "nora rosa", seconded="rosa", worth=ROSA),
    Told("nora", "nora bram", worth=NORA),
    Told("nora", "nora bram", seconded="bram", worth=NORA | OPERATOR),
    Told("nora", "bram"),
    Told("nora", "bram", seconded="bram", worth=OPERATOR),  # under the operator's own name and key
    Told("nora", "bram", denied="bram"),
    Told("nora", "rosa"),
    Told("nora", "rosa", denied="rosa"),
    Told("ivan", "bram"),  # an inspector is not of the desk
    Told("mona", "nora"),
    Told("mona", "bram", worth=OPERATOR),  # what an operator told the desk is relayed
    Told("mona", "bram", seconded="bram", worth=OPERATOR),
    Told("mona", "bram", denied="bram"),
    Told("mona", "rosa", worth=OPERATOR),
    Told("mona", "rosa", denied="rosa"),
    Told("mona", "nora", seconded="nora", worth=NORA),
    Told("dana", "bram", worth=OPERATOR),
    Told("otto", "bram", worth=OPERATOR),
    Told("", "nora"),
    Told("", "rosa"),
]
