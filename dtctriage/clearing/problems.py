"""Why codes are not cleared."""

from __future__ import annotations

from dtctriage.errors import TriageError


class ClearingRefused(TriageError):
    """Something that must hold before codes are cleared does not. Nothing was sent that clears."""
