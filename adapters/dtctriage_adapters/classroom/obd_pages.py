"""OBD on UDS (SAE J1979-2): the data of J1979 as data by identifier, F4xx, F6xx and F8xx.

The items of F8xx come without the count that service 09 has before them, the results of F6xx without
repeating the monitor (both from memory).
"""

from __future__ import annotations

from dtctriage.services.obd_on_uds import INFO_PAGE, MONITOR_PAGE, OBD_ON_UDS, PID_PAGE, PROTOCOL_DID
from dtctriage_adapters.classroom.obd_data import ObdData, with_masks


class ObdPages:
    """The pages of one emission module."""

    def __init__(self, data: ObdData) -> None:
        self._obd = data

    def __call__(self, now: float) -> dict[int, bytes]:
        """Everything by its identifier."""
        pages = {PID_PAGE | pid: data for pid, data in self._obd.current(now).items()}
        pages |= {MONITOR_PAGE | number: data for number, data in self._monitors().items()}
        pages |= {INFO_PAGE | number: data for number, data in self._info().items()}
        return pages

    def _monitors(self) -> dict[int, bytes]:
        results = {
            monitor: b"".join(piece.data for result in found for piece in result.body_pieces())
            for monitor, found in self._obd.results().items()
        }
        return with_masks(results) if results else {}

    def _info(self) -> dict[int, bytes]:
        items = {number: b"".join(content) for number, content in self._obd.info().items()}
        return with_masks(items | {PROTOCOL_DID & 0xFF: bytes([OBD_ON_UDS])})
