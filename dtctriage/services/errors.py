"""The one error of every decoder in this package."""

from __future__ import annotations

from dtctriage.errors import TriageError

_SHOWN = 24
"""How many bytes of a payload the one-line text shows; the whole payload is kept on the error."""


class DecodeError(TriageError):
    """An answer (or request) that is not what its standard says it must be.

    `payload` holds the bytes as received and `offset` the index of the first byte that does not fit
    (len(payload) where something is missing at the end).
    """

    def __init__(self, problem: str, payload: bytes, offset: int) -> None:
        text = payload[:_SHOWN].hex(" ").upper() or "no bytes"
        if len(payload) > _SHOWN:
            text += f" ... ({len(payload)} bytes)"
        super().__init__(
            f"{problem}, at byte {offset} of {text}", "Read it again; if it stays, keep the bytes."
        )
        self.problem = problem
        self.payload = payload
        self.offset = offset
