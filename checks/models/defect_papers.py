"""What stands beside a defect: parts on order, ferry permits, work done outside, the release after it.

Each row is written once; a change of a part on order is a new row that replaces the old one.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class PartOrderQuerySet(models.QuerySet):
    def standing(self) -> "PartOrderQuerySet":
        """Those that no later row took the place of."""
        return self.filter(replaced_by=None)


class PartOrder(models.Model):
    """A part on order for a defect."""

    defect = models.ForeignKey("checks.Defect", models.PROTECT, related_name="part_orders")
    what = models.CharField(max_length=120)
    reference = models.CharField(max_length=60, help_text="Number of the order.")
    expected_on = models.DateField("expected date")
    arrived_on = models.DateField("arrived", null=True, blank=True)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by", editable=False
    )
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    objects = PartOrderQuerySet.as_manager()

    class Meta:
        ordering = ["expected_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(replaces=None) | ~Q(replaces=F("id")), name="part_order_not_own_past"
            )
        ]

    def __str__(self) -> str:
        return f"{self.what}, {self.reference}"


class FerryPermit(models.Model):
    """A permit for a ferry flight that an authority or its delegate granted; here it is recorded only."""

    aircraft = models.ForeignKey("fleet.Aircraft", models.PROTECT, related_name="ferry_permits")
    defect = models.ForeignKey("checks.Defect", models.PROTECT, related_name="ferry_permits")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="ferry_permit")
    number = models.CharField("permit number", max_length=60)
    issuer = models.CharField("issued by", max_length=120)
    valid_from = models.DateField()
    valid_until = models.DateField()
    conditions = models.TextField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["valid_from"]
        constraints = [
            models.CheckConstraint(
                condition=Q(valid_until__gte=F("valid_from")),
                name="ferry_permit_dates_ordered",
                violation_error_message="A permit can't end before it begins.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number}, {self.issuer}"


class OutsideRelease(models.Model):
    """The release certificate with which work done outside came back; kept with the rectification."""

    rectification = models.OneToOneField("checks.Rectification", models.PROTECT, related_name="outside")
    organisation = models.CharField(max_length=120)
    certificate_number = models.CharField(max_length=60)
    released_on = models.DateField()
    file = models.FileField(upload_to="releases/", blank=True)
    digest = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the file.")

    def __str__(self) -> str:
        return f"{self.certificate_number}, {self.organisation}"


class DefectRelease(models.Model):
    """The release to service of what a rectification did, by an authorised person."""

    rectification = models.OneToOneField("checks.Rectification", models.PROTECT, related_name="release")
    record = models.OneToOneField("checks.Record", models.PROTECT, related_name="defect_release")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    name = models.CharField(max_length=150)
    certificate_number = models.CharField(max_length=40)
    certificate_kind = models.CharField(max_length=60)
    authorisation = models.CharField(max_length=120)
    statement = models.TextField()
    signed_at = models.DateTimeField()

    class Meta:
        ordering = ["signed_at"]

    def __str__(self) -> str:
        return f"released by {self.name}"
