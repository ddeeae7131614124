"""What can be entered for an order without a profile, and that each reading proposed there can be typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.errors import TriageError
from dtctriage.link import Framing, physical
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.triage.generic import basis_of
from dtctriage.triage.problems import offers_for
from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.entered import EntryError, parse_line
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.work.circuits import check, chosen, enterables, fragment

NOW = 0x2F
"""Failing and confirmed (ISO 14229-1 Annex D)."""


def picture(codes: Mapping[int, Iterable[str]]) -> Picture:
    """A finished sweep: codes by the address of the module that holds them."""
    found = Picture(supply=12.5, rounds=3, stage=Stage.STATE, finished=True)
    for request, texts in codes.items():
        target = physical(Framing.CAN11, request)
        stored = [StoredCode(Dtc.parse(text), "stored", DtcStatus(NOW)) for text in texts]
        found.modules[target] = ModuleSaid(target, request + 8, 3, 3, codes=stored, codes_read=True)
    return found


PICTURES: dict[str, dict[int, list[str]]] = {
    "low side": {0x7E0: ["P0615", "P0443"]},
    "sensors and a motor": {0x7E0: ["P0118", "P0107", "P2100", "P0572"]},
    "one missed": {0x760: ["U0100"], 0x761: ["U0100"]},
    "two missed": {0x760: ["U0100", "U0101"], 0x761: ["U0100"]},
    "cut off": {0x732: ["U0100", "U0121"], 0x7E1: [], 0x760: []},
    "nobody": {},
}


@pytest.mark.parametrize("name", PICTURES)
def test_every_reading_that_is_proposed_can_be_typed_again(name: str) -> None:
    basis = basis_of(picture(PICTURES[name]))
    spoken, suspicion = ProbeText(basis.profile), basis.suspicion
    trouble = suspicion.trouble(basis.seen)
    assert trouble
    ranked = suspicion.weigh(basis.seen, trouble)
    parts = [part for part in (trouble.silence, Trouble(codes=trouble.codes)) if part]
    probes = {
        probe for part in parts for offer in offers_for(suspicion, part, ranked) for probe in offer.probes
    }
    assert probes
    for probe in probes:
        assert spoken.parse(f"{probe.means} {spoken.place(probe)}, {spoken.condition(probe)}") == probe


def test_circuits_and_missed_modules_can_be_entered() -> None:
    basis = basis_of(picture({0x760: ["U0100", "P0615"], 0x761: ["U0100"]}))
    assert [(item.name, item.codes) for item in enterables(basis)] == [
        ("starter relay", ("P0615",)),
        ("engine control A", ("U0100",)),
    ]
    for text in ("P0615", "p0615", "Starter  relay"):
        assert chosen(basis, text).name == "starter relay"
    for text in ("U0100", "engine control a"):
        assert chosen(basis, text).name == "engine control A"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("P0AD9", "P0AD9: nobody measures there. Qualified people, by the maker's procedure"),
        ("P0420", "No generic circuit fits P0420, or it is not stored here"),
        ("startr relay", '"startr relay" is no circuit or silent module of this order; did you mean starter'),
        ("", '"" is no circuit or silent module of this order'),
    ],
)
def test_what_cannot_be_entered(text: str, message: str) -> None:
    with pytest.raises(TriageError) as refused:
        chosen(basis_of(picture({0x7E0: ["P0615", "P0AD9", "P0420"]})), text)
    assert str(refused.value).startswith(message)


def test_nothing_to_enter() -> None:
    with pytest.raises(TriageError, match="no circuit or missed module"):
        chosen(basis_of(picture({0x7E0: ["P0420"]})), "P0420")


def test_a_fragment_holds_what_was_entered_and_what_is_assumed() -> None:
    item = chosen(basis_of(picture({0x7E0: ["P0615"]})), "P0615")
    tables = fragment(item, parse_line("pin=C2:12 fuse=F12:15A hot=always"))
    assert tables["fuse"][0]["id"] == "F12" and tables["fuse"][0]["from"] == "battery"
    assert tables["circuit"][0]["driver_pin"] == "C2:12"
    assert "connector" not in tables, "the diagram shows none"


def test_two_circuits_that_claim_one_pin() -> None:
    found = picture({0x7E0: ["P0615", "P0443"]})
    basis = basis_of(found, {"starter relay": parse_line("pin=C2:12 fuse=F12:15A")})
    item = chosen(basis, "P0443")
    with pytest.raises(EntryError, match="C2:12"):
        check(basis, item, parse_line("pin=C2:12 fuse=F13:10A"))
    check(basis, item, parse_line("pin=C2:13 fuse=F12:15A"))
