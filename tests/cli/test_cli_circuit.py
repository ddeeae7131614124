"""Two minutes with the wiring diagram: a generic circuit becomes this vehicle's own, and a profile grows."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.records import EnteredCircuit, Records
from dtctriage.wiring.profile_file import load_profile

Cli = Callable[..., Any]
LINE = ("pin=C2:12", "colour=white/blue", "fuse=F12:15A", "hot=run", "connector=X5:3")
FAULTS = {"RO-1": ("open", "pin X101:5"), "RO-2": ("open", "pin X101:5"), "RO-3": ("open", "F21")}
"""The starter relay's wire in two like vehicles; the engine module's fuse in a third."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """For lessons, and records that are made once."""
    return tmp_path_factory.mktemp("circuit")


@pytest.fixture
def file(cli: Cli, folder: Path, demo: Path, tmp_path: Path) -> Path:
    """Records with intakes without a profile, and one with; a copy where the command line looks."""
    made = folder / "records.sqlite"
    if not made.exists():
        _taken_in(cli, made, demo)
    return Path(shutil.copy(made, tmp_path / "records.sqlite"))


def _taken_in(cli: Cli, file: Path, demo: Path) -> None:
    text = (demo / "second.lesson.toml").read_text(encoding="utf-8")
    for name in ("kavo.vehicle.toml", "kavo.rest.toml"):
        text = text.replace(f'"{name}"', f'"{(demo / name).as_posix()}"')
    for order, (kind, at) in FAULTS.items():
        lesson = file.with_name(f"{order}.lesson.toml")
        changed = text.replace('"off the bus"', f'"{kind}"').replace('"GSM@PT"', f'"{at}"')
        lesson.write_text(changed, encoding="utf-8")
        _intake(cli, file, lesson, order)
    _intake(cli, file, lesson, "RO-4", "--profile", demo / "kavo.vehicle.toml")


def _intake(cli: Cli, file: Path, lesson: Path, order: str, *more: object) -> None:
    words = ("intake", "--link", f"classroom:{lesson}?wait=no", "--order", order, "--rounds", "1", "--quick")
    log = file.with_name(f"{order}.jsonl")
    ended = cli(*words, "--by", "M. Adeyemi", "--records", file, "--wire-log", log, *more)
    assert ended.code == 0, ended.err


def entered(file: Path, order: str) -> list[EnteredCircuit]:
    with Records.open(str(file)) as records:
        return [logged.entry for logged in records.log.entries(order, EnteredCircuit)]


def words_of(text: str) -> str:
    return " ".join(text.split())


def test_a_code_alone_is_on_the_sheet_as_a_generic_circuit(cli: Cli, file: Path) -> None:
    sheet = words_of(cli("sheet", "RO-1").out)
    assert "Generic circuit: pins and colours are this vehicle's own; enter them:" in sheet
    assert "dtctriage circuit add ORDER P0615." in sheet
    assert "Measure starter relay fuse on both test points against battery minus" in sheet
    assert "10 A" not in sheet and "vehicle profile" not in sheet.lower().replace("no vehicle profile", "")


def test_in_one_line_and_used_at_once(cli: Cli, file: Path) -> None:
    told = cli("circuit", "add", "RO-1", "P0615", *LINE)
    assert told.code == 0 and told.out.startswith("Kept for RO-1: starter relay: pin=C2:12 colour=white/blue")
    assert "Next: dtctriage next RO-1" in told.out
    following = words_of(cli("next", "RO-1").out)
    assert "Measure fuse F12 (15 A) on both test points" in following
    assert "reading 1 volts F12 feed side to battery -" in following
    told = cli("measure", "RO-1", "12.5 V", "12.5 V")
    assert told.code == 0 and "fuse F12" in told.out
    sheet = words_of(cli("sheet", "RO-1").out)
    assert "Generic circuit" not in sheet and "ECM" in sheet
    assert "connector X5" in sheet and "7E0 plug C2 pin 12" in sheet
    cli("undo", "RO-1")
    assert cli("undo", "RO-1").out.startswith("Taken back: starter relay: pin=C2:12")
    assert "Generic circuit" in words_of(cli("sheet", "RO-1").out)


def test_asked_step_by_step(cli: Cli, file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pin, colour, connector, fuse (first without its rating), hot; the rest left open."""
    answers = ["C2:12", "white/blue", "X5:3", "F12", "F12:15A", "run", *[""] * 7]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))
    told = cli("circuit", "add", "RO-1", "starter relay")
    assert told.code == 0
    assert '"F12" has no rating. Type a fuse and its rating, such as F12:15A' in told.out
    (entry,) = entered(file, "RO-1")
    assert entry.line == "pin=C2:12 colour=white/blue connector=X5:3 fuse=F12:15A hot=run"


def test_offered_for_the_next_like_vehicle(cli: Cli, file: Path) -> None:
    cli("circuit", "add", "RO-1", "P0615", *LINE)
    listed = cli("circuit", "list", "RO-2").out
    assert (
        "starter relay, circuit (P0615)" in listed and "not entered; like vehicle RO-1: pin=C2:12" in listed
    )
    assert cli("circuit", "add", "RO-2", "P0615", "--like").code == 0
    assert entered(file, "RO-2") == entered(file, "RO-1")
    assert "  pin=C2:12" in cli("circuit", "list", "RO-2").out
    refused = cli("circuit", "add", "RO-3", "U0100", "--like")
    assert "Nothing was entered of engine control A for a like vehicle" in refused.complaint


def test_what_a_like_vehicle_had_is_the_default_of_each_question(
    cli: Cli, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cli("circuit", "add", "RO-1", "P0615", *LINE)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 13))
    told = cli("circuit", "add", "RO-2", "P0615")
    assert "A like vehicle, order RO-1: pin=C2:12" in told.out
    assert entered(file, "RO-2")[0].line == entered(file, "RO-1")[0].line


def test_a_silent_modules_supply_ground_and_bus(cli: Cli, file: Path) -> None:
    sheet = words_of(cli("sheet", "RO-3").out)
    assert "Engine control A, transmission control are missed by other modules" in sheet
    assert (
        "Fuses, grounds and bus are this vehicle's own; enter them: dtctriage circuit add ORDER U0100."
        in sheet
    )
    own = ("pin=C1:5", "fuse=F21:15A", "ground=G103", "second=C1:2", "connector=X101:7", "busconnector=X7")
    assert cli("circuit", "add", "RO-3", "U0100", *own).code == 0
    sheet = words_of(cli("sheet", "RO-3").out)
    assert "fuse F21 (15 A)" in sheet and "ground G103" in sheet
    own = ("pin=C3:1", "fuse=F21:15A", "ground=G103", "second=C3:2")
    assert cli("circuit", "add", "RO-3", "transmission control", *own).code == 0
    first = words_of(cli("next", "RO-3").out)
    assert "CHECK 1.1 Measure fuse F21 (15 A) on both test points" in first
    assert cli("measure", "RO-3", "12.5", "0").code == 0
    assert "a) Fuse F21 (15 A)" in words_of(cli("sheet", "RO-3").out)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("RO-1", "P0616", "pin=C2:12"), "No generic circuit fits P0616, or it is not stored here"),
        (("RO-1", "starter realy", "pin=C2:12"), "did you mean starter relay?"),
        (("RO-1", "P0615", "pin=12"), '"12" is no pin. Type a plug and a pin, such as C2:12'),
        (("RO-1", "P0615", "second=C2:1"), '"second=C2:1" is none of the words here'),
        (("RO-1", "P0615", "fuse=F12"), '"F12" has no rating'),
        (("RO-1", "P0615", "fuse=X5:15A", "connector=X5:3"), 'connector "X5": the id is taken by a fuse'),
        (("RO-1", "P0615", "--like"), "Nothing was entered of starter relay for a like vehicle"),
        (("RO-4", "P0615", "pin=C2:12"), 'P0615 is of "starter relay", which the profile has'),
        (("RO-8", "P0615", "pin=C2:12"), "No order has the number"),
    ],
)
def test_bad_input(cli: Cli, file: Path, words: tuple[str, ...], complaint: str) -> None:
    ended = cli("circuit", "add", *words)
    assert ended.code == 2 and complaint in ended.complaint
    assert entered(file, "RO-1") == []


def test_it_grows_into_a_profile(cli: Cli, file: Path, tmp_path: Path) -> None:
    made = tmp_path / "grown.vehicle.toml"
    assert (
        "Nothing was entered for order RO-1" in cli("profile", "from-order", "RO-1", "--to", made).complaint
    )
    cli("circuit", "add", "RO-1", "P0615", *LINE)
    assert cli("profile", "from-order", "RO-1", "--to", made).code == 0
    profile = load_profile(made)
    (circuit,) = profile.circuit
    assert (circuit.module, circuit.driver_pin, circuit.codes.open) == ("ECM", "C2:12", "P0615-13")
    assert profile.vehicle.vin_pattern == "G0ZKV5C2.P1......"
    assert cli("profile", "check", made).code == 0
    assert "exists and is left as it is" in cli("profile", "from-order", "RO-1", "--to", made).complaint


def test_a_silent_module_grows_into_it_too(cli: Cli, file: Path, tmp_path: Path) -> None:
    made = tmp_path / "grown.vehicle.toml"
    cli("circuit", "add", "RO-3", "U0100", "pin=C1:5", "fuse=F21:15A", "ground=G103", "second=C1:2")
    assert cli("profile", "from-order", "RO-3", "--to", made).code == 0
    module = load_profile(made).module_named("engine control A")
    assert (module.role, module.supply[0].source) == ("engine_control_a", "F21")
    assert "never answered: request and place on the bus are not known" in made.read_text(encoding="utf-8")


def test_it_joins_a_profile_that_lacks_it(cli: Cli, folder: Path, file: Path, tmp_path: Path) -> None:
    """A profile begun from a sweep holds modules only, so every circuit joins it."""
    begun = tmp_path / "begun.vehicle.toml"
    assert cli("profile", "from-sweep", "RO-1", "--to", begun).code == 0
    _intake(cli, file, folder / "RO-1.lesson.toml", "RO-5", "--profile", begun)
    told = cli("next", "RO-5").out
    assert "Not in the profile: starter relay, circuit (P0615)." in told
    assert "dtctriage circuit add RO-5 P0615" in told
    assert cli("circuit", "add", "RO-5", "P0615", *LINE).code == 0
    sheet = words_of(cli("sheet", "RO-5").out)
    assert "Starter relay: P0615-13 in ECM" in sheet and "fuse F12 (15 A)" in sheet
    assert "Generic circuit" not in sheet and "Because would store P0615-13 in ECM" in sheet
    assert "  pin=C2:12" in cli("circuit", "list", "RO-5").out
    assert "has a vehicle profile already" in cli("profile", "from-order", "RO-5", "--to", begun).complaint
    cli("undo", "RO-5")
    assert "Not in the profile: starter relay" in cli("next", "RO-5").out


@pytest.mark.parametrize("words", [("add", "RO-1", "P0615", *LINE), ("list", "RO-1")])
def test_the_shops_own_tables_are_read_as_by_every_command(
    cli: Cli, file: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    priors = tmp_path / "priors.csv"
    priors.write_text("fault,part,weight\nopen,fuse,often\n", encoding="utf-8")
    refused = cli("circuit", *words, "--priors", priors)
    assert refused.code == 2 and "priors.csv, line 2" in refused.complaint
