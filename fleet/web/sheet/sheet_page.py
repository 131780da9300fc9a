"""The visit sheet: a page for everybody alike, its manifest and its service worker. What it shows comes by the API.

The page holds nothing of anybody, so that the service worker may keep it.
"""

import hashlib
import json
import mimetypes
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import condition, require_safe

from fleet.catalog.field_words import LANGUAGES, read_words

ASSETS_FOLDER = "web/sheet"
ICON = "web/shared/mark.svg"


@require_safe
@gzip_page
@ensure_csrf_cookie  # by which a phone gets its key from the session of whoever is signed in
def show_sheet(request: HttpRequest) -> HttpResponse:
    """Show the visit sheet's one page."""
    context = {"says": sheet_words(), "csrf_cookie": settings.CSRF_COOKIE_NAME}
    return _keep_asking(render(request, "sheet/sheet.html", context))


@require_safe
def serve_manifest(request: HttpRequest) -> HttpResponse:
    """Serve the web app manifest (W3C): what a phone needs to install the sheet."""
    manifest = {
        "name": "Gaugeglass visit sheet",
        "short_name": "Visit sheet",
        "start_url": reverse("visit-sheet"),
        "scope": reverse("visit-sheet"),
        "display": "standalone",
        "background_color": "#faf9f5",
        "theme_color": "#1b1d1f",
        "icons": [{"src": static(ICON), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
    }
    return _keep_asking(JsonResponse(manifest, content_type="application/manifest+json"))


@require_safe
def serve_worker(request: HttpRequest) -> HttpResponse:
    """Serve the service worker with the list of what it keeps. Any change of a file makes it another worker."""
    context = {"version": assets_version(), "kept": json.dumps(kept_addresses()), "icon": static(ICON)}
    return _keep_asking(render(request, "sheet/worker.js", context, content_type="text/javascript"))


def _keep_asking(response: HttpResponse) -> HttpResponse:
    """Have it asked for anew at every visit with signal, so that a mended one arrives."""
    response["Cache-Control"] = "no-cache"
    return response


def _tag_of_assets(request: HttpRequest, name: str) -> str:
    return f'"{assets_version()}"'


@require_safe
@gzip_page
@condition(etag_func=_tag_of_assets)
def serve_file(request: HttpRequest, name: str) -> HttpResponse:
    """Serve one of the sheet's own files packed, which the server of static files does not: a phone has little signal.

    Raises Http404 for any other name.
    """
    if name not in _asset_names():
        raise Http404
    content_type = mimetypes.guess_type(name)[0] or "application/octet-stream"
    return _keep_asking(HttpResponse(_read_asset(name), content_type=content_type))


def sheet_words() -> dict[str, dict[str, str]]:
    """Return what the sheet itself says, by language and key."""
    words = read_words("sheet.yaml")
    return {language: {key: said[language] for key, said in words.items()} for language in LANGUAGES}


def kept_addresses() -> list[str]:
    """Return every address that the sheet needs without signal."""
    own_files = [reverse("visit-sheet-file", args=(name,)) for name in _asset_names()]
    return [reverse("visit-sheet"), reverse("visit-sheet-manifest"), static(ICON), *own_files]


@lru_cache(maxsize=1)
def assets_version() -> str:
    """Return a digest of all that is kept: the page, its words, its files."""
    digest = hashlib.sha256(json.dumps(sheet_words(), sort_keys=True).encode())
    for name in _asset_names():
        digest.update(_read_asset(name))
    digest.update((settings.ROOT / "templates" / "sheet" / "sheet.html").read_bytes())
    return digest.hexdigest()[:16]


@lru_cache(maxsize=1)
def _asset_names() -> tuple[str, ...]:
    folder = Path(str(finders.find(ASSETS_FOLDER)))
    return tuple(path.name for path in sorted(folder.iterdir()) if path.is_file())


@lru_cache(maxsize=64)
def _read_asset(name: str) -> bytes:
    return (Path(str(finders.find(ASSETS_FOLDER))) / name).read_bytes()
