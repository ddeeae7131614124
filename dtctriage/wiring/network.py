"""DC nodal analysis of a linear resistive network, for one state and for thousands of changed ones.

Method: conductances only; a voltage source is its Norton equivalent (a source resistance is always there).
G v = i, with every node tied to the reference by a leak so that a floating part has an answer (0 V, as a
meter of finite input resistance shows it) instead of a singular matrix. Changed states reuse the inverse of
G: a change of k conductances is an update of rank k (the Sherman-Morrison-Woodbury formula), so it costs the
solution of k equations.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

REFERENCE = "0"
"""Battery minus."""

LEAK_SIEMENS = 1e-9
"""1 Gohm from each node to the reference: far above the 10 Mohm of a meter."""

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
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
        inverse += inverse @ self._residual(inverse)
        return Prepared({**self._index, REFERENCE: size}, inverse, inverse @ current)

    def _residual(self, inverse: Floats) -> Floats:
        """I - G Z in extended precision, element by element.

        A conductance that a change takes away is told from the leaks behind it by the last digits of Z.
        """
        exact = inverse.astype(np.longdouble)
        residual = np.eye(len(inverse), dtype=np.longdouble) - LEAK_SIEMENS * exact
        for a, b, siemens in self._links:
            flow = siemens * (exact[a] - exact[b])
            residual[a] -= flow
            residual[b] += flow
        residual[-1] = 0.0
        rounded: Floats = residual.astype(np.float64)
        return rounded

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

    `a`, `b` (H, K): node rows; `siemens` (H, K): what is added between them. `into`, `out_of`, `amps` (H, J):
    what is driven in addition. Unused places hold 0 siemens or 0 amperes.
    """

    a: Places
    b: Places
    siemens: Floats
    into: Places
    out_of: Places
    amps: Floats

    def __len__(self) -> int:
        return len(self.a)

    def bridged(self, a: int, b: int, siemens: float, amps: float = 0.0) -> Changes:
        """The same states with one more conductance, and a current driven through it from outside."""
        height = len(self)

        def column(value: int) -> Places:
            return np.full((height, 1), value, dtype=np.intp)

        return Changes(
            np.concatenate([self.a, column(a)], axis=1),
            np.concatenate([self.b, column(b)], axis=1),
            np.concatenate([self.siemens, np.full((height, 1), siemens)], axis=1),
            np.concatenate([self.into, column(a)], axis=1),
            np.concatenate([self.out_of, column(b)], axis=1),
            np.concatenate([self.amps, np.full((height, 1), amps)], axis=1),
        )

    def rows(self, chosen: NDArray[np.intp] | slice) -> Changes:
        """Some of the states."""
        return Changes(
            self.a[chosen],
            self.b[chosen],
            self.siemens[chosen],
            self.into[chosen],
            self.out_of[chosen],
            self.amps[chosen],
        )


class Prepared:
    """A network's solution and its inverse (row and column of the reference are 0)."""

    def __init__(self, index: Mapping[str, int], inverse: Floats, volts: Floats) -> None:
        self.index = index
        self._z = inverse
        self._volts = volts

    def place(self, name: str) -> int:
        """A node's row; a name that nothing connects to has the reference's, 0 V."""
        return self.index.get(name, self.index[REFERENCE])

    def places(self, names: Iterable[str]) -> Places:
        """Rows of several nodes."""
        return np.array([self.place(name) for name in names], dtype=np.intp)

    def drops(self, changes: Changes) -> Floats:
        """(H, K) voltages across the changed conductances, in the changed state."""
        parts = range(0, len(changes), ROWS)
        found = [self._drops(changes.rows(slice(start, start + ROWS))) for start in parts]
        return np.concatenate(found) if found else np.zeros(changes.siemens.shape)

    def volts(self, nodes: Places, changes: Changes, drops: Floats) -> Floats:
        """Voltages (H, M) at M nodes in H changed states, whose `drops` are known."""
        out = np.empty((len(changes), len(nodes)))
        z = self._z[:, nodes]
        for start in range(0, len(changes), ROWS):
            part = slice(start, start + ROWS)
            some = changes.rows(part)
            out[part] = self._volts[nodes]
            through = some.siemens * drops[part]
            for k in np.flatnonzero(through.any(axis=0)):
                out[part] -= (z[some.a[:, k]] - z[some.b[:, k]]) * through[:, k, None]
            for j in np.flatnonzero(some.amps.any(axis=0)):
                out[part] += (z[some.into[:, j]] - z[some.out_of[:, j]]) * some.amps[:, j, None]
        return out

    def _drops(self, changes: Changes) -> Floats:
        z, a, b = self._z, changes.a, changes.b
        open_drop: Floats = self._volts[a] - self._volts[b]
        for j in range(changes.into.shape[1]):
            p, q = changes.into[:, j, None], changes.out_of[:, j, None]
            open_drop += (z[a, p] - z[a, q] - z[b, p] + z[b, q]) * changes.amps[:, j, None]
        ak, al, bk, bl = a[:, :, None], a[:, None, :], b[:, :, None], b[:, None, :]
        seen: Floats = z[ak, al] - z[ak, bl] - z[bk, al] + z[bk, bl]
        system: Floats = np.eye(a.shape[1], dtype=np.float64) + seen * changes.siemens[:, None, :]
        return np.asarray(np.linalg.solve(system, open_drop[:, :, None])[:, :, 0], dtype=np.float64)
