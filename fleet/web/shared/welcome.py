"""A new user chooses a password, at an address that works once and for three days."""

from django.contrib.auth.views import PasswordResetConfirmView
from django.urls import reverse_lazy


class WelcomeView(PasswordResetConfirmView):
    """Django's view for this. The token moves from the address into the session, so that no log keeps the secret."""

    template_name = "shared/welcome.html"
    success_url = reverse_lazy("sign-in")
    reset_url_token = "choose"
