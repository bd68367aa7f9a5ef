"""Notices: what a person chooses to be told, what was told, and calendar addresses that can be taken back."""

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager

from django.db import transaction
from django.utils import timezone

from checks.models import CalendarFeed, NoticeChoice, NoticeTold
from checks.selectors.notices import Fact
from checks.services.errors import RecordError
from checks.services.persons import may
from fleet.models import Base, User

READ = "checks.view_records"
MOST_FEEDS = 20  # of one person, that are not revoked
MOST_LINES = 200  # of one mail; what is left over comes with the next


@transaction.atomic
def choose_notices(
    *, person: User, kinds: Iterable[str], bases: Iterable[Base], every_base: bool
) -> NoticeChoice:
    """Keep what a person wants to be told, and of which bases. Nothing chosen ends the mails."""
    may(person, READ)
    values = {name: name in set(kinds) for name in KINDS}
    values |= {"every_base": every_base, "changed_at": timezone.now()}
    choice, _ = NoticeChoice.objects.update_or_create(person=person, defaults=values)
    choice.bases.set([] if every_base else bases)
    return choice


KINDS = ("overdue", "due_soon", "deferrals", "defects", "packages")


def chosen(choice: NoticeChoice, facts: Iterable[Fact]) -> list[Fact]:
    """Those of the facts that the person wants to be told. One query where single bases are chosen."""
    bases = None if choice.every_base else set(choice.bases.values_list("pk", flat=True))
    return [fact for fact in facts if getattr(choice, fact.kind) and (bases is None or fact.base_id in bases)]


def untold(person: User, facts: Sequence[Fact]) -> list[Fact]:
    """Those that the person was not told yet, at most so many as one mail holds. One query."""
    keys = set(NoticeTold.objects.filter(person=person).values_list("fact", flat=True))
    return [fact for fact in facts if fact.key not in keys][:MOST_LINES]


@contextmanager
def telling(person: User, facts: Sequence[Fact]) -> Iterator[list[Fact]]:
    """Claim the facts for this mail and give those that no other sender claimed meanwhile; where sending
    fails they count as not told again. Nothing is locked while the mail goes out."""
    now = timezone.now()
    with transaction.atomic():
        # The person's row is held, so that two senders see each other's claims.
        list(NoticeChoice.objects.filter(person=person).select_for_update().values_list("pk"))
        mine = untold(person, facts)
        NoticeTold.objects.bulk_create(NoticeTold(person=person, fact=fact.key, told_at=now) for fact in mine)
    try:
        yield mine
    except BaseException:
        NoticeTold.objects.filter(person=person, fact__in=[fact.key for fact in mine]).delete()
        raise


@transaction.atomic
def forget_told(*, before: dt.datetime) -> int:
    """Drop what was told long ago and is no fact any more."""
    return NoticeTold.objects.filter(told_at__lt=before).delete()[0]


@transaction.atomic
def make_feed(*, base: Base, owner: User, name: str = "") -> tuple[CalendarFeed, str]:
    """A new calendar address of a base, and its secret: shown this once, never to be read again."""
    may(owner, READ)
    if CalendarFeed.objects.filter(owner=owner, revoked_at=None).count() >= MOST_FEEDS:
        raise RecordError(f"You have {MOST_FEEDS} calendar addresses. Revoke one that is not used first.")
    secret = secrets.token_urlsafe(32)
    feed = CalendarFeed(
        base=base, owner=owner, name=name.strip(), digest=digest_of(secret), made_at=timezone.now()
    )
    feed.full_clean(exclude=["base", "owner", "digest"])
    feed.save(force_insert=True)
    return feed, secret


@transaction.atomic
def revoke_feed(*, feed: CalendarFeed, by: User) -> CalendarFeed:
    """Close an address for good. Only its owner does."""
    if feed.owner_id != by.pk:
        raise RecordError("This address belongs to somebody else, who alone revokes it.")
    CalendarFeed.objects.filter(pk=feed.pk, revoked_at=None).update(revoked_at=timezone.now())
    feed.refresh_from_db()
    return feed


def open_feed(code: str, secret: str) -> CalendarFeed | None:
    """The feed of a base that the secret opens: not revoked, its owner still here and still allowed to
    read. Three queries at most."""
    found = CalendarFeed.objects.filter(digest=digest_of(secret), revoked_at=None, base__code=code)
    feed = found.select_related("base", "owner").first()
    return feed if feed and feed.owner.has_perm(READ) else None


def digest_of(secret: str) -> str:
    """The secrets are long and random, so a plain digest can't be turned back."""
    return hashlib.sha256(secret.encode()).hexdigest()
