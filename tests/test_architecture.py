"""How the house is laid out: imports run one way, files and functions stay small, nothing is left undone."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = {
    "dtctriage": ROOT,
    "dtctriage_adapters": ROOT / "adapters",
    "dtctriage_reference": ROOT / "reference",
}
MOST_LINES = 400
MOST_FUNCTION_LINES = 60

BASE = {"dtctriage.errors", "dtctriage_reference"}
CODES = BASE | {"dtctriage.codes"}
SERVICES = CODES | {"dtctriage.services"}
LINK = {"dtctriage.link"}
ALLOWED: dict[str, set[str]] = {
    "dtctriage_reference": set(),
    "dtctriage.errors": set(),
    "dtctriage.link": {"dtctriage.errors"},
    "dtctriage.guard": LINK,
    "dtctriage.wirelog": LINK | {"dtctriage.errors"},
    "dtctriage.vin": BASE,
    "dtctriage.codes": BASE,
    "dtctriage.services": CODES | LINK,
    "dtctriage.pasted": SERVICES | LINK | {"dtctriage.vin"},
    "dtctriage.wiring": SERVICES | LINK,
    "dtctriage.sweep": SERVICES | LINK | {"dtctriage.guard", "dtctriage.vin"},
    "dtctriage.triage": SERVICES | LINK | {"dtctriage.sweep", "dtctriage.vin", "dtctriage.wiring"},
    "dtctriage.compare": SERVICES | LINK | {"dtctriage.sweep", "dtctriage.triage"},
    "dtctriage.sheet": {"dtctriage.errors", "dtctriage.triage", "dtctriage.compare"},
    "dtctriage.records": LINK | {"dtctriage.errors", "dtctriage.sweep"},
    "dtctriage_adapters": SERVICES | LINK | {"dtctriage.wirelog", "dtctriage.wiring"},
}
"""What each part may import beside itself."""
REACHING_ACROSS = {
    "dtctriage.cli",
    "dtctriage.desk",
    "dtctriage.intake",
    "dtctriage.clearing",
    "dtctriage.links",
    "dtctriage.profile_grown",
    "dtctriage.profile_start",
    "dtctriage.remembered",
    "dtctriage.work",
    "dtctriage.watch",
    "dtctriage.__main__",
}
"""The parts that put the others together."""
HEAVY = {
    "can",
    "isotp",
    "udsoncan",
    "sqlalchemy",
    "alembic",
    "numpy",
    "pydantic",
    "typst",
    "jinja2",
    "serial",
}
LIGHT = {"dtctriage.codes", "dtctriage.pasted", "dtctriage.vin", "dtctriage.errors", "dtctriage_reference"}
"""On the path of `dtctriage decode`, which starts at once."""
LOGIC = LIGHT | {
    "dtctriage.services",
    "dtctriage.sweep",
    "dtctriage.wiring",
    "dtctriage.triage",
    "dtctriage.compare",
    "dtctriage.sheet",
}
"""No clock, no port, no screen."""
OUTSIDE_WORLD = {"time", "socket", "serial", "can", "threading", "subprocess", "typer", "random"}


def sources() -> list[tuple[str, Path]]:
    """Each module's dotted name with its file."""
    found = []
    for package, folder in PACKAGES.items():
        for path in sorted((folder / package).rglob("*.py")):
            parts = path.relative_to(folder).with_suffix("").parts
            found.append((".".join(part for part in parts if part != "__init__"), path))
    return found


SOURCES = sources()


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, wherever in the file it does so; a relative import as "."."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." if node.level else node.module or "."
            if node.module == "dtctriage":
                yield from (f"dtctriage.{alias.name}" for alias in node.names)


def part(name: str) -> str:
    """The part of the house that a module belongs to: dtctriage.codes, dtctriage_adapters, ..."""
    pieces = name.split(".")
    return ".".join(pieces[:2]) if pieces[0] == "dtctriage" else pieces[0]


def own(name: str) -> bool:
    return name.split(".")[0] in PACKAGES


def test_every_part_has_its_place() -> None:
    parts = {part(name) for name, _ in SOURCES} - {"dtctriage"}
    assert parts == set(ALLOWED) | REACHING_ACROSS


def test_the_allowed_imports_have_no_cycle() -> None:
    done: set[str] = set()
    while left := set(ALLOWED) - done:
        ready = {name for name in left if ALLOWED[name] - {name} <= done}
        assert ready, f"a cycle among {sorted(left)}"
        done |= ready


def test_imports_run_one_way() -> None:
    wrong = [
        f"{name} imports {imported}"
        for name, path in SOURCES
        if part(name) not in REACHING_ACROSS | {"dtctriage"}
        for imported in imports(path)
        if imported == "." or (own(imported) and part(imported) not in ALLOWED[part(name)] | {part(name)})
    ]
    assert wrong == []


def test_the_core_never_imports_adapters() -> None:
    """Links are found by their entry point."""
    core = [item for item in SOURCES if not item[0].startswith("dtctriage_adapters")]
    wrong = [name for name, path in core if any(i.startswith("dtctriage_adapters") for i in imports(path))]
    assert wrong == []


def test_records_know_of_a_sweep_only_its_events() -> None:
    known = {i for name, path in SOURCES if part(name) == "dtctriage.records" for i in imports(path)}
    assert {i for i in known if i.startswith("dtctriage.sweep")} == {"dtctriage.sweep.events"}


def importing(parts: set[str], unwanted: set[str]) -> list[str]:
    """Modules of these parts that import something unwanted, at the top or within a function."""
    found = [
        (name, {i.split(".")[0] for i in imports(path)} & unwanted)
        for name, path in SOURCES
        if part(name) in parts
    ]
    return [f"{name} imports {', '.join(sorted(what))}" for name, what in found if what]


def test_decoding_needs_nothing_heavy() -> None:
    assert importing(LIGHT, HEAVY) == []


def test_logic_touches_no_clock_port_or_screen() -> None:
    """Time is passed in, or it is the link's."""
    assert importing(LOGIC, OUTSIDE_WORLD) == []


def test_files_are_small() -> None:
    lines = {name: len(path.read_text(encoding="utf-8").splitlines()) for name, path in SOURCES}
    assert {name: count for name, count in lines.items() if count > MOST_LINES} == {}


def test_functions_are_small() -> None:
    """Their bodies: a command's options are many lines of signature."""
    long = [
        f"{name}.{node.name}"
        for name, path in SOURCES
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        if (node.end_lineno or 0) - node.body[0].lineno >= MOST_FUNCTION_LINES
    ]
    assert long == []


def test_nothing_is_left_undone() -> None:
    marks = ("TO" + "DO", "FIX" + "ME", "XX" + "X")
    undone = [
        name for name, path in SOURCES if any(mark in path.read_text(encoding="utf-8") for mark in marks)
    ]
    undone += [
        f"{name}: line {node.lineno}"
        for name, path in SOURCES
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Raise) and node.exc and "NotImplementedError" in ast.dump(node.exc)
    ]
    assert undone == []


def test_every_module_says_what_it_is_for() -> None:
    trees = {name: tree_of(path) for name, path in SOURCES}
    assert [name for name, tree in trees.items() if tree.body and not ast.get_docstring(tree)] == []


def test_logic_asserts_nothing_of_what_came() -> None:
    """What a peer sent is checked with an error that says so: an assert goes away under -O."""
    wrong = [
        f"{name}: line {node.lineno}"
        for name, path in SOURCES
        if part(name) in LOGIC
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Assert)
    ]
    assert wrong == []


def test_what_is_imported_is_declared() -> None:
    """Also what is imported on one system only: another package may stop bringing it along."""
    config = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    declared = {re.split(r"[^A-Za-z0-9_.-]", item)[0].lower() for item in config["project"]["dependencies"]}
    installed = packages_distributions()
    foreign = {
        name
        for _, path in SOURCES
        for name in (imported.split(".")[0] for imported in imports(path))
        if name not in sys.stdlib_module_names | set(PACKAGES) | {"."}
    }
    assert {name for name in foreign if name in installed} >= {"can", "serial", "typer"}
    undeclared = {
        name for name in foreign if not {item.lower() for item in installed.get(name, [name])} & declared
    } - {"pydantic_core"}  # the other half of pydantic, which names its exact version
    assert undeclared == set()


def test_the_wheel_holds_these_packages() -> None:
    config = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    packed = config["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]
    assert {Path(item).name for item in packed} == set(PACKAGES)
    for package, folder in PACKAGES.items():
        assert (folder / package / "py.typed").is_file()
