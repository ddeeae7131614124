"""The AT commands of an ELM327-class chip that only change its state or tell it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from dtctriage_adapters.classroom.chip_settings import IDENTITY, FlowControl, ProtocolChoice, Settings


class NotUnderstood(Exception):
    """The chip answers with a question mark."""


@dataclass(slots=True)
class Chip:
    """What commands act on. `volts`: what RV measures."""

    settings: Settings
    choice: ProtocolChoice
    volts: float

    def reset(self) -> None:
        """Back to the state after power on. The chosen protocol is in lasting memory and stays."""
        self.settings = Settings()
        self.choice.settled = None


Handler = Callable[[Chip, re.Match[str]], str]
OK = "OK"


def command(chip: Chip, text: str) -> str:
    """Carry out a command (capitals, no spaces, without AT); return what the chip prints.

    Raises NotUnderstood.
    """
    for pattern, handler in _TABLE:
        match = pattern.fullmatch(text)
        if match:
            return handler(chip, match)
    raise NotUnderstood(text)


def _set(name: str, value: bool | int) -> Handler:
    def handler(chip: Chip, match: re.Match[str]) -> str:
        setattr(chip.settings, name, value)
        return OK

    return handler


def _switch(name: str) -> Handler:
    def handler(chip: Chip, match: re.Match[str]) -> str:
        setattr(chip.settings, name, match[1] == "1")
        return OK

    return handler


def _number(name: str, base: int = 16) -> Handler:
    def handler(chip: Chip, match: re.Match[str]) -> str:
        setattr(chip.settings, name, int(match[1], base))
        return OK

    return handler


def _accept(chip: Chip, match: re.Match[str]) -> str:
    """For settings that make no difference to a simulated bus."""
    return OK


def _reset(chip: Chip, match: re.Match[str]) -> str:
    chip.reset()
    return f"\r{IDENTITY}"


def _defaults(chip: Chip, match: re.Match[str]) -> str:
    chip.settings = Settings()
    return OK


def _header(chip: Chip, match: re.Match[str]) -> str:
    chip.settings.header = int(match[1], 16)
    chip.settings.header_digits = len(match[1])
    return OK


def _receive_address(chip: Chip, match: re.Match[str]) -> str:
    """CRA: filter and mask at once; an X lets any digit through; alone it takes both back."""
    digits = match[1]
    chip.settings.filter = int(digits.replace("X", "0"), 16) if digits else None
    chip.settings.mask = int("".join("0" if d == "X" else "F" for d in digits), 16) if digits else None
    return OK


def _protocol(chip: Chip, match: re.Match[str]) -> str:
    automatic, number = match[1], match[2]
    chip.choice.number, chip.choice.settled = number, None
    chip.choice.automatic = bool(automatic) or number == "0"
    return OK


def _close(chip: Chip, match: re.Match[str]) -> str:
    chip.choice.settled = None
    return OK


def _flow_mode(chip: Chip, match: re.Match[str]) -> str:
    """Modes 1 and 2 need their data, mode 1 its id, set beforehand."""
    flow, mode = chip.settings.flow, int(match[1])
    if mode and (flow.data is None or (mode == 1 and flow.header is None)):
        raise NotUnderstood(match[0])
    chip.settings.flow = FlowControl(mode, flow.header, flow.data)
    return OK


def _flow_header(chip: Chip, match: re.Match[str]) -> str:
    chip.settings.flow.header = int(match[1], 16)
    return OK


def _flow_data(chip: Chip, match: re.Match[str]) -> str:
    chip.settings.flow.data = bytes.fromhex(match[1])
    return OK


_ID = "[0-9A-F]{3}|[0-9A-F]{8}"
_TABLE: tuple[tuple[re.Pattern[str], Handler], ...] = tuple(
    (re.compile(pattern), handler)
    for pattern, handler in (
        ("Z|WS", _reset),
        ("D", _defaults),
        ("I", lambda chip, match: IDENTITY),
        ("RV", lambda chip, match: f"{chip.volts:.1f}V"),
        ("DP", lambda chip, match: chip.choice.described),
        ("DPN", lambda chip, match: chip.choice.shown),
        ("[ST]P(A?)([0-9])", _protocol),
        ("PC", _close),
        ("E([01])", _switch("echo")),
        ("L([01])", _switch("line_feed")),
        ("H([01])", _switch("headers")),
        ("S([01])", _switch("spaces")),
        ("R([01])", _switch("answers")),
        ("AL", _set("long", True)),
        ("NL", _set("long", False)),
        ("AT([0-2])", _number("adaptive")),
        ("ST([0-9A-F]{2})", _number("timeout")),
        ("SH([0-9A-F]{3}|[0-9A-F]{6}|[0-9A-F]{8})", _header),
        ("CP([01][0-9A-F])", _number("priority")),
        (f"CF({_ID})", _number("filter")),
        (f"CM({_ID})", _number("mask")),
        ("CRA([0-9A-FX]{3}|[0-9A-FX]{8}|)", _receive_address),
        ("CAF([01])", _switch("formatting")),
        ("CFC([01])", _switch("flow_controls")),
        (f"FCSH({_ID})", _flow_header),
        ("FCSD((?:[0-9A-F]{2}){1,5})", _flow_data),
        ("FCSM([0-2])", _flow_mode),
        ("IIA([0-9A-F]{2})", _number("init_address")),
        ("SW[0-9A-F]{2}|IB(?:10|48|96)", _accept),
    )
)
