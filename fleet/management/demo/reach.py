"""Where the people of the demonstration are told: an address each, whose mails are kept in a folder."""

from datetime import datetime

from fleet.accounts.models import User
from fleet.notices.models import Destination
from fleet.portfolio.models import Portfolio


def give_addresses(portfolio: Portfolio, at: datetime) -> None:
    """Give everybody of a portfolio an e-mail address from `at` on, so nothing is told of the invented past."""
    domain = f"{portfolio.ref.lower()}.example"
    for user in User.objects.filter(grants__portfolio=portfolio, destinations=None).distinct():
        Destination.objects.create(
            user=user, channel="email", address=f"{user.username}@{domain}", made_at=at, confirmed_at=at
        )
