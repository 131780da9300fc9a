"""Every list as CSV or XLSX beside JSON: by Accept, or by `?as=csv` and `?as=xlsx`; what is nested lies flat.

A view that offers them says `renderer_classes = renderers()` and `content_negotiation_class = AsNegotiation`, or is
`Tabular`; `asked` then takes `as` for what it is. A problem is JSON whatever was asked for.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.http import Http404
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from fleet.portfolio.writing import CSV_TYPE, XLSX_TYPE, as_csv, as_xlsx

AS = "as"
ROWS = ("items", "changes")  # under which a list's answer holds its rows


class Table(BaseRenderer):
    """A list's rows under the names of their columns."""

    charset = None
    render_style = "binary"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Mapping[str, Any] | None = None
    ) -> bytes:
        """The file, with its name in the answer."""
        context = renderer_context or {}
        response = context.get("response")
        if response is not None:
            response["Content-Disposition"] = f'attachment; filename="{_name(context)}.{self.format}"'
        return b"".join(self.written(rows_of(data)))

    def written(self, rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
        """The rows as a file."""
        raise NotImplementedError


class CSVRenderer(Table):
    """Comma-separated."""

    media_type = CSV_TYPE
    format = "csv"

    def written(self, rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
        """The rows as a file."""
        return as_csv(rows)


class XLSXRenderer(Table):
    """A workbook."""

    media_type = XLSX_TYPE
    format = "xlsx"

    def written(self, rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
        """The rows as a file."""
        return as_xlsx(rows, "list")


def renderers() -> tuple[type[BaseRenderer], ...]:
    """JSON first, so that it is what one gets who asks for nothing."""
    return JSONRenderer, CSVRenderer, XLSXRenderer


class AsNegotiation(DefaultContentNegotiation):
    """What `?as=` names, else what Accept asks for."""

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        """Choose. Raises 404 for a form that is not offered."""
        wanted = request.query_params.get(AS)
        if wanted is None:
            return super().select_renderer(request, renderers, format_suffix)
        for renderer in renderers:
            if renderer.format == wanted:
                return renderer, renderer.media_type
        raise Http404


class Tabular:
    """Mixed into a view before APIView: its list also as CSV and XLSX."""

    renderer_classes = renderers()
    content_negotiation_class = AsNegotiation


def offers_tables(request: Request) -> bool:
    """Whether the view that is asked knows `as`."""
    view = (request.parser_context or {}).get("view")
    return getattr(view, "content_negotiation_class", None) is AsNegotiation


def rows_of(data: Any) -> Iterator[list[Any]]:
    """The names of the columns as they first come, then the rows of a list, or of the list an answer holds."""
    listed = [flat(item) for item in _items(data)]
    names = list(dict.fromkeys(name for row in listed for name in row))
    yield names
    for row in listed:
        yield [row.get(name) for name in names]


def _items(data: Any) -> Sequence[Any]:
    if isinstance(data, Mapping):
        return next((data[name] for name in ROWS if isinstance(data.get(name), (list, tuple))), [data])
    return data if isinstance(data, (list, tuple)) else [] if data is None else [data]


def flat(value: Any, name: str = "") -> dict[str, Any]:
    """One row: names within names joined by points, a list of plain values by semicolons, all else as JSON."""
    if isinstance(value, Mapping):
        found: dict[str, Any] = {}
        for key, inner in value.items():
            found.update(flat(inner, f"{name}.{key}" if name else str(key)))
        return found
    return {name or "value": _plain(value)}


def _plain(value: Any) -> Any:
    if isinstance(value, (list, tuple)):
        if any(isinstance(v, (Mapping, list, tuple)) for v in value):
            return json.dumps(value, default=str, ensure_ascii=False)
        return "; ".join("" if v is None else str(v) for v in value)
    return value if value is None or isinstance(value, (str, int, float, bool)) else str(value)


def _name(context: Mapping[str, Any]) -> str:
    """What the file is called: the view's name for it, else its route's."""
    view, request = context.get("view"), context.get("request")
    match = getattr(request, "resolver_match", None)
    return str(getattr(view, "file_name", "") or getattr(match, "url_name", "") or "list")
