"""Signing in. After failed attempts a name or address must wait, whether or not the name exists; sessions go on."""

import math
from datetime import timedelta

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from fleet.accounts import attempts
from fleet.accounts.address import address_of
from fleet.web.account.owner_door_page import SESSION_KEY


class SignInView(LoginView):
    """Django's sign-in view with waiting times. As there, the session gets a new key at sign-in."""

    template_name = "account/sign_in.html"
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        """Count the attempt before the password is checked; one that comes too early is not checked."""
        self.attempt = attempts.SignInTry(request.POST.get("username", ""), address_of(request.META))
        if not (self.attempt.name and request.POST.get("password")):
            return super().post(request, *args, **kwargs)
        wait = attempts.book_attempt(self.attempt, timezone.now())
        return self._too_early_response(wait) if wait else super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Take the counted attempt back, and sign in."""
        attempts.record_success(self.attempt, timezone.now())
        return super().form_valid(form)

    def get_success_url(self) -> str:
        """Go on to where one came from, but to what one is asked first, where anything waits for an answer.

        Whoever came with an owner's link goes on with that.
        """
        user = self.request.user
        if SESSION_KEY in self.request.session:
            return reverse("open-portfolio")
        return reverse("asked-page") if user.is_authenticated and user.is_asked else super().get_success_url()

    def _too_early_response(self, wait: timedelta) -> HttpResponse:
        """Answer 429 with the waiting time; of what was typed only the name is returned."""
        seconds = math.ceil(wait.total_seconds())
        message = f"Too many sign-ins failed. Try again in {seconds} second{'s' if seconds > 1 else ''}."
        form = self.get_form_class()(self.request, initial={"username": self.attempt.name[:150]})
        context = self.get_context_data(form=form, too_early=message)
        return self.render_to_response(context, status=429, headers={"Retry-After": str(seconds)})
