"""A message of several frames to or from one module, by can-isotp, driven frame by frame.

can-isotp keeps the protocol (ISO 15765-2): sequence numbers, flow control, block size, STmin. The time
that a frame may take is kept here, on the caller's clock.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable

import isotp
from isotp.protocol import PDU

from dtctriage.link import Framing
from dtctriage.services.isotp import CLASSIC_LENGTH, FILLER

N_BS = 1.0
"""Seconds for a flow control to come (ISO 15765-2; from memory. ISO 15765-4 has 75 ms)."""
N_CR = 1.0
"""Seconds for a consecutive frame to come (ISO 15765-2; from memory. ISO 15765-4 has 150 ms)."""
WAIT_FRAMES = 16
"""Flow controls "wait" in a row before a module is given up. Own choice, no source."""
_NO_LIMIT_MS = 1_000_000

_LOGGER = "dtctriage.isotp"
logging.getLogger(_LOGGER).addHandler(logging.NullHandler())

_PARAMS = {
    "stmin": 0,
    "blocksize": 0,
    "tx_padding": FILLER,
    "wftmax": WAIT_FRAMES,
    "rx_consecutive_frame_timeout": _NO_LIMIT_MS,
    "rx_flowcontrol_timeout": _NO_LIMIT_MS,
    "logger_name": _LOGGER,
}

_PROBLEMS: dict[type[Exception], str] = {
    isotp.ReceptionInterruptedWithSingleFrameError: "a new message began before the old one was complete",
    isotp.ReceptionInterruptedWithFirstFrameError: "a new message began before the old one was complete",
    isotp.ChangingInvalidRXDLError: "a consecutive frame is cut short",
    isotp.InvalidCanDataError: "a frame without meaning came in the middle",
    isotp.FrameTooLongError: "the answer is longer than can be taken",
    isotp.OverflowError: "the module has no room for a request of this length",
    isotp.MaximumWaitFrameReachedError: "the module keeps asking to wait with the request",
}


def head_of(data: bytes) -> tuple[bytes, bool] | None:
    """First bytes of the message that a frame begins, and whether that is the whole message.

    None for a frame that begins none (consecutive frame, flow control, no ISO-TP at all).
    """
    try:
        unit = PDU(isotp.CanMessage(data=data))
    except ValueError:
        return None
    if unit.type == PDU.Type.SINGLE_FRAME:
        escaped_for_nothing = unit.escape_sequence and len(data) <= CLASSIC_LENGTH
        return None if escaped_for_nothing else (bytes(unit.data), True)
    if unit.type == PDU.Type.FIRST_FRAME:
        return bytes(unit.data), False
    return None


class Talk:
    """One message at a time between the tool and a module.

    `send` puts a data field on the wire, on the request id; `messages` and `problems` fill as frames are
    fed. A problem is words for the technician and the message bytes that came in order before it.
    """

    def __init__(self, framing: Framing, request: int, answer: int, send: Callable[[bytes], None]) -> None:
        self.messages: deque[bytes] = deque()
        self.problems: deque[tuple[str, bytes]] = deque()
        self.deadline = float("inf")
        """When the next frame must have come."""
        self._inbox: deque[isotp.CanMessage] = deque()
        self._answer = answer
        self._extended = framing is Framing.CAN29
        self._so_far = b""
        self._number = 0
        mode = isotp.AddressingMode.Normal_29bits if self._extended else isotp.AddressingMode.Normal_11bits
        self._layer = isotp.TransportLayerLogic(
            rxfn=lambda timeout: self._inbox.popleft() if self._inbox else None,
            txfn=lambda frame: send(bytes(frame.data)),
            address=isotp.Address(mode, txid=request, rxid=answer),
            error_handler=self._error,
            params=_PARAMS,
        )

    @property
    def busy(self) -> bool:
        """True while a message is on its way in either direction."""
        return self.sending or self._layer.is_rx_active()

    @property
    def sending(self) -> bool:
        return bool(self._layer.transmitting())

    @property
    def wake(self) -> float | None:
        """Seconds until the next own frame may go out (STmin); None while it is the module's turn."""
        delay = self._layer.next_cf_delay()
        return None if delay is None else float(delay)

    def send(self, payload: bytes, now: float) -> None:
        """Begin a request of several frames."""
        self._layer.send(payload)
        self._layer.process()
        self.deadline = now + N_BS

    def pump(self, now: float) -> None:
        """Send the consecutive frame whose STmin has passed."""
        self._layer.process(do_rx=False)
        self.deadline = now + N_BS

    def feed(self, data: bytes, now: float) -> None:
        """Take a frame of the module."""
        self._inbox.append(
            isotp.CanMessage(arbitration_id=self._answer, data=data, extended_id=self._extended)
        )
        self._so_far = bytes(self._layer.rx_buffer)
        self._number += 1
        if data and data[0] >> 4 == PDU.Type.FIRST_FRAME:
            self._number = 0
        self._layer.process()
        while (message := self._layer.recv()) is not None:
            self.messages.append(bytes(message))
        self.deadline = now + (N_BS if self.sending else N_CR)

    def expire(self) -> None:
        """The next frame did not come in time."""
        if self.sending:
            self._layer.stop_sending()
            self.problems.append(("the module sent no flow control for the request", b""))
            return
        so_far = bytes(self._layer.rx_buffer)
        due, length = self._number + 1, self._layer.rx_frame_length
        self._layer.stop_receiving()
        words = f"consecutive frame {due} never came: {len(so_far)} of {length} bytes came"
        self.problems.append((words, so_far))

    def _error(self, error: Exception) -> None:
        if isinstance(error, isotp.UnexpectedFlowControlError | isotp.UnexpectedConsecutiveFrameError):
            return
        if isinstance(error, isotp.WrongSequenceNumberError):
            came = f"{len(self._so_far)} of {self._layer.rx_frame_length} bytes came"
            words = f"consecutive frame {self._number} is missing: {came}"
        else:
            words = _PROBLEMS.get(type(error), "the message broke off")
        self.problems.append((words, self._so_far))
