"""Making a picture anew: what is shown is drawn from its pixels, so nothing else that was in the file is left."""

import io
import struct
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

MAX_PIXELS = 50_000_000  # a large phone takes 50 million; more is a bomb
MAX_EDGE = 2048  # pixels of what is kept: a rating plate can be read on it
QUALITY = 85
FORMATS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}

# What the library raises at bytes that are broken on purpose or on the way; a tag of a wrong kind among them.
UNREADABLE = (
    *(UnidentifiedImageError, OSError, ValueError, SyntaxError, Warning, Image.DecompressionBombError),
    *(EOFError, struct.error, TypeError, LookupError, ArithmeticError),
)


class NotAPicture(Exception):
    """These bytes are no picture of the type that they were declared as, or one that cannot be opened safely."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture made anew: the bytes of a JPEG, and its size in pixels."""

    content: bytes
    width: int
    height: int


def remake_picture(content: bytes, declared_type: str) -> Picture:
    """Return the picture turned upright, at most MAX_EDGE pixels wide and high, without place, camera and time.

    Raises NotAPicture for what is none, for another type than declared, for more than MAX_PIXELS.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=[FORMATS[declared_type]]) as opened:
                if opened.width * opened.height > MAX_PIXELS:
                    raise NotAPicture
                upright = ImageOps.exif_transpose(opened).convert("RGB")
    except NotAPicture:
        raise
    except UNREADABLE as error:
        raise NotAPicture from error
    upright.thumbnail((MAX_EDGE, MAX_EDGE))
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    written = io.BytesIO()
    plain.save(written, "JPEG", quality=QUALITY)
    return Picture(written.getvalue(), plain.width, plain.height)
