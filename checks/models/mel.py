"""The operator's own MEL as data: what may be inoperative, for how long and under which conditions.

No item is shipped. One person types an item from the operator's approved MEL, another approves it; from then
on it is never edited. A later approved item that names it as replaced takes its place.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class Category(models.TextChoices):
    """Repair categories of the published policy (Transport Canada TP 9155 3.11; FAA PL-25 as quoted)."""

    A = "A", "A: as the item states"
    B = "B", "B: 3 days"
    C = "C", "C: 10 days"
    D = "D", "D: 120 days"


class MelItemQuerySet(models.QuerySet):
    def in_force(self) -> "MelItemQuerySet":
        """Approved, and not replaced by another approved one."""
        later = MelItem.objects.filter(replaces=models.OuterRef("pk"), approved_at__isnull=False)
        return self.filter(~models.Exists(later), approved_at__isnull=False)

    def for_variant(self, variant_id: int) -> "MelItemQuerySet":
        return self.filter(Q(variant=None) | Q(variant=variant_id))


class MelItem(models.Model):
    """One item of the operator's MEL, as typed from it."""

    class Unit(models.TextChoices):
        DAYS = "days", "consecutive calendar days"
        HOURS = "hours", "flight hours"
        FLIGHT_DAYS = "flight days", "flight days"

    number = models.CharField("item number", max_length=40)
    title = models.CharField(max_length=120)
    variant = models.ForeignKey(
        "fleet.Variant",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Empty: every variant.",
    )
    category = models.CharField("repair category", max_length=1, choices=Category)
    stated = models.PositiveIntegerField(
        "interval stated",
        null=True,
        blank=True,
        help_text="Category A only: how many days, flight hours or flight days the item states.",
    )
    stated_unit = models.CharField("of what", max_length=12, choices=Unit, blank=True)
    installed = models.PositiveSmallIntegerField("number installed", null=True, blank=True)
    required = models.PositiveSmallIntegerField("number required for dispatch", null=True, blank=True)
    maintenance_steps = models.TextField(
        "(M) steps", blank=True, help_text="What maintenance does before the aircraft is dispatched with it."
    )
    operations_steps = models.TextField(
        "(O) steps", blank=True, help_text="What the crew observes in flight with it."
    )
    placard = models.CharField("placard text", max_length=200, blank=True)
    limitation = models.TextField(help_text="Limitation text, as the item states it.")
    limits_icing = models.BooleanField(
        "limits flight in icing", default=True, help_text="Holds against flight in icing while it lasts."
    )
    source_revision = models.CharField(
        max_length=120, help_text="The operator's approved MEL with its revision, from which this was typed."
    )
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by", editable=False
    )
    typed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", editable=False)
    typed_at = models.DateTimeField(auto_now_add=True)
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+", editable=False
    )
    approved_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = MelItemQuerySet.as_manager()

    class Meta:
        ordering = ["number", "pk"]
        verbose_name = "MEL item"
        permissions = [("approve_melitem", "Can approve an item of the MEL that another person typed")]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    category="A", stated__isnull=False, stated_unit__in=["days", "hours", "flight days"]
                )
                | (~Q(category="A") & Q(stated=None, stated_unit="")),
                name="mel_item_states_its_interval",
                violation_error_message="Category A states its interval and unit; B, C and D have their own.",
            ),
            models.CheckConstraint(
                condition=Q(installed=None) | Q(required=None) | Q(required__lte=F("installed")),
                name="mel_item_requires_at_most_all",
                violation_error_message="More are required than are installed.",
            ),
            models.CheckConstraint(
                condition=Q(approved_by=None, approved_at=None)
                | Q(approved_by__isnull=False, approved_at__isnull=False),
                name="mel_item_approval_whole",
            ),
            models.CheckConstraint(
                condition=Q(approved_by=None) | ~Q(approved_by=F("typed_by")),
                name="mel_item_approved_by_another",
                violation_error_message="The person who typed an item can't approve it.",
            ),
            models.CheckConstraint(
                condition=Q(replaces=None) | ~Q(replaces=F("id")), name="mel_item_not_own_past"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    @property
    def interval_words(self) -> str:
        """How long the item may be deferred, in words."""
        if self.category == Category.A:
            return f"category A: {self.stated} {self.get_stated_unit_display()}"
        return f"category {self.get_category_display()}"
