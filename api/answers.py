"""The shape of the answers, for the OpenAPI document."""

from typing import Any

from rest_framework import serializers

STANDINGS = ("hold", "exposed", "impaired", "due", "clear", "not_surveyed", "off")


class ReasonSerializer(serializers.Serializer[Any]):
    """Why: the rule, where, on which entry, since when, and one plain sentence."""

    rule = serializers.CharField()
    sentence = serializers.CharField()
    hazard = serializers.CharField()
    position = serializers.UUIDField(allow_null=True)
    entry = serializers.UUIDField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


class VerdictSerializer(serializers.Serializer[Any]):
    """What one entry is worth, with the limit, set point and source it was judged by."""

    number = serializers.IntegerField()
    entry = serializers.UUIDField()
    outcome = serializers.CharField()
    sentence = serializers.CharField()
    grade = serializers.CharField()
    proves = serializers.CharField()
    limit = serializers.CharField()
    set_value = serializers.FloatField(allow_null=True)
    source = serializers.CharField()
    question = serializers.CharField()


class FindingSerializer(serializers.Serializer[Any]):
    """The rule that fired and the entries it rests on."""

    visit = serializers.UUIDField()
    rule = serializers.CharField()
    position = serializers.UUIDField(allow_null=True)
    entries = serializers.ListField(child=serializers.UUIDField())
    level = serializers.ChoiceField(choices=("hold", "urgent", "routine"))
    sentence = serializers.CharField()
    first_act = serializers.CharField()


class DeficiencyChangeSerializer(serializers.Serializer[Any]):
    """A deficiency that this visit opened, changed or closed."""

    id = serializers.UUIDField()
    rule = serializers.CharField()
    before = serializers.CharField(allow_null=True)
    after = serializers.CharField()
    sentence = serializers.CharField()


class MissingSerializer(serializers.Serializer[Any]):
    """One thing missing or not looked at."""

    what = serializers.CharField()
    sentence = serializers.CharField()
    position = serializers.UUIDField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


class ReadinessSerializer(serializers.Serializer[Any]):
    """Ready, not ready or can't say."""

    answer = serializers.ChoiceField(choices=("ready", "not_ready", "cant_say"))
    missing = MissingSerializer(many=True)
    not_looked_at = MissingSerializer(many=True)


class StandingChangeSerializer(serializers.Serializer[Any]):
    """The boiler's standing before and after, and when time alone will next change it."""

    before = serializers.ChoiceField(choices=STANDINGS)
    after = serializers.ChoiceField(choices=STANDINGS)
    reasons = ReasonSerializer(many=True)
    then = serializers.CharField()
    next_boundary = serializers.DateTimeField(allow_null=True)


class AnswerSerializer(serializers.Serializer[Any]):
    """What the poster of a visit is told; kept word for word."""

    visit = serializers.UUIDField()
    boiler = serializers.UUIDField()
    judged_at = serializers.DateTimeField()
    verdicts = VerdictSerializer(many=True)
    findings = FindingSerializer(many=True)
    deficiencies = DeficiencyChangeSerializer(many=True)
    readiness = ReadinessSerializer(allow_null=True)
    standing = StandingChangeSerializer()
    waits_for_second = serializers.BooleanField()
    newer_facts_stand = serializers.BooleanField()
    caution = serializers.CharField()


class AlertSerializer(serializers.Serializer[Any]):
    """A condition that holds or held; `since` is when it became true, `raised_at` when it was written down."""

    id = serializers.UUIDField()
    boiler = serializers.UUIDField(allow_null=True, source="boiler_id")
    condition = serializers.CharField()
    level = serializers.CharField()
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    raised_at = serializers.DateTimeField()
    returned_at = serializers.DateTimeField(allow_null=True)
    sentence = serializers.CharField()


class FaultSerializer(serializers.Serializer[Any]):
    """One thing wrong, with a JSON pointer (RFC 6901) to its place in what was sent."""

    code = serializers.CharField()
    message = serializers.CharField()
    pointer = serializers.CharField(allow_blank=True)


class ProblemSerializer(serializers.Serializer[Any]):
    """RFC 9457, sent as application/problem+json; `code` is the first fault's and never changes once published."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    detail = serializers.CharField()
    errors = FaultSerializer(many=True)


def problems(*codes: int) -> dict[tuple[int, str], type[ProblemSerializer]]:
    """The refusals of an endpoint, by status and media type."""
    return {(code, "application/problem+json"): ProblemSerializer for code in codes}
