"""Notices: what a person wants to be told by mail, what was told, and calendar feeds of the bases."""

from django.conf import settings
from django.db import models


class NoticeChoice(models.Model):
    """What one person is told by mail, and of which bases. No row: nothing is sent."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="notice_choice")
    overdue = models.BooleanField("checks overdue or in tolerance", default=False)
    due_soon = models.BooleanField("checks due soon", default=False)
    deferrals = models.BooleanField("deferrals that end soon or have expired", default=False)
    defects = models.BooleanField("new defects", default=False)
    packages = models.BooleanField("work packages accepted, or no longer as the due list", default=False)
    every_base = models.BooleanField(default=True)
    bases = models.ManyToManyField("fleet.Base", blank=True, related_name="+")
    changed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"Notices of {self.person}"


class NoticeTold(models.Model):
    """One fact that one person was told. A date that moves makes it another fact."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="told")
    fact = models.CharField(max_length=160)
    told_at = models.DateTimeField()

    class Meta:
        ordering = ["-told_at"]
        constraints = [models.UniqueConstraint(fields=["person", "fact"], name="told_once")]

    def __str__(self) -> str:
        return f"{self.person}: {self.fact}"


class CalendarFeed(models.Model):
    """A private address at which the calendar of one base is read without log-in. Only the digest of its
    secret is kept, so that nobody reads the address out of the database."""

    base = models.ForeignKey("fleet.Base", models.PROTECT, related_name="feeds")
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="feeds")
    name = models.CharField(max_length=60, blank=True, help_text="Where it is used, e.g. hangar screen.")
    digest = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["base", "-made_at"]

    def __str__(self) -> str:
        return f"{self.base}: {self.name or 'calendar'}"
