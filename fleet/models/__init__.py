"""The registry: what flies, who works on it, with which instruments."""

from fleet.models.aircraft import Aircraft
from fleet.models.base import Base, Operator
from fleet.models.fluid import FluidBatch
from fleet.models.instruments import Calibration, Instrument
from fleet.models.modification import Embodiment, Modification
from fleet.models.moves import PlannedMove
from fleet.models.parts import Fitment, Part
from fleet.models.people import Authorisation, User
from fleet.models.utilisation import UtilisationEntry
from fleet.models.variant import MeasuringPoint, Position, ReferenceRow, Variant

__all__ = [
    "Aircraft",
    "Authorisation",
    "Base",
    "Calibration",
    "Embodiment",
    "Fitment",
    "FluidBatch",
    "Instrument",
    "MeasuringPoint",
    "Modification",
    "Operator",
    "Part",
    "PlannedMove",
    "Position",
    "ReferenceRow",
    "User",
    "UtilisationEntry",
    "Variant",
]
