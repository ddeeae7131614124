"""Clearing codes: the one thing that is ever sent beyond reading, and all that must hold before it is."""

from dtctriage.clearing.clear import clear_codes, unanswered
from dtctriage.clearing.problems import ClearingRefused
from dtctriage.clearing.ready import Ready, prepare
from dtctriage.clearing.state import Declared
from dtctriage.clearing.ways import Way

__all__ = ["ClearingRefused", "Declared", "Ready", "Way", "clear_codes", "prepare", "unanswered"]
