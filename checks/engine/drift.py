"""Drift of measuring points towards their limits: the names that the rest of the project uses.

`fit_fleet` learns temperature law, gauges and noise from the whole fleet; `score` says of every series what
is known at one moment; `action` says what to do. Figures of the method come from simulation, not from the
field: the result is advice, and the approved manual and a person decide.
"""

from checks.engine.drift_action import Action, action, shortening
from checks.engine.drift_data import STATES, Chart, FleetFit, GroupFit, Lives, Readings, SeriesScore
from checks.engine.drift_fit import fit_fleet
from checks.engine.drift_reference import Reference, ln_viscosity_ratio
from checks.engine.drift_regression import MODEL_VERSION, FleetPrior
from checks.engine.drift_score import HORIZON_DAYS, Thresholds, score

__all__ = [
    "HORIZON_DAYS",
    "MODEL_VERSION",
    "STATES",
    "Action",
    "Chart",
    "FleetFit",
    "FleetPrior",
    "GroupFit",
    "Lives",
    "Readings",
    "Reference",
    "SeriesScore",
    "Thresholds",
    "action",
    "fit_fleet",
    "ln_viscosity_ratio",
    "score",
    "shortening",
]
