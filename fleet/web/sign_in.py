"""Signing in: whoever failed often waits, whether the name is known or not; sessions that run are not touched."""

import math
from datetime import timedelta
from typing import Any

from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from fleet.accounts import attempts
from fleet.accounts.address import address_of


class SignIn(LoginView):
    """The framework's own, but for the waiting. The session begins anew under a key of its own, as there."""

    template_name = "sign_in.html"
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Book the try before the password is looked at; one that comes too early is not looked at."""
        self.tried = attempts.Try(request.POST.get("username", ""), address_of(request.META))
        if not (self.tried.name and request.POST.get("password")):
            return super().post(request, *args, **kwargs)
        wait = attempts.book(self.tried, timezone.now())
        return self._too_early(wait) if wait else super().post(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        """Take the try back, and sign in."""
        attempts.succeeded(self.tried, timezone.now())
        return super().form_valid(form)

    def _too_early(self, wait: timedelta) -> HttpResponse:
        """Say how long; nothing of what was typed comes back but the name."""
        seconds = math.ceil(wait.total_seconds())
        told = f"Too many sign-ins failed. Try again in {seconds} second{'s' if seconds > 1 else ''}."
        form = self.get_form_class()(self.request, initial={"username": self.tried.name[:150]})
        context = self.get_context_data(form=form, too_early=told)
        return self.render_to_response(context, status=429, headers={"Retry-After": str(seconds)})
