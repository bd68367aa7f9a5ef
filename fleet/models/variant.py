"""Variants: how the fluid system is installed, its positions and measuring points."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

UNIT_INTERVAL = [MinValueValidator(0), MaxValueValidator(1)]


class Variant(models.Model):
    """One way in which the fluid system is installed; decides positions, procedures and limits."""

    code = models.SlugField(max_length=24, unique=True)
    name = models.CharField(max_length=80, unique=True)
    description = models.TextField(blank=True)
    has_panel_ports = models.BooleanField(
        default=False, help_text="Without panel ports the tool can name no single panel."
    )
    dry_days = models.PositiveSmallIntegerField(
        "days dry before a prompt",
        null=True,
        blank=True,
        validators=[MinValueValidator(1)],
        help_text="Empty: the operator's figure. Common practice, no source.",
    )

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Position(models.Model):
    """A place on a variant that a panel, nozzle or component fills, and where it lies on the plan."""

    class Kind(models.TextChoices):
        PANEL = "panel", "porous panel"
        NOZZLE = "nozzle", "propeller nozzle"
        PUMP = "pump", "metering pump"
        PROPORTIONING = "proportioning", "proportioning unit"
        STRAINER = "strainer", "strainer"
        FILTER = "filter", "filter"
        TANK = "tank", "fluid tank"

    variant = models.ForeignKey(Variant, models.CASCADE, related_name="positions")
    code = models.SlugField(max_length=24)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, choices=Kind)
    order = models.PositiveSmallIntegerField(default=0)
    # Share of the plan's width and height, from the left wing tip and the nose.
    plan_x = models.DecimalField(max_digits=5, decimal_places=4, default=0.5, validators=UNIT_INTERVAL)
    plan_y = models.DecimalField(max_digits=5, decimal_places=4, default=0.5, validators=UNIT_INTERVAL)
    plan_width = models.DecimalField(max_digits=5, decimal_places=4, default=0.05, validators=UNIT_INTERVAL)
    plan_height = models.DecimalField(max_digits=5, decimal_places=4, default=0.05, validators=UNIT_INTERVAL)
    resets = models.ManyToManyField(
        "fleet.MeasuringPoint",
        blank=True,
        related_name="reset_by",
        help_text="The measuring points whose series start anew when what stands here is purged or replaced.",
    )

    class Meta:
        ordering = ["variant", "order", "code"]
        constraints = [
            models.UniqueConstraint(fields=["variant", "code"], name="position_code_once_per_variant")
        ]

    def __str__(self) -> str:
        return self.name


class MeasuringPoint(models.Model):
    """Where a value is read. Belongs to the variant, not to the part fitted there."""

    class Kind(models.TextChoices):
        TEST_PORT = "test_port", "system test port"
        PANEL_PORT = "panel_port", "panel port"
        NOZZLE = "nozzle", "propeller nozzle"
        PUMP = "pump", "pump outlet"
        TANK = "tank", "fluid tank"
        WARNING = "warning", "warning switch"
        OTHER = "other", "another place"

    class Quantity(models.TextChoices):
        PRESSURE = "pressure", "pressure"
        FLOW = "flow", "flow"
        VOLUME = "volume", "volume"
        VOLTAGE = "voltage", "voltage"
        RATIO = "ratio", "ratio"
        TIME = "time", "time"

    CANONICAL = {
        "pressure": "kPa",
        "flow": "mL/min",
        "volume": "mL",
        "voltage": "V",
        "ratio": "%",
        "time": "s",
    }
    WHOLE_SYSTEM = (Kind.TEST_PORT, Kind.PANEL_PORT, Kind.NOZZLE)

    variant = models.ForeignKey(Variant, models.CASCADE, related_name="points")
    code = models.SlugField(max_length=24)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=12, choices=Kind)
    quantity = models.CharField(max_length=10, choices=Quantity)
    position = models.ForeignKey(
        Position,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="points",
        help_text="The panel of a panel port, the pump of a pump outlet.",
    )
    nominal = models.DecimalField(
        max_digits=9,
        decimal_places=3,
        help_text="Usual value of a clean system with fluid at 20 °C, in kPa gauge, mL/min, mL, V, % or s.",
    )
    order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["variant", "order", "code"]
        constraints = [
            models.UniqueConstraint(fields=["variant", "code"], name="point_code_once_per_variant"),
            models.CheckConstraint(condition=models.Q(nominal__gt=0), name="point_nominal_positive"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def unit(self) -> str:
        """The canonical unit, as UCUM code."""
        return self.CANONICAL[self.quantity]

    @property
    def feels_panels(self) -> bool:
        """Whether what is read here comes from the running system with its panels behind it."""
        return self.kind in self.WHOLE_SYSTEM


class ReferenceRow(models.Model):
    """One row of a point's reference table for drift, frozen: a revised limit must not fake a step."""

    point = models.ForeignKey(MeasuringPoint, models.CASCADE, related_name="reference_rows")
    temperature = models.DecimalField(max_digits=5, decimal_places=2, help_text="Fluid temperature in °C.")
    value = models.DecimalField(max_digits=9, decimal_places=3, help_text="In kPa gauge or mL/min.")

    class Meta:
        ordering = ["point", "temperature"]
        constraints = [
            models.UniqueConstraint(fields=["point", "temperature"], name="reference_row_once"),
            models.CheckConstraint(condition=models.Q(value__gt=0), name="reference_value_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.temperature} °C: {self.value}"
