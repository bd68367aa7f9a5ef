"""Revising the programme: one person types the terms of a task, another approves them.

Until then the old terms stay in force; from then on the revision is frozen (checks/guard_rules.py), keeps the
terms that it replaced, and is a link of the operator's chain.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from checks.models import IntervalRevision, Procedure, RecurringCheck, Terms
from checks.selectors.programme_words import terms_in_words
from checks.services.chain import append, row
from checks.services.due import refresh_due
from checks.services.errors import RecordError, from_validation
from checks.services.persons import may, prove
from fleet.models import Aircraft, User

#: The terms of a task by field; the aircraft named (only_on) are rows of their own.
TERMS = tuple(field.name for field in Terms._meta.local_fields)
TYPES, APPROVES = "checks.change_recurringcheck", "checks.approve_revision"


@transaction.atomic
def type_task(
    *, procedure: Procedure, by: User, terms: Mapping[str, Any], only_on: Iterable[Aircraft], reason: str
) -> IntervalRevision:
    """A new task of the programme: it counts nothing until its first revision is approved."""
    may(by, TYPES)
    task = RecurringCheck(procedure=procedure, **_named(terms) | {"active": False})
    _clean(task)
    task.save()
    return _typed(task, by, terms, only_on, reason)


@transaction.atomic
def type_revision(
    *, check: RecurringCheck, by: User, terms: Mapping[str, Any], only_on: Iterable[Aircraft], reason: str
) -> IntervalRevision:
    """New terms for a task, which wait for another person. One at a time: a waiting one is taken back first.

    RecordError where one waits already, or where nothing would change.
    """
    may(by, TYPES)
    check = (
        RecurringCheck.objects.select_for_update(of=("self",)).select_related("procedure").get(pk=check.pk)
    )
    waiting = check.revisions.filter(approved_at=None).first()
    if waiting is not None:
        raise RecordError(
            f"Revision {waiting.number}, typed by {waiting.typed_by}, waits for approval. It is approved or "
            "taken back first."
        )
    only_on = list(only_on)
    same = all(getattr(check, name) == value for name, value in _named(terms).items() if name != "title")
    same_title = not terms.get("title") or terms["title"] == check.title
    if same and same_title and set(check.only_on.all()) == set(only_on):
        raise RecordError("Nothing differs from the terms in force. Change what is to be revised.")
    return _typed(check, by, terms, only_on, reason)


@transaction.atomic
def withdraw_revision(*, revision: IntervalRevision, by: User) -> None:
    """Take back what waits. Only who typed it; a task that was never approved goes with it."""
    may(by, TYPES)
    revision = IntervalRevision.objects.select_for_update(of=("self",)).get(pk=revision.pk)
    if revision.approved_at:
        raise RecordError(f"It was approved on {revision.approved_at:%d %b %Y}. Type a new revision.")
    if revision.typed_by_id != by.pk:
        raise RecordError(f"Only {revision.typed_by}, who typed it, takes it back.")
    task = revision.check_revised
    revision.delete()
    if not task.active and not task.revisions.exists() and not task.due_points.exists():
        task.delete()


@transaction.atomic
def approve_interval(*, revision: IntervalRevision, by: User, password: str) -> IntervalRevision:
    """Put the terms in force, as one link of the operator's chain. Not by the person who typed them."""
    at = timezone.now()
    may(by, APPROVES)
    prove(by, password)
    locked = IntervalRevision.objects.select_for_update(of=("self",))
    revision = locked.select_related("check_revised__procedure__variant").get(pk=revision.pk)
    if revision.approved_at:
        raise RecordError(f"It was approved on {revision.approved_at:%d %b %Y}.")
    if revision.typed_by_id == by.pk:
        raise RecordError("The person who typed a revision can't approve it. Ask another director.")
    task, named = revision.check_revised, list(revision.only_on.order_by("registration"))
    first = not task.revisions.filter(approved_at__isnull=False).exists() and not task.active
    revision.replaced = {} if first else kept_terms(task)
    _put_in_force(task, revision, named)
    revision.approved_by, revision.approved_at = by, at
    revision.full_clean()
    revision.save(update_fields=["approved_by", "approved_at", "replaced"])
    append(aircraft=None, act="approval", payload=interval_payload(revision, named), at=at)
    refresh_due(aircraft_ids=task.procedure.variant.aircraft.values_list("pk", flat=True))
    return revision


def kept_terms(task: RecurringCheck) -> dict[str, Any]:
    """The terms in force as a revision keeps them when it replaces them: by field, and in words."""
    named = list(task.only_on.order_by("registration").values_list("registration", flat=True))
    return {
        "terms": {name: _plain(getattr(task, Terms._meta.get_field(name).attname)) for name in TERMS},
        "only_on": named,
        "words": terms_in_words(task, named),
    }


def interval_payload(revision: IntervalRevision, named: Iterable[Aircraft]) -> dict[str, Any]:
    """Every column of an interval revision, with the task and the aircraft that it names."""
    procedure = revision.check_revised.procedure
    return {
        "interval_revision": row(revision),
        "only_on": [one.registration for one in named],
        "names": {
            "task": revision.check_revised.title,
            "procedure": procedure.title,
            "variant": procedure.variant.name,
        },
    }


def _typed(
    task: RecurringCheck, by: User, terms: Mapping[str, Any], only_on: Iterable[Aircraft], reason: str
) -> IntervalRevision:
    last = task.revisions.order_by("-number").values_list("number", flat=True).first() or 0
    revision = IntervalRevision(
        check_revised=task,
        number=last + 1,
        reason=reason,
        typed_by=by,
        typed_at=timezone.now(),
        **_named(terms),
    )
    _clean(revision)
    others = [one.registration for one in only_on if one.variant_id != task.procedure.variant_id]
    if others:
        raise RecordError(f"Not of this variant: {', '.join(others)}. Choose others.", field="only_on")
    revision.save()
    revision.only_on.set(only_on)
    return revision


def _put_in_force(task: RecurringCheck, revision: IntervalRevision, named: Iterable[Aircraft]) -> None:
    for name in TERMS:
        setattr(task, name, getattr(revision, name))
    _clean(task)
    task.save()
    task.only_on.set(named)


def _named(terms: Mapping[str, Any]) -> dict[str, Any]:
    """The given terms by field; what is not given keeps the default of the model."""
    return {name: terms[name] for name in TERMS if name in terms}


def _clean(one: RecurringCheck | IntervalRevision) -> None:
    try:
        one.full_clean()
    except ValidationError as error:
        raise RecordError(*from_validation(error)) from None


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return value.isoformat() if isinstance(value, dt.date) else value
