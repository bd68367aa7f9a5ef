"""What stands round the steps of a check: totals, place and date, and the conditions that move a reading."""

from decimal import Decimal
from functools import cached_property

from django.db.models import Q

from checks.forms.check import CheckForm, Field
from checks.models import CheckEvent, Step
from checks.selectors.stock import fluid_stock
from checks.services.rows import MEASURING
from fleet.models import Base, FluidBatch, Position, UtilisationEntry

YES_NO = (("yes", "Yes"), ("no", "No"))
_MODES = 6


class Around:
    """The event's own fields. Each property asks at most one query."""

    def __init__(self, form: CheckForm) -> None:
        self.form = form
        self.event: CheckEvent = form.event

    @cached_property
    def totals(self) -> UtilisationEntry | None:
        """Where the prefilled totals come from: the latest standing entry up to the date of work."""
        entries = UtilisationEntry.objects.standing().filter(
            aircraft=self.event.aircraft_id, on__lte=self.event.work_date
        )
        return entries.order_by("-on", "-pk").first()

    @cached_property
    def general(self) -> list[Field]:
        """Place and totals."""
        bases = tuple((str(base.pk), base.name) for base in Base.objects.all())
        entered = f"Latest entry: {self.totals.on:%d %b %Y}." if self.totals else "No entry is on file."
        return [
            self.form.field("base", "Where the work is done", choices=bases),
            self.form.field("hours", "Total flight hours", unit="h", help=entered),
            self.form.field("landings", "Total landings", help=entered),
        ]

    @property
    def measures(self) -> bool:
        return any(step.kind in MEASURING for step in self.form.steps)

    @property
    def waits_to_settle(self) -> bool:
        """Whether a collection waits for a series of pressure: where there is none, for nothing."""
        return any(step.kind == Step.Kind.TIMED_SERIES for step in self.form.steps)

    @property
    def uses_pressure(self) -> bool:
        return any(s.quantity == "pressure" for s in self.form.steps if s.kind in MEASURING)

    @cached_property
    def temperature(self) -> list[Field]:
        """Asked beside the fluid temperature."""
        return [
            self.form.field("temperature_place", "Where the temperature was taken"),
            self.form.field(
                "temperature_from_memory",
                "From memory, not measured",
                help="Then the check is not valid: a limit is read at a measured temperature only.",
            ),
        ]

    @cached_property
    def conditions(self) -> list[Field]:
        """What else moves a reading; where nothing is measured, the fluid alone, if the work takes any."""
        if not self.measures:
            return [self._fluid] if self.event.revision.procedure.fluid_litres else []
        fields = [
            self._with_own("pump", "Pump that ran", self._pumps),
            self.form.field("mode", "Mode selected", choices=self._modes),
            self._fluid,
        ]
        if self.uses_pressure:
            fields += [
                self.form.field("supply_voltage", "Supply voltage", unit="V"),
                self.form.field("gauge_height", "Height of the gauge against the port"),
                self.form.field("hose_bled", "Hose bled", choices=YES_NO),
            ]
        return fields

    @cached_property
    def _pumps(self) -> tuple[tuple[str, str], ...]:
        names = [str(p) for p in self.form.positions if p.kind == Position.Kind.PUMP]
        names += ["both"] if len(names) == 2 else []
        return tuple((name, name) for name in names)

    @cached_property
    def _modes(self) -> tuple[tuple[str, str], ...]:
        """Modes named in earlier checks of this variant, to choose from; another one may be typed."""
        earlier = CheckEvent.objects.filter(aircraft__variant=self.event.aircraft.variant_id).exclude(mode="")
        modes = earlier.order_by("mode").values_list("mode", flat=True).distinct()[:_MODES]
        return tuple((mode, mode) for mode in modes)

    @property
    def _fluid(self) -> Field:
        """Batches in date, those at the base first; of these the one that expires first stands first."""
        in_date = Q(expires_on__gte=self.event.work_date) | Q(pk=self.event.fluid_batch_id)
        batches = FluidBatch.objects.filter(in_date)
        here = {row.batch.pk: row.litres for row in fluid_stock() if row.base_id == self.event.base_id}
        there = [batch.pk for batch in batches if here.get(batch.pk, 0) > 0]
        order = sorted(batches, key=lambda one: (one.pk not in there, one.expires_on, one.code))
        choices = tuple((str(one.pk), _batch_words(one, here.get(one.pk))) for one in order)
        help = "The batch here that expires first stands first. A signed check takes from the batch it names."
        return self.form.field("fluid_batch", "Fluid batch", choices=choices, help=help if there else "")

    def _with_own(self, name: str, label: str, choices: tuple[tuple[str, str], ...]) -> Field:
        """A choice that also offers what is written already, whatever it is."""
        written = self.form.text.get(name, "")
        own = ((written, written),) if written and written not in dict(choices) else ()
        return self.form.field(name, label, choices=(*choices, *own))

    @property
    def remarks(self) -> Field:
        return self.form.field("remarks", "Remarks")


def _batch_words(batch: FluidBatch, litres: Decimal | None) -> str:
    return f"{batch}, {litres:f} L here" if litres and litres > 0 else str(batch)
