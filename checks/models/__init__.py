"""What is to be done, what was done, and what it means."""

from checks.models.cause import CauseFound
from checks.models.copies import DraftCopy
from checks.models.defect import (
    Defect,
    Deferral,
    DeferralUse,
    Extension,
    ExtensionAnswer,
    Rectification,
)
from checks.models.defect_papers import DefectRelease, FerryPermit, OutsideRelease, PartOrder
from checks.models.doubt import DoubtReview, InstrumentFinding
from checks.models.event import CautionFollowed, CheckEvent, Decision, Observation, Reading, Reset, Result
from checks.models.evidence import Photo
from checks.models.forecasts import ForecastCard, PastForecast
from checks.models.handover import Handover
from checks.models.imports import ImportBatch
from checks.models.mel import MelItem
from checks.models.notice import CalendarFeed, NoticeChoice, NoticeTold
from checks.models.package import (
    PackageChange,
    PackageCheck,
    PartNeeded,
    PlanRun,
    Preparation,
    WorkDay,
    WorkPackage,
)
from checks.models.procedure import LimitRow, LimitTable, Procedure, Revision, Step
from checks.models.programme import DuePoint, IntervalRevision, RecurringCheck, Terms
from checks.models.question import EntryQuestion, ExpectedValue, FirstReading
from checks.models.record import ChainHead, Record, Signature
from checks.models.stock import FluidMix, FluidTaken, StockItem, StockMovement
from checks.models.trend import DriftRun, SeriesState
from checks.models.use_season import UseSeason

__all__ = [
    "CalendarFeed",
    "CauseFound",
    "CautionFollowed",
    "ChainHead",
    "CheckEvent",
    "Decision",
    "Defect",
    "DefectRelease",
    "Deferral",
    "DeferralUse",
    "DoubtReview",
    "DraftCopy",
    "DriftRun",
    "DuePoint",
    "EntryQuestion",
    "ExpectedValue",
    "Extension",
    "ExtensionAnswer",
    "FerryPermit",
    "FirstReading",
    "FluidMix",
    "FluidTaken",
    "ForecastCard",
    "Handover",
    "ImportBatch",
    "InstrumentFinding",
    "IntervalRevision",
    "LimitRow",
    "LimitTable",
    "MelItem",
    "NoticeChoice",
    "NoticeTold",
    "Observation",
    "OutsideRelease",
    "PackageChange",
    "PackageCheck",
    "PartNeeded",
    "PartOrder",
    "PastForecast",
    "Photo",
    "PlanRun",
    "Preparation",
    "Procedure",
    "Reading",
    "Record",
    "Rectification",
    "RecurringCheck",
    "Reset",
    "Result",
    "Revision",
    "SeriesState",
    "Signature",
    "Step",
    "StockItem",
    "StockMovement",
    "Terms",
    "UseSeason",
    "WorkDay",
    "WorkPackage",
]
