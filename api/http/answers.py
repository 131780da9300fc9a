"""Serializers of answers that several endpoints share, for the OpenAPI document."""

from rest_framework import serializers

from fleet.rules.values import FIRING_ANSWERS, LEVELS, STANDINGS
from fleet.rules.vocabulary import QUALIFICATIONS


class ReasonSerializer(serializers.Serializer[object]):
    """One reason: its rule, position, entry and start, with one plain sentence."""

    rule = serializers.CharField()
    sentence = serializers.CharField()
    hazard = serializers.CharField()
    position = serializers.UUIDField(allow_null=True)
    entry = serializers.UUIDField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


class VerdictSerializer(serializers.Serializer[object]):
    """The verdict on one entry, with the limit, set point and source it was judged by."""

    number = serializers.IntegerField()
    entry = serializers.UUIDField()
    outcome = serializers.CharField()
    sentence = serializers.CharField()
    grade = serializers.CharField()
    proves = serializers.CharField()
    limit = serializers.CharField()
    set_value = serializers.FloatField(allow_null=True)  # type: ignore[assignment]
    source = serializers.CharField()  # type: ignore[assignment]
    question = serializers.CharField()
    relayed_from = serializers.ListField(child=serializers.UUIDField())


class RelaySerializer(serializers.Serializer[object]):
    """An operator proof that counts as relayed: whose word it is, and who of the desk entered it."""

    said_by = serializers.ListField(child=serializers.CharField())
    entered_by = serializers.CharField()


class FindingSerializer(serializers.Serializer[object]):
    """A rule that fired, and the entries it rests on."""

    visit = serializers.UUIDField()
    rule = serializers.CharField()
    position = serializers.UUIDField(allow_null=True)
    entries = serializers.ListField(child=serializers.UUIDField())
    level = serializers.ChoiceField(choices=LEVELS)
    sentence = serializers.CharField()
    first_act = serializers.CharField()


class DeficiencyChangeSerializer(serializers.Serializer[object]):
    """A deficiency that this visit opened, changed or closed."""

    id = serializers.UUIDField()
    rule = serializers.CharField()
    before = serializers.CharField(allow_null=True)
    after = serializers.CharField()
    sentence = serializers.CharField()


class MissingSerializer(serializers.Serializer[object]):
    """One item that is missing or was not looked at."""

    what = serializers.CharField()
    sentence = serializers.CharField()
    position = serializers.UUIDField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


class ReadinessSerializer(serializers.Serializer[object]):
    """What stands against firing the boiler after a visit that had it in hand. No answer permits firing.

    `missing` lists what stands against it or, where the answer is not_examined, what is not known.
    """

    answer = serializers.ChoiceField(choices=FIRING_ANSWERS)
    missing = MissingSerializer(many=True)
    not_looked_at = MissingSerializer(many=True)


class OlderReadinessSerializer(ReadinessSerializer):
    """An earlier visit's answer that is still open: this visit did not have the boiler in hand."""

    visit = serializers.UUIDField()


class StandingChangeSerializer(serializers.Serializer[object]):
    """The boiler's standing before and after, and when time alone will next change it."""

    before = serializers.ChoiceField(choices=STANDINGS)
    after = serializers.ChoiceField(choices=STANDINGS)
    reasons = ReasonSerializer(many=True)
    then = serializers.CharField()
    next_boundary = serializers.DateTimeField(allow_null=True)


class PersonAskedSerializer(serializers.Serializer[object]):
    """Somebody whom another's visit names and whose own word it waits for."""

    user = serializers.UUIDField()
    name = serializers.CharField()


class AnswerSerializer(serializers.Serializer[object]):
    """The answer to a posted visit. It is stored and repeated word for word."""

    visit = serializers.UUIDField()
    boiler = serializers.UUIDField()
    judged_at = serializers.DateTimeField()
    verdicts = VerdictSerializer(many=True)
    findings = FindingSerializer(many=True)
    deficiencies = DeficiencyChangeSerializer(many=True)
    readiness = ReadinessSerializer(allow_null=True)
    older_readiness = OlderReadinessSerializer(allow_null=True)
    standing = StandingChangeSerializer()
    waits_for_second = serializers.BooleanField()
    paper_lacks = serializers.ListField(
        child=serializers.CharField(), required=False, help_text="What the visit's paper lacks to end a hold or a tag."
    )
    waits_for_people = PersonAskedSerializer(many=True, required=False)
    counts_as = serializers.ListField(
        child=serializers.ChoiceField(choices=QUALIFICATIONS),
        required=False,
        allow_null=True,
        help_text="The qualifications the visit counts with until those people second it; null where it waits for "
        "nobody.",
    )
    newer_facts_stand = serializers.BooleanField()
    caution = serializers.CharField()


class AlertSerializer(serializers.Serializer[object]):
    """A condition that holds or held. It became true at `since` and was recorded at `raised_at`."""

    id = serializers.UUIDField()
    boiler = serializers.UUIDField(allow_null=True, source="boiler_id")
    condition = serializers.CharField()
    level = serializers.CharField()
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    raised_at = serializers.DateTimeField()
    returned_at = serializers.DateTimeField(allow_null=True)
    sentence = serializers.CharField()
    lines = serializers.ListField(
        child=serializers.CharField(), help_text="What else of the same event stands against firing."
    )


class FaultSerializer(serializers.Serializer[object]):
    """One fault, with a JSON pointer (RFC 6901) to its place in the request."""

    code = serializers.CharField()
    message = serializers.CharField()
    pointer = serializers.CharField(allow_blank=True)


class ProblemSerializer(serializers.Serializer[object]):
    """A problem (RFC 9457), sent as application/problem+json. `code` is that of the first fault and is stable."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    detail = serializers.CharField()
    errors = FaultSerializer(many=True)  # type: ignore[assignment]


def problem_responses(*codes: int) -> dict[tuple[int, str], type[ProblemSerializer]]:
    """Return the problem responses of an endpoint for these status codes, by status and media type."""
    return {(code, "application/problem+json"): ProblemSerializer for code in codes}
