"""Procedures as data: what a check is, step by step, with its limits."""

import datetime as dt

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q


class Procedure(models.Model):
    """One task on one variant: its revisions hold the text, the steps and the limits."""

    class Kind(models.TextChoices):
        CHECK = "check", "check"
        PURGE = "purge", "purge"
        SERVICE = "service", "service"
        CHANGE = "change", "part or line change"

    class UseAfter(models.TextChoices):
        DEACTIVATED = "deactivated", "deactivated"
        IN_USE = "in use", "returned to use"

    variant = models.ForeignKey("fleet.Variant", models.PROTECT, related_name="procedures")
    code = models.SlugField(max_length=24)
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.CHECK)
    jasc = models.CharField("JASC code", max_length=4, default="3010")
    is_inspection = models.BooleanField(default=False)
    extent = models.CharField(
        max_length=200, blank=True, help_text="Brief extent, as an inspection record states it."
    )
    needs_inspection = models.BooleanField("needs a second signature", default=False)
    fluid_litres = models.DecimalField(
        "litres of fluid it takes",
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text="What one carrying out takes from stock. Empty: not stated.",
    )
    wets_panels = models.BooleanField(
        "puts fluid through the panels", default=False, help_text="Days dry are counted from it."
    )
    use_after = models.CharField(
        "use of the system after it",
        max_length=12,
        choices=UseAfter,
        blank=True,
        help_text="Empty: it changes nothing.",
    )

    class Meta:
        ordering = ["variant", "code"]
        constraints = [
            models.UniqueConstraint(fields=["variant", "code"], name="procedure_code_once_per_variant")
        ]

    def __str__(self) -> str:
        return f"{self.title} ({self.variant})"


class RevisionQuerySet(models.QuerySet):
    def in_force(self, on: dt.date) -> "RevisionQuerySet":
        """The approved revision of each procedure that is effective on the day and not superseded by then."""
        later = Revision.objects.filter(
            procedure=models.OuterRef("procedure"),
            approved_at__isnull=False,
            effective_on__lte=on,
            effective_on__gt=models.OuterRef("effective_on"),
        )
        return self.filter(~models.Exists(later), approved_at__isnull=False, effective_on__lte=on)


class Revision(models.Model):
    """One revision of a procedure. Typed by one person, approved by another, never edited once approved."""

    procedure = models.ForeignKey(Procedure, models.PROTECT, related_name="revisions")
    number = models.CharField(max_length=12)
    source_reference = models.CharField(
        max_length=200,
        help_text="The operator's approved manual, chapter and revision, from which this was typed.",
    )
    typed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    typed_at = models.DateTimeField(auto_now_add=True)
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+", editable=False
    )
    approved_at = models.DateTimeField(null=True, blank=True, editable=False)
    effective_on = models.DateField()

    objects = RevisionQuerySet.as_manager()

    class Meta:
        ordering = ["procedure", "effective_on", "pk"]
        permissions = [("approve_revision", "Can approve a revision that another person typed")]
        constraints = [
            models.UniqueConstraint(fields=["procedure", "number"], name="revision_number_once"),
            models.UniqueConstraint(
                fields=["procedure", "effective_on"],
                condition=Q(approved_at__isnull=False),
                name="one_revision_effective_a_day",
            ),
            models.CheckConstraint(
                condition=Q(approved_by=None, approved_at=None)
                | Q(approved_by__isnull=False, approved_at__isnull=False),
                name="revision_approval_whole",
            ),
            models.CheckConstraint(
                condition=Q(approved_by=None) | ~Q(approved_by=F("typed_by")),
                name="revision_approved_by_another",
                violation_error_message="The person who typed a revision can't approve it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.procedure.title}, revision {self.number}"


class LimitTable(models.Model):
    """Limits by fluid temperature for one measuring point."""

    class Kind(models.TextChoices):
        UPPER = "upper", "upper"
        LOWER = "lower", "lower"
        BOTH = "both", "upper and lower"

    class Rule(models.TextChoices):
        STRICTER = "stricter_row", "stricter row"
        LINEAR = "linear", "linear between rows"
        ROWS_ONLY = "rows_only", "rows only"

    revision = models.ForeignKey(Revision, models.CASCADE, related_name="limit_tables")
    point = models.ForeignKey("fleet.MeasuringPoint", models.PROTECT, related_name="limit_tables")
    unit = models.CharField(
        max_length=12, help_text="Unit of the rows as printed in the manual, as UCUM code."
    )
    kind = models.CharField(max_length=6, choices=Kind, default=Kind.UPPER)
    reading_rule = models.CharField(max_length=12, choices=Rule, default=Rule.STRICTER)
    source_reference = models.CharField(max_length=200, help_text="Table or figure of the operator's manual.")

    class Meta:
        ordering = ["revision", "point"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "point"], name="limit_table_once_per_point")
        ]

    def __str__(self) -> str:
        return f"{self.point}: {self.get_kind_display()} limit"


class LimitRow(models.Model):
    """One row of a limit table, in the table's unit."""

    table = models.ForeignKey(LimitTable, models.CASCADE, related_name="rows")
    temperature = models.DecimalField(max_digits=5, decimal_places=2, help_text="Fluid temperature in °C.")
    lower = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    upper = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)

    class Meta:
        ordering = ["table", "temperature"]
        constraints = [
            models.UniqueConstraint(fields=["table", "temperature"], name="limit_row_once"),
            models.CheckConstraint(condition=~Q(lower=None, upper=None), name="limit_row_has_a_limit"),
            models.CheckConstraint(
                condition=Q(lower=None) | Q(upper=None) | Q(upper__gt=F("lower")), name="limit_row_ordered"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.temperature} °C: {self.lower or ''}..{self.upper or ''}"


class Step(models.Model):
    """One step. Which of the fields below apply is decided by the kind."""

    class Kind(models.TextChoices):
        WARNING = "warning", "warning"
        CAUTION = "caution", "caution"
        NOTE = "note", "note"
        INSTRUCTION = "instruction", "instruction"
        CONFIRM = "confirm", "confirm"
        OBSERVE = "observe", "observe"
        MEASURE = "measure", "measure"
        TIMED_SERIES = "timed_series", "timed series"
        TIMED_COLLECTION = "timed_collection", "timed collection"

    revision = models.ForeignKey(Revision, models.CASCADE, related_name="steps")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=18, choices=Kind)
    text = models.TextField()
    restore_text = models.TextField(
        blank=True, help_text="Confirm: the step that puts back what this one disturbs."
    )
    # Observe: one answer for every position of this kind.
    position_kind = models.CharField(max_length=16, blank=True)
    # Measure, timed series, timed collection.
    quantity = models.CharField(max_length=12, blank=True)
    unit = models.CharField(max_length=12, blank=True, help_text="Unit offered first, as UCUM code.")
    point = models.ForeignKey(
        "fleet.MeasuringPoint", models.PROTECT, null=True, blank=True, related_name="steps"
    )
    instrument_kind = models.CharField(max_length=16, blank=True)
    cadence_seconds = models.PositiveSmallIntegerField(null=True, blank=True)
    ceiling = models.DecimalField(
        max_digits=9, decimal_places=3, null=True, blank=True, help_text="Timed series: in the step's unit."
    )
    ceiling_after_seconds = models.PositiveSmallIntegerField(null=True, blank=True)
    duration_seconds = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["revision", "number"]
        constraints = [models.UniqueConstraint(fields=["revision", "number"], name="step_number_once")]

    def __str__(self) -> str:
        return f"{self.number}. {self.text[:60]}"
