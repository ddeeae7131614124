"""DC nodal analysis of a linear resistive network, for one state and for thousands of changed ones.

Method: conductances only; a voltage source is its Norton equivalent (a source resistance is always there).
G v = i, with every node tied to the reference by a leak so that a floating part has an answer (0 V, as a
meter of finite input resistance shows it) instead of a singular matrix. Changed states reuse the inverse of
G: a change of k conductances is an update of rank k (the Sherman-Morrison-Woodbury formula), so it costs the
solution of k equations.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

REFERENCE = "0"
"""Battery minus."""

LEAK_SIEMENS = 1e-9
"""1 Gohm from each node to the reference: far above the 10 Mohm of a meter."""

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
REFINEMENTS = 2
COLUMNS = 128
"""Currents refined in one go, for the sake of memory."""
ROWS = 4096
"""Changed states solved in one go, for the sake of memory."""


class Network:
    """Collects conductances and sources by node name, then solves. Not thread-safe."""

    def __init__(self) -> None:
        self._index: dict[str, int] = {}
        self._links: list[tuple[int, int, float]] = []
        self._injected: list[tuple[int, int, float]] = []

    def node(self, name: str) -> int:
        """The node's row, made on first use; -1, the last row, for the reference."""
        if name == REFERENCE:
            return -1
        return self._index.setdefault(name, len(self._index))

    def resistor(self, a: str, b: str, ohms: float) -> None:
        """Join two nodes. Raises ValueError unless `ohms` is above 0."""
        if not ohms > 0:
            raise ValueError(f"resistance between {a} and {b} must be above 0, not {ohms}")
        self.conductance(a, b, 1.0 / ohms)

    def conductance(self, a: str, b: str, siemens: float) -> None:
        """Join two nodes by a conductance, which may be 0."""
        self._links.append((self.node(a), self.node(b), siemens))

    def source(self, name: str, volts: float, ohms: float) -> None:
        """A source of `volts` behind `ohms` between the reference and a node."""
        if not ohms > 0:
            raise ValueError(f"source resistance at {name} must be above 0, not {ohms}")
        self.resistor(name, REFERENCE, ohms)
        self.current(name, REFERENCE, volts / ohms)

    def current(self, into: str, out_of: str, amps: float) -> None:
        """A current driven into one node and out of another."""
        self._injected.append((self.node(into), self.node(out_of), amps))

    def solve(self) -> Mapping[str, float]:
        """Node voltages against the reference, in volts, by node name (the reference included)."""
        matrix, current = self._equations()
        size = len(self._index)
        solved = np.linalg.solve(matrix[:size, :size], current[:size])
        by_node = {name: float(solved[row]) for name, row in self._index.items()}
        by_node[REFERENCE] = 0.0
        return by_node

    def prepared(self) -> Prepared:
        """The network with its inverse, for solving changed states of it."""
        matrix, current = self._equations()
        size = len(self._index)
        inverse: Floats = np.zeros((size + 1, size + 1))
        inverse[:size, :size] = np.linalg.inv(matrix[:size, :size])
        a, b = (np.array([link[end] for link in self._links], dtype=np.intp) for end in (0, 1))
        across: Floats = np.zeros((size + 1, len(a) + 1))
        across[a, np.arange(len(a))] += 1.0
        across[b, np.arange(len(a))] -= 1.0
        across[-1] = 0.0
        index = {**self._index, REFERENCE: size}
        solved = self._refined(inverse, np.concatenate([across, current[:, None]], axis=1))
        return Prepared(index, inverse, solved[:, -1], a, b, solved[:, :-1])

    def _refined(self, inverse: Floats, currents: Floats) -> Floats:
        """Z i for several currents i, to the last digits: what is left over is worked out link by link.

        A conductance that a change takes away is told from the leaks behind it by these digits.
        """
        a, b = (np.array([link[end] for link in self._links], dtype=np.intp) for end in (0, 1))
        siemens = np.array([link[2] for link in self._links])[:, None]
        ends = np.concatenate([a, b]) % len(inverse)
        order = np.argsort(ends, kind="stable")
        nodes, starts = np.unique(ends[order], return_index=True)
        volts = inverse @ currents
        if not self._links:
            return volts
        for start in range(0, volts.shape[1], COLUMNS):
            part = slice(start, start + COLUMNS)
            for _ in range(REFINEMENTS):
                some = volts[:, part]
                flows = siemens * (some[a] - some[b])
                left = currents[:, part] - LEAK_SIEMENS * some
                left[nodes] -= np.add.reduceat(np.concatenate([flows, -flows])[order], starts, axis=0)
                left[-1] = 0.0
                volts[:, part] = some + inverse @ left
        return volts

    def _equations(self) -> tuple[Floats, Floats]:
        # The reference is the last row (index -1): stamped like any node, then cut off.
        size = len(self._index)
        matrix: Floats = np.zeros((size + 1, size + 1))
        current: Floats = np.zeros(size + 1)
        matrix[np.diag_indices(size)] = LEAK_SIEMENS
        if self._links:
            a, b, siemens = (np.array(column) for column in zip(*self._links, strict=True))
            np.add.at(matrix, (a, a), siemens)
            np.add.at(matrix, (b, b), siemens)
            np.add.at(matrix, (a, b), -siemens)
            np.add.at(matrix, (b, a), -siemens)
        for into, out_of, amps in self._injected:
            current[into] += amps
            current[out_of] -= amps
        current[-1] = 0.0
        return matrix, current


@dataclass(frozen=True, slots=True)
class Changes:
    """H changed states of a network, each with up to K changed conductances and J changed currents.

    `links` (H, K): numbers of conductances in the order in which they were put in, NO_LINK for none;
    `siemens` (H, K): what is added to each. `into`, `out_of` (H, J): node rows; `amps`: what is driven from
    one to the other in addition, 0 for none.
    """

    links: Places
    siemens: Floats
    into: Places
    out_of: Places
    amps: Floats

    def __len__(self) -> int:
        return len(self.links)

    def packed(self) -> Changes:
        """The same with what is really changed in front: a few wide states must not slow the narrow ones."""
        order = np.argsort(self.siemens == 0, axis=1, kind="stable")
        links = np.take_along_axis(self.links, order, axis=1)
        return Changes(
            links, np.take_along_axis(self.siemens, order, axis=1), self.into, self.out_of, self.amps
        )

    def by_width(self) -> Iterator[tuple[NDArray[np.intp], int]]:
        """Rows of packed changes with the number of changed conductances that they have, ROWS at a time."""
        used = np.count_nonzero(self.siemens, axis=1)
        for width in np.unique(used):
            rows = np.flatnonzero(used == width)
            for start in range(0, len(rows), ROWS):
                yield rows[start : start + ROWS], int(width)

    def narrowed(self, width: int) -> Changes:
        """The first changed conductances alone."""
        return Changes(self.links[:, :width], self.siemens[:, :width], self.into, self.out_of, self.amps)

    def rows(self, chosen: NDArray[np.intp] | slice) -> Changes:
        """Some of the states."""
        return Changes(
            self.links[chosen],
            self.siemens[chosen],
            self.into[chosen],
            self.out_of[chosen],
            self.amps[chosen],
        )


def no_changes(height: int) -> Changes:
    """States in which nothing is changed."""
    nothing, nodes = np.zeros((height, 0)), np.zeros((height, 0), dtype=np.intp)
    return Changes(nodes, nothing, nodes, nodes, nothing)


NO_LINK = -1
"""The last place of every table by link, which holds zeros."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """An instrument between two nodes: its conductance, and a current that it drives through."""

    a: int
    b: int
    siemens: float
    amps: float = 0.0


class Prepared:
    """A network's solution, its inverse, and what a current through each link does.

    `inverse` Z (nodes, nodes), the reference's row and column 0. `across` (nodes, links + 1): node voltages
    for one ampere driven into a link's first node and out of its second. These are small numbers of their
    own: as differences of Z they would drown where a node hangs on a high resistance.
    """

    def __init__(
        self,
        index: Mapping[str, int],
        inverse: Floats,
        volts: Floats,
        a: Places,
        b: Places,
        across: Floats,
    ) -> None:
        self.index = index
        self._z = inverse
        self._volts = volts
        self._across = across
        # The last place, NO_LINK, is a link from the reference to itself.
        reference = np.array([len(inverse) - 1], dtype=np.intp)
        self._a, self._b = np.concatenate([a, reference]), np.concatenate([b, reference])
        self._drop: Floats = volts[self._a] - volts[self._b]

    def place(self, name: str) -> int:
        """A node's row; a name that nothing connects to has the reference's, 0 V."""
        return self.index.get(name, self.index[REFERENCE])

    def places(self, names: Iterable[str]) -> Places:
        """Rows of several nodes."""
        return np.array([self.place(name) for name in names], dtype=np.intp)

    def drops(self, changes: Changes) -> Floats:
        """(H, K) voltages across the changed conductances, in the changed state. `changes` are packed."""
        found = np.zeros(changes.siemens.shape)
        for rows, width in changes.by_width():
            if width:
                found[rows, :width] = self._drops(changes.rows(rows).narrowed(width))
        return found

    def volts(self, nodes: Places, changes: Changes, drops: Floats) -> Floats:
        """Voltages (H, M) at M nodes in H changed states, whose `drops` are known."""
        out = np.empty((len(changes), len(nodes)))
        across, z = self._across[nodes].T, self._z[:, nodes]
        for start in range(0, len(changes), ROWS):
            part = slice(start, start + ROWS)
            some = changes.rows(part)
            out[part] = self._volts[nodes]
            through = some.siemens * drops[part]
            for k in np.flatnonzero(through.any(axis=0)):
                out[part] -= across[some.links[:, k]] * through[:, k, None]
            for j in np.flatnonzero(some.amps.any(axis=0)):
                out[part] += (z[some.into[:, j]] - z[some.out_of[:, j]]) * some.amps[:, j, None]
        return out

    def between(self, bridge: Bridge, changes: Changes) -> Floats:
        """(H,) volts across an instrument in H changed states. `changes` are packed."""
        found = np.zeros(len(changes))
        for rows, width in changes.by_width():
            found[rows] = self._bridged(bridge, changes.rows(rows).narrowed(width))
        return found

    def _drops(self, changes: Changes) -> Floats:
        return _solved(self._seen(changes.links), changes.siemens, self._undisturbed(changes))

    def _seen(self, links: Places) -> Floats:
        """(H, K, K) volts across one changed link for an ampere through another."""
        a, b, through = self._a[links][:, :, None], self._b[links][:, :, None], links[:, None, :]
        seen: Floats = self._across[a, through] - self._across[b, through]
        return seen

    def _undisturbed(self, changes: Changes) -> Floats:
        """(H, K) drops across the links before their conductance changes."""
        drop = self._drop[changes.links]
        for j in range(changes.into.shape[1]):
            p, q = changes.into[:, j, None], changes.out_of[:, j, None]
            pull = self._across[p, changes.links] - self._across[q, changes.links]
            drop = drop + pull * changes.amps[:, j, None]
        return drop

    def _bridged(self, bridge: Bridge, changes: Changes) -> Floats:
        z, a, b = self._z, bridge.a, bridge.b
        height, width = changes.links.shape
        cross = self._across[a, changes.links] - self._across[b, changes.links]
        own = z[a, a] + z[b, b] - 2 * z[a, b]
        seen = np.empty((height, width + 1, width + 1))
        seen[:, :width, :width] = self._seen(changes.links)
        seen[:, width, :width] = seen[:, :width, width] = cross
        seen[:, width, width] = own
        drop = np.empty((height, width + 1))
        drop[:, :width] = self._undisturbed(changes) + bridge.amps * cross
        drop[:, width] = self._volts[a] - self._volts[b] + bridge.amps * own
        for j in range(changes.into.shape[1]):
            p, q = changes.into[:, j], changes.out_of[:, j]
            drop[:, width] += (z[a, p] - z[a, q] - z[b, p] + z[b, q]) * changes.amps[:, j]
        meter = np.full((height, 1), bridge.siemens)
        return _solved(seen, np.concatenate([changes.siemens, meter], axis=1), drop)[:, width]


def _solved(seen: Floats, siemens: Floats, drop: Floats) -> Floats:
    """(H, K) drops across changed links: `seen` (H, K, K) are the resistances from link to link."""
    system = np.eye(siemens.shape[1]) + seen * siemens[:, None, :]
    return np.asarray(np.linalg.solve(system, drop[:, :, None])[:, :, 0], dtype=np.float64)
