"""Since when a person has not looked: kept by person, not by browser, and moved forward only when they say so."""

from datetime import datetime

from fleet.accounts.models import Look, User


def of(user: User) -> datetime | None:
    """Up to which instant this person has looked; None before their first word."""
    return Look.objects.filter(user=user).values_list("until", flat=True).first()


def looked(*, user: User, until: datetime) -> None:
    """Note that this person has looked at what was written up to `until`; an older page takes nothing back."""
    _, first = Look.objects.get_or_create(user=user, defaults={"until": until})
    if not first:
        Look.objects.filter(user=user, until__lt=until).update(until=until)
