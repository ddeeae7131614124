"""The chip family's transcripts, from adapter_transcripts.toml where each names its source."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Framing, NoticeKind
from dtctriage_adapters.serial_text.dialect import PROMPT, LineReader, Unreadable, Words, is_echo, read_line
from dtctriage_adapters.serial_text.messages import Message, Messages
from dtctriage_reference import rows

PATH = Path(__file__).with_name("adapter_transcripts.toml")
TRANSCRIPTS: list[dict[str, Any]] = tomllib.loads(PATH.read_text(encoding="utf-8"))["transcript"]
DATA_ONLY = [item for item in TRANSCRIPTS if "words" not in item and "text" not in item]
JUNK = b"\x00\xff\x80~zz\r7E"


def lines_of(transcript: dict[str, Any], pieces: list[bytes]) -> list[str]:
    """The lines up to the prompt, without the echo."""
    reader = LineReader()
    lines = [line for piece in pieces for line in reader.feed(piece)]
    lines = lines[: lines.index(PROMPT)]
    return lines[1:] if lines and is_echo(lines[0], transcript["send"]) else lines


def understood(transcript: dict[str, Any], lines: list[str]) -> dict[str, Any]:
    headers = "senders" in transcript
    messages = Messages(Framing(transcript["framing"]), headers)
    heard: list[Message] = []
    words: list[str] = []
    text: list[str] = []
    for line in lines:
        match read_line(line, headers):
            case Words(text=said):
                words.append(said)
            case Unreadable(text=unread):
                text.append(unread)
            case data:
                heard += [item for item in messages.feed(data) if isinstance(item, Message)]
    assert messages.finish() == []
    return {
        "messages": [item.payload.hex(" ").upper() for item in heard],
        "senders": [item.source for item in heard if item.source is not None],
        "words": words,
        "text": text,
    }


def expected(transcript: dict[str, Any]) -> dict[str, Any]:
    return {
        "messages": transcript["messages"],
        "senders": transcript.get("senders", []),
        "words": transcript.get("words", []),
        "text": [transcript["text"]] if "text" in transcript else [],
    }


@pytest.mark.parametrize("transcript", TRANSCRIPTS, ids=lambda item: item["name"])
def test_each_transcript_whole_bytewise_and_before_junk(transcript: dict[str, Any]) -> None:
    raw = transcript["recv"].encode("ascii") + b"\r\r>"
    for pieces in ([raw], [raw[at : at + 1] for at in range(len(raw))], [raw + JUNK]):
        assert understood(transcript, lines_of(transcript, pieces)) == expected(transcript)


@pytest.mark.parametrize("transcript", DATA_ONLY, ids=lambda item: item["name"])
def test_line_feeds_and_missing_spaces_change_nothing(transcript: dict[str, Any]) -> None:
    raw = transcript["recv"].replace(" ", "").replace("\r", "\r\n").encode("ascii") + b"\r\n\r\n>"
    assert understood(transcript, lines_of(transcript, [raw])) == expected(transcript)


def test_the_stated_meanings_come_out() -> None:
    heard = {
        item["name"]: understood(item, lines_of(item, [item["recv"].encode("ascii") + b">"]))["messages"]
        for item in TRANSCRIPTS
    }
    code = bytes.fromhex(heard["codes, not CAN"][0])[1:3]
    assert str(Dtc.from_bytes(code)) == "P0133"
    j1850 = b"".join(bytes.fromhex(text)[3:] for text in heard["VIN, J1850"])
    can = bytes.fromhex(heard["VIN, CAN"][0])[3:]
    assert j1850.lstrip(b"\0") == can == b"1D4GP00R55B123456"
    assert bytes.fromhex(heard["mil and count"][0])[2] == 0x80 | 1


def test_every_transcript_names_a_known_source() -> None:
    known = {row["key"] for row in rows("sources")}
    assert {item["source"] for item in TRANSCRIPTS} <= known


def test_no_power_is_named_with_advice() -> None:
    line = read_line("UNABLE TO CONNECT")
    assert isinstance(line, Words)
    notice = line.wording.notice(line.text)
    assert notice is not None
    assert notice.kind is NoticeKind.NO_PROTOCOL
    assert "Ignition on?" in notice.advice
