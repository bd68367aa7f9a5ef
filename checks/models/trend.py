"""Stored drift results: replaced by each refresh, never part of the signed records."""

from django.db import models
from django.utils import timezone


class DriftRun(models.Model):
    """One fleet regression: model version, parameters and the hash of its inputs."""

    model_version = models.CharField(max_length=24)
    parameters = models.JSONField()
    inputs_hash = models.CharField(max_length=64)
    readings = models.PositiveIntegerField()
    run_at = models.DateTimeField()
    finished_at = models.DateTimeField(
        null=True, help_text="When every aircraft was scored by it. Empty: under way, or broken off."
    )
    printed_at = models.DateTimeField(
        null=True,
        help_text="When a report on paper last named it; it is kept from then on.",
    )

    class Meta:
        ordering = ["-run_at"]
        get_latest_by = "run_at"

    def __str__(self) -> str:
        return f"{self.model_version}, {self.run_at:%Y-%m-%d %H:%M}, {self.readings} readings"


class SeriesState(models.Model):
    """What the trend service says of one measuring point of one aircraft."""

    class State(models.TextChoices):
        OVER = "over limit", "over limit"
        CLOSING = "closing", "closing"
        DRIFTING = "drifting", "drifting"
        STEADY = "steady", "steady"
        TOO_FEW = "too few readings", "too few readings"

    # What needs a person first; of a steady series more is known than of one with too few readings.
    URGENCY = (State.OVER, State.CLOSING, State.DRIFTING, State.TOO_FEW, State.STEADY)

    aircraft = models.ForeignKey("fleet.Aircraft", models.CASCADE, related_name="series")
    point = models.ForeignKey("fleet.MeasuringPoint", models.CASCADE, related_name="series")
    run = models.ForeignKey(DriftRun, models.CASCADE, related_name="series")
    state = models.CharField(max_length=16, choices=State)
    urgency = models.PositiveSmallIntegerField(help_text="Rank of the state, 0 first.")
    p_drift = models.FloatField(null=True)
    p_cross = models.FloatField(null=True, help_text="Chance to cross the limit before the next check.")
    crossing_on = models.DateField(null=True)
    crossing_low = models.DateField(null=True)
    crossing_high = models.DateField(null=True)
    margin = models.FloatField(null=True, help_text="Share of the limit left at 20 °C, 0.12 = 12 %.")
    readings_in_life = models.PositiveSmallIntegerField()
    life_began_on = models.DateField(null=True)
    next_check_on = models.DateField(null=True)
    action = models.CharField(max_length=24)
    action_by = models.DateField(null=True)
    chart = models.JSONField(
        help_text="Arrays for the chart: days, as read, compensated, band, limit, resets."
    )
    facts = models.JSONField(
        default=dict, help_text="What else is said of it: levels at 20 °C, notices, earlier lives."
    )
    inputs_hash = models.CharField(
        max_length=64, blank=True, help_text="Of the readings, lives and references of its aircraft."
    )
    scored_at = models.DateTimeField(
        default=timezone.now, help_text="When it was last scored; an aircraft also after each signing."
    )

    class Meta:
        ordering = ["urgency", "-p_cross", "pk"]
        constraints = [models.UniqueConstraint(fields=["aircraft", "point"], name="series_state_once")]

    def __str__(self) -> str:
        return f"{self.aircraft} {self.point}: {self.state}"
