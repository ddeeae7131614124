"""The port's address and its errors in plain words. No device is needed."""

from __future__ import annotations

import errno
from typing import Any

import pytest
import serial

from dtctriage.link import LinkLost, LinkUnavailable, LinkUrlError
from dtctriage_adapters.serial_text import open_link
from dtctriage_adapters.serial_text.port import PortAddress, SerialPort, open_port, parse


@pytest.mark.parametrize(
    ("rest", "port", "baud", "searchable"),
    [
        ("/dev/ttyUSB0", "/dev/ttyUSB0", None, True),
        ("COM3?baud=115200", "COM3", 115_200, False),
        ("socket://127.0.0.1:35000", "socket://127.0.0.1:35000", None, False),
        ("rfc2217://shop:2217?baud=9600", "rfc2217://shop:2217", 9_600, False),
        ("socket://[::1]:35000", "socket://[::1]:35000", None, False),
        ("loop://", "loop://", None, False),
    ],
)
def test_addresses(rest: str, port: str, baud: int | None, searchable: bool) -> None:
    address = parse(rest)
    assert (address, address.searchable) == (PortAddress(port, baud), searchable)


@pytest.mark.parametrize(
    ("rest", "problem"),
    [
        ("", "names no port"),
        ("?baud=9600", "names no port"),
        ("COM3?baud=fast", "baud=fast is not a rate"),
        ("COM3?baud=", "is not a rate"),
        ("COM3?baud=299", "is not a rate"),
        ("COM3?baud=4000001", "is not a rate"),
        ("COM3?speed=9600", "option speed"),
        ("socket://nonsense", "socket://nonsense names no host and port"),
        ("socket://host:99999", "names no host and port"),
        ("socket://host:0", "names no host and port"),
        ("socket://:35000", "names no host and port"),
        ("socket://host:far?baud=9600", "names no host and port"),
        ("rfc2217://[::1", "names no host and port"),
        ("rfc2217://shop", "names no host and port"),
    ],
)
def test_addresses_that_are_not_understood(rest: str, problem: str) -> None:
    with pytest.raises(LinkUrlError, match=problem):
        open_link(rest)


def failing(error: Exception) -> Any:
    def opener(*args: object, **options: object) -> None:
        raise error

    return opener


@pytest.mark.parametrize(
    ("port", "error", "words"),
    [
        ("COM9", serial.SerialException(errno.ENOENT, "no such file"), "There is no port COM9"),
        ("COM9", serial.SerialException("could not open: FileNotFoundError(2)"), "There is no port COM9"),
        ("COM9", serial.SerialException(errno.EACCES, "denied"), "This user may not open COM9"),
        ("COM9", serial.SerialException("PermissionError(13, 'Access is denied.')"), "COM9 is in use"),
        ("COM9", serial.SerialException(errno.EAGAIN, "Could not exclusively lock port"), "COM9 is in use"),
        ("COM9", serial.SerialException(errno.EBUSY, "busy"), "COM9 is in use"),
        ("COM9", serial.SerialException("odd\nsecond line"), r"COM9 cannot be used \(odd\)"),
        ("bad://x", ValueError("invalid URL"), "Nothing can be reached at bad://x"),
    ],
)
def test_a_port_that_does_not_open_says_why(
    port: str, error: Exception, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serial, "serial_for_url", failing(error))
    with pytest.raises(LinkUnavailable, match=words) as caught:
        open_port(PortAddress(port, None))
    assert caught.value.advice
    assert "\n" not in str(caught.value)


def test_a_port_that_is_not_there_for_real() -> None:
    with pytest.raises(LinkUnavailable, match="no-such-port"):
        open_link("no-such-port")


def test_a_host_that_does_not_listen_for_real() -> None:
    with pytest.raises(LinkUnavailable, match="Nothing can be reached"):
        open_link("socket://127.0.0.1:1")


def test_characters_go_out_and_come_back() -> None:
    port = open_port(PortAddress("loop://", None))
    port.write(b"ATI\r")
    assert port.read() + port.pending() == b"ATI\r"
    assert port.pending() == b""
    port.set_baud(9_600)
    port.close()


class Unplugged(serial.SerialBase):
    """A port whose device is gone."""

    @property
    def in_waiting(self) -> int:
        raise serial.SerialException("device disconnected\nor multiple access")

    def write(self, data: bytes) -> int:
        raise OSError(errno.EIO, "Input/output error")

    def _reconfigure_port(self) -> None:
        raise serial.SerialException("gone")

    def close(self) -> None:
        raise OSError(errno.EIO, "Input/output error")


def test_a_plug_that_was_pulled_is_named() -> None:
    device = Unplugged()
    device.is_open = True
    port = SerialPort(device, "COM3")
    for action in (port.read, port.pending, lambda: port.write(b"x")):
        with pytest.raises(LinkLost, match="The adapter at COM3 is gone") as caught:
            action()
        assert "\n" not in str(caught.value)
    with pytest.raises(LinkUnavailable, match="cannot run at 9600 baud"):
        port.set_baud(9_600)
    port.close()
