"""Parsers of file uploads: raw CSV or XLSX, or one part of a form. Only these bodies may be larger than 2 MiB."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from io import BytesIO
from typing import IO, Any

from django.conf import settings
from django.core.files.uploadhandler import MemoryFileUploadHandler
from django.http.multipartparser import MultiPartParser as FormReader
from django.utils.http import parse_header_parameters
from rest_framework.exceptions import APIException
from rest_framework.parsers import BaseParser

from fleet.records.storable_text import is_storable_form
from fleet.sheets.table import MAX_BYTES
from fleet.sheets.table_output import CSV_TYPE, XLSX_TYPE

FORM_OVERHEAD_BYTES = 16 * 1024  # bytes a form may add to its file


class FileTooLarge(APIException):
    """413: a file that is too large."""

    status_code = 413
    default_code = "too_large"
    default_detail = f"A file can be at most {MAX_BYTES >> 20} MiB."


class FileMissing(APIException):
    """422: a form without exactly one file."""

    status_code = 422
    default_code = "required"
    default_detail = "Send one file."


class FieldNotText(APIException):
    """400: a form with a field that cannot be stored."""

    status_code = 400
    default_code = "not_text"
    default_detail = "This form contains a character that cannot be stored."


@dataclass(frozen=True, slots=True)
class Upload:
    """An uploaded file, with the fields of its form: a session's token is looked for among them."""

    content: bytes
    name: str
    fields: Mapping[str, Any] = field(default_factory=dict)

    def get(self, name: str, default: str = "") -> Any:
        """Return a field of the form, as the check of the token asks for it."""
        return self.fields.get(name, default)

    def __str__(self) -> str:
        """Return digest and name, which identify a repeated post."""
        return f"{hashlib.sha256(self.content).hexdigest()} {self.name}"


class _RawFileParser(BaseParser):
    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """Return the whole body as an upload."""
        content = stream.read(MAX_BYTES + 1)
        if len(content) > MAX_BYTES:
            raise FileTooLarge
        return Upload(content, f"register.{self.ending}")

    ending = ""


class CSVParser(_RawFileParser):
    """Parses a CSV body."""

    media_type, ending = CSV_TYPE, "csv"


class XLSXParser(_RawFileParser):
    """Parses an XLSX body."""

    media_type, ending = XLSX_TYPE, "xlsx"


class FormParser(BaseParser):
    """Parses multipart/form-data with one file. Its length is checked before it is read into memory."""

    media_type = "multipart/form-data"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """Return the one file of the form. Raises FileTooLarge or FileMissing."""
        meta = dict((parser_context or {})["request"].META)
        length = str(meta.get("CONTENT_LENGTH") or "0")
        if length.isdecimal() and int(length) > MAX_BYTES + FORM_OVERHEAD_BYTES:
            raise FileTooLarge
        meta["CONTENT_TYPE"] = media_type
        handler = _InMemoryUploadHandler()
        content = stream.read(MAX_BYTES + FORM_OVERHEAD_BYTES)
        reader = FormReader(meta, BytesIO(content), [handler], settings.DEFAULT_CHARSET)
        if not is_storable_form(content, parse_header_parameters(str(media_type))[1]["boundary"].encode()):
            raise FieldNotText
        fields, files = reader.parse()
        uploaded_files = [uploaded_file for _, file_list in files.lists() for uploaded_file in file_list]
        if len(uploaded_files) != 1:
            raise FileMissing
        return Upload(uploaded_files[0].read(), uploaded_files[0].name or "register", fields)


class _InMemoryUploadHandler(MemoryFileUploadHandler):
    """Keeps uploads in memory, never on disk. Their length was checked before."""

    def handle_raw_input(self, *args: object, **kwargs: object) -> None:
        """Activate the handler for uploads of any size."""
        self.activated = True


PARSERS = [CSVParser, XLSXParser, FormParser]
