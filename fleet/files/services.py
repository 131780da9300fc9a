"""Taking a declared file in, whole or in pieces, checking it and keeping it."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.core.files.base import ContentFile
from django.db import transaction

from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.files.declared import PDF_TYPE, DeclaredFile
from fleet.files.models import FilePiece, KeptFile
from fleet.files.pdf_check import NotAPDF, check_pdf
from fleet.files.pictures import NotAPicture, remake_picture

MAX_PIECE_BYTES = 1024 * 1024
ENCRYPTED = "This PDF is encrypted, so that others could not open it. Send one without a password."
NO_PDF = "These bytes are no PDF that can be opened."


@dataclass(frozen=True, slots=True)
class SentPiece:
    """Bytes of a file from `start`, of `total` bytes in all."""

    start: int
    total: int
    content: bytes


def take_piece(*, declared: DeclaredFile, piece: SentPiece, by: User | None, at: datetime) -> KeptFile:
    """Keep the next piece of a declared file, and the file itself with its last one.

    A piece that has arrived already is taken as read. Raises Refused: 409 with what has arrived for a piece that does
    not follow, 413 for one that is too large, 422 for a size or hash other than declared and for what is no picture
    or no PDF that can be opened; then all of its pieces are dropped, and it may be sent anew.
    """
    _refuse_size(declared, piece)
    with transaction.atomic():
        row = _lock_file(declared, by, at)
        if row.kept_at is not None or piece.start + len(piece.content) <= row.received:
            return row
        if piece.start != row.received:
            message = f"{row.received} of {row.size} bytes have arrived. Send what follows."
            raise Refused("piece_out_of_order", message, ("Content-Range",), status=409)
        _keep_piece(row, piece)
        fault = _finish_file(row, at) if row.received == row.size else None
    if fault is not None:
        raise fault
    return row


def _refuse_size(declared: DeclaredFile, piece: SentPiece) -> None:
    if len(piece.content) > MAX_PIECE_BYTES:
        message = f"A piece can be at most {MAX_PIECE_BYTES >> 20} MiB. Send it in several."
        raise Refused("too_large", message, status=413)
    if piece.total != declared.size or piece.start + len(piece.content) > declared.size:
        message = f"The visit declares {declared.size} bytes."
        raise Refused("wrong_size", message, ("Content-Range",), status=422)
    if not piece.content:
        raise Refused("required", "Send the bytes of the file.", status=422)


def _lock_file(declared: DeclaredFile, by: User | None, at: datetime) -> KeptFile:
    """Return the row of a file, locked. What arrived under another declaration of its hash is dropped."""
    values = {"size": declared.size, "type": declared.type}
    key = {"portfolio_id": declared.portfolio, "sha256": declared.sha256}
    KeptFile.objects.get_or_create(**key, defaults={**values, "sent_by": by, "begun_at": at})
    row = KeptFile.objects.select_for_update(no_key=True).get(**key)
    if row.kept_at is None and (row.size, row.type) != (declared.size, declared.type):
        _drop_pieces(row, list(row.pieces.all()))
        row.size, row.type, row.received = declared.size, declared.type, 0
        row.save(update_fields=["size", "type", "received"])
    return row


def _keep_piece(row: KeptFile, piece: SentPiece) -> None:
    kept = FilePiece(portfolio_id=row.portfolio_id, file=row, start=piece.start)
    kept.content.save(f"pieces/{row.id}/{piece.start:09d}", ContentFile(piece.content), save=False)
    kept.save()
    row.received += len(piece.content)
    row.save(update_fields=["received"])


def _finish_file(row: KeptFile, at: datetime) -> Refused | None:
    """Put the pieces together, check and keep the file; return why it is refused, with its pieces dropped."""
    pieces = list(row.pieces.order_by("start"))
    content = b"".join(piece.content.read() for piece in pieces)
    fault = None
    if hashlib.sha256(content).hexdigest() != row.sha256:
        fault = Refused("wrong_hash", "These bytes have another SHA-256. Send the file anew.", status=422)
    else:
        fault = _keep_pdf(row, content, at) if row.type == PDF_TYPE else _keep_picture(row, content, at)
    _drop_pieces(row, pieces)
    if fault is not None:
        row.received = 0
    row.save()
    return fault


def _drop_pieces(row: KeptFile, pieces: Iterable[FilePiece]) -> None:
    for piece in pieces:
        piece.content.close()
        piece.content.delete(save=False)
    row.pieces.all().delete()


def _keep_pdf(row: KeptFile, content: bytes, at: datetime) -> Refused | None:
    """Keep a PDF as it was sent: its hash is what the paper declares."""
    try:
        check_pdf(content)
    except NotAPDF as fault:
        code, message = ("encrypted_pdf", ENCRYPTED) if fault.is_encrypted else ("not_a_pdf", NO_PDF)
        return Refused(code, message, status=422)
    row.content.save(f"{row.portfolio_id}/{row.sha256}.pdf", ContentFile(content), save=False)
    row.kept_at = at
    return None


def _keep_picture(row: KeptFile, content: bytes, at: datetime) -> Refused | None:
    try:
        picture = remake_picture(content, row.type)
    except NotAPicture:
        return Refused("not_a_picture", f"These bytes are no picture of type {row.type}.", status=422)
    row.content.save(f"{row.portfolio_id}/{row.sha256}.jpg", ContentFile(picture.content), save=False)
    row.width, row.height, row.kept_at = picture.width, picture.height, at
    return None
