"""What an implausible reading was asked about before signing: both values and the answer stay on record."""

from django.db import models
from django.db.models import Q

from checks.models.event import Reading


class EntryQuestion(models.Model):
    """One question about one measuring step of a check, with its answer; frozen with the event.

    Of a step that measures fluid temperature it asks about all points that stray the same way. The figures
    are filled in when the check is signed, as the server judged them then.
    """

    class Answer(models.TextChoices):
        REPEATED = "repeated", "read again"
        KEPT = "kept", "kept for a reason"

    event = models.ForeignKey("checks.CheckEvent", models.CASCADE, related_name="questions")
    step = models.ForeignKey("checks.Step", models.PROTECT, related_name="+")
    answer = models.CharField(max_length=8, choices=Answer)
    reason = models.CharField(max_length=200, blank=True, help_text="Why the reading stands as it is.")
    temperature = models.DecimalField("fluid temperature", max_digits=6, decimal_places=2, null=True)
    read = models.DecimalField(
        max_digits=14, decimal_places=6, null=True, help_text="What was asked about, canonical."
    )
    low = models.DecimalField(max_digits=14, decimal_places=6, null=True, help_text="The least expected.")
    high = models.DecimalField(max_digits=14, decimal_places=6, null=True, help_text="The most expected.")
    run = models.ForeignKey(
        "checks.DriftRun",
        models.PROTECT,
        null=True,
        related_name="questions",
        help_text="The fit that expected it; kept as long as this record.",
    )

    class Meta:
        ordering = ["event", "step"]
        constraints = [
            models.UniqueConstraint(fields=["event", "step"], name="question_once_on_a_step"),
            models.CheckConstraint(
                condition=~Q(answer="kept") | ~Q(reason=""), name="question_kept_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.get_answer_display()}"


class FirstReading(models.Model):
    """A value that was read again: the first one, as typed, beside the reading that counts."""

    event = models.ForeignKey("checks.CheckEvent", models.CASCADE, related_name="first_readings")
    step = models.ForeignKey("checks.Step", models.PROTECT, related_name="+")
    role = models.CharField(max_length=12, choices=Reading.Role)
    sequence = models.PositiveSmallIntegerField(default=0)
    typed = models.CharField(max_length=24)
    unit = models.CharField(max_length=12)
    value = models.DecimalField(max_digits=14, decimal_places=6, help_text="Canonical.")
    elapsed_seconds = models.DecimalField(max_digits=7, decimal_places=1, null=True, blank=True)
    instrument = models.ForeignKey("fleet.Instrument", models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["event", "step", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["event", "step", "sequence"], name="first_reading_once_per_place")
        ]

    def __str__(self) -> str:
        return f"{self.typed} {self.unit}, read first"


class ExpectedValue(models.Model):
    """What a point's own history let expect of its value as the check was signed; frozen with the event.

    Where there is no such row, the value was held against nothing: too few readings, temperature from memory,
    entered late, corrected, from paper records, or signed before values were held against anything.
    """

    event = models.ForeignKey("checks.CheckEvent", models.CASCADE, related_name="expected_values")
    point = models.ForeignKey("fleet.MeasuringPoint", models.PROTECT, related_name="+")
    low = models.DecimalField(max_digits=14, decimal_places=6, help_text="The least expected, canonical.")
    high = models.DecimalField(max_digits=14, decimal_places=6, help_text="The most expected, canonical.")

    class Meta:
        ordering = ["event", "point"]
        constraints = [
            models.UniqueConstraint(fields=["event", "point"], name="expected_value_once_per_point")
        ]

    def __str__(self) -> str:
        return f"{self.point}: {self.low} to {self.high}"
