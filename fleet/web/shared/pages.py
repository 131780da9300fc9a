"""What all pages share: read only, for signed-in users, not cached by shared caches, the clock read once."""

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST, require_safe

PageView = Callable[..., HttpResponseBase]


def signed_in_page(view: PageView) -> PageView:
    """Make `view` a page; it gets the instant of the request as its second argument."""

    @wraps(view)
    def signed_in(request: HttpRequest, **kwargs: object) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return _ask_to_sign_in(request)
        return view(request, timezone.now(), **kwargs)

    # no-cache, not no-store: the browser keeps the response and revalidates it each time.
    return require_safe(cache_control(private=True, no_cache=True)(signed_in))


def signed_in_action(page: str) -> Callable[[PageView], PageView]:
    """Return a decorator of a view that takes a form; it gets the instant of the request as its second argument.

    Somebody not signed in goes on to `page` afterwards, a path in which the view's own arguments may stand in braces.
    """

    def decorate(view: PageView) -> PageView:
        @wraps(view)
        def signed_in(request: HttpRequest, **kwargs: object) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(page.format(**kwargs))
            return view(request, timezone.now(), **kwargs)

        return require_POST(signed_in)

    return decorate


def _ask_to_sign_in(request: HttpRequest) -> HttpResponse:
    # A background refresh would follow a redirect and insert the sign-in page.
    if request.headers.get("HX-Request"):
        return HttpResponse(status=401)
    return redirect_to_login(request.get_full_path())
