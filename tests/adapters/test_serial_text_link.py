"""The link against a scripted adapter in memory. The peer's clock moves only when the link waits."""

from __future__ import annotations

import re
from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.errors import TriageError
from dtctriage.link import (
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    Link,
    LinkError,
    LinkLost,
    LinkUnintelligible,
    Notice,
    NoticeKind,
    Outcome,
    Reply,
    Request,
    Target,
    functional,
    physical,
)
from dtctriage_adapters.serial_text.link import SerialTextLink
from dtctriage_adapters.serial_text.port import SLICE, USUAL_BAUD, PortAddress
from dtctriage_adapters.serial_text.start import start

GENUINE = "ELM327 v1.4b"
ENGINE = physical(Framing.CAN11, 0x7E0)
EVERYONE = functional(Framing.CAN11)
SUPPORTED = "7E8 06 41 00 BE 3F A8 13"
VIN = bytes.fromhex("62 F1 90") + b"1D4GP00R55B123456"
VIN_LINES = "7E8 10 14 62 F1 90 31 44 34\r7E8 21 47 50 30 30 52 35 35\r7E8 22 42 31 32 33 34 35 36"
WAITING = "\x1a"
"""In a script: the chip waits on here, and a character breaks it off."""


class Peer:
    """An adapter that says what its script tells it to, and remembers what it was sent.

    `script` gives the text for a line: a list is used up one by one, its last entry stays. AT commands
    that are not in it are answered with OK, those that match `unknown` with a question mark.
    """

    name = "port"

    def __init__(self, script: dict[str, str | list[str]] | None = None, unknown: str = "(?!)") -> None:
        self.script = {"ATRV": "12.4V"} | (script or {})
        self.unknown = re.compile(unknown)
        self.identity = GENUINE
        self.baud, self.right_baud = USUAL_BAUD, USUAL_BAUD
        self.now = 100.0
        self.sent: list[str] = []
        self.dead = self.gone = self.closed = False
        self._echo = True
        self._typed = ""
        self._out: deque[tuple[float, bytes]] = deque()
        self._working = False

    def clock(self) -> float:
        return self.now

    def write(self, data: bytes) -> None:
        if self.gone:
            raise LinkLost("The adapter at port is gone")
        for character in data.decode("ascii"):
            if self._working:
                self._out.clear()
                self._say("STOPPED\r\r>", 0.001)
                self._working = False
            elif character == "\r":
                line, self._typed = self._typed.strip(), ""
                self._run(line)
            else:
                self._typed += character

    def read(self) -> bytes:
        if self.gone:
            raise LinkLost("The adapter at port is gone")
        if self._out and self._out[0][0] <= self.now + SLICE:
            due, data = self._out.popleft()
            self.now = max(self.now, due)
            self._working = self._working and bool(self._out)
            return data
        self.now += SLICE
        return b""

    def pending(self) -> bytes:
        data = b""
        while self._out and self._out[0][0] <= self.now:
            data += self._out.popleft()[1]
        return data

    def set_baud(self, baud: int) -> None:
        self.baud = baud

    def close(self) -> None:
        self.closed = True

    def unasked(self, text: str) -> None:
        """Say something without being asked."""
        self._say(text, 0.0)

    def asked(self) -> list[str]:
        """The lines that went out onto the bus."""
        return [line for line in self.sent if not line.startswith("AT")]

    def _say(self, text: str, after: float) -> None:
        last = self._out[-1][0] if self._out else self.now
        self._out.append((max(last, self.now + after), text.encode("latin-1")))

    def _run(self, line: str) -> None:
        self.sent.append(line)
        if self.dead:
            return
        if self.baud != self.right_baud:
            self._say("\x80\xf8\x00\xf8", 0.01)
            return
        if self._echo:
            self._say(line + "\r", 0.0)
        if line in ("ATWS", "ATZ", "ATD"):
            self._echo = True
        elif line == "ATE0":
            self._echo = False
        self._answer(self._text(line))

    def _text(self, line: str) -> str:
        entry = self.script.get(line)
        if isinstance(entry, list):
            entry = entry.pop(0) if len(entry) > 1 else entry[0]
        if entry is not None:
            return entry
        if self.unknown.fullmatch(line):
            return "?"
        if line in ("ATWS", "ATZ", "ATI"):
            return self.identity
        return "OK" if line.startswith("AT") else "NO DATA"

    def _answer(self, text: str) -> None:
        if "LV RESET" in text:
            self._echo = True
        before, waits, after = text.partition(WAITING)
        if before:
            self._say(before + "\r", 0.01)
        if waits:
            self._working = True
            self._say(after + "\r\r>", 0.5)
        else:
            self._say("\r>", 0.0)


def link_to(peer: Peer, protocol: BusProtocol | None = BusProtocol.CAN11_500) -> SerialTextLink:
    """A started link with its bus opened, and nothing in the peer's memory yet."""
    link = start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)
    if protocol is not None:
        link.open_bus(protocol)
    peer.sent.clear()
    return link


def ask(peer: Peer, target: Target, payload: str, window: float | None = None) -> list[Outcome]:
    request = Request(target, bytes.fromhex(payload), window)
    outcomes = list(link_to(peer).exchange([request]))
    assert isinstance(outcomes[-1], Finished)
    assert all(item.request == request for item in outcomes if not isinstance(item, Notice))
    return outcomes[:-1]


def payloads(outcomes: list[Outcome]) -> list[tuple[int, str]]:
    return [(item.source, item.payload.hex(" ").upper()) for item in outcomes if isinstance(item, Reply)]


def kinds(outcomes: list[Outcome]) -> list[NoticeKind]:
    return [item.kind for item in outcomes if isinstance(item, Notice)]


# -- start ---------------------------------------------------------------------------------------------


def test_starting_identifies_and_says_nothing_on_the_bus() -> None:
    peer = Peer()
    link = start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)
    assert isinstance(link, Link)
    assert (link.adapter.name, link.adapter.url, link.adapter.recorded) == (GENUINE, "serial:port", False)
    assert peer.sent == ["ATWS", "ATE0", "ATL0", "ATS0", "ATH1"]


def test_a_chip_without_warm_start_is_restarted_for_good() -> None:
    peer = Peer(unknown="ATWS")
    link = start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)
    assert link.adapter.name == GENUINE
    assert peer.sent[:2] == ["ATWS", "ATZ"]


def test_an_adapter_left_monitoring_is_brought_back() -> None:
    peer = Peer({"ATMA": "128 01" + WAITING})
    peer.write(b"ATMA\r")
    link = start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)
    assert link.adapter.name == GENUINE
    assert link.supply_voltage() == 12.4


def test_the_rate_is_searched_on_a_real_port() -> None:
    peer = Peer()
    peer.right_baud = 115_200
    start(peer, PortAddress("port", None), "serial:port", peer.clock)
    assert peer.baud == 115_200


def test_a_rate_that_was_named_is_kept() -> None:
    peer = Peer()
    peer.right_baud = 115_200
    with pytest.raises(LinkUnintelligible, match=r"cannot be understood.*baud"):
        start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)


@pytest.mark.parametrize("baud", [None, USUAL_BAUD])
def test_a_port_where_nothing_answers_is_named(baud: int | None) -> None:
    peer = Peer()
    peer.dead = True
    with pytest.raises(LinkUnintelligible, match=r"Nothing answers at port.*right port"):
        start(peer, PortAddress("port", baud), "serial:port", peer.clock)


def test_something_that_talks_but_does_not_obey_is_no_adapter() -> None:
    peer = Peer({"ATE0": "400 Bad Request", "ATH1": "400 Bad Request"})
    with pytest.raises(LinkUnintelligible, match="no adapter of this class"):
        start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)


@given(st.binary(max_size=60))
def test_whatever_a_port_says_at_start_gives_a_link_or_a_named_error(junk: bytes) -> None:
    peer = Peer({"ATWS": junk.decode("latin-1"), "ATZ": junk.decode("latin-1")})
    try:
        start(peer, PortAddress("port", USUAL_BAUD), "serial:port", peer.clock)
    except TriageError as error:
        assert isinstance(error, LinkUnintelligible | LinkLost)


# -- the bus -------------------------------------------------------------------------------------------


def test_a_search_settles_on_what_the_chip_found() -> None:
    peer = Peer({"0100": f"SEARCHING...\r{SUPPORTED}", "ATDPN": "A6"})
    link = link_to(peer, None)
    opened = link.open_bus()
    assert (opened.protocol, opened.searched, opened.notices) == (BusProtocol.CAN11_500, True, ())
    assert peer.sent == ["ATSP0", "0100", "ATDPN", "ATRV"]
    peer.sent.clear()
    list(link.exchange([Request(ENGINE, b"\x3e\x00")]))
    assert "ATSP6" not in peer.sent


def test_a_search_without_an_answer_says_so() -> None:
    peer = Peer({"0100": "SEARCHING...\rUNABLE TO CONNECT", "ATDPN": "A0"})
    opened = link_to(peer, None).open_bus()
    assert (opened.protocol, opened.searched) == (None, True)
    assert [item.kind for item in opened.notices] == [NoticeKind.NO_PROTOCOL]


def test_a_search_after_questions_does_not_use_their_header() -> None:
    peer = Peer({"0100": SUPPORTED, "ATDPN": "A6"})
    link = link_to(peer)
    list(link.exchange([Request(ENGINE, b"\x3e\x00")]))
    peer.sent.clear()
    link.open_bus()
    assert peer.sent[:2] == ["ATD", "ATE0"]
    assert peer.sent.index("ATD") < peer.sent.index("0100")


@pytest.mark.parametrize(("protocol", "number"), [(BusProtocol.CAN29_500, 7), (BusProtocol.J1850_VPW, 2)])
def test_a_fixed_protocol_is_set_and_nothing_asked(protocol: BusProtocol, number: int) -> None:
    peer = Peer()
    link = link_to(peer, None)
    opened = link.open_bus(protocol)
    assert (opened.protocol, opened.searched, opened.notices) == (protocol, False, ())
    assert peer.sent[0] == f"ATSP{number}"
    assert peer.asked() == []


def test_a_protocol_that_the_chip_does_not_have_is_named() -> None:
    opened = link_to(Peer(unknown="ATSP2"), None).open_bus(BusProtocol.J1850_VPW)
    assert opened.protocol is None
    assert opened.notices[0].kind is NoticeKind.NOT_UNDERSTOOD
    assert "SAE J1850 VPW" in opened.notices[0].text


def test_every_protocol_but_the_maker_specific_ones_is_offered() -> None:
    assert set(link_to(Peer()).protocols) == set(BusProtocol)


@pytest.mark.parametrize(("text", "noticed"), [("0.0V", True), ("0.9V", True), ("1.0V", False), ("?", False)])
def test_no_supply_at_pin_16_is_noticed(text: str, noticed: bool) -> None:
    opened = link_to(Peer({"ATRV": text}), None).open_bus(BusProtocol.CAN11_500)
    assert [item.kind for item in opened.notices] == [NoticeKind.NO_SUPPLY] * noticed


@pytest.mark.parametrize(("text", "volts"), [("12.6V", 12.6), ("9 V", 9.0), ("?", None), ("OK", None)])
def test_the_supply_voltage_is_read_or_not_known(text: str, volts: float | None) -> None:
    assert link_to(Peer({"ATRV": text})).supply_voltage() == volts


def test_asking_before_a_bus_is_open_is_an_error() -> None:
    with pytest.raises(LinkError, match="No protocol is settled"):
        list(link_to(Peer(), None).exchange([Request(ENGINE, b"\x3e\x00")]))


# -- answers -------------------------------------------------------------------------------------------


def test_everyone_who_answers_a_functional_request_is_heard() -> None:
    peer = Peer({"0100": f"{SUPPORTED}\r7E9 06 41 00 98 18 80 10" + WAITING})
    outcomes = ask(peer, EVERYONE, "01 00")
    assert payloads(outcomes) == [(0x7E8, "41 00 BE 3F A8 13"), (0x7E9, "41 00 98 18 80 10")]
    assert peer.asked() == ["0100"]


def test_no_data_is_silence_and_no_notice() -> None:
    assert ask(Peer(), ENGINE, "3E 00") == []


def test_times_are_the_clocks_and_rise() -> None:
    peer = Peer({"22F1903": VIN_LINES})
    link = link_to(peer)
    before = peer.now
    reply, finished = link.exchange([Request(ENGINE, bytes.fromhex("22F190"))])
    assert isinstance(reply, Reply)
    assert isinstance(finished, Finished)
    assert before < reply.at <= finished.at == peer.now


def test_a_long_answer_is_put_together() -> None:
    assert payloads(ask(Peer({"22F1903": VIN_LINES}), ENGINE, "22 F1 90")) == [(0x7E8, VIN.hex(" ").upper())]


def test_the_wait_is_broken_off_once_the_only_module_has_answered() -> None:
    peer = Peer({"22F187": "7E8 05 62 F1 87 41 42" + WAITING})
    outcomes = ask(peer, ENGINE, "22 F1 87")
    assert payloads(outcomes) == [(0x7E8, "62 F1 87 41 42")]
    assert kinds(outcomes) == []
    assert peer.asked() == ["22F187"]


def test_a_space_that_comes_too_late_does_no_harm() -> None:
    peer = Peer({"22F187": "7E8 05 62 F1 87 41 42", "22F188": "7E8 05 62 F1 88 41 42"})
    link = link_to(peer)
    requests = [Request(ENGINE, bytes.fromhex(text)) for text in ("22F187", "22F188")]
    assert len(payloads(list(link.exchange(requests)))) == 2


def test_a_module_that_is_not_the_one_asked_is_no_answer() -> None:
    outcomes = ask(Peer({"3E001": "7E9 02 7E 00"}), ENGINE, "3E 00")
    assert payloads(outcomes) == []
    assert kinds(outcomes) == [NoticeKind.NO_ANSWER]
    (notice,) = outcomes
    assert isinstance(notice, Notice)
    assert notice.text == "7E9 7E 00"


def test_an_unknown_answer_id_is_learnt_from_the_answer_alone() -> None:
    peer = Peer({"3E00": "5C2 02 7E 00\r5A0 01 02 03\r5C2 03 7F 22 31"})
    assert payloads(ask(peer, Target(Framing.CAN11, 0x542), "3E 00")) == [(0x5C2, "7E 00")]
    assert peer.asked() == ["3E00"]


def test_another_service_from_the_module_asked_is_kept_only_if_nothing_better_comes() -> None:
    late, right = "7E8 03 7F 19 31", "7E8 02 7E 00"
    assert payloads(ask(Peer({"3E001": late}), ENGINE, "3E 00")) == [(0x7E8, "7F 19 31")]
    assert payloads(ask(Peer({"3E001": f"{late}\r{right}"}), ENGINE, "3E 00")) == [(0x7E8, "7E 00")]


def test_a_refusal_is_an_answer() -> None:
    assert payloads(ask(Peer({"22F1903": "7E8 03 7F 22 31" + WAITING}), ENGINE, "22 F1 90")) == [
        (0x7E8, "7F 22 31")
    ]


def test_off_can_each_message_is_a_reply() -> None:
    # Five messages of ELM327 data sheet page 42, with header and checksum as page 34 shows them.
    parts = ["00 00 00 31", "44 34 47 50", "30 30 52 35", "35 42 31 32", "33 34 35 36"]
    lines = []
    for number, part in enumerate(parts, start=1):
        message = bytes.fromhex(f"48 6B 10 49 02 {number:02X} {part}")
        lines.append((message + bytes([sum(message) & 0xFF])).hex(" ").upper())
    peer = Peer({"0902": "BUS INIT: ...OK\r" + "\r".join(lines)})
    link = link_to(peer, BusProtocol.ISO9141_2)
    outcomes = list(link.exchange([Request(functional(Framing.ISO9141), b"\x09\x02")]))
    assert [item[0] for item in payloads(outcomes)] == [0x10] * 5
    vin = b"".join(item.payload[3:] for item in outcomes if isinstance(item, Reply))
    assert vin.lstrip(b"\0") == b"1D4GP00R55B123456"
    assert kinds(outcomes) == []


# -- what is asked again -------------------------------------------------------------------------------


def test_response_pending_is_waited_for_and_never_surfaces() -> None:
    pending = "7E8 03 7F 19 78"
    peer = Peer({"1902AF": [pending, f"{pending}\r{pending}\r7E8 03 59 02 AF"]})
    outcomes = ask(peer, ENGINE, "19 02 AF")
    assert payloads(outcomes) == [(0x7E8, "59 02 AF")]
    assert peer.sent[-2:] == ["ATSTFF", "1902AF"]


def test_a_module_that_asked_for_time_once_gets_it_from_then_on() -> None:
    peer = Peer({"1902AF": ["7E8 03 7F 19 78", "7E8 03 59 02 AF"], "3E00": "7E8 02 7E 00"})
    link = link_to(peer)
    list(link.exchange([Request(ENGINE, bytes.fromhex("1902AF"))]))
    peer.sent.clear()
    list(link.exchange([Request(ENGINE, bytes.fromhex("3E00"))]))
    # The long wait stays; nobody is busy any more, so the chip may go on waiting after a "pending".
    assert peer.sent == ["ATAT1", "3E00"]


def test_a_module_that_is_still_busy_is_waited_for_by_a_fixed_time() -> None:
    """It hears nothing while it works, and adaptive timing would give up before it is through."""
    peer = Peer({"1902AF": ["7E8 03 7F 19 78", "7E8 03 59 02 AF"]})
    ask(peer, ENGINE, "19 02 AF")
    again = len(peer.sent) - 1 - peer.sent[::-1].index("1902AF")
    assert "ATAT1" not in peer.sent[:again] and "ATSTFF" in peer.sent[:again]


def test_response_pending_without_an_end_is_damage() -> None:
    (damaged,) = ask(Peer({"1902AF": "7E8 03 7F 19 78"}), ENGINE, "19 02 AF")
    assert isinstance(damaged, Damaged)
    assert (damaged.source, damaged.raw) == (0x7E8, bytes.fromhex("7F 19 78"))
    assert "asked for more time" in damaged.problem


def test_pending_of_one_module_does_not_cost_the_other() -> None:
    first = "7E8 03 7F 01 78\r7E9 06 41 00 98 18 80 10"
    outcomes = ask(Peer({"0100": [first, SUPPORTED]}), EVERYONE, "01 00")
    assert payloads(outcomes) == [(0x7E9, "41 00 98 18 80 10"), (0x7E8, "41 00 BE 3F A8 13")]


def test_a_lost_frame_is_asked_for_again() -> None:
    cut = "\r".join(VIN_LINES.split("\r")[::2])
    peer = Peer({"22F1903": cut, "22F190": VIN_LINES})
    assert payloads(ask(peer, ENGINE, "22 F1 90")) == [(0x7E8, VIN.hex(" ").upper())]
    assert peer.asked() == ["22F1903", "22F190"]


def test_a_frame_that_stays_lost_is_damage_with_what_came() -> None:
    cut = "\r".join(VIN_LINES.split("\r")[::2])
    (damaged,) = ask(Peer({"22F1903": cut, "22F190": cut}), ENGINE, "22 F1 90")
    assert isinstance(damaged, Damaged)
    assert (damaged.source, damaged.raw) == (0x7E8, VIN[:6])
    assert "Consecutive frame 1 is missing" in damaged.problem


def test_damage_is_not_forgotten_when_the_repeat_is_silent() -> None:
    (damaged,) = ask(Peer({"22F1903": VIN_LINES[:30], "22F190": "NO DATA"}), ENGINE, "22 F1 90")
    assert isinstance(damaged, Damaged)
    assert damaged.source == 0x7E8


def test_a_request_that_was_broken_off_is_asked_once_more() -> None:
    peer = Peer({"3E001": ["STOPPED", "7E8 02 7E 00"]})
    outcomes = ask(peer, ENGINE, "3E 00")
    assert payloads(outcomes) == [(0x7E8, "7E 00")]
    assert kinds(outcomes) == []
    outcomes = ask(Peer({"3E001": "STOPPED"}), ENGINE, "3E 00")
    assert kinds(outcomes) == [NoticeKind.INTERRUPTED]


def test_a_full_buffer_is_named_and_what_it_broke_is_damage() -> None:
    full = VIN_LINES[: VIN_LINES.rindex("\r")] + "\rBUFFER FULL"
    outcomes = ask(Peer({"22F1903": full, "22F190": full}), ENGINE, "22 F1 90")
    assert kinds(outcomes) == [NoticeKind.OVERFLOW]
    assert [item.raw for item in outcomes if isinstance(item, Damaged)] == [VIN[:13]]


def test_a_full_buffer_that_a_narrow_filter_cures_is_no_news() -> None:
    target = Target(Framing.CAN11, 0x742, 0x5C2)
    peer = Peer({"22F187": ["5C2 05 62 F1 87 41 42\rBUFFER FULL", "5C2 05 62 F1 87 41 42"]})
    outcomes = ask(peer, target, "22 F1 87")
    assert payloads(outcomes) == [(0x5C2, "62 F1 87 41 42")]
    assert kinds(outcomes) == []
    assert "ATCF5C2" in peer.sent


def test_traffic_that_drowns_the_answer_is_left_and_filtered_out() -> None:
    target = Target(Framing.CAN11, 0x742, 0x5C2)
    flood = "\r".join(["5A0 01 02 03 04 05 06 07 08"] * 25)
    peer = Peer({"3E001": [flood + WAITING, "5C2 02 7E 00"]})
    assert payloads(ask(peer, target, "3E 00")) == [(0x5C2, "7E 00")]
    assert peer.sent.count("3E001") == 2
    assert peer.sent.index("ATCF5C2") > peer.sent.index("3E001")


def test_traffic_that_no_filter_keeps_out_is_damage_not_silence() -> None:
    target = Target(Framing.CAN11, 0x742, 0x5C2)
    flood = "\r".join(["5A0 01 02 03 04 05 06 07 08"] * 25)
    peer = Peer({"3E001": flood + WAITING, "3E00": flood + WAITING}, unknown="ATC[FM].*")
    outcomes = ask(peer, target, "3E 00")
    assert [item.problem for item in outcomes if isinstance(item, Damaged)] == [
        "Other messages on the bus drowned the answers"
    ]


def test_after_a_supply_dip_everything_is_set_again() -> None:
    peer = Peer({"3E001": [f"LV RESET\r\r{GENUINE}", "7E8 02 7E 00"]})
    outcomes = ask(peer, ENGINE, "3E 00")
    assert payloads(outcomes) == [(0x7E8, "7E 00")]
    assert NoticeKind.SUPPLY_DIP in kinds(outcomes)
    again = peer.sent[peer.sent.index("3E001") + 1 :]
    assert again[:5] == ["ATE0", "ATL0", "ATS0", "ATH1", "ATSP6"]
    assert again[-2:] == ["ATSH7E0", "3E001"]


def test_a_restart_between_requests_is_noticed_by_the_banner() -> None:
    peer = Peer({"3E001": "7E8 02 7E 00"})
    link = link_to(peer)
    list(link.exchange([Request(ENGINE, b"\x3e\x00")]))
    peer.unasked(f"\r\r{GENUINE}\r\r>")
    outcomes = list(link.exchange([Request(ENGINE, b"\x3e\x00")]))
    assert kinds(outcomes) == [NoticeKind.SUPPLY_DIP]
    assert payloads(outcomes) == [(0x7E8, "7E 00")]


def test_an_adapter_that_keeps_restarting_is_given_up() -> None:
    peer = Peer()
    link = link_to(peer)
    peer.script["ATSH7E0"] = "LV RESET"
    with pytest.raises(LinkLost, match="keeps starting anew"):
        list(link.exchange([Request(ENGINE, b"\x3e\x00")]))


def test_a_fatal_can_error_is_named_and_not_repeated() -> None:
    peer = Peer({"3E001": "ERR94"})
    assert kinds(ask(peer, ENGINE, "3E 00")) == [NoticeKind.CAN_BLOCKED]
    assert peer.sent.count("3E001") == 1


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("CAN ERROR", NoticeKind.CAN_ERROR),
        ("BUS ERROR", NoticeKind.BUS_ERROR),
        ("FB ERROR", NoticeKind.OWN_SIGNAL_LOST),
        ("ERR71", NoticeKind.INTERNAL),
        ("ACT ALERT", NoticeKind.GOING_TO_SLEEP),
    ],
)
def test_what_the_adapter_says_of_the_bus_goes_with_the_request(text: str, kind: NoticeKind) -> None:
    (notice,) = ask(Peer({"3E001": text}), ENGINE, "3E 00")
    assert isinstance(notice, Notice)
    assert (notice.kind, notice.text, notice.request) == (kind, text, Request(ENGINE, b"\x3e\x00"))


def test_unreadable_text_is_damage_and_a_notice_never_silence() -> None:
    outcomes = ask(Peer({"3E001": "7E~8 02", "3E00": "7E~8 02"}), ENGINE, "3E 00")
    assert kinds(outcomes) == [NoticeKind.GARBAGE]
    assert [item.source for item in outcomes if isinstance(item, Damaged)] == [None]


def test_a_line_garbled_once_is_asked_again() -> None:
    outcomes = ask(Peer({"3E001": "7E~8 02", "3E00": "7E8 02 7E 00"}), ENGINE, "3E 00")
    assert payloads(outcomes) == [(0x7E8, "7E 00")]
    assert not [item for item in outcomes if isinstance(item, Damaged)]


@given(st.binary(max_size=80), st.sampled_from(list(BusProtocol)))
def test_whatever_an_adapter_answers_gives_outcomes(junk: bytes, protocol: BusProtocol) -> None:
    text = junk.decode("latin-1").replace(WAITING, "")
    peer = Peer({"0100": text, "3E001": text, "3E00": text})
    link = link_to(peer, protocol)
    requests = [Request(functional(protocol.framing), b"\x01\x00")]
    requests.append(
        Request(physical(protocol.framing, 0x7E0 if protocol.framing.is_can else 0x10), b"\x3e\x00")
    )
    try:
        outcomes = list(link.exchange(requests))
    except TriageError as error:
        assert isinstance(error, LinkLost)
    else:
        assert [item.request for item in outcomes if isinstance(item, Finished)] == requests


# -- imitations ----------------------------------------------------------------------------------------


def test_a_chip_without_answer_counts_is_asked_without() -> None:
    peer = Peer({"3E00": "7E8 02 7E 00"}, unknown="3E001")
    outcomes = ask(peer, ENGINE, "3E 00")
    assert payloads(outcomes) == [(0x7E8, "7E 00")]
    assert peer.asked() == ["3E001", "3E00"]
    assert kinds(outcomes) == [NoticeKind.NOT_GENUINE]


def test_a_chip_that_lacks_what_its_version_has_is_called_an_imitation_once() -> None:
    peer = Peer({"3E001": "7E8 02 7E 00"}, unknown="ATAT0|ATCAF1")
    link = link_to(peer, None)
    opened = link.open_bus(BusProtocol.CAN11_500)
    assert [item.kind for item in opened.notices] == [NoticeKind.NOT_GENUINE]
    assert "does not know AT CAF" in opened.notices[0].text
    outcomes = list(link.exchange([Request(ENGINE, b"\x3e\x00")]))
    assert payloads(outcomes) == [(0x7E8, "7E 00")]
    assert kinds(outcomes) == []


@pytest.mark.parametrize(
    ("identity", "doubted"),
    [("ELM327 v1.5", True), ("ELM327 v2.4", True), ("ELM327 v2.3", False), ("ELM327 v1.4b", False)],
)
def test_versions_that_were_never_sold_are_doubted(identity: str, doubted: bool) -> None:
    # Versions from memory of the chip maker's list.
    peer = Peer()
    peer.identity = identity
    opened = link_to(peer, None).open_bus(BusProtocol.CAN11_500)
    assert [item.kind for item in opened.notices] == [NoticeKind.NOT_GENUINE] * doubted


def test_an_old_chip_takes_the_header_as_three_bytes() -> None:
    peer = Peer({"3E001": "7E8 02 7E 00"}, unknown="ATSH7E0")
    assert payloads(ask(peer, ENGINE, "3E 00")) == [(0x7E8, "7E 00")]
    assert "ATSH0007E0" in peer.sent


def test_a_chip_that_takes_no_header_never_sends_to_somebody_else() -> None:
    peer = Peer(unknown="ATSH.*")
    outcomes = ask(peer, ENGINE, "3E 00")
    assert peer.asked() == []
    assert NoticeKind.NOT_UNDERSTOOD in kinds(outcomes)


@pytest.mark.parametrize(
    ("target", "payload", "reason"),
    [
        (physical(Framing.CAN29, 0x18DA10F1), "3E 00", "does not belong to ISO 15765-4, 11 bit"),
        (ENGINE, "22 F1 90 F1 91 F1 92 F1", "longer than the 7 bytes"),
    ],
)
def test_what_cannot_be_sent_is_said_and_not_sent(target: Target, payload: str, reason: str) -> None:
    peer = Peer()
    (notice,) = ask(peer, target, payload)
    assert isinstance(notice, Notice)
    assert notice.kind is NoticeKind.NOT_UNDERSTOOD
    assert reason in notice.text
    assert peer.sent == []


def test_a_setting_answered_with_noise_is_tried_once_more() -> None:
    peer = Peer({"ATSH7E0": ["O~K", "OK"], "3E001": "7E8 02 7E 00"})
    assert payloads(ask(peer, ENGINE, "3E 00")) == [(0x7E8, "7E 00")]
    assert peer.sent.count("ATSH7E0") == 2


# -- the far end goes away -----------------------------------------------------------------------------


def test_an_adapter_that_stops_answering_is_lost() -> None:
    peer = Peer()
    link = link_to(peer)
    peer.dead = True
    with pytest.raises(LinkLost, match="stopped answering"):
        list(link.exchange([Request(ENGINE, b"\x3e\x00")]))


def test_what_was_read_before_the_plug_was_pulled_is_kept() -> None:
    peer = Peer({"3E001": "7E8 02 7E 00"})
    exchange = link_to(peer).exchange([Request(ENGINE, b"\x3e\x00"), Request(ENGINE, b"\x3e\x00")])
    assert isinstance(next(exchange), Reply)
    assert isinstance(next(exchange), Finished)
    peer.gone = True
    with pytest.raises(LinkLost, match="is gone"):
        next(exchange)


def test_closing_gives_the_port_back_whatever_happened() -> None:
    for protocol, said in ((BusProtocol.CAN11_500, []), (BusProtocol.ISO9141_2, ["ATPC"])):
        peer = Peer()
        link = link_to(peer, protocol)
        link.close()
        assert (peer.closed, peer.sent) == (True, said)
    peer = Peer()
    link = link_to(peer, BusProtocol.ISO9141_2)
    peer.gone = True
    link.close()
    assert peer.closed


# -- listening -----------------------------------------------------------------------------------------


def test_listening_counts_what_the_bus_does_and_ends_in_time() -> None:
    peer = Peer({"ATMA": "128 01 02\r128 01 03\r140 01 <RX ERROR" + WAITING})
    link = link_to(peer)
    begun = peer.now
    activity = link.listen(0.3)
    assert (activity.frames, activity.errors, activity.heard) == ({0x128: 2}, 1, True)
    assert activity.seconds == pytest.approx(0.3)
    assert peer.now - begun < 0.3 + 2 * SLICE + 0.1
    assert payloads(list(link.exchange([Request(ENGINE, b"\x3e\x00")]))) == []


def test_listening_on_a_silent_bus_is_not_taken_for_a_dead_adapter() -> None:
    peer = Peer({"ATMA": WAITING})
    activity = link_to(peer).listen(0.4)
    assert (activity.frames, activity.heard) == ({}, True)


def test_listening_ends_when_the_buffer_overflows() -> None:
    activity = link_to(Peer({"ATMA": "128 01 02\rBUFFER FULL"})).listen(5.0)
    assert activity.frames == {0x128: 1}
    assert activity.seconds < 0.1


@pytest.mark.parametrize("protocol", [None, BusProtocol.J1850_VPW])
def test_without_a_can_bus_nobody_listened(protocol: BusProtocol | None) -> None:
    activity = link_to(Peer(), protocol).listen(0.3)
    assert (activity.heard, activity.seconds) == (False, 0.0)


def test_the_listening_filter_does_not_stay() -> None:
    peer = Peer({"ATMA": WAITING, "3E001": "7E8 02 7E 00"})
    link = link_to(peer)
    link.listen(0.1)
    peer.sent.clear()
    list(link.exchange([Request(ENGINE, b"\x3e\x00")]))
    assert [line for line in peer.sent if line.startswith("ATC")] == ["ATCF7E8", "ATCM7F8"]
