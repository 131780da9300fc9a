"""Up to when a person has looked through the alerts: stored per person, moved forward only by their own action."""

from datetime import datetime

from fleet.accounts.models import Look, User


def looked_until(user: User) -> datetime | None:
    """Return up to which instant a person has looked; None before the first time."""
    return Look.objects.filter(user=user).values_list("until", flat=True).first()


def record_look(*, user: User, until: datetime) -> None:
    """Note that a person has looked at everything up to `until`. An earlier instant than stored changes nothing."""
    _, is_first = Look.objects.get_or_create(user=user, defaults={"until": until})
    if not is_first:
        Look.objects.filter(user=user, until__lt=until).update(until=until)
