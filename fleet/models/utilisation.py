"""Utilisation: hours and landings by date, forwards only among the entries that stand."""

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models


class UtilisationQuerySet(models.QuerySet):
    def standing(self) -> "UtilisationQuerySet":
        """Entries that no correction has superseded."""
        return self.filter(superseded_by=None)


class UtilisationEntry(models.Model):
    """Total time and landings of one aircraft at the end of a day. Corrected by a new entry, never edited."""

    class Kind(models.TextChoices):
        READING = "reading", "reading"
        METER_CHANGE = "meter_change", "meter change"

    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="utilisation")
    on = models.DateField("date")
    hours = models.DecimalField(
        "total flight hours", max_digits=9, decimal_places=2, validators=[MinValueValidator(0)]
    )
    landings = models.PositiveIntegerField("total landings")
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.READING)
    remark = models.CharField(max_length=200, blank=True)
    source = models.CharField(
        max_length=120, blank=True, help_text="Where the figures come from, e.g. file and line."
    )
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by", editable=False
    )

    objects = UtilisationQuerySet.as_manager()

    class Meta:
        ordering = ["aircraft", "on", "pk"]
        verbose_name_plural = "utilisation entries"
        indexes = [models.Index(fields=["aircraft", "-on"], name="utilisation_latest")]
        constraints = [
            models.CheckConstraint(condition=models.Q(hours__gte=0), name="utilisation_hours_not_negative")
        ]

    def __str__(self) -> str:
        return f"{self.aircraft} {self.on}: {self.hours} h, {self.landings} landings"
