"""Every rule of triage in the classroom, from plug to sheet: where it speaks, and where it holds back.

What must be seen stands in demo/lessons/shown.toml, which a teacher reads too.
"""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from dtctriage.link import LinkLost, Opened
from dtctriage.triage import rules
from dtctriage_adapters.classroom.in_process import ClassroomLink

LESSONS = Path(__file__).parents[2] / "demo" / "lessons"
TABLE = tomllib.loads((LESSONS / "shown.toml").read_text(encoding="utf-8"))
LINKS = ("can", "text")
RULES = tuple(rule.__module__.rpartition(".")[2] for rule in rules.ALL)
NO_RULE = "no_supply"
"""What is told in place of all rules where the connector is dead."""
PARTIAL = 4
"""How an intake ends that was broken off."""
Words = str | list[str]
Cli = Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Rows:
    """Which rules speak, with words of their titles, and which abstain, with words of their reasons."""

    speaks: dict[str, Words] = field(default_factory=dict)
    abstains: dict[str, Words] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Earlier:
    """An intake that is in the records already: of the lesson's vehicle, or of so many others like it."""

    lesson: str
    vehicles: int = 0
    profile: bool = True
    vin: bool = True


@dataclass(frozen=True, slots=True)
class Intake:
    """One `[[intake]]` of the table."""

    lesson: str
    over: str = ""
    soak: float | None = None
    engine: str = ""
    depth: str = ""
    rounds: int = 1
    profile: bool = True
    vin: bool = True
    repaired: bool = False
    replayed: bool = False
    unplugged: bool = False
    before: list[dict[str, Any]] = field(default_factory=list)
    speaks: dict[str, Words] = field(default_factory=dict)
    abstains: dict[str, Words] = field(default_factory=dict)
    can: dict[str, Any] = field(default_factory=dict)
    text: dict[str, Any] = field(default_factory=dict)

    @property
    def links(self) -> tuple[str, ...]:
        """The links that reach the vehicle."""
        return (self.over,) if self.over else LINKS

    def rows(self, link: str) -> Rows:
        """What must be seen over a link."""
        if link not in self.links:
            return Rows()
        own = Rows(**(self.can if link == "can" else self.text))
        return Rows(self.speaks | own.speaks, self.abstains | own.abstains)

    def options(self) -> list[object]:
        """What the intake is told beside link, order and VIN."""
        told: list[object] = ["--rounds", self.rounds]
        told += ["--soak", self.soak] if self.soak is not None else []
        told += ["--engine", self.engine] if self.engine else []
        return [*told, f"--{self.depth}"] if self.depth else told


INTAKES = [Intake(**entry) for entry in TABLE["intake"]]
NOT_OVER: dict[str, dict[str, dict[str, str]]] = TABLE["not_over"]


def wording(words: Words) -> list[str]:
    return [words] if isinstance(words, str) else words


def lesson_of(name: str) -> tuple[Path, dict[str, Any]]:
    path = LESSONS / f"{name}.lesson.toml"
    return path, tomllib.loads(path.read_text(encoding="utf-8"))


def take(
    cli: Cli, name: str, number: str, way: str, *options: object, profile: bool = True, code: int = 0
) -> Any:
    """Take a lesson's vehicle in by the command line, and give its sheet as JSON.

    `way`: what follows the `?` of the link, or another link altogether; `code`: how the intake ends.
    """
    path, lesson = lesson_of(name)
    link = way if ":" in way else f"classroom:{path}?wait=no&{way}"
    wiring = ["--profile", path.parent / lesson["vehicle"]] if profile else []
    ended = cli("intake", "--link", link, "--order", number, "--json", *wiring, *options)
    assert ended.code == code, ended.err
    return json.loads(ended.out)


def vin_of(name: str, serial: int = 0) -> str:
    """The VIN on the paperwork, or another one of the same pattern: the last six places are the number."""
    vin: str = lesson_of(name)[1]["order"]["vin"]
    return f"{vin[:-6]}{900_000 + serial}" if serial else vin


def alike(name: str, serial: int, folder: Path) -> str:
    """A lesson with another vehicle like its own: the VIN is all that differs."""
    path, lesson = lesson_of(name)
    text = path.read_text(encoding="utf-8").replace(vin_of(name), vin_of(name, serial))
    for key in ("vehicle", "rest"):
        text = text.replace(f'"{lesson[key]}"', f'"{(path.parent / lesson[key]).as_posix()}"')
    (folder / f"{serial}.lesson.toml").write_text(text, encoding="utf-8")
    return str(folder / str(serial))


@pytest.fixture(scope="session")
def shops(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Cli, list[Any]], Path]:
    """Records that hold the earlier intakes, each made once; those with one more begin as a copy."""
    known: dict[str, Path] = {}

    def open_shop(cli: Cli, before: list[Any]) -> Path:
        key = json.dumps(before)
        if key not in known:
            records = tmp_path_factory.mktemp("earlier") / "records.sqlite"
            if before[:-1]:
                shutil.copy(open_shop(cli, before[:-1]), records)
            entry, place = Earlier(**before[-1]), len(before)
            like = [serial + 1000 * place for serial in range(1, entry.vehicles + 1)]
            for serial in like or [0]:
                told = ["--rounds", 1, "--quick", "--records", records]
                told += ["--vin", vin_of(entry.lesson, serial)] if entry.vin else []
                number = f"EARLIER-{place}-{serial}"
                name = alike(entry.lesson, serial, records.parent) if serial else entry.lesson
                take(cli, name, number, "over=can", *told, profile=entry.profile)
            known[key] = records
        return known[key]

    return open_shop


def gone(*_: object) -> Opened:
    raise LinkLost("The adapter was unplugged", "Plug it in")


TAKEN = [pytest.param(each, link, id=f"{each.lesson}-{link}") for each in INTAKES for link in each.links]


@pytest.mark.parametrize(("intake", "link"), TAKEN)
def test_a_lesson_shows_what_the_table_says_and_no_other_finding(
    cli: Cli,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    shops: Callable[[Cli, list[Any]], Path],
    intake: Intake,
    link: str,
) -> None:
    if intake.before:
        shutil.copy(shops(cli, intake.before), tmp_path / "records.sqlite")
    if intake.unplugged:
        monkeypatch.setattr(ClassroomLink, "open_bus", gone)
    options = [*intake.options(), *(["--vin", vin_of(intake.lesson)] if intake.vin else [])]
    log = tmp_path / "wire.jsonl"
    way = f"over={link}&repaired={'yes' if intake.repaired else 'no'}"
    how = {"profile": intake.profile, "code": PARTIAL if intake.unplugged else 0}
    sheet = take(cli, intake.lesson, "RO-6", way, *options, "--wire-log", log, **how)
    if intake.replayed:
        sheet = take(cli, intake.lesson, "RO-7", f"replay:{log}", *options, profile=intake.profile)
    rows = intake.rows(link)
    spoken = [(item["rule"], item["title"]) for item in sheet["findings"]]
    silent = [(item["rule"], item["why"]) for item in sheet["abstained"]]
    for expected, seen in ((rows.speaks, spoken), (rows.abstains, silent)):
        for rule, words in expected.items():
            for part in wording(words):
                assert any(name == rule and part in said for name, said in seen), (rule, part, seen)
    assert {name for name, _ in spoken} == set(rows.speaks)
    if link == intake.links[0]:  # what is kept of a sweep is the same over both
        explained = " ".join(cli("sheet", "RO-7" if intake.replayed else "RO-6", "--explain").out.split())
        listed = explained.partition("RULES THAT SAID NOTHING, AND WHY")[2]
        assert [part for part in silent if not re.search(_listing(*part), listed)] == []


def _listing(rule: str, why: str) -> str:
    """A reason as it is explained: once, with all the rules that miss it."""
    return rf"{re.escape(' '.join(why.split()))} \([^()]*\b{rule}\b[^()]*\)"


@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("rule", RULES)
def test_every_rule_speaks_in_a_lesson_and_abstains_in_another(rule: str, link: str) -> None:
    """Over each link, unless the table tells why that one cannot show it; then the other one does."""
    for way in ("speaks", "abstains"):
        shown = {each for each in LINKS if any(rule in getattr(item.rows(each), way) for item in INTAKES)}
        excused = {each for each in LINKS if rule in NOT_OVER.get(each, {}).get(way, {})}
        assert shown, f"no lesson shows where {rule} {way}"
        assert (link in shown) is not (link in excused), f"where {rule} {way} over {link}"


def test_the_table_names_no_rule_that_does_not_exist() -> None:
    rows = [item.rows(link) for item in INTAKES for link in LINKS]
    named = {rule for each in rows for rule in (*each.speaks, *each.abstains)}
    named |= {rule for ways in NOT_OVER.values() for told in ways.values() for rule in told}
    assert named - set(RULES) == {NO_RULE}
