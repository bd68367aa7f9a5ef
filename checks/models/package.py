"""Work packages: checks done together on one aircraft in one stay; what they share; plans and their runs.

A package is advice of the planner until a controller accepts it. The due list stays the truth: a package
keeps the due dates that it was made for, so that it can say what has moved since.
"""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q


class Preparation(models.Model):
    """Access or equipment that several tasks need: made ready once, it serves all of one stay."""

    class Kind(models.TextChoices):
        ACCESS = "access", "access"
        EQUIPMENT = "equipment", "equipment"

    kind = models.CharField(max_length=10, choices=Kind)
    name = models.CharField(max_length=80, unique=True)
    minutes = models.PositiveSmallIntegerField(
        help_text="To open and close it, or to set it up and take it down, in minutes of work."
    )
    procedures = models.ManyToManyField("checks.Procedure", blank=True, related_name="preparations")

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name


class PartNeeded(models.Model):
    """Pieces of a stock item that a procedure uses up."""

    procedure = models.ForeignKey("checks.Procedure", models.CASCADE, related_name="parts_needed")
    item = models.ForeignKey("checks.StockItem", models.PROTECT, related_name="+")
    pieces = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])

    class Meta:
        ordering = ["procedure", "item"]
        verbose_name_plural = "parts needed"
        constraints = [models.UniqueConstraint(fields=["procedure", "item"], name="part_needed_once")]

    def __str__(self) -> str:
        return f"{self.pieces} × {self.item}"


class WorkDay(models.Model):
    """A day on which a base works other hours than usual; none: closed."""

    base = models.ForeignKey("fleet.Base", models.CASCADE, related_name="days_of_work")
    on = models.DateField("day")
    hours = models.DecimalField(
        "hours of work",
        max_digits=5,
        decimal_places=2,
        validators=[MinValueValidator(0), MaxValueValidator(500)],
        help_text="0: closed.",
    )
    reason = models.CharField(max_length=120, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["base", "on"]
        constraints = [models.UniqueConstraint(fields=["base", "on"], name="work_day_once")]

    def __str__(self) -> str:
        return f"{self.base}, {self.on}: {self.hours:f} h"


class PlanRun(models.Model):
    """One reckoning of the plan. Claimed by one worker, which says every few seconds that it is alive."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    days = models.PositiveSmallIntegerField(
        "days ahead", default=90, validators=[MinValueValidator(7), MaxValueValidator(180)]
    )
    forward_days = models.PositiveSmallIntegerField(
        "brought forward by at most, days", default=28, validators=[MaxValueValidator(120)]
    )
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    active = models.BooleanField(null=True, default=True, unique=True, editable=False)
    worker = models.CharField(max_length=32, blank=True, editable=False)
    started_at = models.DateTimeField(null=True, editable=False)
    alive_at = models.DateTimeField(null=True, editable=False)
    finished_at = models.DateTimeField(null=True, editable=False)
    bases = models.PositiveSmallIntegerField(default=0, editable=False)
    solved = models.PositiveSmallIntegerField(default=0, editable=False)
    words = models.CharField(max_length=400, blank=True, editable=False)
    result = models.JSONField(default=list, blank=True, editable=False)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"Plan of {self.asked_at:%d %b %Y %H:%M}: {self.state}"


class WorkPackageQuerySet(models.QuerySet):
    def accepted(self) -> "WorkPackageQuerySet":
        return self.filter(state=WorkPackage.State.ACCEPTED)

    def proposed(self) -> "WorkPackageQuerySet":
        return self.filter(state=WorkPackage.State.PROPOSED)


class WorkPackage(models.Model):
    """The checks of one aircraft on one day at one base. The next plan makes proposals anew; what is pinned
    keeps its day then, and what is accepted stays as it is."""

    class State(models.TextChoices):
        PROPOSED = "proposed", "proposed"
        ACCEPTED = "accepted", "accepted"
        WITHDRAWN = "withdrawn", "withdrawn"

    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="packages")
    base = models.ForeignKey("fleet.Base", models.PROTECT, related_name="packages")
    on = models.DateField("day")
    state = models.CharField(max_length=10, choices=State, default=State.PROPOSED)
    pinned = models.BooleanField(default=False, help_text="A proposal that keeps its day in the next plan.")
    locked = models.BooleanField(default=False, help_text="Accepted, and closed to moves and further checks.")
    run = models.ForeignKey(PlanRun, models.SET_NULL, null=True, related_name="packages")
    joins = models.ForeignKey(
        "self", models.CASCADE, null=True, related_name="joined_by", help_text="What it is proposed to join."
    )
    made_at = models.DateTimeField()
    accepted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    accepted_at = models.DateTimeField(null=True)

    objects = WorkPackageQuerySet.as_manager()

    class Meta:
        ordering = ["on", "base", "aircraft"]
        permissions = [("plan_packages", "Can propose, accept and change work packages")]
        indexes = [models.Index(fields=["base", "on"], name="package_by_base")]
        constraints = [
            models.UniqueConstraint(
                fields=["aircraft", "on"], condition=Q(state="accepted"), name="one_accepted_package_a_day"
            ),
            models.CheckConstraint(condition=Q(locked=False) | ~Q(state="proposed"), name="package_locked"),
            models.CheckConstraint(condition=Q(pinned=False) | Q(state="proposed"), name="package_pinned"),
            models.CheckConstraint(
                condition=Q(state="proposed", accepted_by=None, accepted_at=None)
                | (~Q(state="proposed") & Q(accepted_by__isnull=False, accepted_at__isnull=False)),
                name="package_accepted_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"Package {self.pk}: {self.aircraft}, {self.on}"


class PackageCheck(models.Model):
    """A check of a package, with what the due list said when it was put in."""

    package = models.ForeignKey(WorkPackage, models.CASCADE, related_name="checks")
    check_due = models.ForeignKey("checks.RecurringCheck", models.PROTECT, related_name="packaged")
    due_on = models.DateField(null=True)
    done_on = models.DateField(null=True, help_text="When it was last done, as known then.")

    class Meta:
        ordering = ["package", "due_on", "pk"]
        constraints = [models.UniqueConstraint(fields=["package", "check_due"], name="package_check_once")]

    def __str__(self) -> str:
        return str(self.check_due)


class PackageChange(models.Model):
    """What a person did with a package, in order. Appended, never changed."""

    class What(models.TextChoices):
        ACCEPTED = "accepted", "accepted"
        JOINED = "checks added", "checks added"
        LEFT_OUT = "check taken out", "check taken out"
        MOVED = "moved", "moved"
        LOCKED = "locked", "locked"
        UNLOCKED = "unlocked", "unlocked"
        WITHDRAWN = "withdrawn", "withdrawn"

    package = models.ForeignKey(WorkPackage, models.PROTECT, related_name="changes")
    what = models.CharField(max_length=16, choices=What)
    words = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["package", "pk"]

    def __str__(self) -> str:
        return f"{self.get_what_display()}: {self.words}"
