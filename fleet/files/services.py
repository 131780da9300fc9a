"""Taking a declared file in, whole or in pieces, checking it and keeping it."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.core.files.base import ContentFile
from django.db import transaction

from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.files.models import FilePiece, KeptFile
from fleet.files.pictures import NotAPicture, remake_picture
from fleet.visits.models import Photograph

MAX_PIECE_BYTES = 1024 * 1024


@dataclass(frozen=True, slots=True)
class SentPiece:
    """Bytes of a file from `start`, of `total` bytes in all."""

    start: int
    total: int
    content: bytes


def take_piece(*, photograph: Photograph, piece: SentPiece, by: User | None, at: datetime) -> KeptFile:
    """Keep the next piece of a declared photograph, and the photograph itself with its last one.

    A piece that has arrived already is taken as read. Raises Refused: 409 with what has arrived for a piece that does
    not follow, 413 for one that is too large, 422 for a size or hash other than declared and for what is no picture;
    then all of its pieces are dropped, and it may be sent anew.
    """
    _refuse_size(photograph, piece)
    with transaction.atomic():
        row = _lock_file(photograph, by, at)
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


def _refuse_size(photograph: Photograph, piece: SentPiece) -> None:
    if len(piece.content) > MAX_PIECE_BYTES:
        message = f"A piece can be at most {MAX_PIECE_BYTES >> 20} MiB. Send it in several."
        raise Refused("too_large", message, status=413)
    if piece.total != photograph.size or piece.start + len(piece.content) > photograph.size:
        message = f"The visit declares {photograph.size} bytes."
        raise Refused("wrong_size", message, ("Content-Range",), status=422)
    if not piece.content:
        raise Refused("required", "Send the bytes of the photograph.", status=422)


def _lock_file(photograph: Photograph, by: User | None, at: datetime) -> KeptFile:
    values = {"size": photograph.size, "type": photograph.type, "sent_by": by, "begun_at": at}
    key = {"portfolio_id": photograph.portfolio_id, "sha256": photograph.sha256}
    KeptFile.objects.get_or_create(**key, defaults=values)
    return KeptFile.objects.select_for_update(no_key=True).get(**key)


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
        fault = Refused("wrong_hash", "These bytes have another SHA-256. Send the photograph anew.", status=422)
    else:
        fault = _keep_picture(row, content, at)
    for piece in pieces:
        piece.content.close()
        piece.content.delete(save=False)
    row.pieces.all().delete()
    if fault is not None:
        row.received = 0
    row.save()
    return fault


def _keep_picture(row: KeptFile, content: bytes, at: datetime) -> Refused | None:
    try:
        picture = remake_picture(content, row.type)
    except NotAPicture:
        return Refused("not_a_picture", f"These bytes are no picture of type {row.type}.", status=422)
    row.content.save(f"{row.portfolio_id}/{row.sha256}.jpg", ContentFile(picture.content), save=False)
    row.width, row.height, row.kept_at = picture.width, picture.height, at
    return None
