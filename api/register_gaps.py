"""What a boiler's register leaves out, as the boiler and its work sheet give it."""

from rest_framework import serializers

from fleet.rules.catalogue import NeedExposure
from fleet.rules.vocabulary import values_of


class RegisterGapSerializer(serializers.Serializer[object]):
    """Something that a boiler of its kind needs and that its register does not name.

    A place of any of `roles` answers it; without roles it is a value of the boiler as a whole, named by `code`. A visit
    of a qualified technician answers a role by `register_answers`.
    """

    code = serializers.CharField()
    name = serializers.CharField()
    roles = serializers.ListField(child=serializers.CharField())
    none_allowed = serializers.BooleanField(help_text="The boiler may have none here, for a reason.")
    exposes = serializers.ChoiceField(
        choices=values_of(NeedExposure), help_text="From when the boiler is exposed without it, not only due."
    )
