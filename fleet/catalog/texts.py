"""The YAML of long texts: sections of code to text, or of code to steps. It is read by nodes, to know each line."""

from collections.abc import Iterator
from pathlib import Path

import yaml

from fleet.catalog.rows import Faults

TEXTS_FILE = "texts.yaml"
SECTIONS = ("first_acts", "cautions", "steps")
LISTED_SECTION = "steps"  # the section whose texts are lists, stored with one step a line
YAML_LOADER: type[yaml.SafeLoader] = getattr(
    yaml, "CSafeLoader", yaml.SafeLoader
)  # the loader in C, where there is one

Texts = dict[str, dict[str, str]]
Lines = dict[tuple[str, str], int]


def read_texts(folder: Path, faults: Faults) -> tuple[Texts, Lines]:
    """Read the texts and the line of each. Anything but a text under a known section is noted as a fault."""
    texts: Texts = {section: {} for section in SECTIONS}
    lines: Lines = {}
    for section, key, value in _text_entries(_root_node(folder, faults), faults):
        line = key.start_mark.line + 1
        if key.value in texts[section]:
            faults.note_fault(
                "duplicate", f"{key.value!r} stands there twice", file=TEXTS_FILE, line=line, column=section
            )
        texts[section][key.value] = value
        lines[section, key.value] = line
        if not texts[section][key.value]:
            faults.note_fault("empty", f"{key.value!r} has no text", file=TEXTS_FILE, line=line, column=section)
    return texts, lines


def _root_node(folder: Path, faults: Faults) -> yaml.Node | None:
    try:
        return yaml.compose((folder / TEXTS_FILE).read_text(encoding="utf-8"), YAML_LOADER)
    except FileNotFoundError:
        faults.note_fault("missing_file", "is missing", TEXTS_FILE)
    except UnicodeDecodeError:
        faults.note_fault("bad_file", "is not UTF-8 text", TEXTS_FILE)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        faults.note_fault("bad_file", f"can't be read as YAML: {error.problem}", TEXTS_FILE, line)
    return None


def _text_entries(root: yaml.Node | None, faults: Faults) -> Iterator[tuple[str, yaml.ScalarNode, str]]:
    for section, body in _node_pairs(root, "sections", faults):
        if section.value not in SECTIONS:
            faults.note_fault(
                "unknown_text", f"unknown section {section.value!r}", TEXTS_FILE, section.start_mark.line + 1
            )
            continue
        for key, value in _node_pairs(body, section.value, faults):
            text = _node_text(value, listed=section.value == LISTED_SECTION)
            if text is not None:
                yield section.value, key, text
            else:
                kind = "no list of steps" if section.value == LISTED_SECTION else "no text"
                faults.note_fault(
                    "bad_value",
                    f"{key.value!r} is {kind}",
                    file=TEXTS_FILE,
                    line=key.start_mark.line + 1,
                    column=section.value,
                )


def _node_text(node: yaml.Node, listed: bool) -> str | None:
    """Return a text on one line, or (`listed`) a list of texts, one a line; None where the node is something else."""
    if not listed:
        return " ".join(node.value.split()) if isinstance(node, yaml.ScalarNode) else None
    if not isinstance(node, yaml.SequenceNode) or not all(isinstance(n, yaml.ScalarNode) for n in node.value):
        return None
    return "\n".join(" ".join(n.value.split()) for n in node.value)


def _node_pairs(node: yaml.Node | None, name: str, faults: Faults) -> Iterator[tuple[yaml.ScalarNode, yaml.Node]]:
    if node is None:
        return
    if not isinstance(node, yaml.MappingNode):
        faults.note_fault("bad_value", f"{name} must be keys with values", TEXTS_FILE, node.start_mark.line + 1)
        return
    for key, value in node.value:
        if isinstance(key, yaml.ScalarNode):
            yield key, value
        else:
            faults.note_fault("bad_value", f"{name} has a key that is no word", TEXTS_FILE, key.start_mark.line + 1)
