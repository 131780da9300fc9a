"""A new user chooses a password, at an address that works once and for three days."""

from django.contrib.auth.forms import SetPasswordForm
from django.contrib.auth.views import PasswordResetConfirmView
from django.http import HttpResponse
from django.urls import reverse_lazy

from fleet.accounts import browser_sessions
from fleet.accounts.models import User


class WelcomeView(PasswordResetConfirmView):
    """Django's view for this. The token moves from the address into the session, so that no log keeps the secret."""

    template_name = "shared/welcome.html"
    success_url = reverse_lazy("sign-in")
    reset_url_token = "choose"

    def form_valid(self, form: "SetPasswordForm[User]") -> HttpResponse:
        """Save the password, and end all sessions of the user: who asks for a new password may have lost one."""
        response = super().form_valid(form)
        browser_sessions.end_sessions(user=form.user)
        return response
