"""What can go wrong with a sheet."""

from __future__ import annotations

from dtctriage.errors import TriageError


class SheetError(TriageError):
    """A sheet cannot be made, read or printed."""
