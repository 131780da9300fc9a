"""Lists as CSV or XLSX besides JSON, chosen by Accept or by `?as=csv` and `?as=xlsx`. Nested values are flattened.

A view that offers them mixes in `TableFormatsMixin`, or sets `renderer_classes = table_renderers()` and
`content_negotiation_class = FormatNegotiation`. `validate_query` then accepts `as`. Problems are always JSON.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.http import Http404
from rest_framework.negotiation import BaseContentNegotiation, DefaultContentNegotiation
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request

from fleet.sheets.table_output import CSV_TYPE, XLSX_TYPE, as_csv, as_xlsx

FORMAT_PARAMETER = "as"
ROW_KEYS = ("items", "changes")  # keys under which an answer holds its rows


class TableRenderer(BaseRenderer):
    """Renders the rows of a list under the names of their columns."""

    charset = None
    render_style = "binary"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Mapping[str, Any] | None = None
    ) -> bytes:
        """Return the file, and set its name in the response."""
        context = renderer_context or {}
        response = context.get("response")
        if response is not None:
            response["Content-Disposition"] = f'attachment; filename="{_file_name(context)}.{self.format}"'
        return b"".join(self.write_rows(table_rows_of(data)))

    def write_rows(self, rows: Iterable[Sequence[object]]) -> Iterator[bytes]:
        """Yield the rows as the bytes of a file."""
        raise NotImplementedError


class CSVRenderer(TableRenderer):
    """Renders comma-separated values."""

    media_type = CSV_TYPE
    format = "csv"

    def write_rows(self, rows: Iterable[Sequence[object]]) -> Iterator[bytes]:
        """Yield the rows as the bytes of a file."""
        return as_csv(rows)


class XLSXRenderer(TableRenderer):
    """Renders an XLSX workbook."""

    media_type = XLSX_TYPE
    format = "xlsx"

    def write_rows(self, rows: Iterable[Sequence[object]]) -> Iterator[bytes]:
        """Yield the rows as the bytes of a file."""
        return as_xlsx(rows, "list")


def table_renderers() -> tuple[type[BaseRenderer], ...]:
    """Return the renderers, JSON first: it is the default."""
    return JSONRenderer, CSVRenderer, XLSXRenderer


class FormatNegotiation(DefaultContentNegotiation):
    """Chooses the format by `?as=`, else by Accept."""

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        """Return the renderer and its media type. Raises Http404 for a format that is not offered."""
        requested_format = request.query_params.get(FORMAT_PARAMETER)
        if requested_format is None:
            return super().select_renderer(request, renderers, format_suffix)  # type: ignore[no-any-return]
        for renderer in renderers:
            if renderer.format == requested_format:
                return renderer, renderer.media_type
        raise Http404


class TableFormatsMixin:
    """Mixed into a view before APIView: offers its list as CSV and XLSX too."""

    renderer_classes: Sequence[type[BaseRenderer]] = table_renderers()
    content_negotiation_class: type[BaseContentNegotiation] = FormatNegotiation


def offers_tables(request: Request) -> bool:
    """Return whether the view of the request reads `as`."""
    view = (request.parser_context or {}).get("view")
    return getattr(view, "content_negotiation_class", None) is FormatNegotiation


def table_rows_of(data: Any) -> Iterator[list[Any]]:
    """Yield the column names in order of first use, then the rows of a list or of the list an answer holds."""
    flat_rows = [flatten_value(item) for item in _items_of(data)]
    names = list(dict.fromkeys(name for row in flat_rows for name in row))
    yield names
    for row in flat_rows:
        yield [row.get(name) for name in names]


def _items_of(data: object) -> Sequence[object]:
    if isinstance(data, Mapping):
        return next((data[name] for name in ROW_KEYS if isinstance(data.get(name), (list, tuple))), [data])
    return data if isinstance(data, (list, tuple)) else [] if data is None else [data]


def flatten_value(value: object, name: str = "") -> dict[str, object]:
    """Return one row: nested names joined by points, lists of plain values by semicolons, other lists as JSON."""
    if isinstance(value, Mapping):
        cells: dict[str, Any] = {}
        for key, inner in value.items():
            cells.update(flatten_value(inner, f"{name}.{key}" if name else str(key)))
        return cells
    return {name or "value": _cell_value(value)}


def _cell_value(value: object) -> object:
    if isinstance(value, (list, tuple)):
        if any(isinstance(v, (Mapping, list, tuple)) for v in value):
            return json.dumps(value, default=str, ensure_ascii=False)
        return "; ".join("" if v is None else str(v) for v in value)
    return value if value is None or isinstance(value, (str, int, float, bool)) else str(value)


def _file_name(context: Mapping[str, Any]) -> str:
    """Return the file's name: the view's `file_name`, else the name of its route."""
    view, request = context.get("view"), context.get("request")
    match = getattr(request, "resolver_match", None)
    return str(getattr(view, "file_name", "") or getattr(match, "url_name", "") or "list")
