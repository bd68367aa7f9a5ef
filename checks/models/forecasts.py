"""What was forecast of a series and what came: made anew from the records, never part of them."""

from django.db import models

from checks.models.trend import SeriesState


class PastForecast(models.Model):
    """What today's method says after a reading, from what was on record then, and the reading that came next.

    Values at 20 °C in canonical units. after, came: keys of the two check events, which are never deleted.
    """

    aircraft = models.ForeignKey("fleet.Aircraft", models.CASCADE, related_name="+")
    point = models.ForeignKey("fleet.MeasuringPoint", models.CASCADE, related_name="+")
    after = models.UUIDField()
    came = models.UUIDField()
    life = models.PositiveSmallIntegerField(help_text="Which life of the series, from 0.")
    made_on = models.DateField(help_text="What was on record when this day began.")
    read_on = models.DateField()
    came_on = models.DateField()
    readings_in_life = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=16, choices=SeriesState.State)
    p_cross = models.FloatField(null=True, help_text="Chance to be over the limit on the day of what came.")
    crossing_on = models.DateField(null=True)
    low = models.FloatField(help_text="9 of 10 readings of that day should lie from here")
    high = models.FloatField(help_text="to here.")
    value = models.FloatField(help_text="What came.")
    was_over = models.BooleanField()
    over = models.BooleanField()
    crossed_on = models.DateField(
        null=True, help_text="Where a straight line between the two readings meets the limit."
    )
    model_version = models.CharField(max_length=24)

    class Meta:
        ordering = ["-came_on", "aircraft", "point"]
        constraints = [
            models.UniqueConstraint(fields=["aircraft", "point", "after"], name="past_forecast_once")
        ]
        indexes = [models.Index(fields=["-came_on"], name="past_forecast_newest")]

    def __str__(self) -> str:
        return f"{self.aircraft} {self.point}, {self.made_on} for {self.came_on}: {self.state}"


class ForecastCard(models.Model):
    """How the past forecasts did, counted; the newest counts. Older ones tell what has changed since.

    grades: engine.drift_card.Grade by period; alarms: [aircraft, point, state] of each series that was over
    its limit, closing or drifting.
    """

    made_at = models.DateTimeField()
    model_version = models.CharField(max_length=24)
    grades = models.JSONField()
    alarms = models.JSONField(default=list)

    class Meta:
        ordering = ["-made_at", "-pk"]
        get_latest_by = "made_at"

    def __str__(self) -> str:
        return f"Report card of {self.made_at:%Y-%m-%d %H:%M}"
