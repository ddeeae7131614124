"""Answers of service 09 off CAN come in several messages (SAE J1979): shown one by one, and then joined."""

from __future__ import annotations

from dtctriage.pasted.items import Item, NotUnderstood
from dtctriage.pasted.payload import as_message
from dtctriage.services.errors import DecodeError
from dtctriage.services.explain import explain_message
from dtctriage.services.j1979_info import InfoPart, decode_info, join_info

_INFO_ANSWER = 0x49


class PartJoiner:
    """Collects the parts of one item from one source; another item or source ends it."""

    def __init__(self) -> None:
        self._parts: list[InfoPart] = []
        self._source = 0

    def feed(self, payload: bytes, source: int) -> list[Item]:
        """Take a payload off CAN; return what it ended."""
        part = _part(payload)
        ended: list[Item] = []
        if not self._belongs(part, source):
            ended = self.finish()
        if part is not None:
            self._parts.append(part)
            self._source = source
        return ended

    def finish(self) -> list[Item]:
        """The parts are over: join them."""
        parts, self._parts = self._parts, []
        if len(parts) < 2:
            return []
        taken_for = f"{len(parts)} messages joined"
        text = f"(the {len(parts)} messages before)"
        try:
            return [as_message(text, taken_for, (), explain_message(join_info(parts)))]
        except DecodeError as error:
            return [NotUnderstood(text, taken_for, str(error))]

    def _belongs(self, part: InfoPart | None, source: int) -> bool:
        if not self._parts or part is None:
            return False
        return part.type == self._parts[0].type and source == self._source


def _part(payload: bytes) -> InfoPart | None:
    if payload[:1] != bytes([_INFO_ANSWER]):
        return None
    try:
        decoded = decode_info(payload, on_can=False)
    except DecodeError:
        return None
    return decoded if isinstance(decoded, InfoPart) else None
