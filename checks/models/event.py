"""Check events: one carrying out of a procedure, with everything read, seen and concluded.

A draft may change. Signing as performed freezes the event and all its rows: the database refuses any
further change (checks/guard_rules.py). What follows later (signatures, decisions, corrections) is a row of
its own.
"""

import datetime as dt
import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class CheckEventQuerySet(models.QuerySet):
    def signed(self) -> "CheckEventQuerySet":
        """Signed as performed, or accepted from import; superseded ones included."""
        return self.filter(state=CheckEvent.State.SIGNED)

    def standing(self, at: dt.datetime | None = None) -> "CheckEventQuerySet":
        """Signed, not superseded, and with the second signature where the procedure asks for one.

        at: as the records stood at that moment; what was signed, corrected or imported later is not known.
        """
        from checks.models.record import Signature

        inspected = Signature.objects.filter(event=models.OuterRef("pk"), act=Signature.Act.INSPECTED)
        superseding = Q(superseded_by__state=CheckEvent.State.SIGNED)
        found = self.signed()
        if at is not None:
            inspected = inspected.filter(signed_at__lte=at)
            superseding &= Q(superseded_by__signed_at__lte=at)
            brought = Q(import_batch=None) | Q(import_batch__imported_at__lte=at)
            found = found.filter(brought, signed_at__lte=at)
        return found.filter(
            Q(revision__procedure__needs_inspection=False)
            | Q(source=CheckEvent.Source.IMPORTED)
            | models.Exists(inspected),
        ).filter(~superseding)


class CheckEvent(models.Model):
    """One carrying out of a procedure revision on one aircraft."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        SIGNED = "signed", "signed"

    class Source(models.TextChoices):
        ENTERED = "entered", "entered"
        IMPORTED = "imported", "from paper records"

    class Outcome(models.TextChoices):
        WITHIN = "within limit", "within limit"
        BORDERLINE = "borderline", "borderline"
        OVER = "over limit", "over limit"
        NOT_VALID = "not valid", "not valid"
        DONE = "done", "done"

    uuid = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="events")
    revision = models.ForeignKey("checks.Revision", models.PROTECT, related_name="events")
    base = models.ForeignKey(
        "fleet.Base", models.PROTECT, related_name="+", help_text="Where the work was done."
    )
    state = models.CharField(max_length=8, choices=State, default=State.DRAFT)
    source = models.CharField(max_length=10, choices=Source, default=Source.ENTERED)
    work_date = models.DateField("date of work")
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    started_at = models.DateTimeField(auto_now_add=True)
    signed_at = models.DateTimeField(null=True, blank=True, help_text="When it was signed as performed.")
    hours = models.DecimalField("total flight hours", max_digits=9, decimal_places=2, null=True, blank=True)
    landings = models.PositiveIntegerField("total landings", null=True, blank=True)
    # What else moves a reading, kept because it confounds.
    pump = models.CharField(max_length=40, blank=True)
    mode = models.CharField(max_length=40, blank=True)
    supply_voltage = models.CharField(max_length=16, blank=True, help_text="In volts, as typed.")
    temperature_place = models.CharField(
        max_length=80, blank=True, help_text="Where the fluid temperature was taken."
    )
    temperature_from_memory = models.BooleanField(default=False)
    gauge_height = models.CharField(max_length=40, blank=True)
    hose_bled = models.BooleanField(null=True, blank=True)
    fluid_batch = models.ForeignKey(
        "fleet.FluidBatch", models.PROTECT, null=True, blank=True, related_name="+"
    )
    remarks = models.TextField(blank=True)
    # Concluded when signed.
    outcome = models.CharField(max_length=12, choices=Outcome, blank=True)
    outcome_reason = models.TextField(blank=True)
    next_action = models.CharField(max_length=200, blank=True)
    too_low = models.BooleanField(
        default=False, help_text="Far under the aircraft's baseline: a person must decide."
    )
    follows = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="followed_by",
        help_text="Purge and retest loop.",
    )
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="superseded_by", editable=False
    )
    correction_reason = models.TextField(blank=True)
    import_batch = models.ForeignKey(
        "checks.ImportBatch", models.PROTECT, null=True, blank=True, related_name="events", editable=False
    )
    import_line = models.PositiveIntegerField(null=True, blank=True, editable=False)
    import_key = models.CharField(max_length=64, null=True, blank=True, unique=True, editable=False)

    objects = CheckEventQuerySet.as_manager()

    class Meta:
        ordering = ["-work_date", "-started_at"]
        indexes = [
            models.Index(fields=["aircraft", "-work_date"], name="event_by_aircraft"),
            models.Index(fields=["-work_date", "uuid"], name="event_by_date"),
            # Few of many: the icing status asks for these alone, of the whole fleet.
            models.Index(fields=["aircraft"], condition=Q(outcome="not valid"), name="event_not_valid"),
            models.Index(fields=["aircraft"], condition=Q(state="draft"), name="event_draft"),
            # The unique index holds every check that corrects nothing too: where nothing was ever corrected,
            # SQLite's statistics of it say that it finds nothing, and it reads the whole table instead.
            models.Index(
                fields=["supersedes"], condition=Q(supersedes__isnull=False), name="event_corrected"
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="draft", signed_at=None) | Q(state="signed", signed_at__isnull=False),
                name="event_signed_when_frozen",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(correction_reason=""), name="event_correction_has_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(supersedes=F("uuid")), name="event_not_own_past"
            ),
        ]
        permissions = [
            ("view_records", "Can read the records of the fleet"),
            ("record_check", "Can record checks and sign them as performed"),
            ("inspect_check", "Can give the second signature"),
            ("release_check", "Can sign a release to service"),
            ("decide_reading", "Can decide in writing on a reading far under the baseline"),
            ("accept_import", "Can import and accept records"),
        ]

    def __str__(self) -> str:
        return f"{self.revision.procedure.title}, {self.aircraft}, {self.work_date}"

    @property
    def is_draft(self) -> bool:
        return self.state == self.State.DRAFT


class Reading(models.Model):
    """One measured value as typed and in canonical units (kPa gauge, mL/min, °C)."""

    class Role(models.TextChoices):
        TEMPERATURE = "temperature", "fluid temperature"
        SERIES = "series", "value of a timed series"
        COLLECTION = "collection", "collected volume"
        SINGLE = "single", "single value"

    event = models.ForeignKey(CheckEvent, models.CASCADE, related_name="readings")
    step = models.ForeignKey("checks.Step", models.PROTECT, related_name="+")
    point = models.ForeignKey(
        "fleet.MeasuringPoint", models.PROTECT, null=True, blank=True, related_name="readings"
    )
    role = models.CharField(max_length=12, choices=Role)
    sequence = models.PositiveSmallIntegerField(default=0)
    typed = models.CharField(max_length=24)
    unit = models.CharField(max_length=12)
    value = models.DecimalField(max_digits=14, decimal_places=6, help_text="Canonical.")
    elapsed_seconds = models.DecimalField(
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Since pump start; of a collection, its length.",
    )
    instrument = models.ForeignKey(
        "fleet.Instrument", models.PROTECT, null=True, blank=True, related_name="readings"
    )
    calibration = models.ForeignKey(
        "fleet.Calibration", models.PROTECT, null=True, blank=True, related_name="+"
    )
    mark = models.CharField(max_length=60, blank=True, help_text="What settling made of it.")

    class Meta:
        ordering = ["event", "step", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["event", "step", "sequence"], name="reading_once_per_place")
        ]

    def __str__(self) -> str:
        return f"{self.typed} {self.unit}"


class Observation(models.Model):
    """What was seen at one position: satisfactory or not, with a remark."""

    event = models.ForeignKey(CheckEvent, models.CASCADE, related_name="observations")
    step = models.ForeignKey("checks.Step", models.PROTECT, related_name="+")
    position = models.ForeignKey(
        "fleet.Position", models.PROTECT, null=True, blank=True, related_name="observations"
    )
    satisfactory = models.BooleanField()
    remark = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["event", "step", "position"]
        constraints = [
            models.UniqueConstraint(fields=["event", "step", "position"], name="observation_once"),
            models.UniqueConstraint(
                fields=["event", "step"], condition=Q(position=None), name="observation_of_no_position_once"
            ),
        ]

    def __str__(self) -> str:
        return "satisfactory" if self.satisfactory else "not satisfactory"


class CautionFollowed(models.Model):
    """A warning, caution or confirm step that the technician acknowledged."""

    event = models.ForeignKey(CheckEvent, models.CASCADE, related_name="cautions_followed")
    step = models.ForeignKey("checks.Step", models.PROTECT, related_name="+")
    restored = models.BooleanField(default=False, help_text="For a step that disturbs: put back.")
    acknowledged_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["event", "step"]
        constraints = [models.UniqueConstraint(fields=["event", "step"], name="caution_once")]

    def __str__(self) -> str:
        return str(self.step)


class Result(models.Model):
    """What the engine concluded for one measuring point, frozen with the event."""

    event = models.ForeignKey(CheckEvent, models.CASCADE, related_name="results")
    point = models.ForeignKey("fleet.MeasuringPoint", models.PROTECT, related_name="results")
    value = models.DecimalField(max_digits=14, decimal_places=6, null=True)
    temperature = models.DecimalField(max_digits=6, decimal_places=2, null=True)
    lower = models.DecimalField(max_digits=14, decimal_places=6, null=True)
    upper = models.DecimalField(max_digits=14, decimal_places=6, null=True)
    margin = models.DecimalField(
        max_digits=14, decimal_places=6, null=True, help_text="Positive: inside the limit."
    )
    uncertainty = models.DecimalField(
        max_digits=14, decimal_places=6, null=True, help_text="Expanded, k = 2."
    )
    outcome = models.CharField(max_length=12, choices=CheckEvent.Outcome)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ["event", "point"]
        constraints = [models.UniqueConstraint(fields=["event", "point"], name="result_once_per_point")]

    def __str__(self) -> str:
        return f"{self.point}: {self.outcome}"


class Reset(models.Model):
    """A measuring point whose series starts anew after this event: purge, panel or line change."""

    class Why(models.TextChoices):
        PURGE = "purge", "purge"
        REPLACEMENT = "replacement", "replacement"

    event = models.ForeignKey(CheckEvent, models.CASCADE, related_name="resets")
    point = models.ForeignKey("fleet.MeasuringPoint", models.PROTECT, related_name="resets")
    why = models.CharField(max_length=12, choices=Why)

    class Meta:
        ordering = ["event", "point"]
        constraints = [models.UniqueConstraint(fields=["event", "point"], name="reset_once_per_point")]

    def __str__(self) -> str:
        return f"{self.point}: {self.why}"


class Decision(models.Model):
    """A person's written decision on a reading far under the baseline. Appended, never changed."""

    event = models.OneToOneField(CheckEvent, models.PROTECT, related_name="decision")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="decision")
    accepted = models.BooleanField(help_text="The reading is accepted as true, with the reason given.")
    text = models.TextField()
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()

    class Meta:
        ordering = ["decided_at"]

    def __str__(self) -> str:
        return f"{'accepted' if self.accepted else 'not accepted'}: {self.text[:60]}"
