"""Instruments with their calibrations."""

import datetime as dt

from django.db import models
from django.db.models import F, Q


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
        """Good calibrations in force on the day, newest first; the due day itself still counts."""
        return (
            self.filter(calibrated_on__lte=on, due_on__gte=on)
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
