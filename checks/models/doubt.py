"""Doubt: an instrument found out of calibration, and what a person made of each check that it touched.

Which checks those are is never stored: they are asked for (checks.selectors.doubt), so that a check signed
after the finding is among them. Nothing of a signed check changes.
"""

import datetime as dt

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class InstrumentFinding(models.Model):
    """An instrument found out of calibration. Appended, never changed: a later finding takes its place."""

    instrument = models.ForeignKey("fleet.Instrument", models.PROTECT, related_name="findings")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="finding")
    calibration = models.ForeignKey(
        "fleet.Calibration",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Its last good one before that day, where the doubt begins. Empty: none is on file.",
    )
    found_on = models.DateField("day found")
    error = models.DecimalField(
        "error found",
        max_digits=9,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="In the instrument's unit: it reads too high (+) or too low (-). Empty: not known.",
    )
    text = models.TextField("how it was found")
    replaces = models.OneToOneField(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="replaced_by",
        help_text="An earlier finding that this one takes the place of, as where the error is known by now.",
    )
    reported_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()

    class Meta:
        ordering = ["-found_on", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "found_on"],
                condition=Q(replaces=None),
                name="finding_once_a_day",
                violation_error_message="This instrument was reported for this day already.",
            ),
            models.CheckConstraint(
                condition=Q(replaces=None) | ~Q(replaces=F("id")), name="finding_not_own_past"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument.code}, found out of calibration on {self.found_on:%d %b %Y}"

    @property
    def begins_on(self) -> dt.date | None:
        """First day in doubt; None: every reading ever taken with it. No query with its calibration."""
        return self.calibration.calibrated_on if self.calibration else None

    def covers(self, day: dt.date) -> bool:
        """Whether work of that day is in question; both end days are."""
        return day <= self.found_on and (self.begins_on is None or self.begins_on <= day)


class DoubtReview(models.Model):
    """What an authorised person decided about one check that a finding touches. Appended, never changed."""

    finding = models.ForeignKey(InstrumentFinding, models.PROTECT, related_name="reviews")
    event = models.ForeignKey("checks.CheckEvent", models.PROTECT, related_name="doubt_reviews")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="doubt_review")
    outcome = models.CharField(
        max_length=12,
        blank=True,
        help_text="With the error corrected, as it stood at the review. Empty: the error is not known.",
    )
    accepted = models.BooleanField(help_text="The check stands; otherwise it is to be repeated.")
    text = models.TextField("reason")
    reviewed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reviewed_at = models.DateTimeField()

    class Meta:
        ordering = ["reviewed_at"]
        constraints = [models.UniqueConstraint(fields=["finding", "event"], name="doubt_reviewed_once")]

    def __str__(self) -> str:
        return f"{'stands' if self.accepted else 'to be repeated'}: {self.text[:60]}"
