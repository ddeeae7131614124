"""Nodal analysis against textbook circuits, and against ngspice on networks made at random."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dtctriage.wiring.network import LEAK_SIEMENS, REFERENCE, Network

METER = 10e6
"""Input resistance of a meter in ohm (makers' service literature: 10 Mohm required)."""
LAMP = 60.0
"""A test lamp of 12 V and about 2.4 W: 200 mA (common practice, no source)."""
STIFF = 1e-3


def close(volts: float, expected: float) -> bool:
    return math.isclose(volts, expected, rel_tol=1e-3, abs_tol=1e-6)


def fed(volts: float = 12.0) -> Network:
    """A network with a source at node S."""
    network = Network()
    network.source("S", volts, STIFF)
    return network


# Textbook circuits (any introduction to circuit analysis) -------------------------------------------------


@pytest.mark.parametrize(("upper", "lower"), [(1e3, 2e3), (4.7e3, 4.7e3), (10.0, 90.0), (1e5, 1e3)])
def test_voltage_divider(upper: float, lower: float) -> None:
    network = fed()
    network.resistor("S", "M", upper)
    network.resistor("M", REFERENCE, lower)
    assert close(network.solve()["M"], 12 * lower / (upper + lower))


def test_parallel_resistors_share_a_node() -> None:
    network = fed()
    network.resistor("S", "M", 100)
    network.resistor("M", REFERENCE, 300)
    network.resistor("M", REFERENCE, 150)
    assert close(network.solve()["M"], 6.0)


def test_two_sources_by_millmans_theorem() -> None:
    network = Network()
    network.source("M", 12, 2)
    network.source("M", 6, 1)
    network.resistor("M", REFERENCE, 2)
    assert close(network.solve()["M"], (12 / 2 + 6 / 1) / (1 / 2 + 1 / 1 + 1 / 2))


def test_a_balanced_bridge_has_no_voltage_across_it() -> None:
    network = fed()
    for side, scale in (("L", 1), ("R", 10)):
        network.resistor("S", side, 120 * scale)
        network.resistor(side, REFERENCE, 60 * scale)
    network.resistor("L", "R", 33)
    volts = network.solve()
    assert close(volts["L"], 4.0)
    assert close(volts["L"], volts["R"])


def test_a_ladder_of_r_and_2r_halves_at_each_rung() -> None:
    network = fed(16)
    names = ["S", "a", "b", "c"]
    for here, there in pairwise(names):
        network.resistor(here, there, 1e3)
        network.resistor(there, REFERENCE, 2e3)
    network.resistor("c", REFERENCE, 2e3)
    volts = network.solve()
    assert [round(volts[name], 2) for name in "abc"] == [8.0, 4.0, 2.0]


# Meter and lamp as part of the circuit ---------------------------------------------------------------------


@pytest.mark.parametrize("bad_contact", [0.1, 10.0, 1e3, 1e4])
def test_a_meter_on_an_open_end_shows_full_voltage_through_kilohms(bad_contact: float) -> None:
    """Common practice, no source: load the wire, a meter alone does not see the bad contact."""
    network = fed(12.6)
    network.resistor("S", "end", bad_contact)
    network.resistor("end", REFERENCE, METER)
    assert network.solve()["end"] == pytest.approx(12.6, abs=0.02)


def test_a_lamp_on_the_same_open_end_stays_dark() -> None:
    network = fed(12.6)
    network.resistor("S", "end", 1e3)
    network.resistor("end", REFERENCE, METER)
    network.resistor("end", REFERENCE, LAMP)
    assert network.solve()["end"] == pytest.approx(12.6 * 60 / 1060, abs=0.01)


def test_a_meter_over_a_leak_of_one_megohm_shows_ten_elevenths() -> None:
    """Common practice, no source: 10 Mohm and 1 Mohm divide to 10/11 of the voltage."""
    network = fed(12.0)
    network.resistor("S", "end", 1e6)
    network.resistor("end", REFERENCE, METER)
    assert close(network.solve()["end"], 12 * 10 / 11)


def test_a_lamp_in_series_with_a_relay_coil() -> None:
    """A coil of 85 ohm (50 to 120: common practice, no source) leaves the lamp 5.2 V: it glows, and the relay
    with 7.4 V may or may not pull in."""
    network = fed(12.6)
    network.resistor("S", "between", 85)
    network.resistor("between", REFERENCE, LAMP)
    lamp = network.solve()["between"]
    assert close(lamp, 12.6 * 60 / 145)
    assert lamp / LAMP == pytest.approx(0.0869, abs=1e-4)


# Edges ------------------------------------------------------------------------------------------------------


def test_a_node_that_nothing_feeds_is_at_zero() -> None:
    network = fed()
    network.resistor("x", "y", 1e3)
    volts = network.solve()
    assert (volts["x"], volts["y"], volts[REFERENCE]) == (0.0, 0.0, 0.0)


def test_nothing_at_all_is_the_reference_alone() -> None:
    assert dict(Network().solve()) == {REFERENCE: 0.0}


def test_a_resistor_from_a_node_to_itself_changes_nothing() -> None:
    network = fed()
    network.resistor("S", "M", 10)
    network.resistor("M", REFERENCE, 10)
    before = network.solve()["M"]
    network.resistor("M", "M", 1)
    assert network.solve()["M"] == pytest.approx(before)


@pytest.mark.parametrize("ohms", [0.0, -1.0, math.nan])
def test_a_resistance_must_be_above_zero(ohms: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        Network().resistor("a", "b", ohms)
    with pytest.raises(ValueError, match="above 0"):
        Network().source("a", 12, ohms)


# Networks made at random -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Drawn:
    """Resistors (node, node, ohm) and sources (node, volt, ohm); node 0 is the reference."""

    resistors: tuple[tuple[int, int, float], ...]
    sources: tuple[tuple[int, float, float], ...]

    def solved(self) -> dict[int, float]:
        network = Network()
        for a, b, ohms in self.resistors:
            network.resistor(str(a), str(b), ohms)
        for node, volts, ohms in self.sources:
            network.source(str(node), volts, ohms)
        return {int(name): volts for name, volts in network.solve().items()}

    def netlist(self, prefix: str) -> list[str]:
        """The same circuit in the language of SPICE, the leak of each node included."""

        def named(node: int) -> str:
            return f"{prefix}n{node}" if node else "0"

        lines = [f"R{prefix}r{i} {named(a)} {named(b)} {o!r}" for i, (a, b, o) in enumerate(self.resistors)]
        for i, (node, volts, ohms) in enumerate(self.sources):
            lines.append(f"V{prefix}v{i} {prefix}s{i} 0 DC {volts!r}")
            lines.append(f"R{prefix}s{i} {prefix}s{i} {named(node)} {ohms!r}")
        nodes = {n for a, b, _ in self.resistors for n in (a, b)} | {n for n, _, _ in self.sources}
        return lines + [f"R{prefix}k{n} {named(n)} 0 {1 / LEAK_SIEMENS!r}" for n in sorted(nodes - {0})]


Spice = Callable[[list[str]], dict[str, float]]
OHMS = st.floats(-2, 6).map(lambda power: round(10**power, 4))
NODES = st.integers(0, 9)


@st.composite
def drawn(draw: st.DrawFn) -> Drawn:
    pairs = draw(st.lists(st.tuples(NODES, NODES).filter(lambda p: p[0] != p[1]), min_size=3, max_size=18))
    volts = st.floats(-24, 24, allow_subnormal=False).map(lambda v: round(v, 3))
    sources = draw(st.lists(st.tuples(st.integers(1, 9), volts, OHMS), min_size=1, max_size=3))
    return Drawn(tuple((a, b, draw(OHMS)) for a, b in pairs), tuple(sources))


@given(drawn())
def test_no_node_lies_beyond_the_sources(circuit: Drawn) -> None:
    """Maximum principle of resistive networks: extremes are at the sources or the reference."""
    volts = [v for _, v, _ in circuit.sources]
    low, high = min(0.0, *volts), max(0.0, *volts)
    assert all(low - 1e-6 <= v <= high + 1e-6 for v in circuit.solved().values())


@given(drawn(), st.floats(0.1, 10))
def test_voltages_grow_with_their_sources(circuit: Drawn, factor: float) -> None:
    """Linearity."""
    louder = Drawn(circuit.resistors, tuple((n, v * factor, o) for n, v, o in circuit.sources))
    before, after = circuit.solved(), louder.solved()
    assert all(math.isclose(after[n], before[n] * factor, rel_tol=1e-6, abs_tol=1e-6) for n in before)


@pytest.mark.full
@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(drawn(), min_size=20, max_size=40))
def test_ngspice_finds_the_same_voltages(spice: Spice, circuits: list[Drawn]) -> None:
    """Within 0.1 %, or a microvolt where a node is at almost nothing."""
    foreign = spice([line for i, one in enumerate(circuits) for line in one.netlist(f"c{i}")])
    for i, circuit in enumerate(circuits):
        for node, volts in circuit.solved().items():
            if node:
                assert math.isclose(volts, foreign[f"c{i}n{node}"], rel_tol=1e-3, abs_tol=1e-6)
