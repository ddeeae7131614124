"""What closed orders teach about how often each kind of fault happens.

The kinds of one vehicle are taken as a multinomial with a Dirichlet distribution before data: the weights
given are worth `strength` closed orders, shared out by (places x weight). The mean after data, divided by
places again, is the new weight of one place:

    (strength x weight + everything x found / places) / (strength + found of all kinds)

with everything = sum of places x weight over all kinds, which stays the same. It is the usual Bayes' estimate
of a multinomial's shares (Gelman et al., Bayesian Data Analysis, on the multinomial model; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

Kind = tuple[str, str]
"""A kind of fault and the kind of part or place it is at, as the table triage_priors names them."""


def learned(
    weights: Mapping[Kind, float], places: Mapping[Kind, float], found: Mapping[Kind, float], strength: float
) -> dict[Kind, float]:
    """The weight of one place of each kind after `found` closed orders.

    `places` are how many of a kind the vehicle has, each above 0; a place may count as several. What was
    found of kinds that it does not have tells nothing about it.
    """
    known = math.fsum(found.get(kind, 0.0) for kind in places)
    if not known:
        return {kind: weights[kind] for kind in places}
    everything = math.fsum(weights[kind] * count for kind, count in places.items())
    return {
        kind: (strength * weights[kind] + everything * found.get(kind, 0.0) / count) / (strength + known)
        for kind, count in places.items()
    }


def counted(orders: Iterable[Sequence[Kind]]) -> dict[Kind, float]:
    """How often each kind was found; an order counts once, shared alike among the kinds that it names."""
    shares: dict[Kind, list[float]] = {}
    for kinds in orders:
        for kind in kinds:
            shares.setdefault(kind, []).append(1 / len(kinds))
    return {kind: math.fsum(parts) for kind, parts in shares.items()}


def kind_text(kind: Kind) -> str:
    """A kind as the records keep it: "open: fuse"."""
    return ": ".join(kind)


def kind_of_text(text: str) -> Kind:
    """A kind as it was kept."""
    fault, _, part = text.partition(": ")
    return fault, part
