"""Clearing and repairing: what goes, what stays, and when a module will not.

What clearing takes away: SAE J1979 service 04; permanent codes: 13 CCR 1968.2 (d)(2.5). NRC 22 while the
engine runs: ISO 14229-1 Annex A, conditionsNotCorrect.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import udsoncan
from udsoncan.services.ClearDiagnosticInformation import ClearDiagnosticInformation

from dtctriage.guard import GuardedLink
from dtctriage.link import LinkUrlError
from dtctriage.services.answers import decode_answer
from dtctriage.services.clearing import Cleared, KwpCleared, ObdCleared
from dtctriage.services.j1979_tests import MonitorResults, Verdict, decode_monitor_tests
from dtctriage.services.readiness import Readiness
from dtctriage.sweep.picture import Picture, picture
from dtctriage.sweep.run import Plan, sweep
from dtctriage_adapters.classroom import open_link
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.state_file import State
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle

Show = Callable[[str], Vehicle]
Say = Callable[..., bytes]
DEMO = Path(__file__).parents[2] / "demo"
TISCA, LUMO, ORRO, DENBY = (f"lessons/kinds/{name}" for name in ("tisca", "lumo", "orro", "denby"))
AT = 300.0


@pytest.mark.parametrize(
    ("name", "module", "request_text", "kind"),
    [
        (TISCA, "ECM", "04", ObdCleared),
        (TISCA, "ECM", "14FFFFFF", Cleared),
        (LUMO, "ECM", "14FFFF33", Cleared),
        (TISCA, "BCM", "14FFFFFF", Cleared),
        (TISCA, "ABS", "14FF00", KwpCleared),
        (ORRO, "ECM", "14FF00", KwpCleared),
        (DENBY, "ECM", "04", ObdCleared),
    ],
)
def test_every_language_clears(
    show: Show, ask: Say, name: str, module: str, request_text: str, kind: type
) -> None:
    answer = ask(show(name), module, request_text, AT)
    assert type(decode_answer(answer, False)) is kind
    if kind is Cleared:
        response = udsoncan.Response.from_payload(answer)
        ClearDiagnosticInformation.interpret_response(response)
        assert response.positive and response.service is ClearDiagnosticInformation


def test_what_clearing_takes_and_what_it_leaves(show: Show, ask: Say) -> None:
    vehicle = show(TISCA)
    permanent = ask(vehicle, "ECM", "0A", AT)
    assert permanent.hex() == "4a010646"
    ask(vehicle, "ECM", "04", AT)
    now = AT + 0.5
    assert [ask(vehicle, "ECM", service, now).hex() for service in ("03", "07")] == ["4300", "4700"]
    assert ask(vehicle, "ECM", "0A", now) == permanent
    assert ask(vehicle, "ECM", "1915", now)[3:6].hex() == "064611"
    assert ask(vehicle, "ECM", "020200", now).hex() == "4202000000"
    assert [ask(vehicle, "ECM", f"01{pid}", now)[2:].hex() for pid in ("31", "30", "4E", "21", "4D")] == [
        *("0000", "00", "0000", "0000", "0000")
    ]
    readiness = Readiness(ask(vehicle, "ECM", "0101", now)[2:])
    assert readiness.all_incomplete and not readiness.mil_on and readiness.code_count == 0
    tests = decode_monitor_tests(ask(vehicle, "ECM", "0621", now), 0x21)
    assert isinstance(tests, MonitorResults)
    assert [one.verdict for one in tests.results] == [Verdict.NOT_RUN]
    # In-use counters and identity are not what clearing is for.
    assert ask(vehicle, "ECM", "0908", now) == ask(show(TISCA), "ECM", "0908", now)
    # Other modules were not asked.
    assert ask(vehicle, "ABS", "1800FF00", now)[1] == 1


def test_a_fault_that_is_still_there_comes_back(show: Show, ask: Say) -> None:
    """50 not tested, 27 failed, AF confirmed and lit again, as after key on."""
    vehicle = show(TISCA)
    ask(vehicle, "ECM", "14FFFFFF", AT)

    def status(now: float) -> int:
        codes = ask(vehicle, "ECM", "190A", now)[3:]
        return next(codes[at + 3] for at in range(0, len(codes), 4) if codes[at : at + 3].hex() == "064611")

    assert [status(AT + after) for after in (0.0, 0.9, 1.0, 2.0)] == [0x50, 0x50, 0x27, 0xAF]


def test_second_memories_are_not_cleared(show: Show, ask: Say) -> None:
    vehicle = show(TISCA)
    kept = [ask(vehicle, "BCM", request, AT) for request in ("1917FF18", "190FFF")]
    ask(vehicle, "BCM", "14FFFFFF", AT)
    assert [ask(vehicle, "BCM", request, AT) for request in ("1917FF18", "190FFF")] == kept


@pytest.mark.parametrize("engine", ["idling", "cranking"])
def test_no_module_clears_while_the_engine_turns(ask: Say, engine: str) -> None:
    for name, module, requests in ((TISCA, "ECM", ("04", "14FFFFFF")), (TISCA, "ABS", ("14FF00",))):
        lesson = load_lesson(DEMO / f"{name}.lesson.toml")
        file = lesson.file.model_copy(update={"state": State(engine=engine, run_seconds=10)})
        vehicle = build_vehicle(replace(lesson, file=file))
        codes = ask(vehicle, "ECM", "03", AT)
        for request in requests:
            assert ask(vehicle, module, request, AT).hex() == f"7f{request[:2]}22"
        assert ask(vehicle, "ECM", "03", AT) == codes


# -- repairing ------------------------------------------------------------------------------------------


def repaired(name: str) -> Vehicle:
    return build_vehicle(load_lesson(DEMO / f"{name}.lesson.toml").after_repair())


@pytest.mark.parametrize("name", ["first", "second", "third", "lessons/wet-carpet", "lessons/tow-bar", TISCA])
def test_after_the_repair_everybody_answers_and_nothing_fails(name: str, ask: Say) -> None:
    vehicle = repaired(name)
    assert {module.profile.id for module in vehicle.modules} == {m.id for m in vehicle.lesson.profile.module}
    assert not vehicle.effects.codes and not vehicle.effects.losses
    assert vehicle.lesson.faults == () and vehicle.lesson.after_repair() is vehicle.lesson
    for module in vehicle.modules:
        if "uds" in module.profile.speaks:
            assert ask(vehicle, module.profile.id, "190201", AT)[3:] == b""


def test_what_the_fault_left_behind_is_still_stored(ask: Say) -> None:
    """28: confirmed, failed since the last clear, and passing now (ISO 14229-1 Annex D)."""
    vehicle = repaired("third")
    assert ask(vehicle, "ECM", "190208", AT)[3:].hex() == "04200028" + "06151328"
    assert ask(vehicle, "ECM", "0A", AT).hex() == "4a010615"
    # With the snapshot of its time: the odometer of the order, two hours before.
    noted = ask(vehicle, "ECM", "190406151301", AT)[8:]
    volts = f"{round(vehicle.effects.volts['ECM'] * 10):02x}"
    assert noted.hex() == "3a01" + f"{54_310:06x}" + "3a02" + volts + "3a03" + f"{6_701_300 - 7200:08x}"
    missing = repaired("first")
    told = decode_answer(ask(missing, "ABS", "190208", AT), True).codes
    assert [str(code) for code in told] == ["U0100-87", "U0101-87"]


def test_a_lesson_may_begin_after_its_repair_with_codes_erased(tmp_path: Path, ask: Say) -> None:
    text = (
        (DEMO / "third.lesson.toml")
        .read_text(encoding="utf-8")
        .replace(' = "kavo', f' = "{DEMO.as_posix()}/kavo')
    )
    more = "\n[[erased]]\nkm = 12\nminutes = 20\nwarm_ups = 1\n"
    (tmp_path / "x.lesson.toml").write_text(f"repaired = true\n{text}{more}", encoding="utf-8")
    vehicle = build_vehicle(load_lesson(tmp_path / "x.lesson.toml"))
    assert ask(vehicle, "ECM", "03", AT).hex() == "43010420"  # what the lesson's history has
    assert ask(vehicle, "ECM", "0A", AT).hex() == "4a010615"
    assert ask(vehicle, "ECM", "0131", AT).hex() == "4131000c"
    assert Readiness(ask(vehicle, "ECM", "0101", AT)[2:]).all_incomplete


def swept(options: str) -> tuple[Vehicle, Picture]:
    path = (DEMO / "third.lesson.toml").as_posix()
    vehicle = build_vehicle(load_lesson(DEMO / "third.lesson.toml"))
    expected = tuple(module.target for module in vehicle.lesson.profile.module)
    link = open_link(f"{path}{options}")
    try:
        return vehicle, picture(sweep(GuardedLink(link), Plan(rounds=1, expected=expected)), expected)
    finally:
        link.close()


def test_before_and_after_over_a_link() -> None:
    def stored(options: str) -> set[str]:
        vehicle, seen = swept(options)
        engine = seen.modules[vehicle.lesson.profile.module_named("ECM").target]
        return {f"{code.dtc} {code.memory}" for code in engine.codes if code.dtc.base.code == "P0615"}

    before, after = stored(""), stored("?repaired=yes&cleared=yes")
    assert {"P0615 stored", "P0615-13 stored", "P0615 permanent"} <= before
    assert after == {"P0615 permanent"}


def test_the_engine_can_be_started_for_another_reading() -> None:
    """Common practice: 9.6 V or more while cranking, 13.5 to 14.8 V with the generator running."""
    volts = {}
    for engine in ("off", "cranking", "idling"):
        link = open_link(f"{(DEMO / 'third.lesson.toml').as_posix()}?over=text&engine={engine}")
        try:
            volts[engine] = link.supply_voltage()
        finally:
            link.close()
    assert 9.6 < volts["cranking"] < 11 < volts["off"] < 13 < 13.5 < volts["idling"] < 14.8


@pytest.mark.parametrize("options", ["?repaired=maybe", "?cleared=1", "?fixed=yes", "?engine=on", "?wait=0"])
def test_an_option_that_is_not_one_is_told(options: str) -> None:
    with pytest.raises(LinkUrlError, match="is not understood"):
        open_link(f"{DEMO.as_posix()}/third.lesson.toml{options}")
