"""Planned changes of base: an aircraft that moves may meet its season earlier."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class PlannedMoveQuerySet(models.QuerySet):
    def planned(self) -> "PlannedMoveQuerySet":
        """Neither carried out nor withdrawn."""
        return self.filter(end="")


class PlannedMove(models.Model):
    """From a day on the aircraft is to fly from another base. Ended once, by being carried out or withdrawn,
    and never changed otherwise: another plan is a new row."""

    class End(models.TextChoices):
        CARRIED_OUT = "carried out", "carried out"
        WITHDRAWN = "withdrawn", "withdrawn"

    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="planned_moves")
    base = models.ForeignKey("fleet.Base", models.PROTECT, related_name="planned_arrivals")
    on = models.DateField("first day at the new base")
    remark = models.CharField(max_length=200, blank=True)
    planned_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    planned_at = models.DateTimeField()
    end = models.CharField(max_length=12, choices=End, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = PlannedMoveQuerySet.as_manager()

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(end="", ended_by=None, ended_at=None)
                | (~Q(end="") & Q(ended_by__isnull=False, ended_at__isnull=False)),
                name="planned_move_end_whole",
            ),
            models.UniqueConstraint(
                fields=["aircraft", "on"],
                condition=Q(end=""),
                name="planned_move_once_a_day",
                violation_error_message="A move of this aircraft on that day is planned already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.aircraft} to {self.base} on {self.on}"
