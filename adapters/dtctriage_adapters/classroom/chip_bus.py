"""What an ELM327-class chip finds on a bus: whether it works, how long that takes, what it says then."""

from __future__ import annotations

from dtctriage.link import OBD_FUNCTIONAL_NODE, BusProtocol, Framing
from dtctriage.services.line_format import FUNCTIONAL_HEADERS
from dtctriage_adapters.classroom.chip_settings import Settings
from dtctriage_adapters.classroom.chip_work import NO_DATA
from dtctriage_adapters.classroom.line_message import LineMessage
from dtctriage_adapters.classroom.vehicle import BusState, Vehicle

CAN_ERROR_SECONDS = 0.1
"""Until the chip gives a frame up that it cannot get out. Common practice, no source."""
INIT_SECONDS = {
    BusProtocol.ISO9141_2: 2.6,
    BusProtocol.ISO14230_SLOW: 2.6,
    BusProtocol.ISO14230_FAST: 0.4,
}
"""A K-line start: ten bits at 5 baud take 2 s (ISO 9141-2), plus the wait."""
FAILED_TRY_SECONDS = 0.2
"""A search gives the other protocols one usual timeout."""


class ChipBus:
    """The vehicle's bus as the chip finds it."""

    def __init__(self, vehicle: Vehicle) -> None:
        self._vehicle = vehicle

    def works(self, protocol: BusProtocol) -> bool:
        """Whether messages get through."""
        return self._vehicle.protocol is protocol and self._vehicle.bus_state is BusState.WORKING

    def start(self, protocol: BusProtocol, settings: Settings) -> bool:
        """Start a K-line; whether a module takes it.

        A slow start calls the address that IIA gives, a fast one goes to the header's target.
        """
        line = self._vehicle.line
        if line is None or not self.works(protocol):
            return False
        if protocol is not BusProtocol.ISO14230_FAST:
            return line.start(settings.init_address, settings.init_address == OBD_FUNCTIONAL_NODE)
        header = settings.line_header or FUNCTIONAL_HEADERS[Framing.ISO14230]
        call = LineMessage(header, b"")
        return line.start(call.target, call.functional(Framing.ISO14230))

    def acknowledges(self, protocol: BusProtocol) -> bool:
        """The right rate with identifiers of the wrong width: frames are taken, and nobody answers."""
        vehicle = self._vehicle.protocol
        return (
            vehicle is not None
            and vehicle is not protocol
            and vehicle.framing.is_can
            and protocol.framing.is_can
            and vehicle.bitrate == protocol.bitrate
            and self._vehicle.bus_state is BusState.WORKING
        )

    def seconds_to_fail(self, protocol: BusProtocol, settings: Settings) -> float:
        """How long a protocol takes that does not work."""
        if self.acknowledges(protocol):
            return settings.longest_wait
        if protocol.framing.is_can:
            return CAN_ERROR_SECONDS
        return INIT_SECONDS.get(protocol, FAILED_TRY_SECONDS)

    def failure(self, protocol: BusProtocol) -> str:
        """What the chip prints when a fixed protocol does not work."""
        if protocol in INIT_SECONDS:
            return f"{init_text(protocol)}ERROR"
        if protocol.framing.is_can:
            return NO_DATA if self.acknowledges(protocol) else "CAN ERROR"
        shorted = self._vehicle.protocol is protocol and self._vehicle.bus_state is BusState.SHORTED
        return "FB ERROR" if shorted else NO_DATA

    def can_listen(self, protocol: BusProtocol) -> bool:
        """Whether monitoring with a protocol goes without a CAN error."""
        if self._vehicle.bus_state is BusState.SHORTED:
            return False
        fits = protocol is self._vehicle.protocol or self.acknowledges(protocol)
        return fits or not protocol.framing.is_can


def init_text(protocol: BusProtocol) -> str:
    """What the chip prints while it starts a K-line."""
    return "BUS INIT: " if protocol is BusProtocol.ISO14230_FAST else "BUS INIT: ..."
