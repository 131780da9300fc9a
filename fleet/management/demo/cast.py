"""The people of the demonstration: sign-ins, grants, qualifications and the technician's key."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import uuid5

from fleet.accounts import keys
from fleet.accounts.models import Grant, Qualification, User
from fleet.portfolio.models import Portfolio

# Fixed and printed: the demonstration holds nothing and answers on this machine only.
FIELD_KEY = "gaugeglass_demo_rosa_field_key"
LONG_AGO = datetime(2015, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class CastMember:
    """One person of the cast."""

    username: str
    password: str
    name: str
    role: str
    telephone: str  # of the range kept for invented people, 555-0100 to 555-0199
    qualifications: tuple[str, ...] = ()


CAST = (
    CastMember("ines", "copper-ladle-42", name="Ines Okafor", role="manager", telephone="555-0101"),
    CastMember(
        "rosa",
        "brass-union-17",
        name="Rosa Delgado",
        role="technician",
        telephone="555-0102",
        qualifications=("technician", "operator", "gas_train", "backflow_tester"),
    ),
    CastMember("henk", "slate-roof-93", name="Henk Visser", role="dispatcher", telephone="555-0103"),
    CastMember(
        "bram",
        "coal-chute-58",
        name="Bram Whitlock",
        role="caretaker",
        telephone="555-0104",
        qualifications=("operator",),
    ),
)


def make_cast(portfolio: Portfolio, at: datetime) -> dict[str, User]:
    """Make the people who are missing, and return everybody by user name."""
    people = {member.username: _make_person(member, portfolio) for member in CAST}
    keep_field_key(people["rosa"], at)
    return people


def keep_field_key(rosa: User, at: datetime) -> None:
    """Make the technician's key where it is missing: a demonstration of an earlier version printed another one."""
    if keys.key_owner(FIELD_KEY, at) is None:
        keys.make_unscoped_key(user=rosa, name="field", expires_at=at + timedelta(days=365), secret=FIELD_KEY)


def _make_person(member: CastMember, portfolio: Portfolio) -> User:
    first, last = member.name.split()
    names = {"first_name": first, "last_name": last, "telephone": member.telephone}
    user, created = User.objects.get_or_create(
        username=member.username,
        defaults={**names, "id": uuid5(portfolio.id, member.username)},
    )
    if created:
        user.set_password(member.password)
        user.save()
    Grant.objects.get_or_create(user=user, role=member.role, portfolio=portfolio, building=None)
    for code in member.qualifications:
        Qualification.objects.get_or_create(user=user, code=code, since=LONG_AGO)
    return user


def sign_ins() -> str:
    """Return who may sign in, as text for the terminal."""
    lines = [f"  {m.username:<6} {m.password:<16} {m.name}, {m.role}" for m in CAST]
    return "\n".join(["Sign-ins (user name, password):", *lines, f"Field key of Rosa Delgado: {FIELD_KEY}"])
