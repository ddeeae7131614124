"""What is wrong with a rest file is told in one line, with the line that says it."""

from __future__ import annotations

from pathlib import Path

import pytest

from dtctriage_adapters.classroom.identity import identity_of
from dtctriage_adapters.classroom.lesson import Lesson, LessonError, load_lesson

KINDS = Path(__file__).parents[2] / "demo/lessons/kinds"
LESSON = """format = 1
vehicle = "{folder}/{kind}.vehicle.toml"
rest = "x.rest.toml"
{more}
[order]
number = "1"
complaint = "none"
technician = "A"
shop = "B"
vin = "G0HTS8A43E1000862"
odometer = 1
"""


def with_rest(folder: Path, text: str, more: str = "", kind: str = "tisca", last: str = "") -> Lesson:
    lesson = LESSON.format(folder=KINDS.as_posix(), kind=kind, more=more) + last
    (folder / "x.lesson.toml").write_text(lesson, encoding="utf-8")
    (folder / "x.rest.toml").write_text("format = 1\n" + text, encoding="utf-8")
    return load_lesson(folder / "x.lesson.toml")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[in_use]\nECM = [1, 2, 3]\n", "x.rest.toml: line 3: ECM: 3 counters, not 16 or 20"),
        ("[in_use]\nECN = []\n", 'line 3: no module "ECN"; did you mean "ECM"?'),
        ("[monitors]\nECM = ['boost pressure']\n", "line 3: ECM: a name is not one of the readiness table"),
        ('ignition = "compression"\n[monitors]\nECM = ["catalyst"]\n', "line 4: ECM: a name"),
        ('[info.ECM]\n02 = "x"\n0D = "012345678901234567"\n', "info type 0D does not hold this text"),
        ('[info.ECM]\n06 = "x"\n', "info type 06 does not hold this text"),
        (
            '[[monitor_test]]\nmodule = "ECM"\nmonitor = 0x20\ntest = 1\nscaling = 1\nvalue = 1\n',
            "line 4: 20 is a mask, not a monitor",
        ),
        (
            '[[monitor_test]]\nmodule = "ECM"\nmonitor = 1\ntest = 1\nscaling = 1\nvalue = 1\n'
            'readiness = "x"\n',
            'line 8: "x" is not one of the readiness',
        ),
        (
            '[[limit_test]]\nmodule = "XYZ"\ntest = 1\ncomponent = 1\nlimit_is = "lowest"\n',
            "limit_test.0.value",
        ),
        (
            '[[oxygen_test]]\nmodule = "XYZ"\nsensor = 1\ntest = 5\nvalue = 0.1\n',
            'line 3: no module "XYZ"',
        ),
        ("[snapshot]\ncolour = { did = 0x3A01, size = 1 }\n", "snapshot.colour"),
        ('[identification.ECM]\nF200 = "x"\n', "identification.ECM.F200"),
        ("[user_memory]\nBCN = 1\n", 'line 3: no module "BCN"; did you mean "BCM"?'),
        ("[readings.BCM]\n05 = 1\n", 'no module that speaks J1979: "BCM"'),
        (
            '[live]\nECM = ["05"]\n[[sensed]]\nmodule = "ECM"\npid = "05"\nsensor = "coolant"\n'
            "low = 1\nhigh = 2\n",
            'line 7: no sensor of ECM: "coolant"',
        ),
        (
            '[[sensed]]\nmodule = "ECM"\npid = "05"\nsensor = "coolant temperature"\nlow = 1\nhigh = 2\n',
            "line 4: PID 05 is not among the live ones of ECM: name it under [live]",
        ),
        ('mirror_memory = ["ECN"]\n', 'did you mean "ECM"?'),
    ],
)
def test_a_bad_rest_file_is_told_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(LessonError) as raised:
        with_rest(tmp_path, text)
    assert told in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_user_memory_that_the_module_does_not_have_is_told(tmp_path: Path) -> None:
    last = '[[history]]\nmodule = "ECM"\ncode = "P0420"\nerased = true\n'
    with pytest.raises(LessonError, match=r'x\.lesson\.toml: line 15: module "ECM" has no second memory'):
        with_rest(tmp_path, "[user_memory]\nBCM = 1\n", last=last)


def test_a_lesson_may_change_a_test_result(tmp_path: Path) -> None:
    test = '[[monitor_test]]\nmodule = "ECM"\nmonitor = 0x21\ntest = 0x80\nscaling = 3\nhigh = 0.7\nvalue = '
    lesson = with_rest(tmp_path, f"{test}0.2\n", last=f"{test}0.9\n")
    assert [item.value for item in lesson.monitor_tests_of("ECM")] == [0.9]
    assert lesson.monitor_tests_of("TCM") == ()


def test_monitors_not_ready_are_those_of_the_ignition(tmp_path: Path) -> None:
    assert with_rest(tmp_path, 'ignition = "compression"\n', 'not_ready = ["boost pressure"]')
    with pytest.raises(LessonError, match="line 4: a name is not one of the readiness table's monitors"):
        with_rest(tmp_path, "", 'not_ready = ["boost pressure"]')


def test_identification_is_text_or_a_date_in_bcd(tmp_path: Path) -> None:
    """Dates: common practice, BCD with the year first (UDS-KB: usually YYYYMMDD)."""
    lesson = with_rest(tmp_path, '[identification.ECM]\nF18B = 2013-11-06\nF18C = "1306A00417"\n')
    told = identity_of(lesson.profile.module_named("ECM"), lesson)
    assert told[0xF18B].hex() == "20131106"
    assert told[0xF18C] == b"1306A00417"
    assert told[0xF190] == b"G0HTS8A43E1000862"
    assert told[0xF187] == lesson.profile.module_named("ECM").part_number.encode()
