"""Making, listing, checking and revoking bearer keys. A key's secret is shown once; only its SHA-256 is stored."""

import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.installation import KNOWN_KEY_PREFIXES, is_demonstration
from fleet.accounts.models import Grant, Key, User
from fleet.accounts.scopes import READ, SCOPES, reach_of_key
from fleet.errors import Fault, Refused
from fleet.records.disk_room import has_room
from fleet.records.row_spans import not_ended

MAX_LIFETIME = timedelta(days=400)
DEFAULT_LIFETIME = timedelta(days=365)
MAX_KEYS = 50  # keys of one person at a time
NOTE_INTERVAL = timedelta(minutes=1)  # so that frequent reads do not write each time


@dataclass(frozen=True, slots=True)
class NewKey:
    """A new key with its secret, which is not stored."""

    key: Key
    secret: str


def make_unscoped_key(*, user: User, name: str, expires_at: datetime, secret: str = "") -> str:
    """Make a key for everything its owner may do, and return its secret. A demonstration site gives a fixed one."""
    secret = secret or _new_secret()
    Key.objects.update_or_create(
        digest=_digest_of(secret), defaults={"user": user, "name": name, "expires_at": expires_at, "revoked_at": None}
    )
    return secret


def create_key(
    *,
    user: User,
    name: str,
    scopes: Sequence[str],
    portfolio: UUID | None = None,
    expires_at: datetime | None = None,
    at: datetime,
) -> NewKey:
    """Make a key with these scopes, perhaps in one portfolio only. Without `expires_at` it lasts DEFAULT_LIFETIME.

    Raises Refused: 422 with every fault, 409 where the user has MAX_KEYS.
    """
    expires_at = expires_at or at + DEFAULT_LIFETIME
    if faults := [*_scope_faults(scopes), *_end_faults(expires_at, at)]:
        raise Refused.from_faults(faults, status=422)
    # The user is locked before keys are counted, so that two requests cannot both take the last place.
    User.objects.select_for_update(no_key=True).get(id=user.id)
    if keys_in_force(user, at).count() >= MAX_KEYS:
        raise Refused("too_many", f"At most {MAX_KEYS} keys at a time. Revoke one first.", status=409)
    secret = _new_secret()
    key = Key.objects.create(
        user=user,
        name=name,
        digest=_digest_of(secret),
        scopes=sorted(set(scopes)),
        portfolio_id=portfolio,
        expires_at=expires_at,
        created_at=at,
    )
    return NewKey(key, secret)


def _scope_faults(scopes: Sequence[str]) -> list[Fault]:
    strange = [
        Fault("unknown_scope", "There is no such scope.", ("scopes", n))
        for n, s in enumerate(scopes)
        if s not in SCOPES
    ]
    if READ not in scopes:
        message = f"Every key needs the scope {READ}, whatever else it is for."
        return [*strange, Fault("read_missing", message, ("scopes",))]
    return strange


def _end_faults(expires_at: datetime, at: datetime) -> list[Fault]:
    if expires_at <= at:
        return [Fault("expired", "This is in the past.", ("expires_at",))]
    if expires_at > at + MAX_LIFETIME:
        return [Fault("too_long", f"A key can last at most {MAX_LIFETIME.days} days.", ("expires_at",))]
    return []


def keys_in_force(user: User, at: datetime) -> QuerySet[Key]:
    """Return a user's valid keys at `at`, the newest last."""
    keys = Key.objects.filter(user=user, revoked_at=None, expires_at__gt=at)
    return keys.order_by("created_at", "id")


def people_managed_by(user: User, at: datetime) -> QuerySet[User]:
    """Return the people whose keys a user may list and revoke beside their own.

    All their grants, everywhere, lie where the user may change people. Nobody who may change people is among them, so
    that a manager cannot revoke an owner's keys.
    """
    managed_grants = policy.grants_for(user, "people.change", at)
    whole = managed_grants.filter(building=None).values("portfolio")
    single = managed_grants.filter(building__isnull=False).values("building")
    granted = Grant.objects.filter(not_ended(at), is_from_job=False)
    granted_here = granted.filter(Q(portfolio__in=whole) | Q(building__in=single))
    elsewhere = granted.exclude(id__in=granted_here.values("id"))
    granted_managers = granted.filter(role__in=policy.ACTIONS["people.change"])
    users = User.objects.filter(id__in=granted_here.values("user"))
    return users.exclude(id__in=elsewhere.values("user")).exclude(id__in=granted_managers.values("user"))


def revoke_key(*, key: UUID, by: User, at: datetime) -> bool:
    """Revoke a key of one's own or of a managed person, perhaps once more; return whether there is such a key."""
    reachable = Key.objects.filter(Q(user=by) | Q(user__in=people_managed_by(by, at)), id=key)
    if not reachable.exists():
        return False
    Key.objects.filter(id=key, revoked_at=None).update(revoked_at=at)
    return True


def revoke_keys(*, user: User, at: datetime) -> int:
    """Revoke all keys of a person that are in force; return how many."""
    return keys_in_force(user, at).update(revoked_at=at)


def key_owner(secret: str, at: datetime) -> User | None:
    """Return the owner of a key, with its reach set; None if unknown, expired or revoked, or for an inactive owner.

    A key that the demonstration prints is unknown everywhere else.
    """
    keys = Key.objects.select_related("user").filter(digest=_digest_of(secret), revoked_at=None, expires_at__gt=at)
    key = keys.first()
    if key is None or not key.user.is_active:
        return None
    if secret.startswith(KNOWN_KEY_PREFIXES) and not is_demonstration():
        return None
    _note_use(key, at)
    key.user.reach = reach_of_key(key.id, key.scopes, key.portfolio_id)
    return key.user


def _note_use(key: Key, at: datetime) -> None:
    """Note that the key was used, at most once per NOTE_INTERVAL. A full disk is only read from."""
    last = key.last_used_at
    if (last is None or at - last >= NOTE_INTERVAL) and has_room():
        unnoted = Q(last_used_at=None) | Q(last_used_at__lte=at - NOTE_INTERVAL)
        Key.objects.filter(unnoted, id=key.id).update(last_used_at=at)


def _new_secret() -> str:
    return f"gaugeglass_{secrets.token_urlsafe(32)}"


def _digest_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
