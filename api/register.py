"""Endpoints of the register: export as CSV or XLSX; import in two steps, a report first, then all or nothing."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http import uploads
from api.http.answers import problem_responses
from api.http.query_validation import validate_query
from api.http.strict import StrictSerializer
from api.http.tables import CSVRenderer, TableFormatsMixin, XLSXRenderer
from api.http.versions import IF_MATCH, respond_with_version, version_of
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Import, Portfolio
from fleet.sheets import export, imports
from fleet.sheets.table_output import CSV_TYPE, XLSX_TYPE, as_csv, as_xlsx

WRITERS = {"csv": (CSV_TYPE, as_csv), "xlsx": (XLSX_TYPE, as_xlsx)}


class ExportQuerySerializer(StrictSerializer):
    """Options of the export."""

    example = serializers.ChoiceField(("yes",), required=False, help_text="An empty sheet with all columns instead.")


class SheetFaultSerializer(serializers.Serializer[object]):
    """One fault in the file, with its row and column (name and letter)."""

    code = serializers.CharField()
    message = serializers.CharField()
    row = serializers.IntegerField(allow_null=True)
    column = serializers.CharField()
    letter = serializers.CharField()


class ReportSerializer(serializers.Serializer[object]):
    """What the file would do: its rows, how many change something, and how many are missing from it."""

    rows = serializers.IntegerField(default=0)
    changes = serializers.IntegerField(default=0)
    same = serializers.IntegerField(default=0)
    not_on_record = serializers.IntegerField(default=0, help_text="Boilers whose register leaves something out.")
    missing = serializers.IntegerField(default=0)
    renamed = serializers.IntegerField(default=0)
    added = serializers.DictField(child=serializers.IntegerField(), default=dict)
    notes = serializers.ListField(child=serializers.CharField(), default=list)
    faults = SheetFaultSerializer(many=True, default=list)


class ImportSerializer(serializers.Serializer[object]):
    """An import: its status, its progress, and its report once there is one."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    sha256 = serializers.CharField()
    status = serializers.ChoiceField(
        ("reading", "ready", "faulty", "saving", "saved", "failed", "withdrawn"), help_text="ready: may be confirmed."
    )
    version = serializers.IntegerField()
    who = serializers.CharField()
    confirmed_by = serializers.CharField()
    received_at = serializers.DateTimeField()
    finished_at = serializers.DateTimeField(allow_null=True)
    ends_at = serializers.DateTimeField()
    done = serializers.IntegerField()
    total = serializers.IntegerField()
    told = serializers.CharField()
    report = ReportSerializer()


class DoesSerializer(serializers.Serializer[object]):
    """One thing a row does."""

    what = serializers.CharField()
    sentence = serializers.CharField()


class ImportLineSerializer(serializers.Serializer[object]):
    """One row of the file, or something in the register that the file does not name."""

    row = serializers.IntegerField(allow_null=True)
    building = serializers.CharField()
    boiler = serializers.CharField()
    position = serializers.CharField()
    does = DoesSerializer(many=True)
    notes = serializers.ListField(child=serializers.CharField())


class ImportLinesSerializer(serializers.Serializer[object]):
    """A page of the report's lines. `more` says whether another page follows."""

    items = ImportLineSerializer(many=True)
    more = serializers.BooleanField()


class ImportLinesQuerySerializer(StrictSerializer):
    """Which lines: what changes, what is missing from the file, or what stays the same."""

    part = serializers.ChoiceField(imports.REPORT_PARTS, default="changes")
    page = serializers.IntegerField(min_value=0, max_value=10_000, default=0)


def portfolio_for(request: Request, portfolio: UUID, do: str, at: datetime) -> Portfolio:
    """Return the portfolio if the user may do `do` to the whole of it.

    Raises Http404 where it may not be seen, PermissionDenied where it may only be seen.
    """
    visible_portfolio = policy.portfolios_for(user_of(request), "register.see", at).filter(id=portfolio).first()
    if visible_portfolio is None:
        raise Http404
    if not policy.portfolios_for(user_of(request), do, at).filter(id=portfolio).exists():
        raise PermissionDenied
    return visible_portfolio


def _import_for(request: Request, portfolio: UUID, of: UUID, at: datetime) -> Import:
    portfolio_row = portfolio_for(request, portfolio, "register.change", at)
    import_row = Import.objects.defer("content", "table").filter(portfolio=portfolio_row, id=of).first()
    if import_row is None:
        raise Http404
    return import_row


def _respond_with_import(row: Import, status: int = 200) -> Response:
    return respond_with_version(ImportSerializer(row).data, row.version, status)


class RegisterEndpoint(TableFormatsMixin, APIView):
    """The register of a portfolio, as far as the caller may see it."""

    renderer_classes = (CSVRenderer, XLSXRenderer)

    @extend_schema(
        operation_id="exportRegister",
        parameters=[
            ExportQuerySerializer,
            OpenApiParameter("as", str, enum=["csv", "xlsx"], description="Used instead of the Accept header."),
        ],
        responses={
            (200, CSV_TYPE): OpenApiTypes.BINARY,
            (200, XLSX_TYPE): OpenApiTypes.BINARY,
            **problem_responses(400, 401, 404),
        },
    )
    def get(self, request: Request, portfolio: UUID) -> StreamingHttpResponse:
        """Return the register as a sheet. Importing it unchanged changes nothing."""
        at = timezone.now()
        query = validate_query(request, ExportQuerySerializer)
        boilers = policy.boilers_for(user_of(request), "register.see", at).filter(portfolio=portfolio)
        portfolio_row = Portfolio.objects.filter(id__in=boilers.values("portfolio")).first() or _find_empty_portfolio(
            request, portfolio, at
        )
        release = catalog.catalogue_at(at)
        if query.get("example"):
            return _stream_file(request, f"{portfolio_row.ref}-example", export.example_rows(release))
        rows = export.sheet_rows(portfolio=portfolio_row, boilers=boilers, catalogue=release, at=at)
        return _stream_file(request, f"{portfolio_row.ref}-register", rows)


def _find_empty_portfolio(request: Request, portfolio: UUID, at: datetime) -> Portfolio:
    """Return a portfolio that has no boiler yet. Raises as `portfolio_for`."""
    return portfolio_for(request, portfolio, "register.see", at)


def _stream_file(request: Request, name: str, rows: Iterator[list[Any]]) -> StreamingHttpResponse:
    kind = str(request.accepted_renderer.format)
    media_type, write = WRITERS[kind]
    safe_name = "".join(c if c.isalnum() and c.isascii() else "-" for c in name)
    headers = {"Content-Disposition": f'attachment; filename="{safe_name}.{kind}"'}
    return StreamingHttpResponse(write(rows), content_type=media_type, headers=headers)


class ImportsEndpoint(APIView):
    """Imports of register sheets."""

    parser_classes = uploads.PARSERS
    content_negotiation_class = DefaultContentNegotiation

    @extend_schema(
        operation_id="importRegister",
        request={
            CSV_TYPE: OpenApiTypes.BINARY,
            XLSX_TYPE: OpenApiTypes.BINARY,
            "multipart/form-data": {
                "type": "object",
                "properties": {"file": {"type": "string", "format": "binary"}},
                "required": ["file"],
                "additionalProperties": False,
            },
        },
        responses={
            201: ImportSerializer,
            202: ImportSerializer,
            **problem_responses(400, 401, 403, 404, 413, 415, 422, 503),
        },
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Compare a file with the register. Nothing is saved before it is confirmed. 202: a worker compares it."""
        at = timezone.now()
        portfolio_row = portfolio_for(request, portfolio, "register.change", at)
        upload = request.data
        if not isinstance(upload, uploads.Upload):
            raise uploads.FileMissing
        row = pipeline.receive_import(
            portfolio=portfolio_row, content=upload.content, name=upload.name, by=request.user, at=at
        )
        response = _respond_with_import(row, 202 if row.status == imports.READING else 201)
        response["Location"] = request.build_absolute_uri(f"{request.path}{row.id}/")
        return response


class ImportEndpoint(APIView):
    """One import."""

    @extend_schema(operation_id="getImport", responses={200: ImportSerializer, **problem_responses(401, 403, 404)})
    def get(self, request: Request, portfolio: UUID, of: UUID) -> Response:
        """Return the status of the import. The ETag is its version."""
        return _respond_with_import(_import_for(request, portfolio, of, timezone.now()))


class ImportLinesEndpoint(TableFormatsMixin, APIView):
    """The lines of an import's report."""

    @extend_schema(
        operation_id="listImportLines",
        parameters=[ImportLinesQuerySerializer],
        responses={200: ImportLinesSerializer, **problem_responses(400, 401, 403, 404)},
    )
    def get(self, request: Request, portfolio: UUID, of: UUID) -> Response:
        """Return one page of lines."""
        row = _import_for(request, portfolio, of, timezone.now())
        query = validate_query(request, ImportLinesQuerySerializer)
        lines = imports.page_lines(row.id, query["part"], query["page"])
        more = bool(imports.page_lines(row.id, query["part"], query["page"] + 1))
        return Response(ImportLinesSerializer({"items": lines, "more": more}).data)


class ConfirmImportEndpoint(APIView):
    """Confirming an import."""

    @extend_schema(
        operation_id="confirmImport",
        parameters=[IF_MATCH],
        request=None,
        responses={
            200: ImportSerializer,
            202: ImportSerializer,
            **problem_responses(401, 403, 404, 409, 412, 428, 503),
        },
    )
    def post(self, request: Request, portfolio: UUID, of: UUID) -> Response:
        """Save the import, all or nothing. 202: a worker saves it.

        If the register has changed meanwhile, nothing is saved and the import is *ready* again with a new report.
        """
        at = timezone.now()
        row = _import_for(request, portfolio, of, at)
        request_cause = cause_of(request)
        row = pipeline.confirm_import(
            import_row=row, version=version_of(request), by=user_of(request), at=at, cause=request_cause
        )
        return _respond_with_import(row, 202 if row.status == imports.SAVING else 200)


class WithdrawImportEndpoint(APIView):
    """Withdrawing an import."""

    @extend_schema(
        operation_id="withdrawImport",
        parameters=[IF_MATCH],
        request=None,
        responses={200: ImportSerializer, **problem_responses(401, 403, 404, 409, 412, 428)},
    )
    def post(self, request: Request, portfolio: UUID, of: UUID) -> Response:
        """Withdraw the import. The register stays as it is."""
        at = timezone.now()
        row = _import_for(request, portfolio, of, at)
        return _respond_with_import(pipeline.withdraw_import(import_row=row, version=version_of(request), at=at))
