"""Every state word and every label on the screens has a line in fleet/web/words.md that says where it is from."""

import csv
import re
from collections.abc import Iterator

from fleet.alerts.services import UNJUDGED
from fleet.jobs import states
from fleet.rules.facts import ServiceMode
from fleet.rules.values import Level, Standing, State
from fleet.web.templatetags.said import WORDS, word
from tests.cast import ROOT

DOCUMENT = (ROOT / "fleet" / "web" / "words.md").read_text()
ROW = re.compile(r"^\| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
TOLD = {cell.strip(): origin.strip() for cell, origin in ROW.findall(DOCUMENT)}
LABEL = re.compile(r"<(h1|h2|h3|th|button|label|summary|dt|legend|title)\b[^>]*>(.*?)</\1>", re.DOTALL)
ASIDE = re.compile(r'<span class="(?:unseen|unit)">.*?</span>', re.DOTALL)
CONDITION = re.compile(r'Condition\(\s*"([a-z_]+)"|"(job_(?:not|past)_[a-z_]+)"')
ACTS = ("accept", "decline", "start", "withdraw", "cancel", "plan", "created")
LIFE = ("open", "assigned", "repaired", "deferred", "closed", "withdrawn", "merged", "explained")
ALERTS = ("raised", "acknowledged", "shelved", "returned", "withdrawn", UNJUDGED)
OUTCOMES = ("pass", "fail", "inconclusive", "not_done", "something_does", "nothing_found_by_this_visit", "not_examined")
KINDS = ("roles", "kinds", "procedures", "hazards")


def labels(template: str) -> Iterator[str]:
    """The fixed words of headings, heads of columns, buttons, labels and what unfolds; asides for the ear left out."""
    for _, inner in LABEL.findall(template):
        bare = re.sub(r"<[^>]+>", " ", ASIDE.sub("", inner))
        for part in re.split(r"{%.*?%}|{{.*?}}", bare):
            text = " ".join(part.split()).strip(" :,·()&;\N{MULTIPLICATION SIGN}")
            if re.search("[A-Za-z]{2}", text):
                yield text


def missing(words: Iterator[str] | list[str]) -> list[str]:
    return sorted({w for w in words if w not in TOLD})


def test_every_label_of_the_templates_has_its_line() -> None:
    templates = list((ROOT / "templates").rglob("*.html"))
    found = [label for path in templates for label in labels(path.read_text())]
    assert len(found) > 200
    assert missing(found) == []


def test_every_state_word_has_its_line() -> None:
    enums = [str(one) for kind in (Standing, State, Level, ServiceMode) for one in kind]
    told = [*enums, *states.STATUSES, *ACTS, *LIFE, *ALERTS, *OUTCOMES, *WORDS]
    assert missing([word(code) for code in told]) == []


def test_every_condition_of_an_alert_has_its_line() -> None:
    sources = [
        path.read_text() for room in ("rules", "alerts", "jobs") for path in (ROOT / "fleet" / room).rglob("*.py")
    ]
    codes = {a or b for source in sources for a, b in CONDITION.findall(source)}
    assert len(codes) > 8
    assert missing([word(code) for code in codes]) == []


def test_every_name_of_the_catalogue_has_its_line_with_its_source() -> None:
    unlike = []
    for kind in KINDS:
        with (ROOT / "fixtures" / "catalogue" / f"{kind}.csv").open(newline="") as file:
            for row in csv.DictReader(file):
                if row["name"] not in TOLD:
                    unlike.append(row["name"])
    assert unlike == []


def test_every_question_and_column_of_the_figures_has_its_line() -> None:
    source = (ROOT / "fleet" / "web" / "figures" / "figures_page.py").read_text()
    questions = re.findall(r'"([A-Z][^"]*\?)"', source)
    assert (len(questions), missing(questions)) == (7, [])


def test_a_line_says_trade_standard_or_own() -> None:
    unsaid = [
        w for w, origin in TOLD.items() if not re.match(r"(own|trade|standard|plain English)\b|S\d+|---|from", origin)
    ]
    assert len(TOLD) > 300
    assert unsaid == []


def test_the_walk_sees_a_planted_label() -> None:
    heading = '<h2 id="x">Never <span class="unseen">heard</span> of {{ it }}: </h2>'
    planted = f"{heading}<button>{{% if a %}}Blow{{% endif %}}</button>"
    assert list(labels(planted)) == ["Never of", "Blow"]
    assert missing(["Never of"]) == ["Never of"]
