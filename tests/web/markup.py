"""The markup of a page without the white space that does not show."""

import re

from django.http.response import HttpResponseBase

BLOCKS = (
    "article|br|dd|details|div|dl|dt|fieldset|figcaption|figure|form|h1|h2|h3|label|legend|li|main|nav|ol|option|p|"
    "path|section|select|summary|svg|symbol|table|tbody|td|text|th|thead|tr|ul|use"
)
BESIDE_A_BLOCK = re.compile(rf"\s*(</?(?:{BLOCKS})\b[^>]*>)\s*")


def markup_of(response: HttpResponseBase) -> str:
    """Return the page's HTML, with no white space beside the tag of a block and one space elsewhere."""
    return without_blanks(response.getvalue().decode())  # type: ignore[attr-defined]


def without_blanks(html: str) -> str:
    """Return HTML with no white space beside the tag of a block and one space elsewhere."""
    return re.sub(r"\s+", " ", BESIDE_A_BLOCK.sub(r"\1", html))
