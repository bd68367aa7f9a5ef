"""On which aircraft a task of the programme is due: by variant, by name, by modification state."""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from django.db.models import Q

from checks.models import RecurringCheck, Terms
from fleet.models import Aircraft, Embodiment


@dataclass(frozen=True)
class Effectivity:
    """Of some tasks: the aircraft named by each, and those on which each modification is embodied."""

    named: Mapping[int, Set[int]]
    embodied: Mapping[int, Set[int]]

    def holds(self, task: RecurringCheck, aircraft: Aircraft) -> bool:
        """Whether the task is due on the aircraft at all. No query."""
        return aircraft.variant_id == task.procedure.variant_id and self.fits(task, aircraft.pk)

    def fits(self, task: RecurringCheck, aircraft_id: int) -> bool:
        """Whether an aircraft of the right variant is one of those named, and its modifications fit."""
        named = self.named.get(task.pk)
        if named and aircraft_id not in named:
            return False
        if task.modification_id is None:
            return True
        is_embodied = aircraft_id in self.embodied.get(task.modification_id, ())
        return is_embodied == (task.fit == Terms.Fit.EMBODIED)


def active_tasks() -> list[RecurringCheck]:
    """The tasks of the programme with their procedures. One query."""
    return list(RecurringCheck.objects.filter(active=True).select_related("procedure"))


def effectivity(tasks: Sequence[RecurringCheck], *, today: dt.date) -> Effectivity:
    """On which aircraft the tasks are due, by what is embodied today. Two queries at most."""
    named: dict[int, set[int]] = defaultdict(set)
    through = RecurringCheck.only_on.through.objects.filter(recurringcheck__in=[task.pk for task in tasks])
    for task, aircraft in through.values_list("recurringcheck_id", "aircraft_id"):
        named[task].add(aircraft)
    return Effectivity(named, embodied_by({task.modification_id for task in tasks}, today))


def embodied_by(modifications: Set[int | None], today: dt.date) -> dict[int, set[int]]:
    """The aircraft by modification. One query, none where no modification is asked for."""
    wanted = modifications - {None}
    found: dict[int, set[int]] = defaultdict(set)
    if not wanted:
        return found
    there = Embodiment.objects.filter(Q(removed_on=None) | Q(removed_on__gt=today), embodied_on__lte=today)
    for modification, aircraft in there.filter(modification__in=wanted).values_list(
        "modification_id", "aircraft_id"
    ):
        found[modification].add(aircraft)
    return found
