"""The one list: what is looked at first, and what stands under it.

Cases are written from how engines and networks work, as textbooks of engine management and of automotive
electrics and makers' service literature teach it. Where no document was at hand the source reads "memory" (of
such a book or standard) or "common practice, no source". `trap` names the code that a hurried reader would
take first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import meaning
from dtctriage.triage.assess import assess
from dtctriage.triage.causes import cause_of, coded, rank_of
from dtctriage.triage.model import Assessment, Ranked
from dtctriage.triage.view import Ledger, View
from dtctriage_reference import rows

Bench = Any
BOOK = "textbooks of engine management, from memory"
ELECTRICS = "textbooks of automotive electrics, from memory"
MAKERS = "makers' service literature, from memory"
COMMON = "common practice, no source"
NOW, HISTORY, UNTOLD = 0x2F, 0x28, None


@dataclass(frozen=True)
class Case:
    """`codes`: P0301, P0301@7E1 in another module, "P0301 old" in history; `under` follow from the first."""

    what: str
    codes: str
    first: str
    under: str
    source: str
    trap: str = ""


CASES = (
    Case(
        "a dead coil floods the catalyst",
        "P0420, P0300, P0301, P0351",
        "P0351",
        "P0301, P0300, P0420",
        BOOK,
        "P0420",
    ),
    Case("an injector without current", "P0304, P0204, P0300", "P0204", "P0304, P0300", BOOK, "P0304"),
    Case("misfire before catalyst", "P0420, P0303", "P0303", "P0420", BOOK, "P0420"),
    Case("the catalyst needs its mixture", "P0420, P0171", "P0171", "P0420", BOOK, "P0420"),
    Case("both banks lean by the air meter", "P0171, P0174, P0102", "P0102", "P0171, P0174", BOOK, "P0171"),
    Case("lean by fuel pressure", "P0171, P0300, P0087", "P0087", "P0171, P0300", BOOK, "P0300"),
    Case("a pump circuit empties the rail", "P0087, P0627, P0171", "P0627", "P0087, P0171", BOOK, "P0087"),
    Case("purge stuck open makes it rich", "P0172, P0496, P0507", "P0496", "P0172, P0507", BOOK, "P0172"),
    Case("an open cap leaks", "P0455, P0457", "P0457", "P0455", COMMON, "P0455"),
    Case("the leak test needs its valve", "P0442, P0441, P0443", "P0443", "P0441, P0442", MAKERS, "P0442"),
    Case("a cold sensor is slow", "P0133, P0135, P0420", "P0135", "P0133, P0420", BOOK, "P0420"),
    Case("the heater of the other bank", "P0430, P0135", "P0135", "", BOOK),
    Case("the sensor tells the truth", "P2195, P0171", "P0171", "P2195", BOOK, "P2195"),
    Case("warm-up judged by a broken sensor", "P0128, P0118", "P0118", "P0128", BOOK, "P0128"),
    Case("a cold engine never closes the loop", "P0125, P0128", "P0128", "P0125", BOOK, "P0125"),
    Case("no fan, then hot", "P0217, P0480, P0300", "P0480", "P0217, P0300", BOOK, "P0217"),
    Case("one track cannot agree", "P2135, P0122, P2106", "P0122", "P2135, P2106", MAKERS, "P2106"),
    Case("power cut for the throttle", "P2106, P2101", "P2101", "P2106", MAKERS, "P2106"),
    Case(
        "the reference pulls all down",
        "P0107, P0122, P0532, P0642",
        "P0642",
        "P0107, P0122, P0532",
        ELECTRICS,
        "P0107",
    ),
    Case("a crank sensor lies about the cam", "P0016, P0335, P0011", "P0335", "P0016, P0011", BOOK, "P0016"),
    Case("oil before the cam's adjuster", "P0011, P0014, P0524", "P0524", "P0011, P0014", BOOK, "P0011"),
    Case("an adjuster without current", "P0011, P0010", "P0010", "P0011", BOOK, "P0011"),
    Case("timing spoils the mixture", "P0171, P0016, P0300", "P0016", "P0171, P0300", BOOK, "P0300"),
    Case("a valve without current", "P0401, P0403", "P0403", "P0401", BOOK, "P0401"),
    Case("boost judged by a broken sensor", "P0299, P0236", "P0236", "P0299", BOOK, "P0299"),
    Case("soot by the lack of air", "P2463, P0299, P0045", "P0045", "P0299, P2463", BOOK, "P2463"),
    Case("the filter judged by its sensor", "P2002, P2453", "P2453", "P2002", BOOK, "P2002"),
    Case("dosing before the catalyst", "P20EE, P203F", "P203F", "P20EE", BOOK, "P20EE"),
    Case(
        "the lamp asked for elsewhere",
        "P0700, P0730@7E1, P0715@7E1",
        "P0715",
        "P0730, P0700",
        MAKERS,
        "P0700",
    ),
    Case("gears without solenoid", "P0730@7E1, P0753@7E1", "P0753", "P0730", BOOK, "P0730"),
    Case(
        "charging before everything", "P0562, P0622, U0100@7E1", "P0622", "P0562, U0100", ELECTRICS, "U0100"
    ),
    Case("low supply silences modules", "U0121, U0401, P0562", "P0562", "U0121, U0401", MAKERS, "U0121"),
    Case("too little voltage resets", "P0606, P0562", "P0562", "P0606", MAKERS, "P0606"),
    Case(
        "no message on a dead bus",
        "U0100@7E1, U0121@7E1, U0073@7E1",
        "U0073",
        "U0100, U0121",
        MAKERS,
        "U0100",
    ),
    Case(
        "bad data come from a bad sensor", "P0122, U0401@7E1", "P0122", "U0401", "SAE J2012, memory", "U0401"
    ),
    Case("the key before its outputs", "P0627, P0615, P0513", "P0513", "P0627, P0615", COMMON, "P0627"),
    Case("the loop before the contactors", "P0AA1, P0A94, P0A0D", "P0A0D", "P0AA1, P0A94", MAKERS, "P0AA1"),
    Case("the battery judged by its sensor", "P0A80, P0A9C", "P0A9C", "P0A80", MAKERS, "P0A80"),
    Case("the brake switch stops the cruise", "P0571, P0741", "P0571", "P0741", COMMON, "P0741"),
    Case("what is history causes nothing now", "P0351 old, P0301, P0420", "P0301", "P0420", COMMON, "P0351"),
    Case("a present code before an old one", "P0102 old, P0455", "P0455", "", COMMON, "P0102"),
    Case("nothing in common", "P0455, P0480", "P0480", "", COMMON),
)


def judged(bench: Bench, codes: str) -> Assessment:
    modules: dict[int, Any] = {}
    for text in codes.split(", "):
        name, _, age = text.partition(" ")
        code, _, at = name.partition("@")
        module = modules.setdefault(int(at or "7E0", 16), [])
        module.append(bench.stored(code, HISTORY if age else UNTOLD if " old" not in codes else NOW))
    told = [bench.said(at, *entries, vins={"x": "G0ZKV5C2XP1000417"}) for at, entries in modules.items()]
    return assess(bench.swept(modules={said.target: said for said in told}))


def place_of(code: str, ranking: tuple[Ranked, ...]) -> int:
    """Where a code stands: by itself, or under another."""
    return next(
        place
        for place, item in enumerate(ranking)
        if code in item.title or any(text.startswith(f"{code} ") for text in item.consequences)
    )


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.what)
def test_what_comes_first(bench: Bench, case: Case) -> None:
    first = judged(bench, case.codes).ranking[0]
    assert case.first in first.title, first
    told = [text for text in first.consequences if ": " in text]
    for code in filter(None, case.under.split(", ")):
        reasons = [text.partition(": ")[2] for text in told if text.startswith(f"{code} ")]
        assert code in first.title or (reasons and reasons[0]), f"{code} is not under {first}"


def test_there_are_cases_in_which_the_obvious_comes_second() -> None:
    traps = [case for case in CASES if case.trap]
    assert len(CASES) >= 30 and len(traps) >= 30
    assert all(case.source and case.trap != case.first and case.trap in case.codes for case in traps)


@pytest.mark.parametrize("case", [case for case in CASES if case.trap], ids=lambda case: case.what)
def test_the_trap_is_not_first(bench: Bench, case: Case) -> None:
    ranking = judged(bench, case.codes).ranking
    alone = [item for item in ranking if item.title.startswith(f"{case.trap} in")]
    assert ranking[0] not in alone
    assert place_of(case.trap, ranking) >= place_of(case.first, ranking)


def test_a_problem_comes_before_codes_and_holds_what_follows_from_it(bench: Bench) -> None:
    picture = bench.picture()
    bench.silence(picture, "ABS")
    bench.module(picture, "ECM").codes += [
        bench.stored("P0443-13"),
        bench.stored(bench.lost_code(bench.profile.module_named("ABS").role)),
    ]
    ranking = bench.assess(picture).ranking
    assert ranking[0].kind == "problem" and "ABS" in ranking[0].title
    assert any(text.startswith("U0121") for text in ranking[0].consequences)
    assert any("P0443" in item.title for item in ranking[1:])


def test_a_demoted_code_says_by_what_on_its_own_line(bench: Bench) -> None:
    assessment = judged(bench, "P0420, P0301")
    lines = {line.code: line.because for line in assessment.codes}
    assert lines["P0301"] == ""
    assert lines["P0420"].startswith("P0301 in 7E0: misfire overheats the catalyst")
    assert assessment.headline.endswith("1 code to follow up.")


def test_network_codes_at_nine_volts_follow_from_the_supply(bench: Bench) -> None:
    """Lost-communication codes are judged at 10 V or more (makers' service literature)."""
    module = bench.said(0x7E1, bench.stored("U0100-87"), bench.stored("U0121-87"))
    engine = bench.said(0x7E0)
    ranking = assess(bench.swept(modules={s.target: s for s in (engine, module)}, supply=9.1)).ranking
    assert ranking[0].title == "Only 9.1 V at the diagnostic connector"
    assert {text.partition(" ")[0] for text in ranking[0].consequences} >= {"U0100-87", "U0121-87"}


def test_what_the_shop_knows_of_a_makers_code_counts(bench: Bench) -> None:
    """P1351 is the maker's own; the shop's table says that it is an ignition coil."""
    known = {Dtc.parse("P1351"): meaning(Dtc.parse("P0351"))}
    module = bench.said(0x7E0, bench.stored("P0301", None), bench.stored("P1351", None))
    picture = bench.swept(modules={module.target: module})
    assert [item.title for item in assess(picture).ranking] == ["P0301 in 7E0", "P1351 in 7E0"]
    (only,) = assess(picture, shop=known).ranking
    assert only.title == "P1351 in 7E0" and only.consequences[0].startswith("P0301 in 7E0")


def test_every_code_of_the_sheet_stands_in_the_list_once(bench: Bench) -> None:
    for case in CASES:
        assessment = judged(bench, case.codes)
        told = [item.title for item in assessment.ranking]
        told += [text.partition(":")[0] for item in assessment.ranking for text in item.consequences]
        for line in assessment.codes:
            assert told.count(f"{line.code} in {line.module}") == 1, (case, told)


def test_a_later_code_causes_no_earlier_one(bench: Bench) -> None:
    """Both in freeze frames: now 1000 km since erasing, P0420 stored 900 km ago, P0301 10 km ago."""
    module = bench.said(0x7E0, bench.stored("P0301", None), bench.stored("P0420", None))
    module.data[0x31] = (1000).to_bytes(2, "big")
    for frame, (code, km) in enumerate([("P0301", 990), ("P0420", 100)]):
        number = bench.stored(code).dtc.number
        module.frames[frame] = {0x02: number.to_bytes(2, "big"), 0x31: km.to_bytes(2, "big")}
    picture = bench.swept(modules={module.target: module})
    misfire, catalyst = coded(View(picture, None, None, None, Ledger()))
    assert (misfire.km, catalyst.km) == (10, 900)
    assert cause_of(catalyst, misfire) == ""
    assert cause_of(replace(catalyst, km=10.0), misfire)
    assert cause_of(replace(catalyst, km=None), misfire)


def test_weights_are_in_order(bench: Bench) -> None:
    def weight(code: str) -> float:
        return rank_of(meaning(bench.stored(code).dtc)).weight

    assert weight("P0562") > weight("P0641") > weight("P0335") > weight("P0301") > weight("P0113")
    assert weight("P0113") > weight("P0171") > weight("P0420") > weight("P0700")
    assert weight("P1234") == float(rows("code_ranks")[-1]["weight"])
