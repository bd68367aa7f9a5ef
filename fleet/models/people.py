"""The people: one account each, with the authorisations on file."""

import datetime as dt

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q


class User(AbstractUser):
    """A person who signs in. A leaver is set inactive; what was signed keeps the name."""

    certificate_number = models.CharField(max_length=40, blank=True)
    certificate_kind = models.CharField(max_length=60, blank=True, help_text="Kind of certificate held.")
    home_base = models.ForeignKey("fleet.Base", models.PROTECT, null=True, blank=True, related_name="people")

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class AuthorisationQuerySet(models.QuerySet):
    def in_force(self, on: dt.date) -> "AuthorisationQuerySet":
        """Those that hold on the day, both ends included."""
        return self.filter(Q(valid_until=None) | Q(valid_until__gte=on), valid_from__lte=on)


class Authorisation(models.Model):
    """What a person may perform, inspect or release, and until when."""

    class Act(models.TextChoices):
        PERFORM = "perform", "perform"
        INSPECT = "inspect", "inspect (second signature)"
        RELEASE = "release", "release to service"

    user = models.ForeignKey(User, models.PROTECT, related_name="authorisations")
    act = models.CharField(max_length=10, choices=Act)
    variants = models.ManyToManyField(
        "fleet.Variant", blank=True, related_name="+", help_text="None chosen: every variant."
    )
    reference = models.CharField(max_length=60, help_text="Where the authorisation is filed.")
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)

    objects = AuthorisationQuerySet.as_manager()

    class Meta:
        ordering = ["user", "act", "valid_from"]
        constraints = [
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=models.F("valid_from")),
                name="authorisation_dates_ordered",
                violation_error_message="An authorisation can't end before it begins.",
            )
        ]

    def __str__(self) -> str:
        until = f"until {self.valid_until}" if self.valid_until else "without end"
        return f"{self.get_act_display()}, {until} ({self.reference})"
