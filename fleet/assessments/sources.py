"""Sources as people read them: each number with its document, what is from memory as not verified yet."""

from fleet.catalog.citations import DOCUMENT_NUMBER, words_for_readers
from fleet.catalog.queries import shipped_sources


def spelled_out(source: str) -> str:
    """Return a source with title and scope after each number: "S29 (Standard Work …; work in …)".

    Other words stay as they are.
    """
    return DOCUMENT_NUMBER.sub(lambda match: f"{match[0]}{title_after(match[0])}", words_for_readers(source))


def title_after(number: str) -> str:
    """Return " (title, publisher; scope)" of a document, empty for a number that no document has."""
    document = shipped_sources().get(number)
    return f" ({document.title}, {document.publisher}; {document.scope})" if document else ""
