"""What faults weigh before evidence: the shop's own rows, closed orders, and what is told of either."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.errors import TriageError
from dtctriage.triage.beforehand import OUTSIDE, Beforehand, every_fault, is_exposed, kind_of
from dtctriage.triage.factors import weight_before
from dtctriage.triage.priors import COMMON, Prior, Priors, PriorsError, own_priors, parse_priors, table
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.profile import Key

HERE = Path("shop.csv")
FUSE, PIN = ("open", "fuse"), ("open", "terminal")
BLOWN, TCM = Fault(FaultKind.OPEN, "F21"), Fault(FaultKind.MODULE_DEAD, "TCM")


def before(bench: Any, priors: Priors = COMMON) -> Beforehand:
    return Beforehand(bench.suspicion.wiring, Key.RUN, priors)


# -- the shop's own rows --------------------------------------------------------------------------------


def test_own_rows_stand_for_the_tables() -> None:
    text = "# ours\n\nfault,part,weight,exposed,note\nopen,fuse,12.5,,bought bad ones\nOpen, Terminal ,5,9,\n"
    found = parse_priors(text, HERE)
    assert found == {
        FUSE: Prior(12.5, table()[FUSE].exposed, "shop's own shop.csv, line 4"),
        PIN: Prior(5, 9, "shop's own shop.csv, line 5"),
    }
    priors = Priors(found)
    assert priors.of(FUSE).weight == 12.5
    assert priors.of(("open", "wire")) == table()["open", "wire"]


def test_the_table_itself_is_a_table_of_ones_own(repository: Path) -> None:
    """A shop may copy it and change figures."""
    path = repository / "reference" / "dtctriage_reference" / "tables" / "triage_priors.csv"
    found = own_priors(path)
    assert {kind: (row.weight, row.exposed) for kind, row in found.items()} == {
        kind: (row.weight, row.exposed) for kind, row in table().items()
    }


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("opened,fuse,3,", "line 2: 'opened' is no kind of fault"),
        ("open,fuze,3,", "line 2: 'open' is a fault of fuse, switch contact, "),
        ("open,fuse,0,", "line 2: '0' is no weight"),
        ("open,fuse,-1,", "line 2: '-1' is no weight"),
        ("open,fuse,nan,", "line 2: 'nan' is no weight"),
        ("open,fuse,inf,", "line 2: 'inf' is no weight"),
        ("open,fuse,1e300,", "line 2: '1e300' is no weight"),
        ("open,fuse,,", "line 2: '' is no weight"),
        ("open,fuse,much,", "line 2: 'much' is no weight"),
        ("open,fuse,3,0", "line 2: '0' is no weight"),
        ("open,fuse,3,1,2", "line 2: 5 cells, the heading has 4"),
        ("open,fuse,3,\nopen,fuse,4,", "line 3: open of fuse stands twice"),
        ('open,fuse,"3,', "line 2: "),
    ],
)
def test_a_bad_row_is_one_line_with_its_number(row: str, told: str) -> None:
    with pytest.raises(PriorsError) as caught:
        parse_priors(f"fault,part,weight,exposed\n{row}\n", HERE)
    assert f"shop.csv, {told}" in str(caught.value) and "\n" not in str(caught.value)
    assert caught.value.advice


@pytest.mark.parametrize("text", ["", "# nothing\n", "fault,part\n", "fault,part,weight,colour\n", "a;b;c\n"])
def test_a_table_needs_its_columns(text: str) -> None:
    with pytest.raises(PriorsError, match=r"shop\.csv"):
        parse_priors(text, HERE)


@given(st.text(max_size=80))
def test_any_text_gives_rows_or_one_line(text: str) -> None:
    try:
        found = parse_priors(f"fault,part,weight\n{text}", HERE)
    except TriageError as error:
        assert "shop.csv" in str(error)
    else:
        assert set(found) <= set(table())


def test_a_file_that_cannot_be_read_says_so(tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_bytes(b"fault,part,weight\nopen,fuse,\xff\n")
    for path, told in ((tmp_path / "none.csv", "none.csv cannot be read"), (bad, "no UTF-8")):
        with pytest.raises(PriorsError, match=told):
            own_priors(path)
    assert own_priors(None) == {}


# -- over one vehicle -----------------------------------------------------------------------------------


def test_the_table_alone_weighs_each_fault_by_its_row(bench: Any) -> None:
    known = before(bench)
    for fault in every_fault(known.wiring, Key.RUN):
        row = table()[kind_of(known.wiring, fault)]
        assert known.of(fault) == row.weight * (row.exposed if is_exposed(known.wiring, fault) else 1)
        assert known.origin((fault,)) == "" and known.basis(fault) == str(fault.kind)
        assert known.source((fault,)) == "triage_priors, common practice"


def test_own_rows_change_their_kind_alone(bench: Any) -> None:
    known, usual = before(bench, Priors({FUSE: Prior(90, 1, "ours")})), before(bench)
    assert known.of(BLOWN) == 3 * usual.of(BLOWN)
    assert known.of(TCM) == usual.of(TCM)
    assert (known.origin((BLOWN,)), known.origin((TCM,)), known.source((BLOWN,))) == ("ours", "", "ours")
    outside = before(bench, Priors({OUTSIDE: Prior(8, 1, "ours")}))
    assert (outside.outside, outside.origin(()), usual.outside) == (8, "ours", 3)


def test_closed_orders_raise_their_kind_and_keep_the_sum(bench: Any) -> None:
    known, usual = before(bench, Priors(found={FUSE: 3.0, ("open", "sensor"): 9.0})), before(bench)
    assert known.of(BLOWN) > usual.of(BLOWN)
    assert known.of(TCM) == pytest.approx(usual.of(TCM) * 30 / 33)
    assert known.everything == pytest.approx(usual.everything)
    assert known.outside == usual.outside
    assert known.origin((BLOWN,)) == "3 of 3 closed orders"
    assert known.origin((TCM, BLOWN)) == "0 of 3 closed orders; 3 of 3 closed orders"
    assert known.origin(()) == ""
    told = known.source((BLOWN,))
    assert told.startswith("triage_priors, common practice; 3 of 3 closed orders; mean of a Dirichlet")


def test_the_formula_gives_the_weight(bench: Any) -> None:
    """Worked out from the figures as they are printed, for an exposed pin too."""
    known = before(bench, Priors({PIN: Prior(7, 6, "ours")}, {FUSE: 3.0, PIN: 1.5}))
    exposed = next(
        fault
        for fault in every_fault(known.wiring, Key.RUN)
        if kind_of(known.wiring, fault) == PIN and is_exposed(known.wiring, fault)
    )
    for fault in (BLOWN, exposed, TCM):
        weight, basis = known.of(fault), known.basis(fault)
        formula = basis.partition(": ")[2].replace(", exposed", "").replace(" x ", " * ")
        assert eval(formula, {"__builtins__": {}}) == pytest.approx(weight, rel=1e-3), basis
    assert known.basis(exposed).endswith("/ (30 + 4.5) x 6, exposed")
    assert known.origin((exposed,)) == "ours; 1.5 of 4.5 closed orders"


def test_suspicion_takes_its_weights_from_the_priors_given(bench: Any) -> None:
    priors = Priors({("module dead", "module"): Prior(3000, 1, "ours")})
    suspicion = Suspicion(bench.suspicion.wiring, priors=priors)
    seen = bench.seen(TCM)
    trouble = bench.suspicion.trouble(seen)

    def share(of: Suspicion) -> float:
        return sum(item.share for item in of.weigh(seen, trouble) if item.faults == (TCM,))

    assert share(suspicion) > 0.9 > share(bench.suspicion)
    assert weight_before(suspicion, (TCM,)) == (3000, "module dead")
    # Nothing outside the one that was given them has changed.
    assert bench.suspicion.prior(TCM) == 3
