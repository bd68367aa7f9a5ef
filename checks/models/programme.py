"""The programme: which check recurs how often, and when it is due on each aircraft."""

from django.db import models
from django.db.models import Q


class RecurringCheck(models.Model):
    """An interval in any mix of days, months, hours, landings and season date, whichever occurs first."""

    class Counting(models.TextChoices):
        FROM_DONE = "from done", "from done"
        EXCESS_COUNTS = "excess counts", "the excess counts against the next interval"
        KEEP_GRID = "keep grid", "keep the grid inside the window"

    procedure = models.OneToOneField("checks.Procedure", models.PROTECT, related_name="recurring")
    interval_days = models.PositiveIntegerField(null=True, blank=True)
    interval_months = models.PositiveIntegerField(null=True, blank=True)
    interval_hours = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    interval_landings = models.PositiveIntegerField(null=True, blank=True)
    before_season = models.BooleanField(default=False, help_text="Due on the base's season date.")
    season_window_days = models.PositiveSmallIntegerField(
        default=90, help_text="Done within so many days before the season date, it counts for that season."
    )
    to_month_end = models.BooleanField(default=False)
    tolerance_days = models.PositiveIntegerField(default=0)
    tolerance_hours = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    tolerance_landings = models.PositiveIntegerField(default=0)
    counting = models.CharField(max_length=16, choices=Counting, default=Counting.FROM_DONE)
    work_hours = models.DecimalField(
        max_digits=5, decimal_places=2, default=1, help_text="Hours of work it takes."
    )
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["procedure"]
        constraints = [
            models.CheckConstraint(
                condition=Q(interval_days__gt=0)
                | Q(interval_months__gt=0)
                | Q(interval_hours__gt=0)
                | Q(interval_landings__gt=0)
                | Q(before_season=True),
                name="recurring_check_has_an_interval",
                violation_error_message="Give at least one interval or the season date.",
            )
        ]

    def __str__(self) -> str:
        return self.procedure.title


class DuePoint(models.Model):
    """When one recurring check is due on one aircraft. Stored, and kept right by services.due alone."""

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
    computed_at = models.DateTimeField()

    class Meta:
        ordering = ["due_on", "pk"]
        constraints = [models.UniqueConstraint(fields=["aircraft", "check_due"], name="due_point_once")]
        indexes = [models.Index(fields=["due_on", "id"], name="due_point_order")]

    def __str__(self) -> str:
        return f"{self.check_due} on {self.aircraft}: {self.due_on or 'no record'}"
