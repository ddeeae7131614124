"""ISO 14229-1 services 10 and 3E: the diagnostic session and keeping it alive."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dtctriage.services.message import Cursor, Message, Piece, sid

SESSIONS = {0x01: "default", 0x02: "programming", 0x03: "extended", 0x04: "safety system"}
"""Diagnostic sessions (ISO 14229-1, table of service 10). Only default and extended are ever asked for."""
_SUPPRESS = 0x80


def session_name(number: int) -> str:
    return SESSIONS.get(number, "the maker's own")


@dataclass(frozen=True, slots=True)
class SessionRequest(Message):
    """10: change to a session."""

    session: int

    @property
    def title(self) -> str:
        return "request for a diagnostic session"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(b"\x10", "service 10: diagnostic session")
        yield Piece(bytes([self.session]), f"session {self.session:02X}: {session_name(self.session)}")


@dataclass(frozen=True, slots=True)
class SessionEntered(Message):
    """50 without timing, as ISO 14230-3 has it."""

    session: int

    @property
    def title(self) -> str:
        return "diagnostic session entered"

    def pieces(self) -> Iterator[Piece]:
        yield Piece(sid(0x10), "answer to service 10: diagnostic session")
        yield Piece(bytes([self.session]), f"session {self.session:02X}: {session_name(self.session)}")


@dataclass(frozen=True, slots=True)
class SessionTiming(Message):
    """50 with the module's timing: P2 in steps of 1 ms, P2* in steps of 10 ms (ISO 14229-1:2013)."""

    session: int
    p2_steps: int
    p2_star_steps: int

    @property
    def title(self) -> str:
        return "diagnostic session entered"

    @property
    def p2(self) -> float:
        """Longest time to the first answer, in seconds."""
        return self.p2_steps / 1000

    @property
    def p2_star(self) -> float:
        """Longest time to an answer after "response pending", in seconds."""
        return self.p2_star_steps / 100

    def pieces(self) -> Iterator[Piece]:
        yield from SessionEntered(self.session).pieces()
        yield Piece(self.p2_steps.to_bytes(2, "big"), f"P2 {self.p2_steps} ms")
        yield Piece(self.p2_star_steps.to_bytes(2, "big"), f"P2* {self.p2_star_steps * 10} ms")


@dataclass(frozen=True, slots=True)
class TesterPresent(Message):
    """3E or 7E with what follows: nothing, or one byte (sub-function, or 01/02 of ISO 14230-3)."""

    answer: bool
    data: bytes = b"\x00"

    @property
    def title(self) -> str:
        return "tester present"

    def pieces(self) -> Iterator[Piece]:
        if self.answer:
            yield Piece(sid(0x3E), "answer to service 3E: tester present")
        else:
            yield Piece(b"\x3e", "service 3E: tester present")
        if self.data:
            wanted = "no answer wanted" if self.data[0] & _SUPPRESS else "sub-function"
            yield Piece(self.data, wanted)


def decode_session_request(payload: bytes) -> SessionRequest:
    """Decode a request 10. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x10, "service id")
    session = cursor.byte("session")
    cursor.end()
    return SessionRequest(session)


def decode_session(payload: bytes) -> SessionEntered | SessionTiming:
    """Decode an answer 50. Raises DecodeError."""
    cursor = Cursor(payload).expect(0x50, "service id")
    session = cursor.byte("session")
    if not cursor.left:
        return SessionEntered(session)
    p2, p2_star = cursor.word("P2"), cursor.word("P2*")
    cursor.end()
    return SessionTiming(session, p2, p2_star)


def decode_tester_present(payload: bytes) -> TesterPresent:
    """Decode 3E or 7E. Raises DecodeError."""
    cursor = Cursor(payload)
    service = cursor.byte("service id")
    if service not in (0x3E, 0x7E):
        raise cursor.fail(f"{service:02X} is not tester present", 0)
    data = cursor.rest()
    if len(data) > 1:
        raise cursor.fail(f"{len(data) - 1} bytes too many", 2)
    return TesterPresent(service == 0x7E, data)
