"""The link behind which a new person chooses a password."""

from django.contrib.auth.tokens import default_token_generator
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from fleet.accounts.models import User


def welcome_path(user: User) -> str:
    """Return the path where a new person chooses a password. It works once, within three days."""
    uid = urlsafe_base64_encode(force_bytes(str(user.pk)))
    return reverse("welcome", args=[uid, default_token_generator.make_token(user)])
