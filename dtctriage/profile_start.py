"""A profile begun from a sweep of a healthy vehicle: its modules as they answered, the wiring left open."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator

from dtctriage.codes.naming import role_of, spaced
from dtctriage.errors import TriageError
from dtctriage.link import physical
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.sweep.questions import Language
from dtctriage.vin import Vin, VinError
from dtctriage.wiring.profile_file import parse_profile

BUS = "DIAGNOSIS"
_SPEAKS = {
    Language.J1979: "j1979",
    Language.OBD_ON_UDS: "obd_on_uds",
    Language.UDS: "uds",
    Language.KWP: "kwp",
}
_NAMED_BY = ("module name", "system name")
"""Info type 0A (SAE J1979) and identifier F197 (ISO 14229-1), as the sweep names them."""


def started_profile(seen: Picture, make: str, model: str, vin: str | None, order: str) -> str:
    """The text of a `.vehicle.toml` file that can be read at once and wants filling in.

    Raises TriageError where the sweep is no ground for one: broken off, a recording, nobody answered.
    """
    if not seen.finished or not seen.modules or seen.protocol is None:
        raise TriageError(
            f"The sweep of order {order} was not gone through, or nobody answered",
            "Take the intake of a healthy vehicle to its end",
        )
    modules = [seen.modules[target] for target in sorted(seen.modules)]
    ids = list(_ids(modules))
    text = "\n".join((*_head(make, model, vin, order), *_modules(modules, ids), *_bus(seen, ids))) + "\n"
    parse_profile(text, "the profile begun")
    return text


def doubts(seen: Picture) -> list[str]:
    """What speaks against taking this vehicle for a healthy one, a line each."""
    found = []
    for target, said in seen.modules.items():
        if said.answered < said.asked:
            found.append(f"{target.label} answered {said.answered} of {said.asked} calls")
        if said.codes:
            codes = ", ".join(sorted({str(entry.dtc) for entry in said.codes}))
            found.append(f"{target.label} holds {codes}")
    return found


# -- text -----------------------------------------------------------------------------------------------


def _head(make: str, model: str, vin: str | None, order: str) -> Iterator[str]:
    yield f"# Begun from the intake of order {_comment(order)}: modules as they answered there."
    yield "# Wiring, buses behind a gateway, and who hears whom are not told by any module: fill them in from"
    yield "# the diagram. dtctriage profile new shows every table; dtctriage profile check lists what is odd."
    yield "format = 1"
    yield from (
        "",
        "[vehicle]",
        f"make = {_quoted(make or 'unknown')}",
        f"model = {_quoted(model or 'unknown')}",
    )
    pattern = _pattern(vin)
    if pattern:
        yield f"vin_pattern = {_quoted(pattern)}  # positions 1-8, 10 and 11 of this vehicle's"


def _pattern(vin: str | None) -> str:
    try:
        text = Vin.parse(vin or "").text
    except VinError:
        return ""
    return f"{text[:8]}.{text[9:11]}......"


def _modules(modules: Iterable[ModuleSaid], ids: Iterable[str]) -> Iterator[str]:
    taken: set[str] = set()
    for said, name in zip(modules, ids, strict=True):
        told = next((said.identity[key] for key in _NAMED_BY if said.identity.get(key)), "")
        role = role_of(told)
        role = "" if role in taken else role
        taken.add(role)
        yield from ("", "[[module]]", f"id = {_quoted(name)}")
        if told:
            yield f"name = {_quoted(spaced(told))}  # as it names itself"
        note = "by its name: check it" if role else "which of the table's roles is it? Empty: none"
        yield f"role = {_quoted(role)}  # {note}"
        yield f"request = 0x{said.target.label}"
        if said.target.answer is not None and said.target != physical(
            said.target.framing, said.target.request
        ):
            yield f"answer = 0x{said.target.answer:X}"
        yield f"framing = {_quoted(said.target.framing.value)}"
        speaks = [word for language, word in _SPEAKS.items() if language in said.languages]
        yield f"speaks = [{', '.join(map(_quoted, speaks))}]"
        yield f"buses = [{_quoted(BUS)}]  # not known: the one it is wired to"
        for key, fact in (("part_number", "part number"), ("calibration", "calibration ids")):
            if said.identity.get(fact):
                yield f"{key} = {_quoted(said.identity[fact])}"


def _bus(seen: Picture, ids: list[str]) -> Iterator[str]:
    protocol = seen.protocol
    if protocol is None:
        return
    yield from ("", "# The order of the line is not known, nor whether all hang on this one bus.", "[[bus]]")
    yield f"id = {_quoted(BUS)}"
    yield f"protocol = {_quoted(protocol.value)}"
    yield f"line = [{', '.join(map(_quoted, ids))}]  # from one end to the other"
    if protocol.framing.is_can:
        yield f"terminated_in = [{_quoted(ids[0])}, {_quoted(ids[-1])}]  # not known: the two ends"
    yield f"at_connector = {_quoted(ids[0])}  # not known: the entry nearest to the diagnostic connector"


# -- names ----------------------------------------------------------------------------------------------


def _ids(modules: Iterable[ModuleSaid]) -> Iterator[str]:
    """The short name that a module gives itself, where it gives one that is still free; else its address."""
    taken: set[str] = set()
    for said in modules:
        short = said.identity.get("module name", "").partition("-")[0].strip().upper()
        name = short if re.fullmatch(r"[A-Z][A-Z0-9]{1,3}", short) else f"M{said.target.label}"
        name = f"M{said.target.label}" if name in taken else name
        taken.add(name)
        yield name


def _quoted(text: str) -> str:
    """A basic string of TOML, which escapes as JSON does; DEL has no place in it."""
    return json.dumps(text.replace("\x7f", ""), ensure_ascii=False)


def _comment(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)
