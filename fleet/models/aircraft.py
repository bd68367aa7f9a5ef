"""Aircraft."""

from django.core.validators import RegexValidator
from django.db import models

REGISTRATION = RegexValidator(r"^[A-Z0-9]+(-[A-Z0-9]+)*$", "Use capital letters, digits and single hyphens.")


class Aircraft(models.Model):
    """One aircraft. Deleting is never needed: an aircraft that leaves is set 'left the fleet'."""

    class State(models.TextChoices):
        IN_SERVICE = "in_service", "in service"
        STORED = "stored", "stored"
        LEFT = "left", "left the fleet"

    registration = models.CharField(max_length=12, unique=True, validators=[REGISTRATION])
    serial_number = models.CharField(max_length=40, unique=True)
    type_name = models.CharField(max_length=60)
    variant = models.ForeignKey("fleet.Variant", models.PROTECT, related_name="aircraft")
    base = models.ForeignKey("fleet.Base", models.PROTECT, related_name="aircraft")
    state = models.CharField(max_length=12, choices=State, default=State.IN_SERVICE)
    state_since = models.DateField(
        "in this state since", null=True, blank=True, help_text="Day on which it was stored or came back."
    )
    entered_service_on = models.DateField()
    modifications = models.CharField(max_length=200, blank=True, help_text="Modification state, as filed.")

    class Meta:
        ordering = ["registration"]
        verbose_name_plural = "aircraft"

    def __str__(self) -> str:
        return self.registration
