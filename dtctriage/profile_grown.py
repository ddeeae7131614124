"""A profile grown from an order: the modules as they answered, with what was entered of the diagram."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from dtctriage.errors import TriageError
from dtctriage.profile_start import BUS, started_profile
from dtctriage.records import EnteredCircuit, Order
from dtctriage.remembered import vin_of
from dtctriage.sweep.picture import Picture
from dtctriage.wiring.circuit_tables import Tables, merged
from dtctriage.wiring.profile_file import parse_profile
from dtctriage.wiring.toml_text import toml_text

FREE = 0x700
"""From here on a module that never answered gets a request id of its own: which one is not known."""
_HEAD = """\
# Grown from order {order}: modules as they answered there, circuits and supplies as entered from the diagram.
# What nobody told is assumed: the order of the bus's line and its ends, and parts that are only described,
# such as "starter relay fuse". Put the diagram's own there; dtctriage profile check lists what is odd.
"""
_NOT_KNOWN = "# {modules} never answered: request and place on the bus are not known.\n"


def grown_profile(seen: Picture, order: Order, entered: Sequence[EnteredCircuit]) -> str:
    """The text of a `.vehicle.toml` file that can be read at once and wants filling in.

    Raises TriageError where the sweep is no ground for one, or nothing was entered.
    """
    if not entered:
        raise TriageError(
            f"Nothing was entered for order {order.number}", "Enter it first: dtctriage circuit add"
        )
    begun = tomllib.loads(
        started_profile(seen, order.make or "", order.model or "", vin_of(order, seen), order.number)
    )
    labels = _labels(seen, begun)
    last = {item.about: item for item in entered}
    tables = [_renamed(tomllib.loads(item.fragment), labels) for item in last.values()]
    silent = [module for part in tables for module in part.pop("module", [])]
    document = begun | merged(*tables, *_with(begun, silent))
    text = _HEAD.format(order="".join(sign if sign.isprintable() else "?" for sign in order.number))
    if silent:
        text += _NOT_KNOWN.format(modules=", ".join(str(module["id"]) for module in silent))
    text += toml_text(document)
    parse_profile(text, "the profile grown")
    return text


def _labels(seen: Picture, begun: Mapping[str, Any]) -> dict[str, str]:
    """A module's id in the profile begun, by its label on the sheet."""
    ids = {item["request"]: item["id"] for item in begun["module"]}
    return {target.label: ids[target.request] for target in seen.modules}


def _renamed(tables: Tables, labels: Mapping[str, str]) -> Tables:
    for entries in tables.values():
        for entry in entries:
            if "module" in entry:
                entry["module"] = labels[entry["module"]]
    return tables


def _with(begun: Mapping[str, Any], silent: Sequence[Mapping[str, Any]]) -> Iterator[Tables]:
    """The modules and the bus of the profile begun, with those that never answered."""
    taken = {module["request"] for module in begun["module"]}
    free = (number for number in range(FREE, FREE + 0x100) if number not in taken)
    modules = [
        {**module, "request": number, "buses": [BUS]} for number, module in zip(free, silent, strict=False)
    ]
    buses = [{**bus, "line": [*bus["line"], *(module["id"] for module in silent)]} for bus in begun["bus"]]
    yield {"module": [*begun["module"], *modules], "bus": buses}
