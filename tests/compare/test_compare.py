"""Before and after: what is gone, what is new, and what nobody can say because it was not read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dtctriage.codes.dtc import Dtc
from dtctriage.compare import Change, Comparison, Side, compare
from dtctriage.compare.monitors import COMPONENTS, monitor_of
from dtctriage.link import Framing, physical
from dtctriage.services.readiness import Readiness
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.triage.assess import assess
from dtctriage_reference import rows

NOW, HISTORY = 0x2F, 0x28
"""Status bytes of ISO 14229-1 Annex D: failing and confirmed; confirmed and not failing."""
ECM, TCM, BCM = 0x7E0, 0x7E1, 0x7E2
MONITORED = ("misfire", "fuel system", "components", "catalyst", "evaporative", "oxygen sensor")


def code(text: str, memory: str = "stored", status: int | None = None) -> StoredCode:
    return StoredCode(Dtc.parse(text), memory, None if status is None else DtcStatus(status))


def module(request: int, *codes: StoredCode, read: bool = True, **more: object) -> ModuleSaid:
    target = physical(Framing.CAN11, request)
    known: dict[str, object] = {"asked": 3, "answered": 3, "codes": list(codes), "codes_read": read} | more
    return ModuleSaid(target, request + 8, **known)  # type: ignore[arg-type]


def side(*modules: ModuleSaid, silent: Iterable[int] = (), supply: float | None = 12.5) -> Side:
    picture = Picture(supply=supply, rounds=3, stage=Stage.SNAPSHOTS, finished=True)
    picture.modules = {said.target: said for said in modules}
    picture.silent = {physical(Framing.CAN11, request): 3 for request in silent}
    return Side(picture, assess(picture))


def ready(*complete: str, lamp: bool = False) -> Readiness:
    return Readiness.of(lamp, 0, False, MONITORED, complete)


def changes(comparison: Comparison) -> dict[str, Change]:
    return {f"{line.module} {line.code}": line.change for line in comparison.codes}


def test_each_code_says_what_became_of_it() -> None:
    before = side(
        module(ECM, code("P0301", status=NOW), code("P0420", status=HISTORY), code("P0113", status=HISTORY))
    )
    after = side(
        module(ECM, code("P0301", status=HISTORY), code("P0113", status=HISTORY), code("P0128", status=NOW))
    )
    assert changes(compare(before, after)) == {
        "7E0 P0113": Change.STILL,
        "7E0 P0128": Change.NEW,
        "7E0 P0301": Change.STOPPED,
        "7E0 P0420": Change.GONE,
    }


def test_what_was_not_read_again_is_not_gone() -> None:
    before = side(module(ECM, code("P0301")), module(TCM, code("P0700")), module(BCM, code("B1000")))
    after = side(module(ECM), module(TCM, read=False), silent=[BCM])
    assert changes(compare(before, after)) == {
        "7E0 P0301": Change.GONE,
        "7E1 P0700": Change.NOT_READ_AFTER,
        "7E2 B1000": Change.NOT_READ_AFTER,
    }


def test_a_code_of_a_module_that_was_silent_is_not_new() -> None:
    compared = compare(side(module(ECM), silent=[TCM]), side(module(ECM), module(TCM, code("U0100"))))
    assert changes(compared) == {"7E1 U0100": Change.NOT_READ_BEFORE}
    answering = {line.module: (line.before, line.after) for line in compared.modules}
    assert answering == {"7E0": ("answers", "answers"), "7E1": ("silent", "answers")}


def test_a_module_that_fell_silent_or_is_not_asked_any_more_is_told() -> None:
    before = side(module(ECM), module(TCM), module(BCM))
    compared = compare(before, side(module(ECM), silent=[TCM]))
    answering = {line.module: line.after for line in compared.modules if line.changed}
    assert answering == {"7E1": "silent", "7E2": "not asked"}


def test_a_code_without_its_failure_type_is_the_same_code() -> None:
    """After a clear the permanent code (service 0A, two bytes) is all that is left of one with a type."""
    before = side(module(ECM, code("P0301-11", status=NOW), code("P0301", "permanent")))
    after = side(module(ECM, code("P0301", "permanent")))
    (line,) = compare(before, after).codes
    assert (line.code, line.change, line.permanent) == ("P0301-11", Change.CHANGED, True)
    assert line.after == "permanent"


def test_a_permanent_code_is_not_gone_where_permanent_codes_were_refused() -> None:
    before = side(module(ECM, code("P0420", "permanent"), code("P0301")))
    after = side(module(ECM, refused=[(b"\x0a", 0x11)]))
    assert changes(compare(before, after)) == {
        "7E0 P0301": Change.GONE,
        "7E0 P0420": Change.NOT_READ_AFTER,
    }


def test_two_failure_types_of_one_number_are_two_codes() -> None:
    before = side(module(ECM, code("P0301-11", status=NOW)))
    after = side(module(ECM, code("P0301-12", status=NOW)))
    assert changes(compare(before, after)) == {"7E0 P0301-11": Change.GONE, "7E0 P0301-12": Change.NEW}


def test_facts_that_read_otherwise_are_told_with_both_sides() -> None:
    before = side(module(ECM, vins={"service 09": "1D4GP00R55B123456"}, volts=9.8), supply=12.5)
    after = side(module(ECM, vins={"service 09": "1D4GP00R55B654321"}, volts=12.4), supply=12.6)
    told = {(line.subject, line.name): (line.before, line.after) for line in compare(before, after).facts}
    assert told == {
        ("7E0", "own supply"): ("9.8 V", "12.4 V"),
        ("7E0", "VIN"): ("1D4GP00R55B123456", "1D4GP00R55B654321"),
    }


# Monitors -------------------------------------------------------------------------------------------------


def test_a_permanent_code_names_its_monitor_and_the_drive() -> None:
    """13 CCR 1968.2 (d)(2.5): it leaves once its monitor has run and passed."""
    after = side(module(ECM, code("P0420", "permanent"), readiness=ready("misfire", "fuel system")))
    to_run = compare(after, after).to_run
    first = to_run[0]
    assert (first.module, first.monitor, first.complete, first.codes) == (
        "7E0",
        "catalyst",
        False,
        ("P0420",),
    )
    assert "steady cruise" in first.drive
    assert [line.monitor for line in to_run[1:]] == ["components", "evaporative", "oxygen sensor"]


def test_without_readiness_the_monitor_is_still_named() -> None:
    (line,) = compare(side(), side(module(ECM, code("P0302", "permanent")))).to_run
    assert (line.monitor, line.complete) == ("misfire", None)


def test_a_complete_monitor_is_named_only_while_a_permanent_code_waits() -> None:
    whole = side(module(ECM, readiness=ready(*MONITORED)))
    assert compare(whole, whole).to_run == ()
    waiting = side(module(ECM, code("P0442", "permanent"), readiness=ready(*MONITORED)))
    (line,) = compare(waiting, waiting).to_run
    assert (line.monitor, line.complete) == ("evaporative", True)


@pytest.mark.parametrize(
    ("text", "monitor"),
    [
        # SAE J2012 groups, from memory.
        ("P0301", "misfire"),
        ("P0171", "fuel system"),
        ("P0420", "catalyst"),
        ("P0455", "evaporative"),
        ("P0135", "oxygen sensor heater"),
        ("P0133", "oxygen sensor"),
        ("P0401", "EGR and/or VVT"),
        ("P0411", "secondary air"),
        ("P0113", COMPONENTS),
        ("U0100", COMPONENTS),
    ],
)
def test_codes_belong_to_their_monitors(text: str, monitor: str) -> None:
    assert monitor_of(Dtc.parse(text), ()) == monitor


def test_the_kind_of_engine_decides_between_monitors() -> None:
    diesel = Readiness.of(False, 0, True, ("NMHC catalyst", "exhaust gas sensor"), ())
    assert monitor_of(Dtc.parse("P0420"), diesel.monitors) == "NMHC catalyst"
    assert monitor_of(Dtc.parse("P0131"), diesel.monitors) == "exhaust gas sensor"


def test_every_monitor_has_its_drive_and_ranges_do_not_meet() -> None:
    named = {row[kind] for row in rows("obd_readiness") for kind in ("spark", "compression")} - {""}
    assert {row["monitor"] for row in rows("monitor_drives")} == named
    assert {name for row in rows("monitor_codes") for name in row["monitors"].split("|")} <= named
    spans = [(row["first"], row["last"]) for row in rows("monitor_codes")]
    assert all(first <= last for first, last in spans)
    assert all(last < first for (_, last), (first, _) in pairwise(spans))


unhurried = settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])

# Properties -----------------------------------------------------------------------------------------------

CODES = st.builds(
    code,
    st.sampled_from(["P0301", "P0301-11", "P0301-12", "P0420", "U0100-87", "C1234", "B1000"]),
    st.sampled_from(["stored", "pending", "permanent"]),
    st.sampled_from([None, NOW, HISTORY, 0x50]),
)
MODULES = st.builds(
    lambda request, codes, read, answered, volts, vin, complete: module(
        request,
        *(codes if read else ()),
        read=read,
        answered=answered,
        volts=volts,
        vins=vin,
        readiness=None if complete is None else ready(*complete),
    ),
    st.sampled_from([ECM, TCM, BCM]),
    st.lists(CODES, max_size=4),
    st.booleans(),
    st.integers(1, 3),
    st.sampled_from([None, 9.0, 12.4]),
    st.sampled_from([{}, {"service 09": "1D4GP00R55B123456"}]),
    st.none() | st.lists(st.sampled_from(MONITORED), unique=True),
)
SIDES = st.builds(
    lambda modules, silent, supply: side(
        *modules, silent=set(silent) - {said.target.request for said in modules}, supply=supply
    ),
    st.lists(MODULES, max_size=3, unique_by=lambda said: said.target.request),
    st.lists(st.sampled_from([ECM, TCM, BCM])),
    st.sampled_from([None, 12.0, 12.6]),
)


@given(SIDES)
@unhurried
def test_compared_with_itself_nothing_changed(one: Side) -> None:
    compared = compare(one, one)
    assert compared.nothing_changed
    assert len(compared.codes) == len(one.assessment.codes)


MIRRORED = {
    Change.GONE: Change.NEW,
    Change.NEW: Change.GONE,
    Change.STOPPED: Change.AGAIN,
    Change.AGAIN: Change.STOPPED,
    Change.NOT_READ_AFTER: Change.NOT_READ_BEFORE,
    Change.NOT_READ_BEFORE: Change.NOT_READ_AFTER,
}
"""A change as it is seen from the other side."""


@given(SIDES, SIDES)
@unhurried
def test_swapped_the_comparison_is_mirrored(one: Side, other: Side) -> None:
    there, back = compare(one, other), compare(other, one)
    assert [
        replace(
            line,
            before=line.after,
            after=line.before,
            change=MIRRORED.get(line.change, line.change),
            permanent=False,
        )
        for line in there.codes
    ] == [replace(line, permanent=False) for line in back.codes]
    assert [(line.module, line.after, line.before) for line in there.modules] == [
        (line.module, line.before, line.after) for line in back.modules
    ]
    assert [(line.subject, line.name, line.after, line.before) for line in there.facts] == [
        (line.subject, line.name, line.before, line.after) for line in back.facts
    ]


@given(SIDES, SIDES)
@unhurried
def test_no_code_is_lost_or_called_gone_unread(one: Side, other: Side) -> None:
    compared = compare(one, other)
    for shown, codes in (
        ([line for line in compared.codes if line.before], one.assessment.codes),
        ([line for line in compared.codes if line.after], other.assessment.codes),
    ):
        assert len(shown) == len(codes)
    read = {said.target.label for said in other.picture.modules.values() if said.codes_read}
    assert all(line.module in read for line in compared.codes if line.change is Change.GONE)


# -- what proves a repair ------------------------------------------------------------------------------------


def lost(request: int, *, status: int | None = NOW) -> ModuleSaid:
    return module(request, code("U0100-87", status=status))


UNTOLD = StoredCode(Dtc.parse("P0301-00"), "stored", DtcStatus(HISTORY, 0xBF))
"""From a module that does not support bit 6: "not supported" is not "tested"."""


@pytest.mark.parametrize(
    ("after", "shown", "unshown"),
    [
        (module(ECM, code("P0301-00", status=HISTORY)), "tested since the key came on, and passed", ""),
        (module(ECM, code("P0301-00", status=HISTORY | 0x40)), "", "not tested since the key came on"),
        (module(ECM, UNTOLD), "", "nothing tells whether it was tested since"),
        (module(ECM, read=False), "", "not read again"),
        (module(ECM), "", "nothing tells whether it was tested since"),
        (module(ECM, readiness=ready("misfire")), "", "nothing tells whether it was tested since"),
    ],
)
def test_a_status_proves_a_repair_where_its_test_has_run(after: ModuleSaid, shown: str, unshown: str) -> None:
    """Bit 6 of the status byte, ISO 14229-1 Annex D: test not completed this operation cycle.

    Misfire is monitored at all times and calls itself complete at once (SAE J1979, PID 01).
    """
    proof = compare(side(module(ECM, code("P0301-00", status=NOW))), side(after)).proof
    assert proof.failing == ()
    assert [proof.shown, proof.unshown] == [
        tuple(f"P0301-00 in 7E0: {words}" for words in (said,) if words) for said in (shown, unshown)
    ]


@pytest.mark.parametrize("complete", [True, False])
def test_a_code_that_was_cleared_waits_for_its_monitor(complete: bool) -> None:
    """A monitor that runs to its end without its code has passed (SAE J1979)."""
    after = module(ECM, readiness=ready(*(("catalyst",) if complete else ())))
    proof = compare(side(module(ECM, code("P0420"))), side(after)).proof
    said = f"P0420 in 7E0: its monitor, catalyst, has {'run to its end' if complete else 'not run yet'}"
    assert (said in proof.shown, said in proof.unshown) == (complete, not complete)


def test_messages_that_come_again_prove_the_bus() -> None:
    """A partner that is not heard is missed within seconds (common practice)."""
    before = side(lost(TCM), lost(BCM), silent=[ECM])
    proof = compare(before, side(module(ECM), module(TCM), module(BCM))).proof
    assert "U0100-87 in 7E1, U0100-87 in 7E2: did not come back while all modules answer" in proof.shown
    left = module(TCM, code("U0100", "permanent"))
    assert compare(before, side(module(ECM), left, module(BCM))).proof.unshown == ()
    again = compare(before, side(module(ECM), lost(TCM), module(BCM))).proof
    assert again.failing == ("U0100-87 in 7E1: failing now",)


def test_many_codes_of_one_fate_are_counted() -> None:
    modules = [lost(0x700 + n) for n in range(5)]
    later = [lost(0x700 + n, status=HISTORY) for n in range(5)]
    (said,) = compare(side(*modules), side(*later)).proof.shown
    assert said.startswith("U0100-87 in 700, U0100-87 in 701, U0100-87 in 702 and 2 more: tested")


def test_what_was_history_before_needs_no_proof() -> None:
    proof = compare(side(lost(TCM, status=HISTORY)), side(module(TCM))).proof
    assert (proof.failing, proof.shown, proof.unshown) == ((), (), ())


def test_a_code_that_was_stored_since_fails() -> None:
    """Service 03 has no status: a code that was not there before the repair came after it."""
    before, after = side(module(ECM, code("P0300"))), side(module(ECM, code("P0300"), code("P0171")))
    proof = compare(before, after).proof
    assert proof.failing == ("P0171 in 7E0: failing now",)
    assert proof.unshown == ("P0300 in 7E0: nothing tells whether it was tested since",)
