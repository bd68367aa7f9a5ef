"""Who carries a check on: each change of hands while it is a draft, with the steps then open."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class Handover(models.Model):
    """One change of hands, or the offer of one. Appended; the one change is that the receiver accepts it.

    The newest accepted one names who holds the draft; without any, who started it does. An offer that a
    later row followed is void.
    """

    class Way(models.TextChoices):
        GIVEN = "handed over", "handed over"
        TAKEN = "taken over", "taken over"
        ASSIGNED = "assigned", "assigned"

    event = models.ForeignKey("checks.CheckEvent", models.CASCADE, related_name="handovers")
    way = models.CharField(max_length=12, choices=Way)
    giver = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", help_text="Who held it until then."
    )
    giver_name = models.CharField(max_length=301)
    receiver = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="handed_to")
    receiver_name = models.CharField(max_length=301)
    at = models.DateTimeField()
    note = models.CharField(max_length=400, blank=True)
    open_steps = models.TextField(blank=True, help_text="What was open when it was accepted, one a line.")
    accepted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["event", "pk"]
        indexes = [models.Index(fields=["receiver", "accepted_at"], name="handover_by_receiver")]
        constraints = [
            models.CheckConstraint(
                condition=Q(accepted_at=None) | Q(accepted_at__gte=models.F("at")),
                name="handover_accepted_after_it_was_offered",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_way_display()}: {self.giver_name} to {self.receiver_name}"

    @property
    def open_lines(self) -> list[str]:
        return self.open_steps.splitlines()
