"""A kept order opened: its sweep folded, its log read, ready to be judged with any readings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from dtctriage.codes.meaning import ShopMeanings
from dtctriage.codes.shop import meanings_for
from dtctriage.compare import Side
from dtctriage.errors import TriageError
from dtctriage.records import Order, Records, SweepOutcome, SweepRecord, VinOrigin
from dtctriage.remembered import clearings_of, found_of, history_of, odometer_km, vin_of
from dtctriage.sweep.events import Event
from dtctriage.sweep.picture import Picture, picture
from dtctriage.triage.assess import assess
from dtctriage.triage.generic import Basis, basis_of
from dtctriage.triage.joined import Joined, joined_of
from dtctriage.triage.known import known_data
from dtctriage.triage.model import Assessment
from dtctriage.triage.priors import Priors, own_priors
from dtctriage.triage.seen import failing, seen_by, strongest
from dtctriage.triage.state import key_of
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.view import Ledger, Told, View
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.wiring.profile import Key, Profile
from dtctriage.wiring.profile_file import parse_profile
from dtctriage.wiring.threads import one_thread
from dtctriage.work.case import Case, Reasoning
from dtctriage.work.circuits import entered_of
from dtctriage.work.log import Log, Span, read_log
from dtctriage.work.names import named

_ENDS = {
    SweepOutcome.DIED: "the program ended before the sweep did",
    SweepOutcome.RUNNING: "the sweep is still running",
}


@dataclass(frozen=True, slots=True)
class OwnTables:
    """Where the shop keeps its own meanings of codes, one CSV a make, and its own weights of faults.

    `make` names the CSV of meanings, else the vehicle does.
    """

    meanings: Path | None = None
    make: str | None = None
    priors: Path | None = None


NO_OWN = OwnTables()


@dataclass(frozen=True, slots=True)
class Opened:
    """An order's sweep with everything that speaks about it."""

    order: Order
    sweep: SweepRecord
    profile: Profile | None
    picture: Picture
    case: Case
    own: OwnTables
    grounds: Basis | Joined
    """What circuits are entered into: the generic vehicle, or, with a profile, what that lacks."""

    @property
    def side(self) -> Side:
        """As it is compared with another sweep: judged with the readings of its own log."""
        return Side(self.picture, self.case.judged())


def open_order(records: Records, number: str, sweep_id: int | None = None, own: OwnTables = NO_OWN) -> Opened:
    """An order's sweep, the latest unless told. Raises TriageError when there is none."""
    order, sweep = records.order(number), sweep_of(records, number, sweep_id)
    return open_sweep(records, order, sweep, profile_of(sweep), own)


def open_sweep(
    records: Records, order: Order, sweep: SweepRecord, profile: Profile | None, own: OwnTables
) -> Opened:
    """A kept sweep, to be judged with what the shop remembers of like vehicles."""
    seen = fold(records.sweep_events(sweep.id), profile, _ENDS.get(sweep.outcome, ""))
    vin = vin_of(order, seen)
    history = history_of(records, order, vin, sweep.started_at)
    clearings = clearings_of(records, order, vin, sweep.started_at)
    entered = order.vin if order.vin_origin is VinOrigin.ENTERED else None
    shop = meanings_of(own, order.make, profile)
    priors = Priors(own_priors(own.priors), found_of(records, order, sweep.started_at))
    circuits = entered_of(records, order.number)
    grounds = joined_of(seen, profile, circuits, shop) if profile else basis_of(seen, circuits, shop, priors)
    basis = grounds if isinstance(grounds, Basis) else None
    usual = () if isinstance(grounds, Basis) else grounds.usual
    profile = None if isinstance(grounds, Basis) else grounds.profile
    wired = profile or (basis.profile if basis and basis.tells else None)
    spoken = ProbeText(wired) if wired else None
    log = read_log(records, order.number, spoken, _span(records, order, sweep))
    settled = _settled(records, sweep, log, profile)
    told = Told.of(sweep.settings, odometer_km(order))
    suspicion = suspicion_of(profile, priors, key_of(seen.modules.values(), told))

    def judged(observations: Sequence[Observation]) -> Assessment:
        known = (history, told, observations, shop, basis, clearings)
        return assess(seen, suspicion, entered, *known, usual, settled)

    first = cache(lambda: judged(()))

    def called(observations: Sequence[Observation]) -> Assessment:
        return named(judged(observations) if observations else first(), first())

    reasoning = None
    if spoken is not None and suspicion is not None and profile is not None:
        reasoning = Reasoning(suspicion, seen_by(seen, profile), spoken, log.observations)
    elif spoken is not None and basis is not None:
        reasoning = Reasoning(basis.suspicion, basis.seen, spoken, log.observations)
    return Opened(order, sweep, profile, seen, Case(log, reasoning, called), own, grounds)


def _settled(
    records: Records, sweep: SweepRecord, log: Log, profile: Profile | None
) -> frozenset[tuple[str, int]]:
    """Codes that failed at the intake before a repair, by module and number; none without a conclusion."""
    if sweep.rechecks is None or log.conclusion is None:
        return frozenset()
    before = fold(records.sweep_events(sweep.rechecks), profile)
    view = View(before, profile, None, None, Ledger())
    stored = ((label, entry) for label, said in view.modules for entry in strongest(said))
    return frozenset((label, entry.dtc.number) for label, entry in stored if failing(entry) is not False)


def suspicion_of(profile: Profile | None, priors: Priors, key: Key) -> Suspicion | None:
    """A profile prepared for weighing what was seen with the key in a position."""
    if profile is None:
        return None
    with one_thread():
        return Suspicion(Wiring(profile), key, priors)


def meanings_of(own: OwnTables, make: str | None, profile: Profile | None) -> ShopMeanings:
    """The shop's own meanings for the make of the order, else of the profile."""
    return meanings_for(own.meanings, own.make, make or (profile.vehicle.make if profile else ""))


def checked(own: OwnTables, make: str | None, profile: Profile | None) -> OwnTables:
    """The tables, read once: one that cannot be used is told before the vehicle is asked.

    Raises TriageError.
    """
    meanings_of(own, make, profile)
    own_priors(own.priors)
    return own


def _span(records: Records, order: Order, sweep: SweepRecord) -> Span:
    """Readings belong to the sweep before them."""
    later = (item.started_at for item in records.sweeps(order.number) if item.id > sweep.id)
    return Span(sweep.started_at, min(later, default=None))


def sweep_of(records: Records, order_number: str, sweep_id: int | None = None) -> SweepRecord:
    """A sweep of the order, the latest unless told. Raises TriageError where there is none such."""
    order = records.order(order_number)
    sweep = records.sweep(sweep_id) if sweep_id is not None else records.last_sweep(order_number)
    if sweep is None or sweep.order != order.number:
        raise TriageError(
            f"Order {order.number} has no such sweep", "Take the intake first: dtctriage intake"
        )
    return sweep


def profile_of(sweep: SweepRecord) -> Profile | None:
    """The profile that a sweep was taken with."""
    return parse_profile(sweep.profile.text, str(sweep.profile.path)) if sweep.profile else None


def fold(events: Iterable[Event], profile: Profile | None, died: str = "") -> Picture:
    """The picture of a sweep. `died` says why it has no end of its own."""
    expected = tuple(module.target for module in profile.module) if profile else ()
    seen = picture(events, expected, known_data(profile))
    # By address: who answered first depends on the link, not on the vehicle.
    seen.modules = dict(sorted(seen.modules.items()))
    if died and seen.broken is None:
        seen.broken = died
    return seen
