"""The KWP2000 side of a module: services 10, 13, 14, 17, 18, 1A, 21 and 3E of ISO 14230-3.

What the standard says here is from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from dtctriage.codes.dtc import Dtc
from dtctriage.services.clearing import KwpCleared, KwpClearRequest
from dtctriage.services.kwp import (
    ALL_GROUPS,
    KwpCode,
    KwpCodes,
    KwpCodesRequest,
    KwpCodeStatus,
    KwpPlainCodes,
    KwpPlainRequest,
    KwpStatus,
    KwpStatusRequest,
    Storage,
)
from dtctriage.services.kwp_data import Identification, IdentificationRequest, LocalData, LocalDataRequest
from dtctriage.services.message import Message
from dtctriage.services.requests import decode_request
from dtctriage.services.uds import StatusBit
from dtctriage.services.uds_session import SessionEntered, SessionRequest, TesterPresent
from dtctriage_adapters.classroom.erasing import KWP_ALL_GROUPS, Eraser
from dtctriage_adapters.classroom.memory import CodeMemory, Entry
from dtctriage_adapters.classroom.refusing import Nrc, Refused, understood
from dtctriage_adapters.classroom.watches import MESSAGE_MISSING

DEFAULT_SESSION = 0x81
IDENTIFIED = frozenset({0x00, 0x02})
SUPPORTED = frozenset({0x01, 0x03})
"""Which codes service 18 is asked for: those that are stored, or all that can be."""
ANSWER_WANTED, NO_ANSWER_WANTED = b"\x01", b"\x02"
LAMP, NOT_COMPLETE = 0x80, 0x10
SYMPTOMS = {0x11: 0x2, 0x12: 0x1, 0x13: 0x4, MESSAGE_MISSING: 0x4}
"""Symptom of a failure type: a short to ground reads below the lowest value, one to supply above the highest,
an open circuit and a missing message are no signal."""
GROUP_OF_ALL_OF_A_LETTER = 0x3FFF
"""A group with these bits 0 stands for all codes of its letter: 0000 powertrain ... C000 network."""


class KwpServer:
    """Answers KWP2000 requests. `identity` by option, `local` by local identifier.

    `surroundings` gives the bytes that service 17 adds to a code.
    """

    def __init__(
        self,
        identity: Mapping[int, bytes],
        local: Mapping[int, bytes],
        memory: CodeMemory,
        surroundings: Callable[[Entry], bytes],
        eraser: Eraser,
    ) -> None:
        self._identity, self._local = identity, local
        self._memory, self._surroundings, self._eraser = memory, surroundings, eraser
        self.services = frozenset({0x10, 0x13, 0x14, 0x17, 0x18, 0x1A, 0x3E} | ({0x21} if local else set()))

    def answer(self, payload: bytes, now: float) -> tuple[bytes, ...]:
        """The answer to a request of a service in `services`; none where it asks for none. Raises Refused.

        A request of a wrong form is refused with 12: this standard has no code for a wrong length.
        """
        try:
            request = understood(payload, lambda: decode_request(payload))
        except Refused as refused:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED) from refused
        answer = self._answer(request, now)
        return () if answer is None else (answer.encode(),)

    def _answer(self, request: Message, now: float) -> Message | None:
        match request:
            case KwpCodesRequest():
                return KwpCodes(self._records(request, now))
            case KwpPlainRequest():
                group = ALL_GROUPS if request.group is None else request.group
                entries = self._stored(group, now)
                return KwpPlainCodes(tuple(dict.fromkeys(entry.dtc.base for entry in entries)))
            case KwpClearRequest():
                self._eraser.erase(request.group, (KWP_ALL_GROUPS,), now)
                return KwpCleared(request.group)
            case KwpStatusRequest():
                return self._status(request.dtc, now)
            case IdentificationRequest() if request.option in self._identity:
                return Identification(request.option, self._identity[request.option])
            case LocalDataRequest():
                if request.identifier not in self._local:
                    raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
                return LocalData(request.identifier, self._local[request.identifier])
            case SessionRequest() if request.session == DEFAULT_SESSION:
                return SessionEntered(DEFAULT_SESSION)
            case TesterPresent() if request.data in (b"", ANSWER_WANTED):
                return TesterPresent(answer=True, data=b"")
            case TesterPresent() if request.data == NO_ANSWER_WANTED:
                return None
        raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)

    def _records(self, request: KwpCodesRequest, now: float) -> tuple[KwpCode, ...]:
        if request.wanted in IDENTIFIED:
            entries = self._stored(request.group, now)
        elif request.wanted in SUPPORTED:
            entries = self._of_group(request.group, now)
        else:
            raise Refused(Nrc.SUB_FUNCTION_NOT_SUPPORTED)
        return tuple(KwpCode(entry.dtc.base, status_of(entry)) for entry in entries)

    def _status(self, dtc: Dtc, now: float) -> Message:
        entry = next((entry for entry in self._memory.entries(now) if entry.dtc.base == dtc), None)
        if entry is None:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return KwpCodeStatus(1, KwpCode(dtc, status_of(entry)), self._surroundings(entry))

    def _stored(self, group: int, now: float) -> list[Entry]:
        return [entry for entry in self._of_group(group, now) if storage_of(entry) is not Storage.NONE]

    def _of_group(self, group: int, now: float) -> list[Entry]:
        """The codes of a group: all, those of one letter, or one code. Raises Refused where there is none."""
        entries = self._memory.entries(now)
        if group == ALL_GROUPS:
            return list(entries)
        if not group & GROUP_OF_ALL_OF_A_LETTER:
            return [entry for entry in entries if not (entry.dtc.number ^ group) & ~GROUP_OF_ALL_OF_A_LETTER]
        found = [entry for entry in entries if entry.dtc.number == group]
        if not found:
            raise Refused(Nrc.REQUEST_OUT_OF_RANGE)
        return found


def storage_of(entry: Entry) -> Storage:
    """The state that a code has in this standard's terms."""
    if entry.has(StatusBit.TEST_FAILED):
        return Storage.PRESENT if entry.has(StatusBit.CONFIRMED) else Storage.MATURING
    return Storage.STORED if entry.has(StatusBit.CONFIRMED | StatusBit.PENDING) else Storage.NONE


def status_of(entry: Entry) -> KwpStatus:
    """The status byte."""
    value = tuple(Storage).index(storage_of(entry)) << 5
    value |= LAMP if entry.has(StatusBit.WARNING_REQUESTED) else 0
    value |= NOT_COMPLETE if entry.has(StatusBit.NOT_COMPLETED_THIS_CYCLE) else 0
    symptom = SYMPTOMS.get(entry.dtc.failure_type or 0, 0) if storage_of(entry) is not Storage.NONE else 0
    return KwpStatus(value | symptom)
