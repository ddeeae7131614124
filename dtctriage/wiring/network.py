"""DC nodal analysis of a linear resistive network.

Method: modified for conductances only; a voltage source is its Norton equivalent (a source resistance is
always there). G v = i, with every node tied to the reference by a leak so that a floating part has an
answer (0 V, as a meter of finite input resistance shows it) instead of a singular matrix.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

REFERENCE = "0"
"""Battery minus."""

LEAK_SIEMENS = 1e-9
"""1 Gohm from each node to the reference: far above the 10 Mohm of a meter."""


class Network:
    """Collects conductances and sources by node name, then solves. Not thread-safe."""

    def __init__(self) -> None:
        self._index: dict[str, int] = {}
        self._links: list[tuple[int, int, float]] = []
        self._injected: list[tuple[int, float, float]] = []

    def node(self, name: str) -> int:
        """The node's row, made on first use; -1, the last row, for the reference."""
        if name == REFERENCE:
            return -1
        return self._index.setdefault(name, len(self._index))

    def resistor(self, a: str, b: str, ohms: float) -> None:
        """Join two nodes. Raises ValueError unless `ohms` is above 0."""
        if not ohms > 0:
            raise ValueError(f"resistance between {a} and {b} must be above 0, not {ohms}")
        self._links.append((self.node(a), self.node(b), 1.0 / ohms))

    def source(self, name: str, volts: float, ohms: float) -> None:
        """A source of `volts` behind `ohms` between the reference and a node."""
        if not ohms > 0:
            raise ValueError(f"source resistance at {name} must be above 0, not {ohms}")
        self._injected.append((self.node(name), volts, 1.0 / ohms))

    def solve(self) -> Mapping[str, float]:
        """Node voltages against the reference, in volts, by node name (the reference included)."""
        size = len(self._index)
        # The reference is row `size` (index -1): stamped like any node, then cut off.
        matrix: NDArray[np.float64] = np.zeros((size + 1, size + 1))
        current: NDArray[np.float64] = np.zeros(size + 1)
        matrix[np.diag_indices(size)] = LEAK_SIEMENS
        if self._links:
            a, b, siemens = (np.array(column) for column in zip(*self._links, strict=True))
            np.add.at(matrix, (a, a), siemens)
            np.add.at(matrix, (b, b), siemens)
            np.add.at(matrix, (a, b), -siemens)
            np.add.at(matrix, (b, a), -siemens)
        for row, source_volts, admittance in self._injected:
            matrix[row, row] += admittance
            current[row] += source_volts * admittance
        solved = np.linalg.solve(matrix[:size, :size], current[:size])
        by_node = {name: float(solved[row]) for name, row in self._index.items()}
        by_node[REFERENCE] = 0.0
        return by_node
