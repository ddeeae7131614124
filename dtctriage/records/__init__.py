"""Repair orders and sweeps, kept."""

from dtctriage.records.clearings import Cleared, Clearing, ClearingAnswer, ClearingStart
from dtctriage.records.joblog import JobLog
from dtctriage.records.kept import (
    Conclusion,
    EnteredCircuit,
    KeptEvent,
    KeptProfile,
    ListedOrder,
    Logged,
    Measurement,
    Note,
    Odometer,
    OdometerUnit,
    Order,
    SweepOutcome,
    SweepRecord,
    VinOrigin,
)
from dtctriage.records.likeness import EarlierIntake
from dtctriage.records.problems import NoRecords, RecordsError, UnknownOrder, UnknownSweep, VinMismatch
from dtctriage.records.store import Records
from dtctriage.records.writer import SweepWriter

__all__ = [
    "Cleared",
    "Clearing",
    "ClearingAnswer",
    "ClearingStart",
    "Conclusion",
    "EarlierIntake",
    "EnteredCircuit",
    "JobLog",
    "KeptEvent",
    "KeptProfile",
    "ListedOrder",
    "Logged",
    "Measurement",
    "NoRecords",
    "Note",
    "Odometer",
    "OdometerUnit",
    "Order",
    "Records",
    "RecordsError",
    "SweepOutcome",
    "SweepRecord",
    "SweepWriter",
    "UnknownOrder",
    "UnknownSweep",
    "VinMismatch",
    "VinOrigin",
]
