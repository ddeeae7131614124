"""The demo's lessons: what is seen follows from what is wrong, and bad files are told with line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from dtctriage.codes.network import lost_module
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.profile_file import ProfileError
from dtctriage_adapters.classroom.assembly import build_memory
from dtctriage_adapters.classroom.lesson import Lesson, LessonError, load_lesson
from dtctriage_adapters.classroom.vehicle import BusState, Vehicle, build_vehicle
from dtctriage_adapters.classroom.watches import MESSAGE_MISSING

DEMO = Path(__file__).parents[2] / "demo"
ALL = sorted(DEMO.rglob("*.lesson.toml"))


def vehicle(name: str) -> Vehicle:
    return build_vehicle(load_lesson(DEMO / f"{name}.lesson.toml"))


def everybody(shown: Vehicle) -> frozenset[str]:
    return frozenset(module.id for module in shown.lesson.profile.module)


def silent(shown: Vehicle) -> frozenset[str]:
    return everybody(shown) - shown.effects.answering


@pytest.mark.parametrize("path", ALL, ids=lambda path: path.name)
def test_every_lesson_of_the_demo_can_be_given(path: Path) -> None:
    shown = build_vehicle(load_lesson(path))
    assert {module.profile.id for module in shown.modules} == shown.effects.answering


@pytest.mark.parametrize("path", ALL, ids=lambda path: path.name)
def test_no_file_name_tells_a_place_or_a_kind_of_fault(path: Path) -> None:
    lesson = load_lesson(path)
    for fault in lesson.faults:
        assert fault.at.lower() not in path.name
        assert fault.kind.value not in path.name.replace("-", " ")


@pytest.mark.parametrize(
    "name", ["lessons/yearly-service", "lessons/dark-plug", "lessons/slow-talkers", "lessons/auction"]
)
def test_without_a_fault_everybody_answers_and_nothing_is_stored(name: str) -> None:
    shown = vehicle(name)
    assert silent(shown) == frozenset()
    assert shown.effects.losses == frozenset()
    assert shown.effects.codes == frozenset()


def test_a_fuse_silences_exactly_those_below_their_least_supply() -> None:
    shown = vehicle("first")
    starved = {m.id for m in shown.lesson.profile.module if shown.effects.volts[m.id] < m.works_from}
    fed_by_it = {
        module.id
        for module in shown.lesson.profile.module
        if any(supply.source == "S101" for supply in module.supply if supply.purpose == "main")
    }
    assert silent(shown) == starved == fed_by_it
    assert "ECM" in starved and 1 < len(starved) < len(everybody(shown))


def test_the_silent_are_named_by_those_that_listen_to_them() -> None:
    shown = vehicle("first")
    for module in shown.lesson.profile.module:
        if module.id not in shown.effects.answering:
            continue
        lost = {loss.lost for loss in shown.effects.losses if loss.witness == module.id}
        assert lost == {heard.module for heard in module.hears} & silent(shown)


def test_a_module_cut_off_from_one_bus_testifies_and_is_testified_against() -> None:
    shown = vehicle("second")
    losses = {(loss.witness, loss.lost) for loss in shown.effects.losses}
    assert silent(shown) == frozenset()
    assert {witness for witness, lost in losses if lost == "GSM"} == {"ECM", "TCM"}
    assert {lost for witness, lost in losses if witness == "GSM"} == {"ECM", "TCM", "ABS"}
    # Those that hear it on its other bus miss nothing.
    assert ("IPC", "GSM") not in losses


def test_an_open_in_a_circuit_is_one_code_in_one_module() -> None:
    shown = vehicle("third")
    assert silent(shown) == frozenset()
    assert shown.effects.losses == frozenset()
    assert [(module, str(dtc)) for module, dtc in shown.effects.codes] == [("ECM", "P0615-13")]


def test_a_shorted_bus_silences_all_that_are_asked_over_it() -> None:
    shown = vehicle("lessons/tow-bar")
    assert shown.bus_state is BusState.SHORTED
    assert silent(shown) == everybody(shown)
    assert shown.traffic.next_due() is None


def test_a_corroded_ground_silences_those_that_share_it() -> None:
    shown = vehicle("lessons/wet-carpet")
    sharing = {
        module.id
        for module in shown.lesson.profile.module
        if module.ground and all(item.ground == "G203" for item in module.ground)
    }
    assert silent(shown) == sharing


def test_pin_16_without_supply_shows_no_volts_and_changes_nothing_else() -> None:
    shown = vehicle("lessons/dark-plug")
    assert shown.connector_volts == 0.0
    assert shown.effects == vehicle("lessons/yearly-service").effects


def test_every_role_that_is_listened_to_has_a_lost_communication_code() -> None:
    shown = vehicle("lessons/yearly-service")
    for module in shown.modules:
        codes = build_memory(module.profile, shown.lesson, shown.course).codes(0.0)
        named = {
            role.key
            for record in codes
            if record.dtc.failure_type == MESSAGE_MISSING and (role := lost_module(record.dtc)) is not None
        }
        roles = {shown.lesson.profile.module_named(heard.module).role for heard in module.profile.hears}
        assert named == roles


HEAD = """format = 1
vehicle = "{profile}"
[order]
number = "1"
complaint = "none"
technician = "A"
shop = "B"
vin = "G0ZKV5C2XN1001306"
odometer = 1
"""


def lesson_with(tmp_path: Path, text: str) -> Lesson:
    path = tmp_path / "x.lesson.toml"
    path.write_text(HEAD.format(profile=(DEMO / "kavo.vehicle.toml").as_posix()) + text, encoding="utf-8")
    return load_lesson(path)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[[fault]]\nkind = "open"\nat = "F2l"\n', 'line 12: no place for "open": "F2l"; did you mean "F2'),
        ('[[fault]]\nkind = "opne"\nat = "F21"\n', "line 11: fault.0.kind"),
        ('[[fault]]\nkind = "open"\nat = "F21"\nwhy = "x"\n', "line 13: fault.0.why: unknown key"),
        ('[[fault]]\nkind = "short to ground"\nat = "F21"\n', 'line 12: no place for "short to ground"'),
        (
            '[[unsteady]]\nmodule = "TPN"\nanswers = "1 of 2"\n',
            'line 11: no module "TPN"; did you mean "TPM"?',
        ),
        ('[[unsteady]]\nmodule = "TPM"\nanswers = "3 of 2"\n', "line 12: "),
        ('[[history]]\nmodule = "RAD"\ncode = "P9"\n', "line 12: history.0.code"),
        ("[readings.ECM]\n06 = 1\nFE = 2\n", "PID FE is in no table"),
        ("[readings.ABS]\n05 = 2\n", 'no module that speaks J1979: "ABS"'),
        ('[[identity]]\nmodule = "RAD"\nvin = "SHORT"\n', "line 12: identity.0.vin"),
        ('[[identity]]\nmodule = "ECM"\nverification = "12"\n', "line 12: identity.0.verification"),
        ('[[refusing]]\nmodule = "EBS"\nservice = 0x19\n', 'line 11: no module "EBS"; did you mean "EPS"'),
        ('[[cut_short]]\nmodule = "ABS"\nservice = 0x19\nbytes = 0\n', "line 13: cut_short.0.bytes"),
        ('[without]\nABS = ["0D"]\n', 'line 11: no module that speaks J1979: "ABS"'),
        ('[without]\nECM = ["7F"]\n', "line 11: ECM has no PID 7F; it has "),
        ("[in_use]\nECM = [1, 2]\n", "line 11: ECM: 2 counters, not 16 or 20"),
        ("[in_use]\nABS = []\n", 'line 11: no module that speaks J1979: "ABS"'),
        ("odometer = 2\n", "not valid TOML"),
    ],
)
def test_a_bad_lesson_is_told_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(LessonError) as raised:
        lesson_with(tmp_path, text)
    assert told in str(raised.value)
    assert "\n" not in str(raised.value)


def test_unknown_monitors_are_told(tmp_path: Path) -> None:
    path = tmp_path / "x.lesson.toml"
    head = HEAD.format(profile=(DEMO / "kavo.vehicle.toml").as_posix())
    path.write_text('not_ready = ["catalist"]\n' + head, encoding="utf-8")
    with pytest.raises(LessonError, match=r"line 1: .*monitors"):
        load_lesson(path)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(LessonError, match="cannot be read"):
        load_lesson(tmp_path / "none.lesson.toml")


def test_a_profile_that_is_not_there_is_told(tmp_path: Path) -> None:
    path = tmp_path / "x.lesson.toml"
    path.write_text(HEAD.format(profile="none.vehicle.toml"), encoding="utf-8")
    with pytest.raises(ProfileError, match="cannot be read"):
        load_lesson(path)


def test_the_places_of_a_fault_are_those_of_the_wiring(tmp_path: Path) -> None:
    lesson = lesson_with(tmp_path, '[[fault]]\nkind = "high resistance"\nat = "K1 contact"\n')
    assert lesson.faults == (Fault(FaultKind.HIGH_RESISTANCE, "K1 contact"),)


def test_a_module_without_an_answer_id_cannot_be_simulated(tmp_path: Path) -> None:
    text = (DEMO / "kavo.vehicle.toml").read_text(encoding="utf-8")
    (tmp_path / "x.vehicle.toml").write_text(text.replace("answer = 0x73F\n", ""), encoding="utf-8")
    path = tmp_path / "x.lesson.toml"
    path.write_text(HEAD.format(profile="x.vehicle.toml"), encoding="utf-8")
    with pytest.raises(LessonError, match='line 2: module "SRS" has no answer id'):
        load_lesson(path)
