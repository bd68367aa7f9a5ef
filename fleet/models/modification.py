"""Modifications, and on which aircraft each is embodied."""

from django.db import models
from django.db.models import F, Q


class Modification(models.Model):
    """A change to the aircraft that the programme may ask about, by the number under which it is filed."""

    code = models.CharField("number", max_length=24, unique=True)
    title = models.CharField(max_length=120)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code}, {self.title}"


class Embodiment(models.Model):
    """One modification on one aircraft, from a day on and, where it was taken out again, up to another.

    What is not entered here counts as not embodied.
    """

    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="embodiments")
    modification = models.ForeignKey(Modification, models.PROTECT, related_name="embodiments")
    embodied_on = models.DateField()
    removed_on = models.DateField(null=True, blank=True)
    reference = models.CharField(max_length=120, help_text="The record of the work.")

    class Meta:
        ordering = ["aircraft", "modification", "embodied_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["aircraft", "modification"],
                condition=Q(removed_on=None),
                name="modification_embodied_once",
            ),
            models.CheckConstraint(
                condition=Q(removed_on=None) | Q(removed_on__gte=F("embodied_on")),
                name="embodiment_ends_after_it_began",
                violation_error_message="It can't be removed before it was embodied.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.modification.code} on {self.aircraft}"
