"""The port: characters in and out through pyserial, and its errors in plain words."""

from __future__ import annotations

import contextlib
import errno
from dataclasses import dataclass
from typing import Protocol
from urllib.parse import parse_qsl, urlsplit

import serial
from serial.tools import list_ports

from dtctriage.link import LinkLost, LinkUnavailable, LinkUnintelligible, LinkUrlError

SLICE = 0.05
"""Seconds a read waits at most for a character. It returns as soon as one is there."""
WRITE_SECONDS = 5.0
USUAL_BAUD = 38_400
OTHER_BAUDS = (115_200, 9_600, 500_000, 230_400, 57_600)
"""Rates that adapters of this class are set to. The first one and 9600 are the chip's (data sheet; from
memory), the others common practice, no source."""
ENDLESS = 1 << 16
"""Bytes without a prompt after which it is no adapter that speaks: the chip's own buffer holds 512."""
_EXAMPLE = "Write for example serial:/dev/ttyUSB0, serial:COM3?baud=115200 or serial:socket://127.0.0.1:35000"
_RATES = range(300, 4_000_001)
_NETWORK = ("socket://", "rfc2217://")
"""Schemes of pyserial's that lead to a host."""


def endless(name: str) -> LinkUnintelligible:
    """What is there sends and sends, and never waits for a command."""
    return LinkUnintelligible(
        f"What is at {name} sends without end and is no adapter of this class",
        "Check that it is the right port and rate (?baud=)",
    )


class Port(Protocol):
    """Characters in and out. Everything but `close` may raise LinkLost."""

    @property
    def name(self) -> str: ...

    def write(self, data: bytes) -> None: ...

    def read(self) -> bytes:
        """What has come, waiting a moment for the first character; empty when none came."""
        ...

    def pending(self) -> bytes:
        """What has come already."""
        ...

    def set_baud(self, baud: int) -> None: ...

    def close(self) -> None:
        """Never raises."""
        ...


@dataclass(frozen=True, slots=True)
class PortAddress:
    """Where the adapter is. `baud` None: not told. `searchable`: a real port, whose rate can be searched."""

    port: str
    baud: int | None

    @property
    def searchable(self) -> bool:
        return self.baud is None and "://" not in self.port


def parse(rest: str) -> PortAddress:
    """Take `PORT?baud=RATE` apart. Raises LinkUrlError."""
    port, _, query = rest.partition("?")
    options = dict(parse_qsl(query, keep_blank_values=True))
    text = options.pop("baud", None)
    if not port:
        raise LinkUrlError("serial: names no port", _EXAMPLE)
    if options:
        raise LinkUrlError(f"The option {next(iter(options))} is not known", _EXAMPLE)
    _check_host(port)
    if text is None:
        return PortAddress(port, None)
    if not text.isdecimal() or int(text) not in _RATES:
        raise LinkUrlError(f"baud={text} is not a rate", f"Use {_RATES[0]} to {_RATES[-1]}, usually 38400")
    return PortAddress(port, int(text))


def _check_host(port: str) -> None:
    """pyserial trips over a network address without host or port."""
    if not port.lower().startswith(_NETWORK):
        return
    try:
        parts = urlsplit(port)
        whole = bool(parts.hostname and parts.port)
    except ValueError:  # a port that is no number, or above 65535
        whole = False
    if not whole:
        raise LinkUrlError(f"{port} names no host and port", f"A port is 1 to 65535. {_EXAMPLE}")


class SerialPort:
    """A pyserial port, by name or URL."""

    def __init__(self, port: serial.Serial, name: str) -> None:
        self._port = port
        self.name = name

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except (serial.SerialException, OSError) as error:
            raise self._lost(error) from error

    def read(self) -> bytes:
        try:
            return bytes(self._port.read(max(1, self._port.in_waiting)))
        except (serial.SerialException, OSError, TypeError) as error:
            # pyserial trips over itself (TypeError) when another thread closes the port in a read.
            raise self._lost(error) from error

    def pending(self) -> bytes:
        data = b""
        try:
            while len(data) < ENDLESS and (waiting := self._port.in_waiting):
                data += self._port.read(waiting)
        except (serial.SerialException, OSError) as error:
            raise self._lost(error) from error
        if len(data) >= ENDLESS:
            raise endless(self.name)
        return data

    def set_baud(self, baud: int) -> None:
        try:
            self._port.baudrate = baud
        except (serial.SerialException, OSError, ValueError) as error:
            raise LinkUnavailable(
                f"{self.name} cannot run at {baud} baud", "Name another rate with ?baud="
            ) from error

    def close(self) -> None:
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()

    def _lost(self, error: Exception) -> LinkLost:
        return LinkLost(
            f"The adapter at {self.name} is gone ({_first_line(error)})",
            "Check plug and cable, then start again; what was read so far is kept",
        )


def open_port(address: PortAddress) -> SerialPort:
    """Open the port for this program alone. Raises LinkUnavailable with what to do."""
    baud = USUAL_BAUD if address.baud is None else address.baud
    try:
        port = serial.serial_for_url(
            address.port, baudrate=baud, timeout=SLICE, write_timeout=WRITE_SECONDS, exclusive=True
        )
    except (serial.SerialException, OSError, ValueError) as error:
        raise _unavailable(address, error) from error
    # USB adapters otherwise collect characters for up to 16 ms; only Linux lets it be asked for.
    with contextlib.suppress(AttributeError, NotImplementedError, ValueError, OSError):
        port.set_low_latency_mode(True)
    return SerialPort(port, address.port)


def _unavailable(address: PortAddress, error: Exception) -> LinkUnavailable:
    text, number = str(error), getattr(error, "errno", None)
    if "://" in address.port:
        return LinkUnavailable(
            f"Nothing can be reached at {address.port} ({_first_line(error)})",
            "Check host and port, that the adapter is switched on, and the network",
        )
    if "lock" in text or number in (errno.EBUSY, errno.EAGAIN) or "PermissionError(13" in text:
        return LinkUnavailable(
            f"The port {address.port} is in use", "Close the other program that holds it, then try again"
        )
    if number in (errno.EACCES, errno.EPERM):
        return LinkUnavailable(
            f"This user may not open {address.port}",
            "Join the group that owns the port (often dialout or uucp), log in again",
        )
    if number == errno.ENOENT or "FileNotFoundError" in text:
        return LinkUnavailable(f"There is no port {address.port}", _ports_here())
    return LinkUnavailable(f"The port {address.port} cannot be used ({_first_line(error)})", _ports_here())


def _ports_here() -> str:
    names = sorted(port.device for port in list_ports.comports())
    return f"Ports of this machine: {', '.join(names)}" if names else "This machine shows no serial port"


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]
