"""The condition by which a list goes on after its last row, in a total order of columns that are never NULL."""

from collections.abc import Sequence

from django.db.models import Q


def rows_after(order: Sequence[str], place: Sequence[object]) -> Q:
    """Return the condition of rows after `place`, the values of a row in the columns of `order` ("-" for descending).

    It is (a > x) or (a = x and ((b > y) or …)). The condition a >= x is implied; it lets PostgreSQL start at x in an
    index.
    """
    condition = Q(pk__in=())
    for column, value in reversed(list(zip(order, place, strict=True))):
        name, way = column.lstrip("-"), "lt" if column.startswith("-") else "gt"
        condition = Q(**{f"{name}__{way}": value}) | (Q(**{name: value}) & condition)
    first, way = order[0].lstrip("-"), "lte" if order[0].startswith("-") else "gte"
    return Q(**{f"{first}__{way}": place[0]}) & condition
