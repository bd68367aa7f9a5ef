"""The cases that the demo shows on purpose. On these aircraft nothing else drifts by chance."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from checks.engine.simulate import EXPONENTIAL, LINEAR, STEP, Drift


@dataclass(frozen=True)
class Case:
    """One aircraft's case. drifts: source (panel position; '' all panels) -> (onset days ago, shape, size).

    last_check: the newest pressure and flow check was so many days ago, read without scatter, the fluid
    at `temperature`.
    end: how that check ends if it is over limit. resumes: chance that a drift goes on after a purge.
    dry: (days ago, position): a wet-out run saw it dry, and the defect was deferred.
    """

    name: str
    drifts: Mapping[str, tuple[int, str, float]] = field(default_factory=dict)
    last_check: int | None = None
    temperature: float | None = None
    gauge: str = ""
    end: str = ""
    resumes: float = 0.0
    dry: tuple[int, str] | None = None

    def drifts_on(self, today: dt.date) -> dict[str, Drift]:
        """The drifts with their onsets as date ordinals."""
        return {
            source: Drift(float(today.toordinal() - ago), shape, size)
            for source, (ago, shape, size) in self.drifts.items()
        }


CASES: dict[str, Case] = {
    "Q-AAAB": Case("deferred over limit", {"": (322, EXPONENTIAL, 110)}, 4, 14.0, end="deferred"),
    "Q-AAAC": Case("step blockage", {"wing-ri": (330, STEP, 0.27)}),
    "Q-AAAD": Case("closing", {"": (430, LINEAR, 0.28)}, 25, 18.0),
    "Q-AAAF": Case("shortening lives", {"": (1900, EXPONENTIAL, 260)}, resumes=1.0),
    "Q-AAAH": Case("gradual on one panel", {"stab-l": (600, EXPONENTIAL, 260)}),
    "Q-AAAK": Case("open over limit", {"": (324, EXPONENTIAL, 110)}, 6, 12.0, end="open"),
    "Q-AAAQ": Case("read low by a faulty gauge", {"": (628, EXPONENTIAL, 200)}, 95, 15.0, gauge="gauge-6"),
    "Q-AAAT": Case("dry area, deferred", {}, dry=(38, "wing-lo")),
    "Q-AAAV": Case("gradual in the south", {"wing-li": (500, LINEAR, 0.2)}),
}
# Checks that nobody did in time.
OVERDUE = {("Q-AAAG", "pressure-flow"), ("Q-AAAM", "fluid-concentration"), ("Q-AAAS", "wet-out")}
# Started and not signed: (registration, procedure, days ago).
DRAFTS = (("Q-AAAI", "pressure-flow", 1), ("Q-AAAJ", "fluid-concentration", 3), ("Q-AAAP", "wet-out", 9))
# Parts replaced for damage: (registration, position, days ago).
DAMAGED = (("Q-AAAJ", "wing-ro", 800), ("Q-AAAO", "stab-r", 1340), ("Q-AAAU", "fin-up", 430))
FAULTY_GAUGE = "gauge-6"
# Deactivated for the summer and not returned to use: registration -> days ago.
DEACTIVATED = {"Q-AAAX": 16}
