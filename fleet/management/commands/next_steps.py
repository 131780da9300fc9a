"""`manage.py next_steps`: what a site still needs before anybody can work with it."""

from django.core.management.base import BaseCommand

from fleet.accounts.models import User


class Command(BaseCommand):
    """Prints what to do next; nothing where people can sign in."""

    help = "Say what to do next on a site that nobody can sign in to yet."

    def handle(self, *args: object, **options: object) -> None:
        """Print it."""
        if not User.objects.filter(is_active=True).exists():
            self.stdout.write(
                "Nobody can sign in yet. Make a link for the first owner, from the program's folder:\n"
                "  GAUGEGLASS_DATA=FOLDER python manage.py invite_owner        (FOLDER: the data folder named above)\n"
                "The link works once. The owner then adds buildings on the register's page, and people by the API."
            )
