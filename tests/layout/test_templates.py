"""Templates are read by people: no line of one is too long to be read."""

from tests.layout.tree import ROOT, listed, text_of, tree_files

MAX_LINE_LENGTH = 160


def long_lines(name: str, text: str) -> list[str]:
    """Return each line that is longer than a template's may be, by its number."""
    lengths = ((number, len(line)) for number, line in enumerate(text.splitlines(), 1))
    return [f"{name}:{number} has {length} characters" for number, length in lengths if length > MAX_LINE_LENGTH]


def test_no_line_of_a_template_is_too_long() -> None:
    templates = [path for path in tree_files() if path.suffix == ".html" and "templates" in path.parts]
    faults = [fault for path in templates for fault in long_lines(path.relative_to(ROOT).as_posix(), text_of(path))]
    assert len(templates) > 50, listed(faults)
    assert faults == [], listed(faults)


def test_a_planted_long_line_is_found() -> None:
    assert long_lines("x.html", f"{'a' * 160}\n{'a' * 161}\n") == ["x.html:2 has 161 characters"]
