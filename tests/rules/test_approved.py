"""What the rules say of every scenario is what was read and approved, word for word and value for value."""

from difflib import unified_diff

from tests.rules.approved import JUDGEMENTS, SENTENCES, now


def test_every_sentence_and_every_judgement_is_the_approved_one() -> None:
    for path, text in zip((SENTENCES, JUDGEMENTS), now(), strict=True):
        approved = path.read_text(encoding="utf-8")
        changed = list(unified_diff(approved.splitlines(), text.splitlines(), "approved", "now", lineterm="", n=0))
        assert changed == [], "read what changed, then write it down by: python -m tests.rules.approved"
