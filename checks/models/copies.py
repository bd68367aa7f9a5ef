"""What phones sent of a check: one row for the latest of each phone, and a row for whatever lost a conflict.

A copy is no part of the record. It outlives a draft that was thrown away, and may arrive after the check was
signed: that is why its event is not held by the database.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q


class DraftCopy(models.Model):
    """The whole form of one check as one phone held it."""

    class State(models.TextChoices):
        KEPT = "kept", "kept in the draft"
        CONFLICT = "conflict", "kept beside the draft"
        REPLACED = "replaced", "stood in the draft before"

    event = models.ForeignKey(
        "checks.CheckEvent", models.DO_NOTHING, db_constraint=False, related_name="copies"
    )
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    device = models.CharField(max_length=36, help_text="Key of the browser, made by itself.")
    state = models.CharField(max_length=8, choices=State)
    number = models.PositiveIntegerField(default=0, help_text="The phone's own count of what it sent.")
    base = models.CharField(max_length=64, blank=True, help_text="The draft that the phone last knew.")
    revision = models.CharField(max_length=64, blank=True, help_text="The draft after this was kept.")
    client_clock = models.DateTimeField(null=True, blank=True, help_text="The phone's own time of sending.")
    sent_at = models.DateTimeField(help_text="The server's time.")
    content = models.JSONField(help_text="text by name of field, clocks by name (ISO times of the phone).")
    why = models.CharField(max_length=200, blank=True, help_text="Why it stands beside the draft.")

    class Meta:
        ordering = ["-sent_at", "-pk"]
        verbose_name_plural = "draft copies"
        indexes = [models.Index(fields=["event", "-sent_at"], name="copy_by_event")]
        constraints = [
            models.UniqueConstraint(
                fields=["event", "person", "device"],
                condition=Q(state="kept"),
                name="one_kept_copy_of_a_phone",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_state_display()}, sent {self.sent_at:%d %b %Y %H:%M}"

    @property
    def skew_seconds(self) -> int:
        """How far the phone's clock is ahead of the server's; behind is negative."""
        return round((self.client_clock - self.sent_at).total_seconds()) if self.client_clock else 0
