"""A way into the vehicle through an ELM327-class adapter: a serial port, or one over the network."""

from __future__ import annotations

from dtctriage.link import Link


def open_link(rest: str) -> Link:
    """Open `serial:PORT?baud=RATE`; `rest` is what follows `serial:`.

    PORT is a port's name (COM3, /dev/ttyUSB0) or a pyserial URL (socket://host:port,
    rfc2217://host:port). Without a rate a real port is searched for one. The adapter is started and set
    up; nothing is said on the bus. Raises LinkUrlError, LinkUnavailable, LinkUnintelligible or LinkLost
    with one line that says what to do.
    """
    from dtctriage_adapters.serial_text.start import open_serial_link  # listing the links needs no port

    return open_serial_link(rest)
