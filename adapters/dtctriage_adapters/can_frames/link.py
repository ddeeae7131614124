"""The link over frames: any python-can interface, 11 and 29 bit at once."""

from __future__ import annotations

import logging
import socket
from collections.abc import Iterator, Sequence
from typing import Any

import can

from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    LinkDriverMissing,
    LinkUnavailable,
    LinkUrlError,
    Notice,
    NoticeKind,
    Opened,
    Outcome,
    Reply,
    Request,
    functional,
)
from dtctriage.services.shape import answers
from dtctriage_adapters.can_frames.directory import Directory
from dtctriage_adapters.can_frames.exchange import Exchange
from dtctriage_adapters.can_frames.talk import head_of
from dtctriage_adapters.can_frames.url import BITRATES, BusAddress, parse
from dtctriage_adapters.can_frames.wire import BusWire, Frame, Trouble, Wire

GAP_AT_500 = 0.00025
"""Seconds between two frames at 500 kbit/s: about the length of one frame with eight bytes."""

ANYBODY_THERE = bytes.fromhex("0100")
"""Every emission module answers it (SAE J1979)."""

_NOBODY = "No module answered 01 00, neither on 11 nor on 29 bit"
_NOBODY_ADVICE = (
    "Check ignition on, the plug and the bit rate; modules that are no emission modules may still answer"
)

logging.getLogger("can").addHandler(logging.NullHandler())


class CanLink:
    """A Link over a Wire. `bitrate` is the interface's, in bit/s."""

    def __init__(self, wire: Wire, adapter: Adapter, bitrate: int) -> None:
        self._wire = wire
        self._adapter = adapter
        self._bitrate = bitrate
        self._directory = Directory()
        self._asked_before: frozenset[bytes] = frozenset()

    @property
    def adapter(self) -> Adapter:
        return self._adapter

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return [item for item in BusProtocol if item.framing.is_can and item.bitrate == self._bitrate]

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        """Take the given protocol, or settle on the framing in which an emission module answers."""
        if protocol is not None:
            if protocol not in self.protocols:
                able = ", ".join(item.title for item in self.protocols)
                raise LinkUnavailable(f"This interface cannot speak {protocol.title}", f"It is set to {able}")
            return Opened(protocol, searched=False)
        outcomes = list(
            self.exchange([Request(functional(item.framing), ANYBODY_THERE) for item in self.protocols])
        )
        notices = tuple(item for item in outcomes if isinstance(item, Notice))
        answered = {item.request.target.framing for item in outcomes if isinstance(item, Reply)}
        for item in self.protocols:
            if item.framing in answered:
                return Opened(item, searched=True, notices=notices)
        nobody = Notice(NoticeKind.NO_PROTOCOL, _NOBODY, _NOBODY_ADVICE)
        return Opened(None, searched=True, notices=(*notices, nobody))

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        """Send a batch; yield outcomes as they come; end with one Finished for each request.

        A physical target without an answer id is answered by whoever is found to own that id.
        """
        self._directory.told(request.target for request in requests)
        troubles: list[Trouble] = []
        begun = self._wire.now()
        while (item := self._wire.receive(begun)) is not None:
            if isinstance(item, Frame):
                self._overhear(item)
            else:
                troubles.append(item)
        self._asked_before = frozenset(request.payload for request in requests)
        gap = GAP_AT_500 * BITRATES[0] / self._bitrate
        yield from Exchange(self._wire, self._directory, requests, gap, troubles).run()

    def listen(self, seconds: float) -> BusActivity:
        """Count data frames by identifier, and error frames."""
        frames: dict[int, int] = {}
        errors = 0
        begun = self._wire.now()
        while (item := self._wire.receive(begun + seconds)) is not None:
            if isinstance(item, Frame):
                self._overhear(item)
                frames[item.number] = frames.get(item.number, 0) + 1
            else:
                errors += 1
        return BusActivity(self._wire.now() - begun, frames, errors, heard=True)

    def supply_voltage(self) -> float | None:
        """A CAN interface does not see pin 16."""
        return None

    def close(self) -> None:
        self._wire.close()

    def _overhear(self, frame: Frame) -> None:
        """Remember an id that sends while nobody asks, unless it is an answer that comes late."""
        if self._directory.request_of(frame.source) is None and not self._late(frame):
            self._directory.background.add(frame.source)

    def _late(self, frame: Frame) -> bool:
        begun = head_of(frame.data)
        return begun is not None and any(answers(request, begun[0]) for request in self._asked_before)


def open_can_link(rest: str) -> CanLink:
    """Open what follows `can:` in a link's URL. Raises LinkUrlError, LinkDriverMissing, LinkUnavailable."""
    address = parse(rest)
    bus = open_bus(address)
    adapter = Adapter(f"CAN interface {bus.channel_info or address.interface}", f"can:{rest}")
    return CanLink(BusWire(bus, address.interface), adapter, address.bitrate)


_DRIVERS = {
    "canalystii": "Run: pip install 'python-can[canalystii]'",
    "cantact": "Run: pip install 'python-can[cantact]'",
    "gs_usb": "Run: pip install 'python-can[gs-usb]'",
    "neovi": "Run: pip install 'python-can[neovi]'",
    "nixnet": "Run: pip install 'python-can[nixnet]' and the maker's driver",
    "seeedstudio": "Run: pip install 'python-can[seeedstudio]'",
    "socketcan": "SocketCAN exists on Linux only",
}


def open_bus(address: BusAddress) -> can.BusABC:
    """Open an interface at its address's rate. Raises LinkUrlError, LinkDriverMissing, LinkUnavailable.

    A python-can configuration of the user's is for other programs: the URL alone tells.
    """
    name = address.interface
    if name not in can.VALID_INTERFACES:
        known = ", ".join(sorted(can.VALID_INTERFACES))
        raise LinkUrlError(f"There is no CAN interface called {name}", f"Known are: {known}")
    options: dict[str, Any] = {"bitrate": address.bitrate, **address.options}
    try:
        if name == "socketcan":
            socket.if_nametoindex(str(address.channel))  # python-can would leave a socket open
        return can.Bus(address.channel, name, ignore_config=True, **options)
    except (can.CanInterfaceNotImplementedError, ImportError, NameError, AttributeError) as error:
        raise _driver_missing(name, error) from error
    except (TypeError, ValueError) as error:
        advice = "Check channel and options in the link's URL"
        raise LinkUrlError(f"The CAN interface {name} does not take this ({_line(error)})", advice) from error
    except (can.CanError, OSError) as error:
        if "library" in str(error).lower():
            raise _driver_missing(name, error) from error
        raise LinkUnavailable(
            f"The CAN interface {name}/{address.channel} cannot be opened ({_line(error)})", _absent(address)
        ) from error


def _driver_missing(name: str, error: Exception) -> LinkDriverMissing:
    advice = _DRIVERS.get(name, "Install the interface maker's driver library for this system")
    return LinkDriverMissing(f"The CAN interface {name} cannot be used ({_line(error)})", advice)


def _absent(address: BusAddress) -> str:
    if address.interface == "socketcan":
        return f"Bring it up: ip link set {address.channel} up type can bitrate {address.bitrate}"
    return "Check that it is plugged in, that its driver is installed, and that no other program holds it"


def _line(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__
