"""Freezing-point-depressant fluid by batch."""

from django.db import models
from django.db.models import F, Q


class FluidBatch(models.Model):
    """One delivery of fluid."""

    code = models.SlugField(max_length=24, unique=True)
    kind = models.CharField(max_length=60, help_text="Kind of fluid as on the drum, e.g. FPD 85 %.")
    base = models.ForeignKey("fleet.Base", models.PROTECT, related_name="fluid_batches")
    received_on = models.DateField()
    expires_on = models.DateField()
    litres = models.DecimalField(max_digits=8, decimal_places=1)

    class Meta:
        ordering = ["-received_on", "code"]
        verbose_name_plural = "fluid batches"
        constraints = [
            models.CheckConstraint(condition=Q(expires_on__gt=F("received_on")), name="fluid_dates_ordered"),
            models.CheckConstraint(condition=Q(litres__gt=0), name="fluid_litres_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.code} ({self.kind}, until {self.expires_on})"
