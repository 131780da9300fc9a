"""`manage.py next_steps`: what a site still needs before anybody can work with it, and which cards open nothing."""

from django.core.management.base import BaseCommand

from fleet.accounts.models import User
from fleet.cards import queries as cards


class Command(BaseCommand):
    """Prints what to do next; nothing where people can sign in and every card on a wall opens its page."""

    help = "Say what to do next on a site that nobody can sign in to yet, or whose boiler-room cards open nothing."

    def handle(self, *args: object, **options: object) -> None:
        """Print it."""
        if not User.objects.filter(is_active=True).exists():
            self.stdout.write(
                "Nobody can sign in yet. Make a link for the first owner, from the program's folder:\n"
                "  GAUGEGLASS_DATA=FOLDER python manage.py invite_owner        (FOLDER: the data folder named above)\n"
                "The link works once. The owner then adds buildings on the register's page, and people by the API."
            )
        self._tell_of_dead_cards()

    def _tell_of_dead_cards(self) -> None:
        count = cards.cards_of_another_key().count()
        if count:
            verb = "card was" if count == 1 else "cards were"
            self.stdout.write(
                f"{count} boiler-room {verb} printed under another signing key, and the codes on them open nothing.\n"
                "Set GAUGEGLASS_SECRET_KEY back to the former key, or print new cards from the boilers' pages."
            )
