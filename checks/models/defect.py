"""Defects: something unsatisfactory found, deferred or rectified by a person."""

import datetime as dt

from django.conf import settings
from django.db import models
from django.db.models import Q

from checks.models.mel import Category as RepairCategory


class DefectQuerySet(models.QuerySet):
    def open(self) -> "DefectQuerySet":
        """Not rectified; deferred ones included."""
        return self.filter(rectification=None)


class Defect(models.Model):
    """One defect of an aircraft. Closed only by a rectification that a person signs."""

    class Source(models.TextChoices):
        PILOT = "pilot report", "pilot report"
        HAND = "by hand", "found at work"

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
    point = models.ForeignKey(
        "fleet.MeasuringPoint", models.PROTECT, null=True, blank=True, related_name="defects"
    )
    description = models.TextField()
    # Empty in rows from before these were asked for: a check found it, or it was entered by hand.
    source = models.CharField(max_length=12, choices=Source, blank=True)
    reported_by = models.CharField(
        max_length=80, blank=True, help_text="Who reported it, where not who typed."
    )
    reference = models.CharField(max_length=60, blank=True, help_text="Page of the technical log.")
    recorded_on = models.DateField(
        "recorded date", null=True, blank=True, help_text="Written up on. Empty: on the day it was entered."
    )
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

    @property
    def found_by(self) -> str:
        """How it came on record, in words."""
        if self.event_id:
            return "a check"
        return self.get_source_display() if self.source else "entered by hand"

    @property
    def newest_deferral(self) -> "Deferral | None":
        """The deferral that governs: the last one signed. A query unless the deferrals were fetched."""
        return max(self.deferrals.all(), key=lambda one: one.pk, default=None)

    def state(self, today: dt.date) -> str:
        """closed, open, or what its newest deferral is today in the deferral time base.

        A few queries unless rectification and deferrals were fetched with it (Deferral.WHOLE).
        """
        if hasattr(self, "rectification"):
            return "closed"
        newest = self.newest_deferral
        return newest.state(today) if newest else "open"


class Deferral(models.Model):
    """A defect deferred under the operator's MEL. It expires by its recorded date, not by keying."""

    Category = RepairCategory
    WHOLE = ("deferrals__extensions__answer", "deferrals__use")  # what to prefetch for `last_day` and `state`

    defect = models.ForeignKey(Defect, models.PROTECT, related_name="deferrals")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="deferral")
    item = models.ForeignKey(
        "checks.MelItem",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="deferrals",
        help_text="Empty in deferrals from before the MEL was kept here.",
    )
    mel_item = models.CharField("MEL item", max_length=40)
    category = models.CharField("repair category", max_length=1, choices=RepairCategory)
    recorded_on = models.DateField("recorded date")
    expires_on = models.DateField(
        "last day",
        null=True,
        blank=True,
        help_text="The whole of this day in the operator's time base. Empty: flight hours or flight days.",
    )
    limit_hours = models.PositiveIntegerField("flight hours stated", null=True, blank=True)
    from_hours = models.DecimalField(
        "total flight hours when recorded", max_digits=9, decimal_places=2, null=True, blank=True
    )
    limit_flight_days = models.PositiveIntegerField("flight days stated", null=True, blank=True)
    limits_icing = models.BooleanField(
        default=True, help_text="Holds against flight in icing while it lasts."
    )
    limitation = models.TextField(help_text="Limitation text, as on the placard.")
    placard = models.CharField("placard text", max_length=200, blank=True)
    placard_placed = models.BooleanField(null=True, blank=True)
    maintenance_confirmed = models.BooleanField("(M) steps done", null=True, blank=True)
    operations_confirmed = models.BooleanField("(O) steps made known to the crew", null=True, blank=True)
    deferred_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    deferred_at = models.DateTimeField()

    class Meta:
        ordering = ["-recorded_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expires_on__gte=models.F("recorded_on")), name="deferral_dates_ordered"
            ),
            models.CheckConstraint(
                condition=Q(expires_on__isnull=False)
                | Q(limit_hours__isnull=False, from_hours__isnull=False)
                | Q(limit_flight_days__isnull=False),
                name="deferral_has_a_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mel_item}, category {self.category}, {self.limit_words}"

    @property
    def limit_words(self) -> str:
        """What it was deferred for, without what came later. No query."""
        if self.limit_hours is not None:
            return f"{self.limit_hours} flight hours from {self.from_hours} h"
        if self.limit_flight_days is not None:
            return f"{self.limit_flight_days} flight days"
        return f"until {self.expires_on:%d %b %Y}"

    @property
    def first_told(self) -> str:
        """How long it was to hold when it was signed, as histories say it. No query."""
        return (
            f"last day {self.expires_on.day} {self.expires_on:%b %Y}" if self.expires_on else self.limit_words
        )

    @property
    def extension(self) -> "Extension | None":
        """The one that was approved. A query unless extensions were fetched with their answers."""
        approved = (one for one in self.extensions.all() if hasattr(one, "answer") and one.answer.approved)
        return next(approved, None)

    @property
    def last_day(self) -> dt.date | None:
        """The last day on which it holds, extension and recorded use counted; None: not reached by what is
        recorded. Queries unless fetched (WHOLE)."""
        extension = self.extension
        by_use = self.use.last_on if hasattr(self, "use") else None
        days = (extension.expires_on if extension else self.expires_on, by_use)
        return min((day for day in days if day), default=None)

    @property
    def known_until(self) -> dt.date | None:
        """After this day the recorded use can't tell whether it still holds; None: it always can."""
        return self.use.known_until if hasattr(self, "use") else None

    def state(self, today: dt.date) -> str:
        """deferred, deferral expired, or deferral limit not known."""
        if self.last_day and self.last_day < today:
            return "deferral expired"
        return "deferral limit not known" if self.known_until and self.known_until < today else "deferred"


class DeferralUse(models.Model):
    """Flight hours or flight days used up of a deferral that is limited by them, by what is recorded.

    Stored, and kept right by services.deferral_use alone whenever utilisation changes.
    """

    deferral = models.OneToOneField(Deferral, models.CASCADE, related_name="use")
    used = models.DecimalField(max_digits=9, decimal_places=2)
    left = models.DecimalField(max_digits=9, decimal_places=2)
    counted_to = models.DateField(null=True, help_text="Day of the newest utilisation entry counted.")
    last_on = models.DateField(null=True, help_text="The last day on which it holds; empty: not reached.")
    known_until = models.DateField(
        null=True, help_text="After it, what is recorded can't tell. Empty: reached."
    )

    def __str__(self) -> str:
        return f"{self.used} used, {self.left} left"


class Extension(models.Model):
    """An extension that was asked for. It holds only with an approving answer by another person."""

    deferral = models.ForeignKey(Deferral, models.PROTECT, related_name="extensions")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="extension")
    expires_on = models.DateField("new last day")
    justification = models.TextField()
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()

    class Meta:
        ordering = ["asked_at"]
        permissions = [("approve_extension", "Can approve the extension of a deferral")]

    def __str__(self) -> str:
        return f"until {self.expires_on:%d %b %Y}"


class ExtensionAnswer(models.Model):
    """What another person decided about an extension. One approval for each defect, ever."""

    extension = models.OneToOneField(Extension, models.PROTECT, related_name="answer")
    defect = models.ForeignKey(Defect, models.PROTECT, related_name="+")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="extension_answer")
    approved = models.BooleanField()
    text = models.TextField("reason")
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    answered_at = models.DateTimeField()

    class Meta:
        ordering = ["answered_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["defect"], condition=Q(approved=True), name="one_extension_of_a_defect"
            )
        ]

    def __str__(self) -> str:
        return f"{'approved' if self.approved else 'refused'}: {self.text[:60]}"


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
