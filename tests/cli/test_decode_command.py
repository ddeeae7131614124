"""`dtctriage decode` as it is typed: text, JSON, pipe, a shop's own meanings, exit codes."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Cli = Callable[..., Any]

PLAIN = """\
P0A0D-13    High voltage interlock circuit: signal high
            failure type 13 circuit open
            ISO/SAE powertrain code, hybrid and electric propulsion; from
            memory, open code sets agree
            CAUTION High voltage: qualified people only, by the maker's
            procedure.
U0100-87    Engine control A: communication lost
            failure type 87 message missing
            engine control A is not heard by the module that stored this code
            ISO/SAE network code, lost communication; read in a source, memory
            agrees
"""

FRAMED = """\
> 48 6B 10 43 01 33 00 00 00 00 67
taken for   SAE J1850 message with header and check byte
  48 6B                    header: answer for emission diagnostics
  10                       source: module 10
  43                       answer to service 03: stored codes
  01 33                    code P0133
  00 00                    padding, no code
  00 00                    padding, no code
  67                       check byte (CRC)
P0133       Oxygen sensor bank 1 sensor 1: responds slowly
            ISO/SAE powertrain code, fuel and air metering; from memory, open
            code sets agree
            CAUTION Hot parts or fluid: let them cool down before touching or
            opening.
"""


def test_typed_codes(cli: Cli) -> None:
    told = cli("decode", "P0A0D-13", "u0100:87")
    assert (told.code, told.err) == (0, "")
    assert told.out == PLAIN


def test_a_message_byte_by_byte(cli: Cli) -> None:
    """The check byte stands where it stands on the wire: behind the payload."""
    told = cli("decode", "48", "6B", "10", "43", "01", "33", "00", "00", "00", "00", "67")
    assert told.out == FRAMED


def test_bytes_of_two_codes_in_one_line_are_no_question_and_answer(cli: Cli) -> None:
    """0143 and 4101 in two lines can be an echo with its answer; side by side they are codes."""
    assert cli("decode", "0143", "4101").out.count("the 2 bytes of a code") == 2
    assert "request without header" in cli("decode", "0105\n41 05 6E").out


def test_words_apart_or_in_one_argument_are_the_same(cli: Cli) -> None:
    assert cli("decode", "7E8 03 41 0D 4A").out == cli("decode", "7E8", "03", "41", "0D", "4A").out


@pytest.mark.parametrize("arguments", [(), ("-",)])
def test_a_pipe(cli: Cli, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"P0A0D-13\nU0100-87\n")))
    assert cli("decode", *arguments).out == PLAIN


@pytest.mark.parametrize("piped", [b"", b" \n", b",\r;", b">\r\r>"])
@pytest.mark.parametrize("options", [(), ("--json",)])
def test_an_empty_pipe(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, piped: bytes, options: tuple[str, ...]
) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(piped)))
    told = cli("decode", *options)
    assert told.code == 2
    assert "nothing to decode" in told.complaint


def test_json(cli: Cli) -> None:
    code, message, vin = json.loads(
        cli("decode", "--json", "P0118-16\n7E8 04 43 01 01 43\n1G4AH59H45G118341").out
    )
    assert code["codes"][0] | {"source": ""} == {
        "code": "P0118-16",
        "control": "iso_sae",
        "system": "powertrain",
        "area": "fuel and air metering",
        "meaning": "Engine coolant temperature sensor 1 circuit: signal high",
        "known": True,
        "subject": "engine coolant temperature sensor",
        "place": "sensor 1",
        "kind": "high",
        "origin": "catalogue",
        "quality": "memory_checked",
        "source": "",
        "hazard": "hot_parts",
        "failure_type": {
            "hex": "16",
            "category": "electrical",
            "meaning": "circuit voltage below limit",
            "known": True,
        },
    }
    assert [part["offset"] for part in message["payload"]] == [0, 1, 2]
    assert message["framing"][0] == {
        "written": "7E8",
        "meaning": "answer of the module that is asked on 7E0",
        "behind_payload": False,
    }
    assert [found["code"] for found in message["codes"]] == ["P0143"]
    assert vin["vin"]["model_years"] == [2005]
    assert vin["vin"]["check_digit_holds"] is True


def test_json_of_everything_else(cli: Cli) -> None:
    told = cli("decode", "--json", "SPN 110 FMI 3\nNO DATA\nP03\nC07304")
    spn, notice, bad, raw = json.loads(told.out)
    assert (spn["spn"], spn["fmi"], spn["meaning"]) == (110, 3, "voltage above normal or shorted high")
    assert notice["advice"].startswith("Nobody answered")
    assert "2 digits" in bad["problem"]
    assert raw["bytes"][1] == {"written": "04", "meaning": "failure type", "behind_payload": False}
    assert told.code == 2


@pytest.mark.parametrize(
    ("pasted", "words"),
    [
        ("7E8 06 41 00 BE", "Single frame is cut short: 3 of 6 bytes came"),
        ("7E8 00 00", "Single frame with length 0"),
        ("7E8 21 00 11 22", "Consecutive frame 1 without a first frame"),
        ("7E8 10 14 49 02 01 31 44 34", "Consecutive frame 1 never came: 6 of 20 bytes came"),
        ("7E8 10 14 49 02 01 31 44 34\n7E8 22 47 50 30 30 52 35 35", "came where 1 was due"),
        ("7E8 10 05 49 02 01 31 44 34", "claims 5 bytes, fewer than a first frame may"),
        ("7E8 10 14 49", "First frame is cut short: 3 of 8 bytes came"),
        ("7E8 F0 00", "unknown type F"),
        ("48 6B 10 41 00 BE 3E B8 11 FB", "the check byte is FB"),
        ("014\n0: 49 02 01 31 44 34\n2: 47 50 30 30 52 35 35", "number 2 came where 1 was due"),
        ("014\n0: 49 02 01 31 44 34", "6 of 20 bytes came"),
        ("014", "no numbered segment follows"),
        ("0: 49 02 01 31 44 34", "segment 0 alone"),
        ("1: 47 50 30 30 52 35 35", "Consecutive frame 1 without a first frame"),
        ("7E8", "no numbered segment follows"),
        ("can0 7E8 [0]", "A frame without any data"),
        (
            "7E8 10 14 49 02 01 31 44 34\n7E8 30 00 00\n7E8 22 47 50 30 30 52 35 35\n7E8 23 00",
            "already broken",
        ),
        ("43 06 01 43", "6 codes announced"),
        ("99 00 00", "at byte 0"),
        ("1G4AH59H45G11834I", "never used"),
        ("SPN 999999 FMI 3", "does not fit into the 19 bits"),
        ("hello", "must begin with"),
    ],
)
def test_damaged_input_is_named(cli: Cli, pasted: str, words: str) -> None:
    told = cli("decode", pasted)
    assert told.code == 2
    assert words in " ".join(told.out.split())
    assert told.err == ""


def test_what_is_understood_is_shown_beside_what_is_not(cli: Cli) -> None:
    told = cli("decode", "P0301 hello")
    assert told.code == 2
    assert "Cylinder 1: misfire" in told.out


def test_a_line_that_the_adapter_received_damaged_gives_no_code(cli: Cli) -> None:
    told = cli("decode", "7E8 04 43 01 01 43 <DATA ERROR")
    assert told.code == 2
    assert "received damaged" in told.out and "failed its check" in told.out
    assert "P0143" not in told.out
    assert cli("decode", "7E8 RTR").code == 0


def test_interleaved_modules(cli: Cli) -> None:
    """Frames of two modules in one paste, as an adapter shows them with headers on."""
    lines = ["7E8 10 08 43 03 01 43 01 96", "7E9 04 43 01 07 00", "7E8 21 02 34"]
    told = cli("decode", "\n".join(lines))
    assert told.code == 0
    assert told.out.index("P0700") < told.out.index("P0234  ")


SHOP_TABLE = """\
code,text,subject,place,kind,note
P1234,Pump relay box 2: output open,,,,fleet A
P1234-11,Box 2 wire chafed,,,,
B1AB0,,seat heater,left front,circuit_open,
"""


@pytest.fixture
def own(tmp_path: Path) -> Path:
    folder = tmp_path / "meanings"
    folder.mkdir()
    (folder / "Examplar.csv").write_text(SHOP_TABLE, encoding="utf-8")
    return folder


def test_own_meanings(cli: Cli, own: Path) -> None:
    told = cli(
        "decode", "--meanings", own, "--make", "examplar", "P1234", "P1234-11", "P1234-12", "B1AB0"
    ).out
    assert told.count("Pump relay box 2: output open") == 2
    assert told.count("Box 2 wire chafed") == 1
    assert "Seat heater left front: open or faulty" in told
    assert told.count("shop's own table for") == 4


def test_a_single_table_needs_no_make(cli: Cli, own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DTCTRIAGE_MEANINGS", str(own))
    assert "Pump relay box 2" in cli("decode", "P1234").out
    (own / "Other.csv").write_text("code,text\nP1234,Something else\n", encoding="utf-8")
    assert "Vehicle maker's own" in cli("decode", "P1234").out
    assert "Something else" in cli("decode", "--make", "other", "P1234").out


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("code,text\nP12,x\n", "line 2"),
        ("code,text\nP1234,a\nP1234,b\n", "line 3: P1234 stands twice"),
        ("code,text\nP1234,\n", "line 2: P1234 has no text"),
        ("code,kind\nP1234,sulking\n", "'sulking' is not a fault kind"),
        ("code,words\nP1234,a\n", "columns must be among"),
        ("text\na\n", "`code` is needed"),
        ("", "`code` is needed"),
        ("code,text,place\nP1234,a,bank B\n", "line 2: 'bank B' is no place"),
        ("code,text\nP1234,a\x1b[31m\n", "line 2: a character that cannot be printed"),
        ("code,text\nP1234," + "a" * 200_000 + "\n", "field larger than field limit"),
        ('code,text\nP1234,"a', "unexpected end of data"),
    ],
)
def test_bad_tables_name_file_and_line(cli: Cli, own: Path, table: str, words: str) -> None:
    (own / "Examplar.csv").write_text(table, encoding="utf-8")
    told = cli("decode", "--meanings", own, "P1234")
    assert told.code == 2
    assert "Examplar.csv" in told.complaint and words in told.complaint


def test_a_table_that_is_no_text(cli: Cli, own: Path) -> None:
    (own / "Examplar.csv").write_bytes(b"code,text\nP1234,\xff\xfe\n")
    assert "cannot be read" in cli("decode", "--meanings", own, "P1234").complaint


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--make", "examplar"), "--meanings"),
        (("--meanings", "nowhere"), "There is no folder"),
        (("--meanings", "{own}", "--make", "none"), "It has: Examplar"),
    ],
)
def test_bad_options(cli: Cli, own: Path, options: tuple[str, ...], words: str) -> None:
    told = cli("decode", *(option.format(own=own) for option in options), "P1234")
    assert told.code == 2
    assert words in told.complaint


def test_coverage(cli: Cli) -> None:
    heading, *lines = cli("decode", "--coverage").out.splitlines()
    assert heading.split()[:2] == ["range", "codes"]
    assert [line.split()[0] for line in lines] == [
        "P0000-P0FFF",
        "P2000-P2FFF",
        "P3400-P3FFF",
        "C0000-C0FFF",
        "B0000-B0FFF",
        "U0000-U0FFF",
        "U3000-U3FFF",
        "all",
    ]
    for line in lines:
        count, *parts = map(int, line.split()[1:])
        assert count == sum(parts) > 0
    assert sum(int(line.split()[1]) for line in lines[:-1]) == int(lines[-1].split()[1])
    as_json = json.loads(cli("decode", "--coverage", "--json").out)
    assert [row["total"] for row in as_json] == [int(line.split()[1]) for line in lines[:-1]]
    assert max(map(len, [heading, *lines])) <= 80


def test_a_quoted_message_beside_a_code_stays_one_line(cli: Cli) -> None:
    """Each is explained as it is alone."""
    message = "7E8 06 41 00 BE 3F A8 13"
    both = cli("decode", "P0301", message)
    assert both.code == 0
    assert f"> {message}\ntaken for   CAN, identifier 7E8, single frame" in both.out
    assert cli("decode", message).out.strip() in both.out
    assert "P0301" in both.out and "nothing known" not in both.out
