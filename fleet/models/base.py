"""The operator and its bases."""

import zoneinfo

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models


def valid_time_zone(name: str) -> None:
    """Refuse a name that the time zone database does not know."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(f"“{name}” is not a time zone. Use a name such as Atlantic/Reykjavik or UTC.")


class Operator(models.Model):
    """The one operator of this installation: a single row, so that records can name it."""

    RECORD_43_9 = "43.9"
    RECORD_43_11 = "43.11"

    name = models.CharField(max_length=120)
    deferral_time_zone = models.CharField(
        max_length=64,
        default="UTC",
        validators=[valid_time_zone],
        help_text="The one time base in which deferral days begin and end.",
    )
    inspection_records = models.BooleanField(
        default=True,
        help_text="Records of tasks that are inspections also carry what 14 CFR 43.11 asks: total time, "
        "extent, approved or disapproved, list of discrepancies.",
    )
    purges_before_escalation = models.PositiveSmallIntegerField(
        default=2,
        validators=[MinValueValidator(1)],
        help_text="After this many purges on one occasion it escalates.",
    )
    too_low_share = models.DecimalField(
        max_digits=3,
        decimal_places=2,
        default="0.50",
        validators=[MinValueValidator(0), MaxValueValidator(1)],
        help_text="A reading under this share of the aircraft's own baseline needs a decision in writing.",
    )
    dry_days = models.PositiveSmallIntegerField(
        "days dry before a prompt",
        default=60,
        validators=[MinValueValidator(1)],
        help_text="After so many days without fluid through the panels by these records, wetting them is "
        "prompted. Common practice, no source; a variant may have its own figure.",
    )
    entry_sds = models.DecimalField(
        "width of what is expected",
        max_digits=3,
        decimal_places=1,
        default="3.5",
        validators=[MinValueValidator(2), MaxValueValidator(20)],
        help_text="A reading further than this many standard deviations from what the aircraft's own history "
        "foretells is asked about before signing. 20 asks next to nothing.",
    )
    due_soon_days = models.PositiveSmallIntegerField(default=30)
    repeat_defect_days = models.PositiveSmallIntegerField(
        "days for a repeat defect",
        default=60,
        help_text="A defect at the same position or point within so many days of another is a repeat.",
    )
    stale_use_days = models.PositiveSmallIntegerField(
        "days until utilisation is stale",
        default=14,
        validators=[MinValueValidator(1)],
        help_text="With nothing entered for longer than this, no limit in hours or landings is known.",
    )
    is_demo = models.BooleanField(default=False, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="operator_is_one_row")]
        verbose_name_plural = "operator"

    def __str__(self) -> str:
        return self.name

    def save(self, *args, **kwargs) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> "Operator":
        """The operator, or an unnamed one with the default settings. One query."""
        return cls.objects.filter(pk=1).first() or cls(pk=1, name="Operator not yet entered")


class Base(models.Model):
    """A place from which aircraft fly and where they are worked on."""

    class Hemisphere(models.TextChoices):
        NORTH = "N", "northern"
        SOUTH = "S", "southern"

    code = models.SlugField(max_length=12, unique=True)
    name = models.CharField(max_length=80, unique=True)
    time_zone = models.CharField(max_length=64, validators=[valid_time_zone])
    hemisphere = models.CharField(max_length=1, choices=Hemisphere)
    season_month = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(12)])
    season_day = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(28)],
        help_text="Day of the month, 1 to 28, so that it exists in every year.",
    )
    season_days = models.PositiveSmallIntegerField(
        "length of the season in days",
        default=180,
        validators=[MinValueValidator(1), MaxValueValidator(365)],
        help_text="For an aircraft that comes while the season runs. The operator's figure, no source.",
    )

    work_hours = models.DecimalField(
        "hours of work a day",
        max_digits=5,
        decimal_places=2,
        default=8,
        validators=[MinValueValidator(0), MaxValueValidator(500)],
        help_text="For checks of the ice protection, all people together, on a usual day.",
    )
    work_days = models.CharField(
        "days of work",
        max_length=7,
        default="12345",
        validators=[
            RegexValidator(r"^1?2?3?4?5?6?7?$", "Digits of the weekdays in order, Monday is 1: 12345.")
        ],
        blank=True,
        help_text="Weekdays on which the base works, Monday is 1: 12345. Single days are set in the plan.",
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(season_month__range=(1, 12), season_day__range=(1, 28)),
                name="base_season_date_exists",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)
