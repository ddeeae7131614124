"""The UDS side of a module: services 10, 14, 19, 22 and 3E of ISO 14229-1."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from dtctriage.services.clearing import Cleared, ClearRequest, decode_clearing
from dtctriage.services.message import Cursor
from dtctriage.services.requests import decode_request
from dtctriage.services.uds import IdentifiedData, ReadDataRequest
from dtctriage.services.uds_codes import SUPPRESS
from dtctriage.services.uds_requests import decode_read_codes
from dtctriage.services.uds_session import SessionTiming, TesterPresent
from dtctriage_adapters.classroom.erasing import Eraser
from dtctriage_adapters.classroom.refusing import Nrc, Refused, understood
from dtctriage_adapters.classroom.uds_reports import CodeReports

DEFAULT_SESSION, EXTENDED_SESSION = 0x01, 0x03
SESSION_SECONDS = 5.0
"""S3 server: without a request for so long the default session comes back (ISO 14229-2)."""
P2_STEPS, P2_STAR_STEPS = 50, 500
"""50 ms in steps of 1 ms, 5000 ms in steps of 10 ms (ISO 14229-1, 10.2)."""
ACTIVE_SESSION_DID = 0xF186

DataPage = Callable[[float], Mapping[int, bytes]]
"""Data by identifier, as they are at a time in seconds of key on."""


class UdsServer:
    """Answers UDS requests. `pages` hold the data by identifier, `reports` the trouble codes.

    `groups` are those of codes that `eraser` clears.
    """

    def __init__(
        self, pages: Iterable[DataPage], reports: CodeReports, eraser: Eraser, groups: tuple[int, ...]
    ) -> None:
        self._pages = tuple(pages)
        self._reports = reports
        self._eraser, self._groups = eraser, groups
        self._session = DEFAULT_SESSION
        self._last_request = 0.0
        self._services: dict[int, Callable[[bytes, float], bytes]] = {
            0x10: self._change_session,
            0x14: self._clear,
            0x19: self._report_codes,
            0x22: self._read_data,
            0x3E: self._tester_present,
        }
        self.services = frozenset(self._services)

    def answer(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """The answer to a request of a service in `services`; none where it asks for none. Raises Refused."""
        if now - self._last_request > SESSION_SECONDS:
            self._session = DEFAULT_SESSION
        self._last_request = now
        answer = self._services[payload[0]](payload, now)
        return () if payload[0] in _SUPPRESSIBLE and payload[1] & SUPPRESS else (answer,)

    def _change_session(self, payload: bytes, now: float) -> bytes:
        session = _sub_function(payload)
        if session not in (DEFAULT_SESSION, EXTENDED_SESSION):
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        self._session = session
        return SessionTiming(session, P2_STEPS, P2_STAR_STEPS).encode()

    def _tester_present(self, payload: bytes, now: float) -> bytes:
        if _sub_function(payload) != 0:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return TesterPresent(answer=True).encode()

    def _clear(self, payload: bytes, now: float) -> bytes:
        request = understood(payload, lambda: decode_clearing(payload))
        group = request.group if isinstance(request, ClearRequest) else None
        if group is None:
            raise Refused(Nrc.WRONG_LENGTH)
        self._eraser.erase(group, self._groups, now)
        return Cleared().encode()

    def _read_data(self, payload: bytes, now: float) -> bytes:
        request = understood(payload, lambda: decode_request(payload))
        wanted = request.dids if isinstance(request, ReadDataRequest) else ()
        known = {ACTIVE_SESSION_DID: bytes([self._session])}
        for page in self._pages:
            known |= page(now)
        items = tuple((did, known[did]) for did in wanted if did in known)
        if not items:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return IdentifiedData(items).encode()

    def _report_codes(self, payload: bytes, now: float) -> bytes:
        request = understood(payload, lambda: decode_read_codes(payload), sub_function=True)
        return self._reports.answer(request, now).encode()


_SUPPRESSIBLE = frozenset({0x10, 0x19, 0x3E})
"""Services whose second byte is a sub-function with the suppress bit."""


def _sub_function(payload: bytes) -> int:
    """The sub-function of a request that holds nothing else."""

    def read() -> int:
        cursor = Cursor(payload)
        cursor.byte("service id")
        sub_function = cursor.byte("sub-function")
        cursor.end()
        return sub_function & ~SUPPRESS

    return understood(payload, read)
