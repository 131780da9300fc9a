"""Changing the password, and with it what else gives access: other sessions, and keys of devices."""

from typing import Any

from django import forms
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.mixins import LoginRequiredMixin
from django.contrib.auth.views import PasswordChangeView
from django.db import transaction
from django.http import HttpResponse
from django.urls import reverse_lazy
from django.utils import timezone

from fleet.accounts import browser_sessions, keys
from fleet.accounts.requests import user_of

KEEP_KEYS, REVOKE_KEYS = "keep", "revoke"
KEY_CHOICES = (("", "Choose"), (KEEP_KEYS, "Keep them"), (REVOKE_KEYS, "Revoke all of them"))


class ChangePasswordForm(PasswordChangeForm):
    """The framework's form, with the question what else ends. Who has no keys is not asked about them."""

    end_sessions = forms.BooleanField(required=False, initial=True)
    device_keys = forms.ChoiceField(choices=KEY_CHOICES)

    def __init__(self, user: Any, *args: object, **options: object) -> None:
        super().__init__(user, *args, **options)
        self.fields["device_keys"].error_messages["required"] = "Say what becomes of your keys."
        self.key_count = keys.keys_in_force(user, timezone.now()).count()
        if not self.key_count:
            del self.fields["device_keys"]


class PasswordView(LoginRequiredMixin, PasswordChangeView):
    """Change the password: the old one is required. The session in use goes on under a new key."""

    form_class = ChangePasswordForm
    template_name = "account/password.html"
    success_url = reverse_lazy("account-page")
    extra_context = {"here": "account"}

    def form_valid(self, form: Any) -> HttpResponse:
        """Save the password, and end what was asked for."""
        user = user_of(self.request)
        at, old_key = timezone.now(), self.request.session.session_key
        with transaction.atomic():
            response = super().form_valid(form)
            browser_sessions.move_session(old_key, self.request.session.session_key)
            if form.cleaned_data["end_sessions"]:
                browser_sessions.end_sessions(user=user, but=self.request.session.session_key)
            else:
                browser_sessions.keep_sessions(user=form.user, at=at)
            if form.cleaned_data.get("device_keys") == REVOKE_KEYS:
                keys.revoke_keys(user=user, at=at)
        return response
