"""`dtctriage classroom` as typed: its arguments, and one line for what cannot be done."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dtctriage.cli import EXIT_INPUT, main
from dtctriage.cli import classroom as command

HEALTHY = str(Path(__file__).parents[2] / "demo/lessons/yearly-service.lesson.toml")


class Stage:
    """Stands in for the ways to show a vehicle: keeps what it was given, and is broken off at once."""

    def __init__(self) -> None:
        self.given: list[tuple[str, tuple[Any, ...]]] = []

    def way(self, name: str) -> Any:
        def show(lesson: Path, *arguments: Any) -> None:
            self.given.append((name, (lesson, *arguments[:-1])))
            raise KeyboardInterrupt

        return show


def run(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr("sys.argv", ["dtctriage", "classroom", *arguments])
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


@pytest.mark.parametrize(
    ("arguments", "name", "given"),
    [
        ((), "text", (0, 38_400, 0.0)),
        (("--tcp", "35000", "--baud", "115200", "--latency", "10"), "text", (35_000, 115_200, 0.01)),
        (("--pty", "--baud", "0"), "text", (None, None, 0.0)),
        (("--can", "virtual/lab"), "can", ("virtual/lab",)),
    ],
)
def test_the_arguments_choose_the_way(
    monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], name: str, given: tuple[object, ...]
) -> None:
    stage = Stage()
    monkeypatch.setattr(command, "_way", stage.way)
    assert run(monkeypatch, HEALTHY, *arguments) == 0
    assert stage.given == [(name, (Path(HEALTHY), *given))]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((HEALTHY, "--tcp", "0", "--pty"), "Only one of --tcp, --pty and --can"),
        (
            ("no-such.lesson.toml",),
            "no-such.lesson.toml cannot be read (No such file or directory). Check its name and permissions",
        ),
        ((HEALTHY, "--measure", "volts nowhere"), '"nowhere" is no place in this profile'),
    ],
)
def test_what_cannot_be_done_is_one_line(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    told: str,
) -> None:
    assert run(monkeypatch, *arguments) == EXIT_INPUT
    errors = capsys.readouterr().err
    assert told in errors and errors.count("\n") == 1


def test_instruments_are_put_to_the_vehicle(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("--measure", "volts F31", "--measure", "ohms F31 in to F31", "--measure", "listen K1, key off")
    assert run(monkeypatch, HEALTHY, *asked) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "volts F31 load side to battery -, key run, everything plugged in: 12.5 V"
    assert lines[1].endswith("ohm") and lines[2].endswith(": no click")


def test_every_way_is_installed() -> None:
    assert all(callable(command._way(name)) for name in ("text", "can", "measure"))
