"""`dtctriage profile from-sweep`: a profile that can be used at once, and says what nobody told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.link import BusProtocol, Framing, physical
from dtctriage.profile_start import role_of, started_profile
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.sweep.questions import Language
from dtctriage.wiring.profile_file import ProfileError, load_profile, parse_profile

Cli = Callable[..., Any]


def seen(*modules: ModuleSaid, protocol: BusProtocol = BusProtocol.CAN11_500) -> Picture:
    picture = Picture(protocol=protocol, rounds=3, stage=Stage.TESTS, finished=True)
    picture.modules = {said.target: said for said in modules}
    return picture


def module(number: int, framing: Framing = Framing.CAN11, **identity: str) -> ModuleSaid:
    target = physical(framing, number)
    names = {key.replace("_", " "): text for key, text in identity.items()}
    return ModuleSaid(target, number + 8, 3, 3, languages={Language.J1979, Language.UDS}, identity=names)


def test_the_modules_of_a_healthy_vehicle_are_those_of_its_own_profile(
    cli: Cli, at_once: Callable[..., str], demo: Path, tmp_path: Path
) -> None:
    link = at_once("lessons/yearly-service")
    cli("intake", "--link", link, "--order", "RO-7", "--full", "--rounds", "1", "--quick")
    made = tmp_path / "kavo.vehicle.toml"
    ended = cli("profile", "from-sweep", "RO-7", "--to", made)
    assert (ended.code, ended.err) == (0, "")
    begun, known = load_profile(made), load_profile(demo / "kavo.vehicle.toml")
    assert {item.target for item in begun.module} == {item.target for item in known.module}
    spoken = {item.target: set(item.speaks) for item in known.module}
    assert all(set(item.speaks) <= spoken[item.target] for item in begun.module)
    roles = {item.target: item.role for item in known.module}
    assert all(item.role in ("", roles[item.target]) for item in begun.module)
    assert begun.vehicle.vin_pattern == "G0ZKV5C2.N1......"
    text = made.read_text(encoding="utf-8")
    assert text.count("not known") >= 3 and "check it" in text
    assert "exists and is left as it is" in cli("profile", "from-sweep", "RO-7", "--to", made).complaint


def test_a_vehicle_with_codes_is_not_quite_healthy(
    cli: Cli, at_once: Callable[..., str], tmp_path: Path
) -> None:
    link = at_once("second")
    cli("intake", "--link", link, "--order", "RO-7", "--rounds", "1", "--quick")
    ended = cli("profile", "from-sweep", "RO-7", "--to", tmp_path / "x.vehicle.toml")
    assert ended.code == 0
    assert "not quite healthy: 7E0 holds U0103" in ended.err


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("ECM-EngineControl", "engine_control_a"),
        ("TCM-TransmissionControl", "transmission_control"),
        ("gateway", "gateway_a"),
        ("body control", "body_control"),
        ("EC", ""),
        ("", ""),
        ("made-up thing", ""),
    ],
)
def test_roles_are_guessed_from_names_alone(name: str, role: str) -> None:
    assert role_of(name) == role


@pytest.mark.parametrize(
    "picture",
    [
        seen(module(0x7E0, module_name="ECM-EngineControl"), module(0x7E1, module_name="ECM-EngineControl")),
        seen(module(0x7E0)),
        seen(module(0x7E0, module_name='"\\ \x7f\u2028]', part_number="\x00\x01")),
        seen(module(0x10, Framing.ISO14230), protocol=BusProtocol.ISO14230_FAST),
        seen(module(0x18DA10F1, Framing.CAN29), protocol=BusProtocol.CAN29_500),
    ],
    ids=["same names", "alone", "odd text", "off CAN", "29 bit"],
)
def test_whatever_answered_the_file_can_be_read(picture: Picture) -> None:
    text = started_profile(picture, "", 'Model "X"\n', None, "RO\n7")
    begun = parse_profile(text, "x")
    assert {item.target.request for item in begun.module} == {t.request for t in picture.modules}
    assert len({item.id for item in begun.module}) == len(picture.modules)


def test_a_sweep_that_was_broken_off_is_no_ground() -> None:
    picture = seen(module(0x7E0))
    picture.finished = False
    with pytest.raises(Exception, match="was not gone through") as caught:
        started_profile(picture, "", "", None, "RO-7")
    assert not isinstance(caught.value, ProfileError)
