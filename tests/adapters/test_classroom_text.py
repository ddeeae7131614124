"""The ELM327-class chip in front of the vehicle, against transcripts of the chip family's data sheets.

Sources: ELM327J-pNN, ELM329-pNN, ELM323-pNN data sheets by page; MEMORY: from memory of them.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.text_adapter import TextAdapter
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

DEMO = Path(__file__).parents[2] / "demo"
HEALTHY = load_lesson(DEMO / "lessons/yearly-service.lesson.toml")

PROFILE = """format = 1
[vehicle]
make = "Ostrell"
model = "Test"
[[module]]
id = "ECM"
role = "engine_control_a"
request = {ecm}
framing = "{framing}"
speaks = ["j1979"]
buses = ["B"]
[[module]]
id = "TCM"
role = "transmission_control"
request = {tcm}
framing = "{framing}"
speaks = ["uds"]
buses = ["B"]
[[bus]]
id = "B"
protocol = "{protocol}"
line = ["ECM", "TCM"]
terminated_in = ["ECM", "TCM"]
at_connector = "ECM"
"""
LESSON = """format = 1
vehicle = "x.vehicle.toml"
rest = "x.rest.toml"
not_ready = ["evaporative"]
[order]
number = "1"
complaint = "none"
technician = "A"
shop = "B"
vin = "1D4GP00R55B123456"
odometer = 1
[[history]]
module = "ECM"
code = "P0133"
status = 0x2F
[readings.ECM]
0C = 1726
"""
REST = (DEMO / "kavo.rest.toml").read_text(encoding="utf-8").partition("[readings.ECM]")[0]
NODES = {"can11": ("0x7E0", "0x7E1"), "can29": ("0x18DA10F1", "0x18DA18F1")}


def small_vehicle(folder: Path, protocol: str, framing: str) -> Vehicle:
    """A vehicle of an engine module with one code, and a second module that speaks only UDS."""
    ecm, tcm = NODES.get(framing, ("0x10", "0x18"))
    text = PROFILE.format(protocol=protocol, framing=framing, ecm=ecm, tcm=tcm)
    rest = REST.replace('no_vin = ["FPC", "SAS", "DDM", "PDM", "TPM", "TBC"]', "")
    for name, content in (("x.vehicle.toml", text), ("x.rest.toml", rest), ("x.lesson.toml", LESSON)):
        (folder / name).write_text(content, encoding="utf-8")
    return build_vehicle(load_lesson(folder / "x.lesson.toml"))


class Terminal:
    """Types at the adapter and lets time run."""

    def __init__(self, vehicle: Vehicle, baud: int | None = None, latency: float = 0.0) -> None:
        self.adapter = TextAdapter(vehicle, baud, latency)
        self.now = 100.0

    def send(self, text: str) -> str:
        """What comes until the prompt, echo included."""
        self.adapter.receive(text.encode() + b"\r", self.now)
        return self.until_prompt()

    def until_prompt(self) -> str:
        out = b""
        while not out.endswith(b">"):
            due = self.adapter.next_due()
            assert due is not None, out
            self.now = max(self.now, due)
            out += self.adapter.poll(self.now)
        return out.decode()

    def ask(self, text: str) -> list[str]:
        """The lines of an answer, without echo, empty lines and prompt."""
        lines = self.send(text).rstrip(">").split("\r")
        return [line for line in lines if line and line != text]


@pytest.fixture
def quiet() -> Terminal:
    """At the demo's healthy vehicle, with its protocol set."""
    terminal = Terminal(build_vehicle(HEALTHY))
    terminal.ask("ATSP6")
    return terminal


def terminal_at(name: str, **options: float) -> Terminal:
    return Terminal(build_vehicle(load_lesson(DEMO / f"{name}.lesson.toml")), **options)  # type: ignore[arg-type]


OFF_CAN = [
    ("j1850-pwm", "j1850pwm", "1"),
    ("j1850-vpw", "j1850vpw", "2"),
    ("iso9141-2", "iso9141", "3"),
    ("iso14230-slow", "iso14230", "4"),
    ("iso14230-fast", "iso14230", "5"),
]


@pytest.mark.parametrize(("protocol", "framing", "number"), OFF_CAN)
def test_the_vin_off_can(tmp_path: Path, protocol: str, framing: str, number: str) -> None:
    """ELM327J-p42 (there for J1850): five lines, the first padded."""
    terminal = Terminal(small_vehicle(tmp_path, protocol, framing))
    terminal.ask(f"ATSP{number}")
    assert terminal.ask("0902")[-5:] == [
        "49 02 01 00 00 00 31",
        "49 02 02 44 34 47 50",
        "49 02 03 30 30 52 35",
        "49 02 04 35 42 31 32",
        "49 02 05 33 34 35 36",
    ]


@pytest.mark.parametrize(("protocol", "framing", "number"), OFF_CAN)
def test_codes_off_can(tmp_path: Path, protocol: str, framing: str, number: str) -> None:
    """ELM327J-p34: P0133 in a message for three codes; p34: header first, checksum last."""
    terminal = Terminal(small_vehicle(tmp_path, protocol, framing))
    terminal.ask(f"ATSP{number}")
    assert terminal.ask("03")[-1] == "43 01 33 00 00 00 00"
    terminal.ask("ATH1")
    line = bytes.fromhex(terminal.ask("03")[-1])
    assert line[2] == 0x10 and line[3:10].hex() == "43013300000000" and len(line) == 11


@pytest.mark.parametrize(("protocol", "framing"), [("can11-500", "can11"), ("can29-250", "can29")])
def test_the_vin_on_can(tmp_path: Path, protocol: str, framing: str) -> None:
    """ELM329-p38: a length line, then numbered lines."""
    terminal = Terminal(small_vehicle(tmp_path, protocol, framing))
    terminal.ask("0100")
    assert terminal.ask("0902") == [
        "014",
        "0: 49 02 01 31 44 34",
        "1: 47 50 30 30 52 35 35",
        "2: 42 31 32 33 34 35 36",
    ]


def test_lamp_and_count(tmp_path: Path) -> None:
    """ELM327J-p34: lamp on, one code."""
    terminal = Terminal(small_vehicle(tmp_path, "j1850-vpw", "j1850vpw"))
    terminal.ask("ATSP2")
    assert terminal.ask("01 01") == ["41 01 81 07 65 04"]


def test_a_search_ends_with_the_protocol_found(tmp_path: Path) -> None:
    """SEARCHING... before the answer (MEMORY); DP after it (ELM327J-p36)."""
    terminal = Terminal(small_vehicle(tmp_path, "j1850-vpw", "j1850vpw"))
    assert terminal.ask("ATDP") == ["AUTO"]
    assert terminal.ask("0100") == ["SEARCHING...", "41 00 80 10 00 01"]
    assert terminal.ask("ATDP") == ["AUTO, SAE J1850 VPW"]
    assert terminal.ask("ATDPN") == ["A2"]
    assert terminal.ask("0100") == ["41 00 80 10 00 01"]


def test_a_search_for_another_question_asks_it_afterwards(tmp_path: Path) -> None:
    terminal = Terminal(small_vehicle(tmp_path, "can11-500", "can11"))
    assert terminal.ask("010C") == ["SEARCHING...", "41 0C 1A F8"]


def test_the_k_line_start_is_told_once(tmp_path: Path) -> None:
    """BUS INIT: ...OK for a slow start, BUS INIT: OK for a fast one (MEMORY)."""
    slow = Terminal(small_vehicle(tmp_path, "iso9141-2", "iso9141"))
    slow.ask("ATSP3")
    assert slow.ask("010C") == ["BUS INIT: ...OK", "41 0C 1A F8"]
    assert slow.ask("010C") == ["41 0C 1A F8"]
    assert slow.now - 100.0 > 2.0  # ten bits at 5 baud
    fast = Terminal(small_vehicle(tmp_path, "iso14230-fast", "iso14230"))
    fast.ask("ATSP5")
    assert fast.ask("010C") == ["BUS INIT: OK", "41 0C 1A F8"]


def test_a_refusal_off_can_is_heard_on_iso_14230_only(tmp_path: Path) -> None:
    for protocol, framing, number in OFF_CAN:
        terminal = Terminal(small_vehicle(tmp_path, protocol, framing))
        terminal.ask(f"ATSP{number}")
        terminal.ask("0100")
        told = terminal.ask("0300")
        assert told == (["7F 03 13"] if framing == "iso14230" else ["NO DATA"])


def test_echo_prompt_and_line_feed(quiet: Terminal) -> None:
    """Echo and line feed: ELM329-p17, ELM322-p7; prompt after an empty line: ELM327J-p89."""
    assert quiet.send("0101") == "0101\r41 01 00 07 65 00\r41 01 00 04 00 00\r\r>"
    assert quiet.send("ATL1") == "ATL1\rOK\r\n\r\n>"
    assert quiet.send("ATI") == "ATI\r\nELM327 v1.4b\r\n\r\n>"
    quiet.ask("ATL0")
    quiet.ask("ATE0")
    assert quiet.send("ATI") == "ELM327 v1.4b\r\r>"


def test_headers_and_spaces(quiet: Terminal) -> None:
    """With headers the PCI byte is shown (SO-51202838, ELM327-ic37-13)."""
    quiet.ask("ATH1")
    lines = quiet.ask("0100")
    assert [line.split()[:4] for line in lines] == [["7E8", "06", "41", "00"], ["7E9", "06", "41", "00"]]
    assert [line.split()[:6] for line in quiet.ask("0902")[:2]] == [
        ["7E8", "10", "14", "49", "02", "01"],
        ["7E9", "10", "14", "49", "02", "01"],
    ]
    quiet.ask("ATS0")
    assert quiet.ask("0101") == ["7E8064101000765" + "00", "7E9064101000400" + "00"]


def test_29_bit_headers_are_shown_byte_by_byte(tmp_path: Path) -> None:
    terminal = Terminal(small_vehicle(tmp_path, "can29-500", "can29"))
    terminal.ask("ATSP7")
    terminal.ask("ATH1")
    assert terminal.ask("0100") == ["18 DA F1 10 06 41 00 80 10 00 01"]
    terminal.ask("ATSHDA18F1")
    terminal.ask("ATCRA18DAF118")
    assert terminal.ask("3E00") == ["18 DA F1 18 02 7E 00"]


def test_an_empty_line_repeats_and_a_digit_counts(quiet: Terminal) -> None:
    """ELM322-p7; the trailing digit is from memory."""
    first = quiet.ask("0101")
    assert quiet.ask("") == first
    before = quiet.now
    assert quiet.ask("01012") == first
    assert quiet.now - before < 0.02
    assert quiet.ask("01011") == first[:1]


@pytest.mark.parametrize(
    "text",
    ["XYZ", "ATQQ", "0", "0G", "0100000000000000", "ATFCSM1", "ATFCSM2", "ATSP", "AT", "ATSH7", "ATST1"],
)
def test_what_is_not_understood(quiet: Terminal, text: str) -> None:
    """A question mark (ELM327J-p87); flow control modes need their data first (ELM329-p17)."""
    assert quiet.ask(text) == ["?"]


def test_case_and_spaces_do_not_matter(quiet: Terminal) -> None:
    assert quiet.ask("at sp 6") == ["OK"]
    assert quiet.ask("01 0c") == quiet.ask("010C")


def test_defaults_and_reset(quiet: Terminal) -> None:
    quiet.ask("ATH1")
    quiet.ask("ATE0")
    assert quiet.ask("ATD") == ["OK"]
    assert not quiet.ask("0101")[0].startswith("7E8")
    quiet.ask("ATH1")
    assert quiet.send("ATZ").endswith("\r\rELM327 v1.4b\r\r>")
    assert not quiet.ask("0101")[-1].startswith("7E9")


def test_supply_voltage() -> None:
    assert terminal_at("lessons/yearly-service").ask("ATRV") == ["12.6V"]
    assert terminal_at("lessons/dark-plug").ask("ATRV") == ["0.0V"]


def test_a_module_with_an_answer_id_of_its_own_needs_filter_and_flow_control(quiet: Terminal) -> None:
    """Filter: ELM327J-p15, ELM329-p14; flow control by the user: ELM329-p17."""
    quiet.ask("ATSH711")
    assert quiet.ask("22F190") == ["NO DATA"]
    quiet.ask("ATCRA5B1")
    assert quiet.ask("22F190") == ["014", "0: 62 F1 90 47 30 5A"]
    for command in ("ATFCSH711", "ATFCSD300000", "ATFCSM1"):
        assert quiet.ask(command) == ["OK"]
    assert len(quiet.ask("22F190")) == 4
    quiet.ask("ATCFC0")
    assert len(quiet.ask("22F190")) == 2


def test_filter_and_mask_let_through_what_agrees(quiet: Terminal) -> None:
    quiet.ask("ATH1")
    quiet.ask("ATSH726")
    quiet.ask("ATCF720")
    quiet.ask("ATCM7F0")
    assert quiet.ask("3E00") == ["72E 02 7E 00"]
    quiet.ask("ATCRA72X")
    assert quiet.ask("3E00") == ["72E 02 7E 00"]
    quiet.ask("ATCRA")
    assert quiet.ask("3E00") == ["NO DATA"]


def test_formatting_off_sends_and_shows_whole_frames(quiet: Terminal) -> None:
    """CAF0 (ELM327J-p14): the user writes the PCI byte; AL allows the eighth byte."""
    quiet.ask("ATCAF0")
    quiet.ask("ATAL")
    quiet.ask("ATSH7E0")
    assert quiet.ask("023E000000000000") == ["02 7E 00 CC CC CC CC CC"]
    quiet.ask("ATNL")
    assert quiet.ask("023E000000000000") == ["?"]


def test_answers_off_returns_at_once(quiet: Terminal) -> None:
    quiet.ask("ATR0")
    assert quiet.ask("0100") == []


WRONG_PROTOCOLS = {"1": "NO DATA", "2": "NO DATA", "3": "BUS INIT: ...ERROR", "4": "BUS INIT: ...ERROR",
                   "5": "BUS INIT: ERROR", "7": "NO DATA", "8": "CAN ERROR", "9": "CAN ERROR"}  # fmt: skip


@pytest.mark.parametrize(("number", "told"), WRONG_PROTOCOLS.items())
def test_a_fixed_protocol_that_is_not_the_vehicles(quiet: Terminal, number: str, told: str) -> None:
    """ELM327-ic37-25: no other protocol is tried."""
    quiet.ask(f"ATSP{number}")
    assert quiet.ask("0100") == [told]


@pytest.mark.parametrize("name", ["first", "lessons/tow-bar"])
def test_nobody_answers_the_search(name: str) -> None:
    """ELM327J-p89: every protocol was tried. With both emission modules silent it looks the same."""
    assert terminal_at(name).ask("0100") == ["SEARCHING...", "UNABLE TO CONNECT"]


def test_a_shorted_bus_and_a_silent_module_are_told_apart_with_the_protocol_set() -> None:
    shorted, silent = terminal_at("lessons/tow-bar"), terminal_at("first")
    for terminal in (shorted, silent):
        terminal.ask("ATSP6")
    assert shorted.ask("0100") == ["CAN ERROR"]
    assert silent.ask("0100") == ["NO DATA"]
    assert shorted.ask("ATMA") == ["CAN ERROR"]


def test_response_pending_is_shown_and_waited_for() -> None:
    """MEMORY: with adaptive timing the wait goes on."""
    terminal = terminal_at("lessons/slow-talkers")
    for command in ("ATSP6", "ATSH737", "ATCRA73F"):
        terminal.ask(command)
    assert terminal.ask("1902AF") == ["7F 19 78", "7F 19 78", "59 02 7F"]
    terminal.ask("ATAT0")
    terminal.ask("ATST10")
    assert terminal.ask("1902AF") == ["7F 19 78"]


def test_the_wait_is_as_long_as_asked(quiet: Terminal) -> None:
    """ELM327J-p27: ST counts in 4 ms; 00 is the default of 200 ms."""
    for value, seconds in (("19", 0.1), ("00", 0.2), ("FF", 1.02)):
        quiet.ask("ATAT0")
        quiet.ask(f"ATST{value}")
        quiet.ask("ATSH7E5")
        before = quiet.now
        assert quiet.ask("0100") == ["NO DATA"]
        assert quiet.now - before == pytest.approx(seconds, abs=0.001)


def test_adaptive_timing_waits_for_the_standards_time_at_least() -> None:
    """A module that takes 45 ms is within P2 and must not be missed after faster ones (ISO 15765-4)."""
    terminal = terminal_at("lessons/slow-talkers")
    terminal.ask("ATSP6")
    terminal.ask("0100")
    terminal.ask("ATSH711")
    terminal.ask("ATCRA5B1")
    assert terminal.ask("3E00") == ["7E 00"]


def test_a_character_before_the_prompt_breaks_the_request_off(quiet: Terminal) -> None:
    """ELM327J-p89."""
    quiet.ask("ATE0")
    quiet.adapter.receive(b"0100\r", quiet.now)
    assert quiet.adapter.poll(quiet.now + 0.0001) == b""
    quiet.now += 0.002
    quiet.adapter.receive(b"A", quiet.now)
    assert quiet.until_prompt() == "STOPPED\r\r>"
    quiet.now += 0.1  # the answers to the broken-off request have passed by then
    assert quiet.ask("0101") == ["41 01 00 07 65 00", "41 01 00 04 00 00"]


def test_a_character_during_a_commands_reply_waits_for_the_prompt() -> None:
    terminal = terminal_at("lessons/yearly-service", baud=38_400)
    terminal.adapter.receive(b"ATE0\rATI\r", terminal.now)
    assert terminal.until_prompt() + terminal.until_prompt() == "ATE0\rOK\r\r>ELM327 v1.4b\r\r>"


def test_monitoring_shows_the_bus_until_a_character_comes(quiet: Terminal) -> None:
    quiet.ask("ATE0")
    quiet.ask("ATH1")
    quiet.adapter.receive(b"ATMA\r", quiet.now)
    heard = quiet.adapter.poll(quiet.now + 1.0).decode().split("\r")
    quiet.now += 1.0
    senders = {line.split()[0] for line in heard if line}
    on_the_bus = [module for module in HEALTHY.profile.module if "PT" in module.buses]
    assert len(senders) == len(on_the_bus) and len(heard) > 9 * len(senders)
    quiet.adapter.receive(b"\r", quiet.now)
    assert quiet.until_prompt().endswith("STOPPED\r\r>")


def test_a_slow_line_cannot_keep_up_with_the_bus() -> None:
    """BUFFER FULL at 512 characters (ELM327J-p87)."""
    terminal = terminal_at("lessons/yearly-service", baud=9_600)
    terminal.ask("ATSP6")
    terminal.ask("ATH1")
    told = terminal.send("ATMA")
    assert told.endswith("BUFFER FULL\r\r>")
    assert len(told) > 512


def test_characters_take_their_time() -> None:
    """10 bits a character both ways (8N1), and the adapter's latency once on the way back."""
    paced, late = (terminal_at("lessons/yearly-service", baud=38_400, latency=x) for x in (0.0, 0.01))
    for terminal in (paced, late):
        terminal.ask("ATE0")
        terminal.now = terminal.now + 1.0
        before = terminal.now
        reply = terminal.send("ATI")
        characters = len("ATI\r") + len(reply)
        expected = characters * 10 / 38_400 + (0.01 if terminal is late else 0.0)
        assert terminal.now - before == pytest.approx(expected)


ALPHABET = st.sampled_from([*list("ATZDIEHSRPLCFMV0123456789ABCDEF \r\r\n\x00"), "ATMA\r", "0100\r", "ÿ"])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(ALPHABET, st.floats(0, 0.3)), max_size=40))
def test_whatever_is_typed_a_prompt_comes_in_the_end(typed: list[tuple[str, float]]) -> None:
    terminal = Terminal(build_vehicle(HEALTHY), baud=115_200)
    for text, pause in typed:
        terminal.adapter.receive(text.encode("latin-1"), terminal.now)
        terminal.now += pause
        terminal.adapter.poll(terminal.now)
    terminal.now += 20.0
    terminal.adapter.poll(terminal.now)
    # One character stops a search or monitoring, the other ends a line that was begun.
    for _ in range(2):
        terminal.adapter.receive(b"\r", terminal.now)
        terminal.now += 20.0
        out = terminal.adapter.poll(terminal.now)
    terminal.adapter.receive(b"ATI\r", terminal.now)
    terminal.now += 20.0
    out += terminal.adapter.poll(terminal.now)
    assert out.endswith(b">")
