"""What turned out to be the cause behind a check's readings, as a person found it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

OTHER = "other"


def cause_choices() -> list[tuple[str, str]]:
    """The causes that the ranking knows, in its order, and anything else."""
    from checks.engine.diagnosis_causes import CAUSES  # numpy is loaded when a form asks, not at start
    from checks.engine.diagnosis_words import CAUSE_WORDS

    return [*((cause, CAUSE_WORDS[cause]) for cause in CAUSES), (OTHER, "something else, see the remark")]


class CauseFound(models.Model):
    """One confirmed cause. Appended, never changed; the newest of an event counts. Not a signature."""

    event = models.ForeignKey("checks.CheckEvent", models.PROTECT, related_name="causes_found")
    cause = models.CharField(max_length=24, choices=cause_choices)
    position = models.ForeignKey(
        "fleet.Position", models.PROTECT, null=True, blank=True, related_name="+", help_text="Where it was."
    )
    remark = models.CharField(max_length=400, blank=True)
    ranking = models.JSONField(
        default=dict,
        blank=True,
        help_text="What was ranked when it was recorded: verdict and (cause, share, panel).",
    )
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    found_at = models.DateTimeField()

    class Meta:
        ordering = ["-found_at", "-pk"]
        verbose_name = "confirmed cause"
        verbose_name_plural = "confirmed causes"
        constraints = [
            models.CheckConstraint(
                condition=~Q(cause=OTHER) | ~Q(remark=""),
                name="cause_other_has_a_remark",
                violation_error_message="Say in the remark what it was.",
            )
        ]

    def __str__(self) -> str:
        where = f", {self.position}" if self.position_id else ""
        return f"{self.get_cause_display()}{where}"
