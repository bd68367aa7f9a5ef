"""The season of use, learnt anew and stored: the only writer of it. Due points are counted after it."""

import datetime as dt

from django.db import transaction
from django.utils import timezone

from checks.models import UseSeason
from checks.selectors.use_season import season_seen


@transaction.atomic
def learn_use_season(*, today: dt.date | None = None) -> list[UseSeason]:
    """Store what the fleet's totals say of the months; what can no longer be told is taken away."""
    found = season_seen(today or timezone.localdate())
    UseSeason.objects.exclude(kind__in=found).delete()
    stored = []
    for kind, fitted in found.items():
        values = {
            "months": list(fitted.months),
            "years": fitted.years,
            "aircraft": fitted.aircraft,
            "kept": fitted.kept,
            "learned_at": timezone.now(),
        }
        stored.append(UseSeason.objects.update_or_create(kind=kind, defaults=values)[0])
    return stored
