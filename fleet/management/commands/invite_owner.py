"""`manage.py invite_owner`: print a link that works once, by which an owner opens a portfolio."""

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from fleet.accounts import owner_links


class Command(BaseCommand):
    """Prints the link; nothing is stored until it is used."""

    help = (
        "Print a link by which the owner of a new portfolio chooses its name, a user name and a password. It works "
        "once, within three days. Run it with the site's own GAUGEGLASS_DATA, or GAUGEGLASS_SECRET_KEY."
    )

    def handle(self, *args: object, **options: object) -> None:
        """Print it. Raises CommandError where the site's signing key is not known here."""
        if not settings.IS_SECRET_KEY_GIVEN:
            raise CommandError(
                "The site's key is not known here: name the data folder of the running site in GAUGEGLASS_DATA, or its "
                "key in GAUGEGLASS_SECRET_KEY."
            )
        path = reverse("owner-door", args=[owner_links.make_token()])
        self.stdout.write(f"{settings.SITE_ADDRESS.rstrip('/')}{path}")
        self.stdout.write("It works once, within three days. Whoever has it becomes the owner of a new portfolio.")
