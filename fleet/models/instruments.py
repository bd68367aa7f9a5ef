"""Instruments with their calibrations."""

import datetime as dt

from django.db import models
from django.db.models import Case, F, OuterRef, Q, Subquery, Value, When

IN_CALIBRATION = "in calibration"
DUE_SOON = "calibration due soon"
OUT_OF_CALIBRATION = "out of calibration"
NOT_NEEDED = "no calibration needed"


class InstrumentQuerySet(models.QuerySet):
    def with_calibration(self, on: dt.date, soon_days: int = 30) -> "InstrumentQuerySet":
        """Adds `calibration_due` (date or None) and `calibration_state`, one of the words above.

        The newest calibration done by that day counts, and counts for nothing if it failed.
        """
        newest = Calibration.objects.filter(instrument=OuterRef("pk"), calibrated_on__lte=on).order_by(
            "-calibrated_on"
        )
        soon = on + dt.timedelta(days=soon_days)
        return self.annotate(
            calibration_due=Subquery(newest.values("due_on")[:1]),
            calibration_result=Subquery(newest.values("result")[:1]),
        ).annotate(
            calibration_state=Case(
                When(needs_calibration=False, then=Value(NOT_NEEDED)),
                When(calibration_result=Calibration.Result.FAILED, then=Value(OUT_OF_CALIBRATION)),
                When(calibration_due__gt=soon, then=Value(IN_CALIBRATION)),
                When(calibration_due__gte=on, then=Value(DUE_SOON)),
                default=Value(OUT_OF_CALIBRATION),
                output_field=models.CharField(),
            )
        )


class Instrument(models.Model):
    """A gauge, vessel, thermometer or refractometer used for readings."""

    class Kind(models.TextChoices):
        GAUGE = "gauge", "pressure gauge"
        VESSEL = "vessel", "measuring vessel"
        THERMOMETER = "thermometer", "thermometer"
        REFRACTOMETER = "refractometer", "refractometer"
        VOLTMETER = "voltmeter", "voltmeter"

    class AccuracyKind(models.TextChoices):
        FULL_SCALE = "full_scale_percent", "% of full scale"
        READING = "reading_percent", "% of reading"
        ABSOLUTE = "absolute", "± in its unit"

    code = models.SlugField(max_length=24, unique=True, help_text="Short code on the label.")
    kind = models.CharField(max_length=16, choices=Kind)
    description = models.CharField(max_length=120, blank=True)
    owner = models.CharField(max_length=80, help_text="Who owns it; a lender's name for a borrowed one.")
    serial_number = models.CharField(max_length=40, blank=True)
    base = models.ForeignKey("fleet.Base", models.PROTECT, null=True, blank=True, related_name="instruments")
    unit = models.CharField(
        max_length=12, help_text="Unit it reads in, as UCUM code: kPa, bar, [psi], mL, Cel."
    )
    range_low = models.DecimalField(max_digits=9, decimal_places=3)
    range_high = models.DecimalField(max_digits=9, decimal_places=3)
    resolution = models.DecimalField(max_digits=9, decimal_places=4)
    accuracy_kind = models.CharField(max_length=20, choices=AccuracyKind)
    accuracy = models.DecimalField(max_digits=9, decimal_places=4)
    needs_calibration = models.BooleanField(
        default=True, help_text="Off for a plain vessel with engraved marks."
    )
    in_use = models.BooleanField(default=True)

    objects = InstrumentQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(range_high__gt=F("range_low")), name="instrument_range_ordered"
            ),
            models.CheckConstraint(condition=Q(resolution__gt=0), name="instrument_resolution_positive"),
            models.CheckConstraint(condition=Q(accuracy__gte=0), name="instrument_accuracy_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.get_kind_display()})"


class CalibrationQuerySet(models.QuerySet):
    def covering(self, on: dt.date) -> "CalibrationQuerySet":
        """Good calibrations in force on the day, at most one per instrument; the due day still counts.

        A newer calibration done by that day takes the place of an older one, the more so if it failed.
        """
        newer = Calibration.objects.filter(
            instrument=OuterRef("instrument"),
            calibrated_on__lte=on,
            calibrated_on__gt=OuterRef("calibrated_on"),
        )
        return (
            self.filter(~models.Exists(newer), calibrated_on__lte=on, due_on__gte=on)
            .exclude(result=Calibration.Result.FAILED)
            .order_by("-calibrated_on")
        )


class Calibration(models.Model):
    """One calibration with its certificate."""

    class Result(models.TextChoices):
        PASSED = "passed", "passed"
        ADJUSTED = "adjusted", "adjusted, then passed"
        FAILED = "failed", "failed"

    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField()
    due_on = models.DateField("calibration due")
    result = models.CharField(max_length=10, choices=Result, default=Result.PASSED)
    error_found = models.DecimalField(
        max_digits=9,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="As found, in its unit: read too high (+) or too low (-). Empty: not known.",
    )
    laboratory = models.CharField(max_length=120, blank=True)
    certificate_number = models.CharField(max_length=60)
    certificate_file = models.FileField(upload_to="certificates/", blank=True)

    objects = CalibrationQuerySet.as_manager()

    class Meta:
        ordering = ["instrument", "-calibrated_on"]
        constraints = [
            models.UniqueConstraint(fields=["instrument", "calibrated_on"], name="calibration_once_a_day"),
            models.CheckConstraint(
                condition=Q(due_on__gt=F("calibrated_on")),
                name="calibration_dates_ordered",
                violation_error_message="Calibration is due after the day it was done.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument.code}: {self.calibrated_on}, due {self.due_on} ({self.certificate_number})"
