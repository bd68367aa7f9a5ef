"""Serialised panels and components, and the time each spends in a position."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from fleet.models.variant import Position


class Part(models.Model):
    """One serialised panel or component."""

    part_number = models.CharField(max_length=40)
    serial_number = models.CharField(max_length=40)
    kind = models.CharField(max_length=16, choices=Position.Kind)
    description = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["part_number", "serial_number"]
        constraints = [
            models.UniqueConstraint(
                fields=["part_number", "serial_number"], name="part_serial_once_per_number"
            )
        ]

    def __str__(self) -> str:
        return f"{self.part_number} s/n {self.serial_number}"


class FitmentQuerySet(models.QuerySet):
    def current(self) -> "FitmentQuerySet":
        """Those not removed."""
        return self.filter(removed_on=None)


class Fitment(models.Model):
    """The time a part spends in one position of one aircraft; the day of removal is not part of it."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="fitments")
    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="fitments")
    position = models.ForeignKey("fleet.Position", models.PROTECT, related_name="fitments")
    fitted_on = models.DateField()
    fitted_hours = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    removed_hours = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    removal_reason = models.CharField(max_length=200, blank=True)
    removed_as_planned = models.BooleanField(
        "planned",
        default=False,
        help_text="A removal that the programme asks for. Any other counts as unscheduled.",
    )

    objects = FitmentQuerySet.as_manager()

    class Meta:
        ordering = ["aircraft", "position", "-fitted_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(removed_on=None) | Q(removed_on__gte=F("fitted_on")),
                name="fitment_dates_ordered",
                violation_error_message="A part can't be removed before it was fitted.",
            ),
            models.CheckConstraint(
                condition=Q(removed_hours=None)
                | Q(fitted_hours=None)
                | Q(removed_hours__gte=F("fitted_hours")),
                name="fitment_hours_ordered",
                violation_error_message="Hours at removal can't be below hours at fitting.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} in {self.position} of {self.aircraft} from {self.fitted_on}"

    def clean(self) -> None:
        """Refuse a second part in one position, or one part in two, before the database does."""
        if not (self.aircraft_id and self.position_id and self.part_id and self.fitted_on):
            return
        if self.position.variant_id != self.aircraft.variant_id:
            raise ValidationError(
                {"position": f"{self.position} is not a position of {self.aircraft.variant}."}
            )
        if self.removed_on == self.fitted_on:
            return  # no day of its own, so nothing to meet
        overlap = Fitment.objects.exclude(Q(pk=self.pk) | Q(removed_on=F("fitted_on"))).filter(
            Q(removed_on=None) | Q(removed_on__gt=self.fitted_on)
        )
        if self.removed_on:
            overlap = overlap.filter(fitted_on__lt=self.removed_on)
        other = overlap.filter(aircraft=self.aircraft, position=self.position).select_related("part").first()
        if other:
            raise ValidationError(
                {"position": f"{other.part} is there since {other.fitted_on}. Remove it first."}
            )
        other = overlap.filter(part=self.part).select_related("aircraft", "position").first()
        if other:
            raise ValidationError(
                {"part": f"It is fitted to {other.aircraft}, {other.position}. Remove it there first."}
            )
