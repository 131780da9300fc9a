"""Somebody new chooses a password, at an address that is good once and for three days."""

from django.contrib.auth.views import PasswordResetConfirmView
from django.urls import reverse_lazy


class Welcome(PasswordResetConfirmView):
    """The framework's own view of it: the address becomes a session's, so that no log keeps what opens the door."""

    template_name = "welcome.html"
    success_url = reverse_lazy("sign-in")
    reset_url_token = "choose"
