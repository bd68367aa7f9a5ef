"""Stock at the bases: what came, moved, was used, scrapped or counted; what mixes with what.

How much is there is never stored: it is what the standing entries and the signed checks come to
(checks/selectors/stock.py). A delivery of fluid is its FluidBatch itself.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class StockItem(models.Model):
    """A part kept by number: strainers, filters, seals. Serialised parts are fleet.Part."""

    class Kind(models.TextChoices):
        STRAINER = "strainer", "strainer"
        FILTER = "filter", "filter"
        SEAL = "seal", "seal"
        OTHER = "other", "other"

    part_number = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=10, choices=Kind)
    variants = models.ManyToManyField(
        "fleet.Variant", blank=True, related_name="+", help_text="None chosen: every variant."
    )
    replace_months = models.PositiveSmallIntegerField("replaced after months", null=True, blank=True)
    replace_hours = models.PositiveIntegerField("replaced after flight hours", null=True, blank=True)
    source_reference = models.CharField(
        max_length=200, blank=True, help_text="Where the interval stands: manual, chapter, revision."
    )
    least = models.PositiveSmallIntegerField(
        "least number at a base", default=0, help_text="Fewer than this is shown as short."
    )

    class Meta:
        ordering = ["kind", "part_number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(replace_months=None, replace_hours=None) | ~Q(source_reference=""),
                name="stock_item_interval_has_a_source",
                violation_error_message="Say where the replacement interval stands.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.part_number} {self.name}"


class StockMovementQuerySet(models.QuerySet):
    def standing(self) -> "StockMovementQuerySet":
        """Entries that no correction has taken the place of."""
        return self.filter(corrected_by=None)


class StockMovement(models.Model):
    """One entry in the stock of a base, of fluid (litres), an item (pieces) or a serialised part (one).

    Never changed: a correction is a new entry in its place, and both stay. An entry 'counted' says how much
    is there, and what was recorded before it matters no longer. An entry 'used' that names a check takes
    the place of the litres that its procedure states.
    """

    class Kind(models.TextChoices):
        RECEIVED = "received", "received"
        MOVED = "moved", "moved to another base"
        USED = "used", "used"
        SCRAPPED = "scrapped", "scrapped"
        COUNTED = "counted", "counted"

    kind = models.CharField(max_length=10, choices=Kind)
    on = models.DateField("date")
    base = models.ForeignKey("fleet.Base", models.PROTECT, related_name="stock_movements")
    to_base = models.ForeignKey(
        "fleet.Base", models.PROTECT, null=True, blank=True, related_name="+", verbose_name="to base"
    )
    batch = models.ForeignKey(
        "fleet.FluidBatch", models.PROTECT, null=True, blank=True, related_name="movements"
    )
    item = models.ForeignKey(StockItem, models.PROTECT, null=True, blank=True, related_name="movements")
    part = models.ForeignKey(
        "fleet.Part", models.PROTECT, null=True, blank=True, related_name="stock_movements"
    )
    quantity = models.DecimalField(max_digits=8, decimal_places=1)
    aircraft = models.ForeignKey(
        "fleet.Aircraft",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Used on which one; a replacement interval counts from there.",
    )
    event = models.ForeignKey(
        "checks.CheckEvent",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="stock_movements",
        help_text="The check that took this much fluid instead of what its procedure states.",
    )
    remark = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by", editable=False
    )

    objects = StockMovementQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-entered_at", "-pk"]
        indexes = [models.Index(fields=["base", "-on"], name="stock_movement_by_base")]
        constraints = [
            models.CheckConstraint(
                condition=Q(batch__isnull=False, item=None, part=None)
                | Q(batch=None, item__isnull=False, part=None)
                | Q(batch=None, item=None, part__isnull=False),
                name="stock_movement_of_one_thing",
                violation_error_message="Name one thing: a fluid batch, an item or a serialised part.",
            ),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="stock_quantity_not_negative"),
            models.CheckConstraint(
                condition=(Q(kind="moved", to_base__isnull=False) & ~Q(to_base=F("base")))
                | (~Q(kind="moved") & Q(to_base=None)),
                name="stock_moved_to_another_base",
                violation_error_message="A move names another base, and nothing else does.",
            ),
            models.CheckConstraint(
                condition=Q(corrects=None) | ~Q(remark=""),
                name="stock_correction_has_a_reason",
                violation_error_message="Say why it is corrected: both entries stay on record.",
            ),
            models.CheckConstraint(
                condition=Q(event=None) | Q(kind="used", batch__isnull=False),
                name="stock_event_uses_fluid",
                violation_error_message="Only fluid that was used names a check.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.thing}: {self.get_kind_display()} {self.quantity:f} on {self.on}"

    @property
    def thing(self) -> object:
        """The batch, item or part."""
        return self.batch or self.item or self.part

    @property
    def unit(self) -> str:
        return "L" if self.batch_id else ""


class FluidTaken(models.Model):
    """What a signed check took from the batch it names: the litres of its procedure as it was signed,
    frozen with it. A check without such a row was signed before this was kept."""

    event = models.ForeignKey("checks.CheckEvent", models.CASCADE, related_name="fluid_taken")
    batch = models.ForeignKey("fleet.FluidBatch", models.PROTECT, related_name="+")
    litres = models.DecimalField(max_digits=6, decimal_places=1)

    class Meta:
        ordering = ["event"]
        constraints = [
            models.UniqueConstraint(fields=["event"], name="fluid_taken_once_per_event"),
            models.CheckConstraint(condition=Q(litres__gt=0), name="fluid_taken_above_nothing"),
        ]

    def __str__(self) -> str:
        return f"{self.litres:f} L of {self.batch}"


class FluidMix(models.Model):
    """What the operator's source says of two kinds of fluid in one tank. The newest of a pair holds.

    Without a row nothing is known, and nothing is assumed: not even of two batches of one kind.
    """

    kind_a = models.CharField("fluid", max_length=60)
    kind_b = models.CharField("with", max_length=60, help_text="In order of the alphabet after the other.")
    allowed = models.BooleanField("may be mixed")
    source_reference = models.CharField(max_length=200, help_text="Manual, data sheet or letter, with date.")
    remark = models.CharField(max_length=200, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["kind_a", "kind_b", "-pk"]
        verbose_name_plural = "fluid mixes"
        constraints = [
            models.CheckConstraint(condition=~Q(source_reference=""), name="fluid_mix_has_a_source")
        ]

    def __str__(self) -> str:
        return f"{self.kind_a} with {self.kind_b}: {self.words}"

    @property
    def words(self) -> str:
        return "may be mixed" if self.allowed else "not to be mixed"
