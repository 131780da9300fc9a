"""Reads the multipart forms of pages: refuses text that cannot be stored before any of it is decoded."""

from io import BytesIO
from typing import Any

from django.core.files.uploadhandler import (
    FileUploadHandler,
    MemoryFileUploadHandler,
    StopFutureHandlers,
    TemporaryFileUploadHandler,
)
from django.http.multipartparser import MultiPartParser, MultiPartParserError

from fleet.records.storable_text import is_storable_form


class UnstorableForm(MultiPartParserError):
    """A form with a NUL or with bytes that are no UTF-8, in a field or in the name of a field or file."""


class StorableFormHandler(FileUploadHandler):
    """Reads a whole form, which the web server has bounded, looks through it, and has it parsed from memory."""

    def handle_raw_input(  # the framework's own; the boundary is bytes
        self, input_data: Any, META: Any, content_length: int, boundary: Any, encoding: str | None = None
    ) -> Any:
        """Return fields and files. Raises UnstorableForm."""
        content = input_data.read()
        if not is_storable_form(content, boundary):
            raise UnstorableForm("a form with a NUL or half a character")
        handlers = [MemoryFileUploadHandler(self.request), TemporaryFileUploadHandler(self.request)]
        return MultiPartParser(META, BytesIO(content), handlers, encoding).parse()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        """Never called: the form was parsed as a whole."""
        raise StopFutureHandlers

    def file_complete(self, file_size: int) -> None:
        """Never called: the form was parsed as a whole."""
