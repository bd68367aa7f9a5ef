"""Defects: something unsatisfactory found, deferred or rectified by a person."""

import datetime as dt

from django.conf import settings
from django.db import models
from django.db.models import Q


class DefectQuerySet(models.QuerySet):
    def open(self) -> "DefectQuerySet":
        """Not rectified; deferred ones included."""
        return self.filter(rectification=None)


class Defect(models.Model):
    """One defect of an aircraft. Closed only by a rectification that a person signs."""

    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="defects")
    event = models.OneToOneField(
        "checks.CheckEvent",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="defect",
        help_text="The check that found it.",
    )
    position = models.ForeignKey(
        "fleet.Position", models.PROTECT, null=True, blank=True, related_name="defects"
    )
    description = models.TextField()
    raised_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    raised_at = models.DateTimeField()

    objects = DefectQuerySet.as_manager()

    class Meta:
        ordering = ["-raised_at"]
        permissions = [
            ("raise_defect", "Can raise a defect"),
            ("defer_defect", "Can defer a defect under the operator's MEL"),
            ("rectify_defect", "Can sign a defect as rectified"),
        ]

    def __str__(self) -> str:
        return f"{self.aircraft}: {self.description[:60]}"

    def state(self, today: dt.date) -> str:
        """closed, deferred, deferral expired or open, today in the deferral time base.

        Two queries unless rectification and deferrals were fetched with it.
        """
        if hasattr(self, "rectification"):
            return "closed"
        deferrals = list(self.deferrals.all())
        if not deferrals:
            return "open"
        return "deferred" if max(d.expires_on for d in deferrals) >= today else "deferral expired"


class Deferral(models.Model):
    """A defect deferred under the operator's MEL. It expires by its recorded date, not by keying."""

    class Category(models.TextChoices):
        A = "A", "A: as the item states"
        B = "B", "B: 3 days"
        C = "C", "C: 10 days"
        D = "D", "D: 120 days"

    defect = models.ForeignKey(Defect, models.PROTECT, related_name="deferrals")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="deferral")
    mel_item = models.CharField("MEL item", max_length=40)
    category = models.CharField("repair category", max_length=1, choices=Category)
    recorded_on = models.DateField("recorded date")
    expires_on = models.DateField("last day", help_text="The whole of this day in the operator's time base.")
    limits_icing = models.BooleanField(
        default=True, help_text="Holds against flight in icing while it lasts."
    )
    limitation = models.TextField(help_text="Limitation text, as on the placard.")
    deferred_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    deferred_at = models.DateTimeField()

    class Meta:
        ordering = ["-recorded_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expires_on__gte=models.F("recorded_on")), name="deferral_dates_ordered"
            )
        ]

    def __str__(self) -> str:
        return f"{self.mel_item}, category {self.category}, until {self.expires_on}"


class Rectification(models.Model):
    """The end of a defect, signed by an authorised person. A retest supports it only."""

    defect = models.OneToOneField(Defect, models.PROTECT, related_name="rectification")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="rectification")
    retest = models.ForeignKey("checks.CheckEvent", models.PROTECT, null=True, blank=True, related_name="+")
    text = models.TextField()
    rectified_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    rectified_at = models.DateTimeField()

    class Meta:
        ordering = ["rectified_at"]

    def __str__(self) -> str:
        return self.text[:60]
