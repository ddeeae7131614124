"""The UDS side of a module: services 10, 19, 22 and 3E of ISO 14229-1."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from dtctriage.services.uds import IdentifiedData
from dtctriage.services.uds_codes import SUPPRESS, CodeCount, CodeList, CodeStatus, Report
from dtctriage.services.uds_session import SessionTiming, TesterPresent
from dtctriage_adapters.classroom.memory import CodeMemory
from dtctriage_adapters.classroom.refusing import Nrc, Refused

DEFAULT_SESSION, EXTENDED_SESSION = 0x01, 0x03
SESSION_SECONDS = 5.0
"""S3 server: without a request for so long the default session comes back (ISO 14229-2)."""
P2_STEPS, P2_STAR_STEPS = 50, 500
"""50 ms in steps of 1 ms, 5000 ms in steps of 10 ms (ISO 14229-1, 10.2)."""
ACTIVE_SESSION_DID = 0xF186
J2012_FORMAT = 0x00
"""DTCFormatIdentifier of SAE J2012-DA codes (ISO 14229-1 Annex D)."""


class UdsServer:
    """Answers UDS requests. `identity` holds the data by identifier."""

    def __init__(self, identity: Mapping[int, bytes], memory: CodeMemory) -> None:
        self._identity = dict(identity)
        self._memory = memory
        self._session = DEFAULT_SESSION
        self._last_request = 0.0
        self._services: dict[int, Callable[[bytes, float], bytes]] = {
            0x10: self._change_session,
            0x19: self._report_codes,
            0x22: self._read_data,
            0x3E: self._tester_present,
        }

    @property
    def services(self) -> frozenset[int]:
        return frozenset(self._services)

    def answer(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """The answer to a request of a service in `services`; none where it asks for none. Raises Refused."""
        if now - self._last_request > SESSION_SECONDS:
            self._session = DEFAULT_SESSION
        self._last_request = now
        answer = self._services[payload[0]](payload, now)
        return () if payload[0] in _SUPPRESSIBLE and payload[1] & SUPPRESS else (answer,)

    def _change_session(self, payload: bytes, now: float) -> bytes:
        session = _sub_function(payload, 2)
        if session not in (DEFAULT_SESSION, EXTENDED_SESSION):
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        self._session = session
        return SessionTiming(session, P2_STEPS, P2_STAR_STEPS).encode()

    def _tester_present(self, payload: bytes, now: float) -> bytes:
        if _sub_function(payload, 2) != 0:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return TesterPresent(answer=True).encode()

    def _read_data(self, payload: bytes, now: float) -> bytes:
        if len(payload) < 3 or len(payload) % 2 == 0:
            raise Refused(Nrc.WRONG_LENGTH)
        wanted = (int.from_bytes(payload[at : at + 2], "big") for at in range(1, len(payload), 2))
        known = self._identity | {ACTIVE_SESSION_DID: bytes([self._session])}
        items = tuple((did, known[did]) for did in wanted if did in known)
        if not items:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return IdentifiedData(items).encode()

    def _report_codes(self, payload: bytes, now: float) -> bytes:
        if len(payload) < 2:
            raise Refused(Nrc.WRONG_LENGTH)
        report = payload[1] & ~SUPPRESS
        if report == Report.SUPPORTED:
            _sub_function(payload, 2)
            return self._list(Report.SUPPORTED, self._memory.codes(now))
        if report not in (Report.COUNT_BY_STATUS, Report.BY_STATUS):
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        _sub_function(payload, 3)
        mask = payload[2] & self._memory.availability
        matching = tuple(item for item in self._memory.codes(now) if item.status.value & mask)
        if report == Report.BY_STATUS:
            return self._list(Report.BY_STATUS, matching)
        return CodeCount(
            Report.COUNT_BY_STATUS, self._memory.availability, J2012_FORMAT, len(matching)
        ).encode()

    def _list(self, report: Report, codes: tuple[CodeStatus, ...]) -> bytes:
        availability = self._memory.availability
        return CodeList(report, availability, codes).encode()


_SUPPRESSIBLE = frozenset({0x10, 0x19, 0x3E})
"""Services whose second byte is a sub-function with the suppress bit."""


def _sub_function(payload: bytes, length: int) -> int:
    if len(payload) != length:
        raise Refused(Nrc.WRONG_LENGTH)
    return payload[1] & ~SUPPRESS
