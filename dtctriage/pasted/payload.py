"""A payload taken apart by the services' decoders, or the reason why it cannot be."""

from __future__ import annotations

from dtctriage.pasted.items import Item, Mark, NotUnderstood, PastedMessage
from dtctriage.services.errors import DecodeError
from dtctriage.services.explain import Explanation, explain
from dtctriage.vin import Vin, VinError

_VIN_STARTS = tuple(map(bytes.fromhex, ("490201", "62F190", "62F802", "62F80201")))
_VIN_LENGTH = 17


def explained(text: str, taken_for: str, framing: tuple[Mark, ...], payload: bytes, on_can: bool) -> Item:
    """The message that `payload` is, under a known way of framing."""
    try:
        explanation = explain(payload, on_can)
    except DecodeError as error:
        return NotUnderstood(text, taken_for, str(error), framing)
    return as_message(text, taken_for, framing, explanation)


def bare(text: str, payload: bytes) -> Item:
    """A payload whose framing is not known: as on CAN where that fits, else as off CAN."""
    try:
        return as_message(text, f"{_kind(payload)} without header", (), explain(payload, on_can=True))
    except DecodeError as error:
        try:
            explanation = explain(payload, on_can=False)
        except DecodeError:
            return NotUnderstood(text, f"{_kind(payload)} without header", str(error))
        return as_message(text, f"{_kind(payload)} without header, as off CAN", (), explanation)


def as_message(
    text: str, taken_for: str, framing: tuple[Mark, ...], explanation: Explanation
) -> PastedMessage:
    """The item for a payload that was understood."""
    return PastedMessage(text, taken_for, framing, explanation, _vin_in(explanation))


def _vin_in(explanation: Explanation) -> Vin | None:
    payload = b"".join(part.data for part in explanation.parts)
    for start in _VIN_STARTS:
        if payload.startswith(start) and len(payload) == len(start) + _VIN_LENGTH:
            try:
                return Vin.parse(payload[len(start) :].decode("latin-1"))
            except VinError:
                return None
    return None


def _kind(payload: bytes) -> str:
    return "answer" if payload[:1] and (payload[0] & 0x40 or payload[0] == 0x7F) else "request"
