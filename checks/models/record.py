"""Signatures and the record chains.

Each aircraft has a chain; the operator has one for what belongs to no aircraft. Every signature, decision,
deferral and rectification is one link: canonical JSON (form v1), hashed together with the previous link's
hash.
"""

from django.conf import settings
from django.db import models


class ChainHead(models.Model):
    """The newest link of one chain. Its row is locked while a link is added, so a chain can't fork."""

    aircraft = models.OneToOneField(
        "fleet.Aircraft",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="chain",
        help_text="Empty: the operator's.",
    )
    owner = models.CharField(max_length=24, unique=True, help_text="'operator', or 'aircraft' and its key.")
    number = models.PositiveIntegerField(default=0)
    hash = models.CharField(max_length=64)

    def __str__(self) -> str:
        return f"{self.aircraft or 'operator'} #{self.number}"


class Record(models.Model):
    """One link. Appended, never changed, never deleted."""

    chain = models.ForeignKey(ChainHead, models.PROTECT, related_name="records")
    number = models.PositiveIntegerField()
    act = models.CharField(max_length=24)
    form = models.PositiveSmallIntegerField(default=1)
    canonical = models.TextField()
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["chain", "number"]
        permissions = [("take_pack", "Can take audit packs")]
        constraints = [
            models.UniqueConstraint(fields=["chain", "number"], name="record_number_once"),
            models.UniqueConstraint(fields=["chain", "previous_hash"], name="record_chain_never_forks"),
        ]

    def __str__(self) -> str:
        return f"{self.reference} {self.act}"

    @property
    def reference(self) -> str:
        """Record number as printed: owner and running number."""
        owner = self.chain.aircraft.registration if self.chain.aircraft_id else "OPERATOR"
        return f"{owner}/{self.number:05d}"


class Signature(models.Model):
    """One signature under an event, with name, certificate and authorisation as they were then."""

    class Act(models.TextChoices):
        PERFORMED = "performed", "performed"
        INSPECTED = "inspected", "inspected"
        RELEASED = "released", "released"
        ACCEPTED = "accepted", "accepted from paper records"

    event = models.ForeignKey("checks.CheckEvent", models.PROTECT, related_name="signatures")
    record = models.OneToOneField(Record, models.PROTECT, related_name="signature")
    act = models.CharField(max_length=10, choices=Act)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="signatures")
    name = models.CharField(max_length=150)
    certificate_number = models.CharField(max_length=40)
    certificate_kind = models.CharField(max_length=60)
    authorisation = models.CharField(
        max_length=120, help_text="Reference and end of the authorisation relied on."
    )
    statement = models.TextField()
    signed_at = models.DateTimeField()

    class Meta:
        ordering = ["event", "signed_at"]
        constraints = [models.UniqueConstraint(fields=["event", "act"], name="signature_once_per_act")]

    def __str__(self) -> str:
        return f"{self.get_act_display()}: {self.name}"
