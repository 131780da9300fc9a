"""Endpoint of the documents that the catalogue's numbers are from."""

from datetime import datetime
from uuid import UUID

from rest_framework import serializers
from rest_framework.request import Request

from api.http.paged_lists import ListEndpoint, ListWalk, describe_list
from fleet.catalog import queries as catalog
from fleet.rules.catalogue import SourceSpec


class SourceSerializer(serializers.Serializer[object]):
    """A document that sources cite by number. `scope` says what it holds for, `seen` how much of it was seen.

    A source may also say *common practice*, or *not verified yet* with the clause it is remembered from.
    """

    number = serializers.CharField()
    title = serializers.CharField()
    publisher = serializers.CharField()
    dated = serializers.CharField()
    scope = serializers.CharField()
    seen = serializers.CharField()


@describe_list("listSources", codes=(400, 401, 404, 422))
class SourceListEndpoint(ListEndpoint):
    """The documents of the newest release of the catalogue."""

    item_serializer, action, order = SourceSerializer, "terms.see", ("number",)

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the newest release: nothing else changes this list."""
        return (catalog.newest_release_number(),)

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> list[SourceSpec]:
        """Return every document."""
        return list(catalog.newest_catalogue().sources.values())
