"""What each suspect would show, as arrays: every single fault of a profile, the key's other positions, pairs.

Rows are suspects, columns are modules, listening pairs and codes; all outlooks of a wiring share the columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.effects import Outlook
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.network import Floats
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Key
from dtctriage.wiring.states import Case, Flags

NEARLY = 0.9
"""Pairs are held against those that account for most: this share of it, or they are left out."""


@dataclass(frozen=True, slots=True)
class Shown:
    """H suspects. `volts` (H, modules); flags (H, modules), (H, pairs) and (H, codes); `connector` (H,)."""

    cases: tuple[Case, ...]
    modules: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...]
    columns: tuple[tuple[str, Dtc], ...]
    volts: Floats
    awake: Flags
    answering: Flags
    lost: Flags
    codes: Flags
    connector: Floats

    def __len__(self) -> int:
        return len(self.cases)


def shown_by(wiring: Wiring, cases: Sequence[Case], key: Key = Key.RUN) -> Shown:
    """Work out what each case would show at a key position."""
    outlook = Outlook(wiring, cases, key)
    return Shown(
        tuple(cases),
        tuple(outlook.modules),
        tuple(outlook.pairs),
        tuple(outlook.code_columns),
        outlook.volts,
        outlook.awake,
        outlook.answering,
        outlook.lost,
        outlook.codes,
        outlook.connector_volts,
    )


def singles(wiring: Wiring, key: Key) -> Shown:
    """Every single fault, and the key left where the technician does not believe it to be."""
    shown = shown_by(wiring, [(fault,) for fault in possible_faults(wiring.profile)], key)
    for other in (Key.OFF, Key.ACCESSORY) if key is Key.RUN else ():
        case = (Fault(FaultKind.KEY_POSITION, other),)
        shown = joined(shown, _named(shown_by(wiring, [()], other), case))
    return shown


def _named(shown: Shown, case: Case) -> Shown:
    return Shown((case,), *(getattr(shown, name) for name in Shown.__dataclass_fields__ if name != "cases"))


def joined(first: Shown, second: Shown) -> Shown:
    """Both tables under one another."""
    arrays = ("volts", "awake", "answering", "lost", "codes", "connector")
    return Shown(
        first.cases + second.cases,
        first.modules,
        first.pairs,
        first.columns,
        *(np.concatenate([getattr(first, name), getattr(second, name)]) for name in arrays),
    )


def pairs_of(singles_: Shown, covers: Flags, weights: Floats, most: int) -> list[Case]:
    """Pairs of singles that together account for more than either alone, the likeliest `most` of them.

    `covers` (H, items): what each single accounts for. Never two faults of one place.
    """
    rows = np.flatnonzero(covers.any(axis=1))
    first, second = (rows[side] for side in np.triu_indices(len(rows), 1))
    together = (covers[first] | covers[second]).sum(axis=1)
    count = covers.sum(axis=1)
    least = NEARLY * together.max(initial=0)
    worth = np.flatnonzero((together > np.maximum(count[first], count[second])) & (together >= least))
    first, second = first[worth], second[worth]
    weight = weights[first] * weights[second]
    if len(weight) > most:
        kept = np.argpartition(-weight, most)[:most]
        first, second = first[kept], second[kept]
    pairs = ((singles_.cases[a][0], singles_.cases[b][0]) for a, b in zip(first, second, strict=True))
    return [(a, b) for a, b in pairs if a.at != b.at]
