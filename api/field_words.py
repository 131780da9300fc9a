"""The endpoint of the visit sheet's words: what is asked, in which words it is answered, in one language."""

from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime

from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from rest_framework import serializers
from rest_framework.request import Request

from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.query_validation import validate_query
from api.http.strict import StrictSerializer
from api.visit_serializers import ARRIVALS, KINDS, LEFT, WHY
from fleet.catalog import queries as catalog
from fleet.catalog.field_words import (
    LANGUAGES,
    UNREAD_LANGUAGES,
    catalogue_text,
    choice_words,
    expected_answers,
    first_finding,
    outcome_otherwise,
    outcome_question,
    procedure_steps,
    reading_question,
    roles_that_need,
)
from fleet.planning import work_order
from fleet.rules.answers.readiness import LEAVING_CHECKS
from fleet.rules.catalogue import (
    Action,
    Catalogue,
    FindingRule,
    KindSpec,
    Observation,
    ProcedureSpec,
    ReadingSpec,
    RoleSpec,
)
from fleet.rules.values import Level
from fleet.rules.wording import ADVICE_CAUTION
from fleet.sheets.columns import is_measured


class WordsQuerySerializer(StrictSerializer):
    """The language of the words."""

    language = serializers.ChoiceField(choices=LANGUAGES, required=False, default="en")


class QuestionSerializer(serializers.Serializer[object]):
    """A question with the words of yes and no; both are empty for a number and a choice."""

    ask = serializers.CharField()
    yes = serializers.CharField(allow_blank=True)
    no = serializers.CharField(allow_blank=True)
    first_act = serializers.CharField(
        allow_blank=True, help_text="What to do at once where the answer makes a hold; empty where it makes none."
    )


class ChoiceWordsSerializer(serializers.Serializer[object]):
    """One answer of a choice."""

    code = serializers.CharField()
    says = serializers.CharField()


class AskedReadingSerializer(QuestionSerializer):
    """One reading as it is asked. `expects`: "yes", "no" or the codes that a pass needs; empty for any."""

    name = serializers.CharField()
    type = serializers.CharField(help_text="bool, number or choice.")
    unit = serializers.CharField(allow_blank=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    choices = ChoiceWordsSerializer(many=True)
    required = serializers.BooleanField()  # type: ignore[assignment]
    needed_on = serializers.ListField(
        child=serializers.CharField(), help_text="Roles on which it is needed although not required, and must be yes."
    )
    accept = serializers.CharField(allow_blank=True)
    expects = serializers.ListField(child=serializers.CharField())
    otherwise = serializers.ChoiceField(
        choices=("fail", "inconclusive", "not_a_test"), help_text="What the test is where it is not as a pass needs it."
    )


class AskedProcedureSerializer(serializers.Serializer[object]):
    """A procedure as the visit sheet asks it. `outcome` comes first where a test only measures."""

    code = serializers.CharField()
    name = serializers.CharField()
    side = serializers.CharField()
    cautions = serializers.CharField(allow_blank=True)
    steps = serializers.ListField(child=serializers.CharField())
    kinds = serializers.ListField(child=serializers.CharField())
    outcome = QuestionSerializer(allow_null=True)
    readings = AskedReadingSerializer(many=True)
    who = serializers.ListField(child=serializers.CharField())
    people = serializers.IntegerField()
    minutes = serializers.IntegerField()


class SeenSerializer(serializers.Serializer[object]):
    """Something that can be seen. Without roles it is seen of the boiler as a whole."""

    code = serializers.CharField()
    name = serializers.CharField()
    roles = serializers.ListField(child=serializers.CharField())
    first_act = serializers.CharField(allow_blank=True, help_text="What to do at once where it makes a hold.")


class CodeNameSerializer(serializers.Serializer[object]):
    """A code and its name."""

    code = serializers.CharField()
    name = serializers.CharField()


class AttributeSerializer(serializers.Serializer[object]):
    """A value that is stamped or set on a device. `measured`: a number in the unit at the end of its name."""

    name = serializers.CharField()
    measured = serializers.BooleanField()


class KindWordsSerializer(CodeNameSerializer):
    """A kind of device and what is on it."""

    attributes = AttributeSerializer(many=True)


class RoleWordsSerializer(CodeNameSerializer):
    """A role of a place and the kinds of device that may fill it. `english`: as a register names such a place."""

    english = serializers.CharField()

    kinds = serializers.ListField(child=serializers.CharField())
    part = serializers.CharField()


class GroupWordsSerializer(serializers.Serializer[object]):
    """One group of the order of work; `always` is part of it on every visit."""

    number = serializers.IntegerField()
    title = serializers.CharField()
    always = serializers.CharField()


class FieldWordsSerializer(serializers.Serializer[object]):
    """Everything the visit sheet can ask or say, of the release in force, in one language."""

    release = serializers.IntegerField()
    language = serializers.ChoiceField(choices=LANGUAGES)
    languages = serializers.ListField(child=serializers.CharField())
    read_by_native_speaker = serializers.BooleanField()
    caution = serializers.CharField()
    groups = GroupWordsSerializer(many=True)
    procedures = AskedProcedureSerializer(many=True)
    observations = SeenSerializer(many=True)
    actions = CodeNameSerializer(many=True)
    kinds = KindWordsSerializer(many=True)
    roles = RoleWordsSerializer(many=True)
    first_acts = serializers.DictField(child=serializers.CharField())
    leaving_checks = serializers.DictField(child=serializers.CharField())
    visit_kinds = serializers.ListField(child=serializers.CharField())
    arrivals = serializers.ListField(child=serializers.CharField())
    left_as = serializers.ListField(child=serializers.CharField())
    why = serializers.ListField(child=serializers.CharField())


@method_decorator(gzip_page, name="dispatch")  # a phone may have little signal
@describe_detail("getFieldWords", WordsQuerySerializer, codes=(400, 401))
class FieldWordsEndpoint(DetailEndpoint):
    """The words of the visit sheet."""

    item_serializer, action = FieldWordsSerializer, "terms.see"

    def find_item(self, request: Request, at: datetime, **where: object) -> dict[str, object]:
        """Return the words of the release in force."""
        return compose_words(catalog.catalogue_at(at), validate_query(request, WordsQuerySerializer)["language"])

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the release of the day (UTC)."""
        return (catalog.release_number_on(at.astimezone(UTC).date()),)


def compose_words(release: Catalogue, language: str) -> dict[str, object]:
    """Return everything the visit sheet can ask or say."""
    return {
        "release": release.release,
        "language": language,
        "languages": LANGUAGES,
        "read_by_native_speaker": language not in UNREAD_LANGUAGES,
        "caution": catalogue_text("caution", "advice", ADVICE_CAUTION, language),
        "groups": [_group_words(group, language) for group in work_order.GROUPS],
        "procedures": [_procedure_words(p, release, language) for p in release.procedures.values()],
        **_register_words(release, language),
        "leaving_checks": {
            c: catalogue_text("leaving_checks", c, says, language) for c, says in LEAVING_CHECKS.items()
        },
        "visit_kinds": KINDS,
        "arrivals": ARRIVALS,
        "left_as": LEFT,
        "why": WHY,
    }


def _group_words(group: work_order.WorkGroup, language: str) -> dict[str, object]:
    code = str(group.number)
    always = catalogue_text("groups_always", code, group.always, language)
    return {"number": group.number, "title": catalogue_text("groups", code, group.title, language), "always": always}


def _register_words(release: Catalogue, language: str) -> dict[str, object]:
    """Return what can be seen, done and fitted, and what to do first about each finding that holds a boiler."""
    holds = {c: _act_of(rule, language) for c, rule in release.findings.items() if rule.level == Level.HOLD}
    observations = release.observations.values()
    return {
        "first_acts": holds,
        "observations": [
            {**_named_row("observations", o, language), "roles": sorted(o.roles), "first_act": holds.get(o.finding, "")}
            for o in observations
        ],
        "actions": [_named_row("actions", a, language) for a in release.actions.values()],
        "kinds": [
            {**_named_row("kinds", k, language), "attributes": _attribute_rows(k)} for k in release.kinds.values()
        ],
        "roles": [
            {**_named_row("roles", r, language), "english": r.name, "kinds": sorted(r.kinds), "part": r.part}
            for r in release.roles.values()
        ],
    }


def _act_of(rule: FindingRule, language: str) -> str:
    return catalogue_text("first_acts", rule.code, rule.first_act, language)


def _named_row(section: str, row: Observation | Action | KindSpec | RoleSpec, language: str) -> dict[str, object]:
    return {"code": row.code, "name": catalogue_text(section, row.code, row.name, language)}


def _attribute_rows(kind: KindSpec) -> list[dict[str, object]]:
    return [{"name": a, "measured": is_measured(a)} for a in sorted(kind.attributes - {"fitted_on"})]


def _procedure_words(procedure: ProcedureSpec, release: Catalogue, language: str) -> dict[str, object]:
    outcome = outcome_question(procedure, language)
    return {
        "code": procedure.code,
        "name": catalogue_text("procedures", procedure.code, procedure.name, language),
        "side": procedure.side,
        "cautions": catalogue_text("cautions", procedure.code, procedure.caution, language),
        "steps": procedure_steps(procedure, language),
        "kinds": sorted(procedure.kinds),
        "outcome": {**asdict(outcome), "first_act": _first_act(procedure, None, release, language)}
        if outcome
        else None,
        "readings": list(_readings_asked(procedure, release, language)),
        "who": sorted(procedure.who),
        "people": procedure.people,
        "minutes": procedure.minutes,
    }


def _readings_asked(procedure: ProcedureSpec, release: Catalogue, language: str) -> Iterator[dict[str, object]]:
    """Yield the readings in the catalogue's order, which is the order in which they are seen."""
    for spec in procedure.readings.values():
        yield {
            **{name: getattr(spec, name) for name in ("name", "type", "unit", "low", "high", "required")},
            "accept": catalogue_text("accept", spec.accept, spec.accept, language),
            **asdict(reading_question(procedure.code, spec, language)),
            "first_act": _first_act(procedure, spec, release, language),
            "choices": [{"code": c, "says": choice_words(spec.name, c, language)} for c in spec.choices],
            "needed_on": roles_that_need(spec),
            "expects": expected_answers(spec),
            "otherwise": outcome_otherwise(spec),
        }


def _first_act(procedure: ProcedureSpec, spec: ReadingSpec | None, release: Catalogue, language: str) -> str:
    rule = release.findings.get(first_finding(procedure, spec))
    return _act_of(rule, language) if rule is not None and rule.level == Level.HOLD else ""
