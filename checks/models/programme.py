"""The programme: which check recurs how often on which aircraft, how that was revised, and when it is due."""

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q


class Terms(models.Model):
    """What the programme says of a task: an interval in any mix of days, months, hours, landings and season
    date, whichever occurs first; from when it counts; and the aircraft on which it is due.

    In force in RecurringCheck; as typed, approved and kept in IntervalRevision.
    """

    class Counting(models.TextChoices):
        FROM_DONE = "from done", "from done"
        EXCESS_COUNTS = "excess counts", "the excess counts against the next interval"
        KEEP_GRID = "keep grid", "keep the grid inside the window"

    class First(models.TextChoices):
        NONE = "none", "not set: it counts from the first record"
        ENTRY = "entry", "one interval after entry into service"
        GIVEN = "given", "at the date, hours or landings given"

    class Fit(models.TextChoices):
        EMBODIED = "embodied", "only where it is embodied"
        NOT_EMBODIED = "not embodied", "only where it is not embodied"

    title = models.CharField(
        max_length=120, blank=True, help_text="Left empty, the title of the procedure is used."
    )
    active = models.BooleanField("in the programme", default=True)
    once = models.BooleanField("one-time check", default=False)
    reference = models.CharField(
        max_length=120, blank=True, help_text="What asks for it: programme item, or a bulletin's number."
    )
    interval_days = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    interval_months = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    interval_hours = models.DecimalField(
        max_digits=9, decimal_places=2, null=True, blank=True, validators=[MinValueValidator(Decimal("0.01"))]
    )
    interval_landings = models.PositiveIntegerField(null=True, blank=True, validators=[MinValueValidator(1)])
    before_season = models.BooleanField(default=False, help_text="Due on the base's season date.")
    season_window_days = models.PositiveSmallIntegerField(
        default=90, help_text="Done within so many days before the season date, it counts for that season."
    )
    to_month_end = models.BooleanField(
        "valid to the end of the calendar month", default=False, help_text="Moves the months' due date there."
    )
    tolerance_days = models.PositiveIntegerField(default=0)
    tolerance_hours = models.DecimalField(
        max_digits=9, decimal_places=2, default=0, validators=[MinValueValidator(0)]
    )
    tolerance_landings = models.PositiveIntegerField(default=0)
    counting = models.CharField(max_length=16, choices=Counting, default=Counting.FROM_DONE)
    first_due = models.CharField(max_length=8, choices=First, default=First.NONE)
    first_on = models.DateField("first due on", null=True, blank=True)
    first_hours = models.DecimalField(
        "first due at hours", max_digits=9, decimal_places=2, null=True, blank=True
    )
    first_landings = models.PositiveIntegerField("first due at landings", null=True, blank=True)
    counts_from = models.DateField(
        "counts what was done from", null=True, blank=True, help_text="Empty: everything on record counts."
    )
    only_on = models.ManyToManyField(
        "fleet.Aircraft",
        blank=True,
        related_name="+",
        help_text="None chosen: every aircraft of the variant.",
    )
    modification = models.ForeignKey(
        "fleet.Modification", models.PROTECT, null=True, blank=True, related_name="+"
    )
    fit = models.CharField("by modification state", max_length=12, choices=Fit, blank=True)
    work_hours = models.DecimalField(
        max_digits=5, decimal_places=2, default=1, help_text="Hours of work it takes."
    )

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                # A comparison with nothing is neither true nor false, and would pass.
                condition=Q(interval_days__isnull=False, interval_days__gt=0)
                | Q(interval_months__isnull=False, interval_months__gt=0)
                | Q(interval_hours__isnull=False, interval_hours__gt=0)
                | Q(interval_landings__isnull=False, interval_landings__gt=0)
                | Q(before_season=True)
                | Q(once=True, first_due="given"),
                name="%(class)s_has_an_interval",
                violation_error_message="Give at least one interval or the season date.",
            ),
            models.CheckConstraint(
                condition=Q(once=False) | (~Q(reference="") & ~Q(first_due="none")),
                name="%(class)s_once_is_whole",
                violation_error_message="A one-time check needs its reference and when it is due.",
            ),
            models.CheckConstraint(
                condition=~Q(first_due="given")
                | Q(first_on__isnull=False)
                | Q(first_hours__isnull=False)
                | Q(first_landings__isnull=False),
                name="%(class)s_first_due_is_whole",
                violation_error_message="Give the date, hours or landings at which it is first due.",
            ),
            models.CheckConstraint(
                condition=Q(modification=None, fit="") | (Q(modification__isnull=False) & ~Q(fit="")),
                name="%(class)s_fit_is_whole",
                violation_error_message="Say whether the modification must be embodied, and which one.",
            ),
        ]


class RecurringCheck(Terms):
    """One task: a procedure on an interval. A procedure may have several. Its terms are those in force."""

    procedure = models.ForeignKey("checks.Procedure", models.PROTECT, related_name="recurring")

    class Meta(Terms.Meta):
        ordering = ["procedure", "pk"]

    def __str__(self) -> str:
        return self.title

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Lists are sorted by title, so it is kept even where it is the procedure's own."""
        self.title = self.title or self.procedure.title
        super().save(*args, **kwargs)


class IntervalRevision(Terms):
    """The terms of one task as typed by one person; in force once another has approved them, then kept."""

    check_revised = models.ForeignKey(RecurringCheck, models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    reason = models.TextField(help_text="Why, and on what: experience, the manual's revision, a letter.")
    typed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    typed_at = models.DateTimeField()
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+", editable=False
    )
    approved_at = models.DateTimeField(null=True, blank=True, editable=False)
    replaced = models.JSONField(
        default=dict, blank=True, editable=False, help_text="The terms in force until it was approved."
    )

    class Meta(Terms.Meta):
        ordering = ["check_revised", "number"]
        verbose_name = "interval revision"
        constraints = [
            *Terms.Meta.constraints,
            models.UniqueConstraint(fields=["check_revised", "number"], name="interval_revision_number_once"),
            models.UniqueConstraint(
                fields=["check_revised"],
                condition=Q(approved_at=None),
                name="one_interval_revision_waits",
                violation_error_message="A revision of this task waits for approval already.",
            ),
            models.CheckConstraint(
                condition=Q(approved_by=None, approved_at=None)
                | Q(approved_by__isnull=False, approved_at__isnull=False),
                name="interval_revision_approval_whole",
            ),
            models.CheckConstraint(
                condition=Q(approved_by=None) | ~Q(approved_by=F("typed_by")),
                name="interval_revision_approved_by_another",
                violation_error_message="The person who typed a revision can't approve it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.check_revised}, interval revision {self.number}"


class DuePoint(models.Model):
    """When one recurring check is due on one aircraft. Stored, and kept right by services.due alone; the
    owner and the remarks are a person's, and stay when it is counted anew."""

    class Governing(models.TextChoices):
        CALENDAR = "calendar", "calendar"
        HOURS = "hours", "hours"
        LANDINGS = "landings", "landings"
        SEASON = "season", "season date"

    aircraft = models.ForeignKey("fleet.Aircraft", models.CASCADE, related_name="due_points")
    check_due = models.ForeignKey(RecurringCheck, models.CASCADE, related_name="due_points")
    last_event = models.ForeignKey("checks.CheckEvent", models.SET_NULL, null=True, related_name="+")
    done_on = models.DateField(null=True)
    done_hours = models.DecimalField(max_digits=9, decimal_places=2, null=True)
    done_landings = models.PositiveIntegerField(null=True)
    # Each limb as counted; empty where the interval has no such limb.
    calendar_on = models.DateField(null=True)
    due_hours = models.DecimalField(max_digits=9, decimal_places=2, null=True)
    due_landings = models.PositiveIntegerField(null=True)
    season_on = models.DateField(null=True)
    # Whichever occurs first, hours and landings turned into a date at the recent rate; empty: no record.
    due_on = models.DateField(null=True)
    latest_on = models.DateField(null=True, help_text="With tolerance; no plan counts on it.")
    governing = models.CharField(max_length=10, choices=Governing, blank=True)
    estimated = models.BooleanField(default=False, help_text="The date rests on a utilisation rate.")
    hours_left = models.DecimalField(max_digits=9, decimal_places=2, null=True)
    landings_left = models.IntegerField(null=True)
    untold = models.BooleanField(default=False, help_text="There is no record, or a limb cannot be told.")
    computed_at = models.DateTimeField()
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="due_points"
    )
    remarks = models.CharField(max_length=400, blank=True)
    noted_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [models.UniqueConstraint(fields=["aircraft", "check_due"], name="due_point_once")]
        indexes = [models.Index(fields=["due_on", "id"], name="due_point_order")]

    def __str__(self) -> str:
        return f"{self.check_due} on {self.aircraft}: {self.due_on or 'no record'}"
