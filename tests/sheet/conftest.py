"""Situations made by hand, one a file in situations/, of an invented vehicle: the Fenwyck Lark, a hybrid van.

Limits on the checks carry the source they have in the tables; "common practice" has no other.
"""

from __future__ import annotations

import os
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from dtctriage.sheet import BeforeAfter, ClearingPart, Job, Sheet, Visit, build_sheet
from dtctriage.triage.model import Assessment
from dtctriage.triage.module_data import ModuleData

FOLDER = Path(__file__).parent / "situations"
NAMES = (
    "all_silent",
    "some_silent",
    "one_silent",
    "cut_off",
    "codes_only",
    "nothing_found",
    "adapter_without_supply",
    "partial",
    "recorded",
    "rechecked",
)
_NOTHING = dict.fromkeys(("evidence", "problems", "findings", "codes", "cautions", "missing"), ())
_ANSWERS = {"state": "answers", "heard": "3 of 3", "known_by": "its answer"}


def _read(name: str) -> dict[str, Any]:
    """A situation as data; `like` names another that it builds on."""
    content = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    return _read(content.pop("like")) | content if "like" in content else content


VEHICLE = _read("vehicle")


def _modules(content: dict[str, Any]) -> list[dict[str, Any]]:
    """All modules of the vehicle: as `all_modules` says, or each as `modules` says, or answering."""
    if not content.pop("fitted", True):
        return []
    changed = content.pop("modules", {})
    everywhere = content.pop("all_modules", None)
    if everywhere:
        plain = {"vin": "", "volts": None, "identity": ()} | everywhere
        return [line | plain | {"label": label} for label, line in VEHICLE["modules"].items()]
    return [
        _ANSWERS | line | changed.get(label, {}) | {"label": label}
        for label, line in VEHICLE["modules"].items()
    ]


def _with(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """TOML has no null: `no_profile = true` says that there is none."""
    absent = {key.removeprefix("no_"): None for key in changes if key.startswith("no_")}
    return base | {key: value for key, value in changes.items() if not key.startswith("no_")} | absent


def situation_parts(name: str) -> tuple[Assessment, Job, Visit]:
    """What `build_sheet` takes, from the situation's file."""
    content = _read(name)
    for further in ("clearings", "before_after", "data"):
        content.pop(further, None)
    job = TypeAdapter(Job).validate_python(_with(VEHICLE["job"], content.pop("job", {})))
    visit = TypeAdapter(Visit).validate_python(_with(VEHICLE["visit"], content.pop("visit", {})))
    content["modules"] = _modules(content)
    content["evidence"] = [
        {"id": f"E{nth}", "kind": kind, "module": module, "text": text}
        for nth, (kind, module, text) in enumerate(content["evidence"], start=1)
    ]
    whole = {"vin": None, "vin_from": ""} | _NOTHING | content
    return TypeAdapter(Assessment).validate_python(whole), job, visit


def further_parts(name: str) -> tuple[tuple[ClearingPart, ...], BeforeAfter | None]:
    """What else `build_sheet` takes: clearings, and the second page of a recheck."""
    content = _read(name)
    clearings = TypeAdapter(tuple[ClearingPart, ...]).validate_python(content.get("clearings", ()))
    second = content.get("before_after")
    return clearings, None if second is None else TypeAdapter(BeforeAfter).validate_python(second)


def data_of(name: str) -> tuple[ModuleData, ...]:
    """All data of the modules; TOML has no null: what is not given is none."""
    given = _read(name).get("data", ())
    for module in given:
        module.setdefault("supported_codes", None)
        for test in module["tests"]:
            test.update({"low": test.get("low"), "high": test.get("high")})
        for reading in (*module["readings"], *(r for kept in module["kept"] for r in kept["readings"])):
            reading.setdefault("value", None)
    return TypeAdapter(tuple[ModuleData, ...]).validate_python(given)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give each test that asks for a `situation` the name of each."""
    if "situation" in metafunc.fixturenames:
        metafunc.parametrize("situation", NAMES)


@pytest.fixture
def sheet(situation: str) -> Sheet:
    """The sheet of the situation."""
    return build_sheet(*situation_parts(situation), *further_parts(situation), data=data_of(situation))


@pytest.fixture
def rechecked() -> Sheet:
    """The sheet of a recheck."""
    return build_sheet(*situation_parts("rechecked"), *further_parts("rechecked"))


@pytest.fixture(scope="session")
def parts() -> tuple[Assessment, Job, Visit]:
    """Some modules silent: the situation with the most on its sheet."""
    return situation_parts("some_silent")


@pytest.fixture(scope="session")
def full_sheet(parts: tuple[Assessment, Job, Visit]) -> Sheet:
    """The sheet of `parts`."""
    return build_sheet(*parts)


@pytest.fixture(scope="session")
def sheet_with_data() -> Sheet:
    """The sheet of the situation whose modules told data."""
    return build_sheet(*situation_parts("codes_only"), data=data_of("codes_only"))


@pytest.fixture(scope="session")
def pdf_tools() -> None:
    """Needs poppler's pdftotext and pdfinfo; without them the test is skipped, in CI it fails."""
    if shutil.which("pdftotext") and shutil.which("pdfinfo"):
        return
    if os.environ.get("CI") == "true":
        pytest.fail("pdftotext and pdfinfo are required in CI: install poppler-utils")
    pytest.skip("pdftotext and pdfinfo are not installed (poppler-utils)")
