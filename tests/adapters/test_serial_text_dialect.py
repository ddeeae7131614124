"""Characters to lines, lines to words and messages."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import BusProtocol, Framing, NoticeKind
from dtctriage.services.isotp import segment
from dtctriage.services.line_format import Faulty, Stripped, checksum, crc, strip
from dtctriage_adapters.serial_text.dialect import (
    LONGEST_LINE,
    PROMPT,
    DataLine,
    LineReader,
    Unreadable,
    Words,
    is_echo,
    read_line,
)
from dtctriage_adapters.serial_text.messages import Lost, Message, Messages
from dtctriage_adapters.serial_text.monitoring import Monitoring
from dtctriage_adapters.serial_text.wording import own_notice, protocol_numbers
from dtctriage_reference import rows

# Every text of the chip family's data sheets (ELM327 pages 14, 36, 78, 87-89; ELM323 page 13; ELM329 pages
# 72, 80; BUS INIT OK, CAN ERROR and NOT CONNECTED from memory) and what it must be named.
WORDS = {
    "?": NoticeKind.NOT_UNDERSTOOD,
    "ACT ALERT": NoticeKind.GOING_TO_SLEEP,
    "!ACT ALERT": NoticeKind.GOING_TO_SLEEP,
    "LP ALERT": NoticeKind.GOING_TO_SLEEP,
    "!LP ALERT": NoticeKind.GOING_TO_SLEEP,
    "BUFFER FULL": NoticeKind.OVERFLOW,
    "BUS BUSY": NoticeKind.BUS_BUSY,
    "BUS ERROR": NoticeKind.BUS_ERROR,
    "BUS INIT: ...ERROR": NoticeKind.BUS_START_FAILED,
    "BUS INIT: ERROR": NoticeKind.BUS_START_FAILED,
    "CAN ERROR": NoticeKind.CAN_ERROR,
    "DATA ERROR": NoticeKind.DATA_ERROR,
    "ERR94": NoticeKind.CAN_BLOCKED,
    "ERR71": NoticeKind.INTERNAL,
    "FB ERROR": NoticeKind.OWN_SIGNAL_LOST,
    "LV RESET": NoticeKind.SUPPLY_DIP,
    "NO DATA": NoticeKind.NO_ANSWER,
    "STOPPED": NoticeKind.INTERRUPTED,
    "UNABLE TO CONNECT": NoticeKind.NO_PROTOCOL,
    "NOT CONNECTED": NoticeKind.NO_PROTOCOL,
    "OK": None,
    "SEARCHING...": None,
    "BUS INIT: OK": None,
    "BUS INIT: ...OK": None,
    "FC: 7E0 30 00 00": None,
}
MARKS = {
    "7E8 06 41 00 BE <DATA ERROR": NoticeKind.DATA_ERROR,
    "7E8064100BE<RX ERROR": NoticeKind.RECEIVE_ERROR,
    "7E8 RTR": NoticeKind.REMOTE_FRAME,
}


@pytest.mark.parametrize("text", WORDS)
def test_every_text_of_the_data_sheets_is_named(text: str) -> None:
    line = read_line(text)
    assert isinstance(line, Words)
    assert line.wording.kind is WORDS[text]
    notice = line.wording.notice(text)
    assert (notice is None) == (WORDS[text] is None)
    assert notice is None or (notice.text == text and len(notice.advice) > 20)


@pytest.mark.parametrize("text", MARKS)
def test_every_mark_behind_data_is_named_and_the_data_kept(text: str) -> None:
    line = read_line(text)
    assert isinstance(line, DataLine)
    assert line.digits.startswith("7E8")
    assert line.mark is not None
    assert line.mark.kind is MARKS[text]


def test_every_row_of_the_notice_table_is_reached_by_a_text() -> None:
    reached = set()
    for text in (*WORDS, *MARKS):
        line = read_line(text)
        if isinstance(line, Words):
            reached.add(line.wording.pattern.pattern)
        elif isinstance(line, DataLine) and line.mark is not None:
            reached.add(line.mark.pattern.pattern)
    assert reached == {row["pattern"] for row in rows("adapter_notices") if row["pattern"]}


def test_every_row_names_known_sources_and_a_quality() -> None:
    known = {row["key"] for row in rows("sources")}
    for row in (*rows("adapter_notices"), *rows("adapter_protocols")):
        assert set(row["source"].split("+")) <= known
        assert row["quality"] in ("read", "memory", "common practice")


@pytest.mark.parametrize(
    "kind",
    [
        NoticeKind.NO_SUPPLY,
        NoticeKind.NO_ANSWER,
        NoticeKind.GARBAGE,
        NoticeKind.NOT_GENUINE,
        NoticeKind.NOT_UNDERSTOOD,
    ],
)
def test_what_the_tool_sees_for_itself_has_advice_too(kind: NoticeKind) -> None:
    assert len(own_notice(kind, "text").advice) > 20


def test_the_protocol_numbers_are_the_chips() -> None:
    # ELM327 data sheet (82 pages), page 25 (read).
    assert protocol_numbers() == {
        BusProtocol.J1850_PWM: "1",
        BusProtocol.J1850_VPW: "2",
        BusProtocol.ISO9141_2: "3",
        BusProtocol.ISO14230_SLOW: "4",
        BusProtocol.ISO14230_FAST: "5",
        BusProtocol.CAN11_500: "6",
        BusProtocol.CAN29_500: "7",
        BusProtocol.CAN11_250: "8",
        BusProtocol.CAN29_250: "9",
    }


# -- lines ---------------------------------------------------------------------------------------------


@given(st.binary(max_size=200), st.data())
def test_lines_do_not_depend_on_how_the_characters_arrive(data: bytes, draw: st.DataObject) -> None:
    cut = draw.draw(st.integers(0, len(data)))
    pieces, whole, bytewise = LineReader(), LineReader(), LineReader()
    expected = whole.feed(data)
    assert pieces.feed(data[:cut]) + pieces.feed(data[cut:]) == expected
    assert [line for at in range(len(data)) for line in bytewise.feed(data[at : at + 1])] == expected


def test_nuls_are_dropped_and_a_prompt_ends_a_line() -> None:
    assert LineReader().feed(b"\0O\0K\r\r\n>AB>") == ["OK", PROMPT, "AB", PROMPT]


def test_a_flood_without_an_end_is_cut() -> None:
    lines = LineReader().feed(b"x" * (2 * LONGEST_LINE + 1))
    assert [len(line) for line in lines] == [LONGEST_LINE, LONGEST_LINE]


@given(st.binary(max_size=300), st.sampled_from(list(Framing)), st.booleans())
def test_no_bytes_whatever_raise(data: bytes, framing: Framing, headers: bool) -> None:
    messages, monitoring = Messages(framing, headers), Monitoring(framing)
    for text in LineReader().feed(data + b"\r"):
        line = read_line(text, headers)
        if not isinstance(line, Words | Unreadable):
            assert all(isinstance(item, Message | Lost) for item in messages.feed(line))
        if framing.is_can:
            monitoring.hear(text)
    assert all(isinstance(item, Lost) for item in messages.finish())


HEXISH = st.text(alphabet="0123456789ABCDEF: <>RXTDAEO.", max_size=40)


@given(st.lists(HEXISH, max_size=8), st.sampled_from(list(Framing)), st.booleans())
def test_no_near_miss_raises(texts: list[str], framing: Framing, headers: bool) -> None:
    test_no_bytes_whatever_raise.hypothesis.inner_test("\r".join(texts).encode(), framing, headers)  # type: ignore[attr-defined]


def test_the_echo_is_known_whatever_its_spacing() -> None:
    assert is_echo("01 0c", "010C")
    assert not is_echo("410C1AF8", "010C")


def test_an_answer_right_behind_a_progress_word_is_kept() -> None:
    line = read_line("SEARCHING...7E8 06 41 00 BE 3F A8 13")
    assert isinstance(line, DataLine)
    assert line.digits == "7E8064100BE3FA813"
    line = read_line("BUS INIT: OK48 6B 10 41")
    assert isinstance(line, DataLine)
    assert line.digits == "486B1041"


# -- messages on CAN -----------------------------------------------------------------------------------


def heard(framing: Framing, *lines: str, headers: bool = True) -> list[Message | Lost]:
    messages = Messages(framing, headers)
    items: list[Message | Lost] = []
    for text in lines:
        line = read_line(text, headers)
        assert not isinstance(line, Words | Unreadable)
        items += messages.feed(line)
    return [*items, *messages.finish()]


def test_29_bit_headers_are_read_with_and_without_spaces() -> None:
    # CAN 29 identifiers as the chips print them, four bytes (from memory).
    expected = [Message(0x18DAF110, bytes.fromhex("41 00 BE 3F A8 13"))]
    assert heard(Framing.CAN29, "18 DA F1 10 06 41 00 BE 3F A8 13") == expected
    assert heard(Framing.CAN29, "18DAF110064100BE3FA813") == expected


def test_the_speed_answer_of_a_worked_example() -> None:
    # 7E8 03 41 0D 4A: speed 74 km/h (source ACASSIS, read).
    assert heard(Framing.CAN11, "7E8 03 41 0D 4A") == [Message(0x7E8, bytes.fromhex("41 0D 4A"))]


@given(
    st.dictionaries(st.integers(0x7E8, 0x7EF), st.binary(min_size=1, max_size=80), min_size=1),
    st.booleans(),
    st.randoms(use_true_random=False),
)
def test_interleaved_modules_come_apart(answers: dict[int, bytes], spaces: bool, order: object) -> None:
    waiting = {source: segment(payload) for source, payload in answers.items()}
    lines = []
    while waiting:
        source = order.choice(sorted(waiting))  # type: ignore[attr-defined]
        frame = waiting[source].pop(0)
        line = f"{source:03X} {frame.hex(' ').upper()}"
        lines.append(line if spaces else line.replace(" ", ""))
        waiting = {key: frames for key, frames in waiting.items() if frames}
    found = heard(Framing.CAN11, *lines)
    assert {item.source: item.payload for item in found if isinstance(item, Message)} == answers
    assert len(found) == len(answers)


def test_a_lost_line_is_named_with_its_sender() -> None:
    lines = [f"7E8{frame.hex().upper()}" for frame in segment(bytes(20))]
    (lost,) = heard(Framing.CAN11, lines[0], lines[2])
    assert isinstance(lost, Lost)
    assert (lost.source, lost.raw) == (0x7E8, bytes(6))
    assert "Consecutive frame 1 is missing" in lost.problem


@pytest.mark.parametrize("text", ["7E8", "7E806410", "FFF 01 41", "7E8 01 02 03 04 05 06 07 08 09", "41"])
def test_digits_that_are_no_frame_are_lost_and_kept(text: str) -> None:
    (lost,) = heard(Framing.CAN11, text)
    assert isinstance(lost, Lost)
    assert lost.source is None or lost.source == 0x7E8


def test_a_line_marked_as_damaged_is_not_used() -> None:
    (lost,) = heard(Framing.CAN11, "7E8 06 41 00 BE 3F A8 13 <DATA ERROR")
    assert lost == Lost(
        0x7E8, "The adapter marked this answer as damaged", bytes.fromhex("06 41 00 BE 3F A8 13")
    )


def test_headers_off_lines_out_of_order_are_lost() -> None:
    lines = ("014", "0: 49 02 01 31 44 34", "2: 42 31 32 33 34 35 36")
    (lost,) = heard(Framing.CAN11, *lines, headers=False)
    assert isinstance(lost, Lost)
    assert "6 of 20 bytes came" in lost.problem


def test_headers_off_an_announced_answer_that_never_comes_is_named() -> None:
    (lost,) = heard(Framing.CAN11, "014", headers=False)
    assert lost == Lost(None, "An answer of 20 bytes was announced and never came", b"")


@given(st.binary(min_size=8, max_size=300))
def test_headers_off_numbered_lines_wrap_after_f(payload: bytes) -> None:
    first, *rest = segment(payload)
    lines = [f"{len(payload):03X}", f"0: {first[2:].hex(' ')}"]
    lines += [f"{frame[0] & 0xF:X}: {frame[1:].hex(' ')}" for frame in rest]
    assert heard(Framing.CAN11, *lines, headers=False) == [Message(None, payload)]


# -- messages off CAN ----------------------------------------------------------------------------------


def test_the_check_value_of_the_j1850_crc() -> None:
    # Catalogues of CRC parameters give 4B for the text 123456789 (CRC-8/SAE-J1850; from memory).
    assert crc(b"123456789") == 0x4B


def test_the_sum_of_the_kwp_start_message() -> None:
    # StartCommunication C1 33 F1 81 carries checksum 66 (ISO 14230-2; from memory).
    assert checksum(bytes.fromhex("C1 33 F1 81")) == 0x66


@pytest.mark.parametrize(
    ("framing", "body", "payload"),
    [
        (Framing.ISO9141, "48 6B 10 41 00 BE 3E B8 11", "41 00 BE 3E B8 11"),
        (Framing.J1850_VPW, "48 6B 10 41 00 BE 3E B8 11", "41 00 BE 3E B8 11"),
        (Framing.J1850_PWM, "41 6B 10 41 00 BE 3E B8 11", "41 00 BE 3E B8 11"),
        (Framing.ISO14230, "86 F1 10 41 00 BE 3E B8 11", "41 00 BE 3E B8 11"),
        (Framing.ISO14230, "80 F1 10 06 41 00 BE 3E B8 11", "41 00 BE 3E B8 11"),
    ],
)
def test_header_and_checksum_come_off(framing: Framing, body: str, payload: str) -> None:
    # Header layouts: ELM327 data sheet page 34 (read); ISO 14230-2 with its length byte from memory.
    message = bytes.fromhex(body)
    end = checksum if framing in (Framing.ISO9141, Framing.ISO14230) else crc
    whole = message + bytes([end(message)])
    assert strip(framing, whole) == Stripped(0x10, bytes.fromhex(payload))
    assert heard(framing, whole.hex(" ").upper()) == [Message(0x10, bytes.fromhex(payload))]
    assert heard(framing, whole.hex().upper()) == [Message(0x10, bytes.fromhex(payload))]


@given(st.binary(min_size=1, max_size=7), st.integers(0, 11), st.integers(1, 255))
def test_one_wrong_byte_is_never_taken_for_an_answer(payload: bytes, at: int, change: int) -> None:
    message = bytes.fromhex("48 6B 10") + payload
    for framing, end in ((Framing.ISO9141, checksum), (Framing.J1850_VPW, crc)):
        wrong = bytearray(message + bytes([end(message)]))
        wrong[at % len(wrong)] ^= change
        assert isinstance(strip(framing, bytes(wrong)), Faulty)


def test_an_in_frame_response_behind_the_checksum_is_passed_over() -> None:
    message = bytes.fromhex("41 6B 10 41 0C 1A F8")
    assert strip(Framing.J1850_PWM, message + bytes([crc(message), 0xF1])) == Stripped(0x10, message[3:])


@pytest.mark.parametrize(
    ("body", "problem"),
    [
        ("85 F1 10 41 00 BE 3E B8 11", "claims 5 data bytes, 6 came"),
        ("06 F1 10 41 00 BE 3E B8 11", "names no sender"),
        ("80 F1 10 00", "claims 0 data bytes"),
    ],
)
def test_a_kwp_header_that_does_not_fit_is_named(body: str, problem: str) -> None:
    message = bytes.fromhex(body)
    faulty = strip(Framing.ISO14230, message + bytes([checksum(message)]))
    assert isinstance(faulty, Faulty)
    assert problem in faulty.problem


def test_a_wrong_checksum_keeps_sender_and_bytes() -> None:
    assert heard(Framing.ISO9141, "48 6B 10 41 00 BE 3E B8 11 00") == [
        Lost(0x10, "The checksum is wrong", bytes.fromhex("48 6B 10 41 00 BE 3E B8 11 00"))
    ]


# -- monitoring ----------------------------------------------------------------------------------------


def test_monitoring_counts_frames_and_errors() -> None:
    monitoring = Monitoring(Framing.CAN11)
    for text in ("128 01 02", "12801", "1400102<DATA ERROR", "7E8 <RX ERROR", "CAN ERROR", "1", "STOPPED"):
        monitoring.hear(text)
    activity = monitoring.activity(0.5)
    assert (activity.frames, activity.errors, activity.seconds) == ({0x128: 2, 0x140: 1}, 2, 0.5)
    assert activity.heard
