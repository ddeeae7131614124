"""The first words with an adapter: the rate it talks at, and who it is. Nothing touches the bus here."""

from __future__ import annotations

import time
from collections.abc import Callable

from dtctriage.link import LinkUnintelligible
from dtctriage_adapters.serial_text.conversation import CR, AdapterSilent, Conversation
from dtctriage_adapters.serial_text.dialect import PROMPT, LineReader, Unreadable, read_line
from dtctriage_adapters.serial_text.link import SerialTextLink
from dtctriage_adapters.serial_text.port import (
    OTHER_BAUDS,
    USUAL_BAUD,
    Port,
    PortAddress,
    open_port,
    parse,
)
from dtctriage_adapters.serial_text.session import Session

PROBE_SECONDS = 0.4
"""Time for an answer at a rate that is tried: an identity line at 9600 baud and a slow radio link."""
RESET_SECONDS = 2.5
"""Time for the first character after a restart."""
HUSH_SECONDS = 0.2
_RESTARTS = ("ATWS", "ATZ", "ATWS", "ATZ")
"""Warm starts come first: they keep the baud rate. What another program left in the adapter's ear may cost
one or two."""


def open_serial_link(rest: str, clock: Callable[[], float] = time.monotonic) -> SerialTextLink:
    """Open the port, find the adapter and set it up."""
    address = parse(rest)
    port = open_port(address)
    try:
        return start(port, address, f"serial:{rest}", clock)
    except BaseException:
        port.close()
        raise


def start(port: Port, address: PortAddress, url: str, clock: Callable[[], float]) -> SerialTextLink:
    """Greet the adapter at an open port. Raises LinkUnintelligible or LinkLost."""
    if address.searchable:
        find_baud(port, clock)
    session = Session()
    session.identity = _identity(port, clock)
    link = SerialTextLink(port, session, url, clock)
    link.prepare()
    return link


def find_baud(port: Port, clock: Callable[[], float]) -> None:
    """Leave the port at the rate at which something answers. Raises LinkUnintelligible."""
    for baud in (USUAL_BAUD, *OTHER_BAUDS):
        port.set_baud(baud)
        # The first line may run into what another rate left in the adapter's ear.
        if any(_prompts(port, clock) for _ in range(2)):
            return
    raise _nobody(port)


def _prompts(port: Port, clock: Callable[[], float]) -> bool:
    """Whether a harmless command brings readable text and a prompt."""
    port.pending()
    port.write(b"ATI" + CR)
    reader, deadline, lines = LineReader(), clock() + PROBE_SECONDS, list[str]()
    while clock() < deadline:
        lines += reader.feed(port.read())
        if PROMPT in lines:
            return all(_readable(line) for line in lines)
    return False


def _identity(port: Port, clock: Callable[[], float]) -> str:
    """Restart the adapter and return what it calls itself."""
    talk = Conversation(port, clock)
    heard: list[str] = []
    for number, command in enumerate(_RESTARTS):
        port.pending()
        try:
            heard += [text for text, _ in talk.say(command, RESET_SECONDS)]
        except AdapterSilent as error:
            heard += [talk.rest] if talk.rest else []
            raise (_rubbish(port, heard[-1]) if heard else _nobody(port)) from error
        names = [text for text in heard if _is_name(text)]
        if names:
            if number:
                talk.hush(HUSH_SECONDS)
            return names[-1]
    raise _rubbish(port, heard[-1]) if heard else _nobody(port)


def _is_name(text: str) -> bool:
    """Readable, none of the chip family's other words, and not the tail of a command that it echoes."""
    own = any(command.endswith(text.upper()) for command in _RESTARTS)
    return _readable(text) and isinstance(read_line(text), Unreadable) and not own


def _readable(line: str) -> bool:
    return line.isascii() and line.isprintable()


def _nobody(port: Port) -> LinkUnintelligible:
    return LinkUnintelligible(
        f"Nothing answers at {port.name}",
        "Check that it is the right port, that no other program talks to it, and the rate (?baud=)",
    )


def _rubbish(port: Port, text: str) -> LinkUnintelligible:
    shown = "".join(c if c.isascii() and c.isprintable() else "?" for c in text[:40])
    return LinkUnintelligible(
        f"What comes from {port.name} cannot be understood ({shown})",
        "Check the rate (?baud=), the cable, and that it is an ELM327-class adapter",
    )
