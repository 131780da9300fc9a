"""Making, listing, checking and revoking bearer keys. A key's secret is shown once; only its SHA-256 is stored."""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.models import Grant, Key, User
from fleet.accounts.scopes import READ, SCOPES, reach
from fleet.errors import Fault, Refused

LONGEST = timedelta(days=400)
USUAL = timedelta(days=365)
MOST = 50  # keys of one person at a time
NOTED_EVERY = timedelta(minutes=1)  # so that frequent reads do not write each time


@dataclass(frozen=True, slots=True)
class Made:
    """A new key with its secret, which is not stored."""

    key: Key
    secret: str


def make(*, user: User, name: str, expires_at: datetime, secret: str = "") -> str:
    """Make a key for everything its owner may do, and return its secret. A demonstration site gives a fixed one."""
    secret = secret or _secret()
    Key.objects.update_or_create(
        digest=_digest(secret), defaults={"user": user, "name": name, "expires_at": expires_at, "revoked_at": None}
    )
    return secret


def create(
    *,
    user: User,
    name: str,
    scopes: Sequence[str],
    portfolio: UUID | None = None,
    expires_at: datetime | None = None,
    at: datetime,
) -> Made:
    """Make a key with these scopes, perhaps in one portfolio only. Without `expires_at` it lasts DEFAULT_LIFETIME.

    Raises Refused: 422 with every fault, 409 where the user has MAX_KEYS.
    """
    expires_at = expires_at or at + USUAL
    if found := [*_of_scopes(scopes), *_of_end(expires_at, at)]:
        raise Refused.all(found, status=422)
    # The user is locked before keys are counted, so that two requests cannot both take the last place.
    User.objects.select_for_update(no_key=True).get(id=user.id)
    if in_force(user, at).count() >= MOST:
        raise Refused("too_many", f"At most {MOST} keys at a time: revoke one.", status=409)
    secret = _secret()
    key = Key.objects.create(
        user=user,
        name=name,
        digest=_digest(secret),
        scopes=sorted(set(scopes)),
        portfolio_id=portfolio,
        expires_at=expires_at,
        created_at=at,
    )
    return Made(key, secret)


def _of_scopes(scopes: Sequence[str]) -> list[Fault]:
    strange = [Fault("unknown_scope", "No such scope.", ("scopes", n)) for n, s in enumerate(scopes) if s not in SCOPES]
    if READ not in scopes:
        told = f"A key that sees nothing can do nothing: it needs the scope {READ}, whatever else it is for."
        return [*strange, Fault("read_missing", told, ("scopes",))]
    return strange


def _of_end(expires_at: datetime, at: datetime) -> list[Fault]:
    if expires_at <= at:
        return [Fault("expired", "This has passed.", ("expires_at",))]
    if expires_at > at + LONGEST:
        return [Fault("too_long", f"A key lasts at most {LONGEST.days} days.", ("expires_at",))]
    return []


def in_force(user: User, at: datetime) -> QuerySet[Key]:
    """Return a user's valid keys at `at`, the newest last."""
    found = Key.objects.filter(user=user, revoked_at=None, expires_at__gt=at)
    return found.order_by("created_at", "id")


def ruled(user: User, at: datetime) -> QuerySet[User]:
    """Return the people whose keys a user may list and revoke beside their own.

    All their grants, everywhere, lie where the user may change people. Nobody who may change people is among them, so
    that a manager cannot revoke an owner's keys.
    """
    mine = policy.grants(user, "people.change", at)
    whole = mine.filter(building=None).values("portfolio")
    single = mine.filter(building__isnull=False).values("building")
    granted = Grant.objects.filter(Q(until=None) | Q(until__gt=at))
    here = granted.filter(Q(portfolio__in=whole) | Q(building__in=single))
    elsewhere = granted.exclude(id__in=here.values("id"))
    rulers = granted.filter(role__in=policy.ACTIONS["people.change"])
    found = User.objects.filter(id__in=here.values("user"))
    return found.exclude(id__in=elsewhere.values("user")).exclude(id__in=rulers.values("user"))


def revoke(*, key: UUID, by: User, at: datetime) -> bool:
    """Revoke a key of one's own or of a managed person, perhaps once more; return whether there is such a key."""
    reachable = Key.objects.filter(Q(user=by) | Q(user__in=ruled(by, at)), id=key)
    if not reachable.exists():
        return False
    Key.objects.filter(id=key, revoked_at=None).update(revoked_at=at)
    return True


def owner(secret: str, at: datetime) -> User | None:
    """Return the owner of a key, with its reach set; None if unknown, expired or revoked, or for an inactive owner."""
    found = Key.objects.select_related("user").filter(digest=_digest(secret), revoked_at=None, expires_at__gt=at)
    key = found.first()
    if key is None or not key.user.is_active:
        return None
    _note(key, at)
    key.user.reach = reach(key.id, key.scopes, key.portfolio_id)
    return key.user


def _note(key: Key, at: datetime) -> None:
    """Note that the key was used, at most once per NOTE_INTERVAL."""
    last = key.last_used_at
    if last is None or at - last >= NOTED_EVERY:
        unnoted = Q(last_used_at=None) | Q(last_used_at__lte=at - NOTED_EVERY)
        Key.objects.filter(unnoted, id=key.id).update(last_used_at=at)


def _secret() -> str:
    return f"gg_{secrets.token_urlsafe(32)}"


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
