"""Watching a vehicle while somebody moves a harness: chosen readings again and again, and what flips when."""

from dtctriage.watch.board import Board, Flip, Track
from dtctriage.watch.choice import Choice, Wanted, choose
from dtctriage.watch.run import Round, watch
from dtctriage.watch.samples import Sample

__all__ = ["Board", "Choice", "Flip", "Round", "Sample", "Track", "Wanted", "choose", "watch"]
