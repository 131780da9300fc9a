"""The YAML of long texts: two sections of code to text, read by nodes so that each keeps its line."""

from collections.abc import Iterator
from pathlib import Path

import yaml

from fleet.catalog.rows import Faults

FILE = "texts.yaml"
SECTIONS = ("first_acts", "cautions")

Texts = dict[str, dict[str, str]]
Lines = dict[tuple[str, str], int]


def read_texts(folder: Path, faults: Faults) -> tuple[Texts, Lines]:
    """Read the texts and the line of each; what is no text under a known section is noted."""
    texts: Texts = {section: {} for section in SECTIONS}
    lines: Lines = {}
    for section, key, value in _entries(_root(folder, faults), faults):
        line = key.start_mark.line + 1
        if key.value in texts[section]:
            faults.note("duplicate", f"{key.value!r} stands there twice", FILE, line, section)
        texts[section][key.value] = " ".join(value.value.split())
        lines[section, key.value] = line
        if not texts[section][key.value]:
            faults.note("empty", f"{key.value!r} has no text", FILE, line, section)
    return texts, lines


def _root(folder: Path, faults: Faults) -> yaml.Node | None:
    try:
        return yaml.compose((folder / FILE).read_text(encoding="utf-8"), yaml.SafeLoader)
    except FileNotFoundError:
        faults.note("missing_file", "is missing", FILE)
    except UnicodeDecodeError:
        faults.note("bad_file", "is not UTF-8 text", FILE)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        faults.note("bad_file", f"can't be read as YAML: {error.problem}", FILE, line)
    return None


def _entries(root: yaml.Node | None, faults: Faults) -> Iterator[tuple[str, yaml.ScalarNode, yaml.ScalarNode]]:
    for section, body in _pairs(root, "sections", faults):
        if section.value not in SECTIONS:
            faults.note("unknown_text", f"unknown section {section.value!r}", FILE, section.start_mark.line + 1)
            continue
        for key, value in _pairs(body, section.value, faults):
            if isinstance(value, yaml.ScalarNode):
                yield section.value, key, value
            else:
                faults.note("bad_value", f"{key.value!r} is no text", FILE, key.start_mark.line + 1, section.value)


def _pairs(node: yaml.Node | None, name: str, faults: Faults) -> Iterator[tuple[yaml.ScalarNode, yaml.Node]]:
    if node is None:
        return
    if not isinstance(node, yaml.MappingNode):
        faults.note("bad_value", f"{name} must be keys with values", FILE, node.start_mark.line + 1)
        return
    for key, value in node.value:
        if isinstance(key, yaml.ScalarNode):
            yield key, value
        else:
            faults.note("bad_value", f"{name} has a key that is no word", FILE, key.start_mark.line + 1)
