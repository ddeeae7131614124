"""What an ELM327-class adapter writes of its own: notices, marks behind a damaged line, its settings."""

from __future__ import annotations

import re

from dtctriage.pasted.line_kinds import DamagedLine, NoticeLine
from dtctriage_reference import rows

_PROTOCOL = re.compile(r"(AUTO, ?)?((?:SAE|ISO) [A-Z0-9 (),./-]{3,40})", re.IGNORECASE)
_COMMAND = re.compile(r"AT ?(?:@\d|[A-Z]{1,3}\d?)(?:SV|ON|OFF|SH|SD|SM|[0-9A-F ])*", re.IGNORECASE)
_NAME = re.compile(r"ELM3\d\d v\d[\w.]*", re.IGNORECASE)
_SUPPLY = re.compile(r"(\d{1,2}\.\d{1,2}) ?V", re.IGNORECASE)
_SAID = (
    (_COMMAND, "A command to the adapter itself: nothing was sent to the vehicle."),
    (_NAME, "The adapter's chip and its version."),
    (_SUPPLY, "The voltage that the adapter measures at pin 16 of the connector."),
)
_BEFORE_DATA = ("progress", "accepted")


def notice(line: str) -> NoticeLine | None:
    """A line that is the adapter's own, with what it means."""
    protocol = _PROTOCOL.fullmatch(line)
    if protocol:
        found = "found by its search" if protocol[1] else "set, without a search"
        return NoticeLine(line, f"The adapter's protocol is {protocol[2]}, {found}.")
    for pattern, advice in _SAID:
        if pattern.fullmatch(line):
            return NoticeLine(line, advice)
    for row in rows("adapter_notices"):
        pattern_text = row["pattern"]
        if pattern_text and row["role"] != "mark" and re.fullmatch(pattern_text, line, re.IGNORECASE):
            return NoticeLine(line, row["advice"])
    return None


def marked(line: str) -> DamagedLine | NoticeLine | None:
    """A line with a mark at its end: received damaged, or a frame that carries no data."""
    for row in rows("adapter_notices"):
        if row["role"] == "mark" and re.search(f"{row['pattern']}$", line, re.IGNORECASE):
            kind = NoticeLine if row["kind"] == "REMOTE_FRAME" else DamagedLine
            return kind(line, row["advice"])
    return None


def progress(line: str) -> int:
    """Where the answer starts in a line that begins with a notice of progress; 0 where it does not."""
    for row in rows("adapter_notices"):
        if row["role"] in _BEFORE_DATA and row["pattern"]:
            match = re.match(row["pattern"], line, re.IGNORECASE)
            if match and match.end() < len(line):
                return match.end()
    return 0
