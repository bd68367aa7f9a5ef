"""What a person typed into a check, as text: nothing is lost because it can't be read as a number.

Names of form fields, so that a problem finds its field again:
reading-<step>-<sequence>-<part>, observation-<step>-<position or 0>-<part>, caution-<step>-<part>,
first-<step>-<part>;
step and position are keys of their rows. The event's own fields go by their own names.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from checks.engine.areas import Area

EVENT_FIELDS = (
    "base",
    "hours",
    "landings",
    "pump",
    "mode",
    "supply_voltage",
    "temperature_place",
    "temperature_from_memory",
    "gauge_height",
    "hose_bled",
    "fluid_batch",
    "remarks",
)


@dataclass(frozen=True)
class ReadingInput:
    """One row of a measuring step; a row without a value is left out.

    elapsed: since pump start ('2:30' or seconds); of a timed collection its length.
    started: of a timed collection, its start since pump start.
    instrument: key of the instrument as text. code: typed instead, of none that may
    serve. sequence: 0 for a single value, 0, 1, 2... in a series.
    """

    step: int
    typed: str
    unit: str = ""
    instrument: str = ""
    sequence: int = 0
    elapsed: str = ""
    started: str = ""
    code: str = ""

    def name(self, part: str) -> str:
        """Name of the form field of one part: typed, unit, instrument, code, elapsed, started."""
        return f"reading-{self.step}-{self.sequence}-{part}"


@dataclass(frozen=True)
class ObservationInput:
    """One look. satisfactory: 'yes', 'no', or '' while open; position None where the step has none.

    areas: what is marked on the panel's outline (checks/engine/areas.py); kept before the remark, in words.
    """

    step: int
    position: int | None = None
    satisfactory: str = ""
    remark: str = ""
    areas: tuple[Area, ...] = ()

    def name(self, part: str) -> str:
        return f"observation-{self.step}-{self.position or 0}-{part}"


@dataclass(frozen=True)
class CautionInput:
    """A warning, caution or confirm step: acknowledged, and put back where it disturbs."""

    step: int
    acknowledged: bool = False
    restored: bool = False

    def name(self, part: str) -> str:
        return f"caution-{self.step}-{part}"


@dataclass(frozen=True)
class RepeatInput:
    """What was read first at a step that was asked about, and why a reading stands.

    first: 'typed', or '1:00 typed; 2:00 typed' where each has a time; empty: nothing was read again.
    instrument: key as text.
    """

    step: int
    first: str = ""
    unit: str = ""
    instrument: str = ""
    reason: str = ""

    def name(self, part: str) -> str:
        return f"first-{self.step}-{part}"


@dataclass(frozen=True)
class DraftInput:
    """The whole form of one check; its rows replace all rows of the draft.

    fields: text by name of EVENT_FIELDS; a name left out is not touched.
    """

    fields: Mapping[str, str] = field(default_factory=dict)
    readings: tuple[ReadingInput, ...] = ()
    observations: tuple[ObservationInput, ...] = ()
    cautions: tuple[CautionInput, ...] = ()
    repeats: tuple[RepeatInput, ...] = ()
