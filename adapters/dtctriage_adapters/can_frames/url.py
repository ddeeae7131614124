"""The part of a link's URL that names a CAN interface: INTERFACE/CHANNEL?OPTION=VALUE&..."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace
from urllib.parse import parse_qsl

from dtctriage.link import LinkUrlError

Option = int | float | bool | str

BITRATES = (500_000, 250_000)
"""bit/s that ISO 15765-4 gives to diagnostics, the usual one first."""
_EXAMPLE = "Write for example can:socketcan/can0 or can:pcan/PCAN_USBBUS1?bitrate=500000"


@dataclass(frozen=True, slots=True)
class BusAddress:
    """A python-can interface by name, its channel and the options for its bus."""

    interface: str
    channel: str | int
    bitrate: int
    options: dict[str, Option] = field(default_factory=dict)

    def at_rate(self, bitrate: int) -> BusAddress:
        """The same at another rate, unless the URL told one."""
        return self if "bitrate" in self.options else replace(self, bitrate=bitrate)


def parse(rest: str) -> BusAddress:
    """Take the URL apart. Raises LinkUrlError."""
    path, _, query = rest.partition("?")
    interface, _, channel = path.partition("/")
    if not interface or not channel:
        raise LinkUrlError(f"can:{rest} names no interface and channel", _EXAMPLE)
    options = _options(query)
    bitrate = options.get("bitrate", BITRATES[0])
    if bitrate not in BITRATES or isinstance(bitrate, bool):
        raise LinkUrlError(f"bitrate={bitrate} is not a rate of ISO 15765-4", "Use 500000 or 250000")
    return BusAddress(interface, int(channel) if channel.isdecimal() else channel, int(bitrate), options)


def _options(query: str) -> dict[str, Option]:
    options: dict[str, Option] = {}
    for name, text in parse_qsl(query, keep_blank_values=True):
        if name in ("interface", "channel") or name in options or not text:
            raise LinkUrlError(f"The option {name}={text} cannot be used", _EXAMPLE)
        options[name] = _value(text)
    return options


def _value(text: str) -> Option:
    """Text as the type it looks like: python-can's buses expect numbers and truth values."""
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    with suppress(ValueError):
        return int(text, 0)
    with suppress(ValueError):
        return float(text)
    return text
