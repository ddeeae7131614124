"""Whether codes may be cleared: the vehicle is the one that was read, nothing unread would be lost."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dtctriage.clearing.problems import ClearingRefused
from dtctriage.clearing.state import Declared, State, state_now
from dtctriage.clearing.ways import CLEARING, Way, languages_read, ways_of
from dtctriage.guard import GuardedLink
from dtctriage.link import BusProtocol, Target
from dtctriage.records import Records, SweepRecord
from dtctriage.sweep.events import Event
from dtctriage.sweep.picture import Fold, Picture, picture
from dtctriage.sweep.questions import Language
from dtctriage.sweep.run import Depth, Plan, sweep
from dtctriage.triage.seen import PERMANENT, failing
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile


@dataclass(frozen=True, slots=True)
class Ready:
    """Everything that a clearing rests on. `labels`: modules as the sheet names them.

    `permanent` are codes that stay, "MODULE CODE"; `codes` is how many will be erased, `failing` those that
    fail now and will come back.
    """

    order: str
    intake: int
    ways: tuple[Way, ...]
    labels: Mapping[Target, str]
    state: State
    codes: int
    permanent: tuple[str, ...]
    failing: tuple[str, ...] = ()


def prepare(
    records: Records,
    link: GuardedLink,
    order: str,
    declared: Declared,
    show: Callable[[Event], None],
    *,
    every: bool = False,
) -> Ready:
    """Look at the vehicle once more and hold it against the order's last complete intake.

    Modules without a code are left alone unless `every` one is wanted: a clearing takes more than codes.
    Raises ClearingRefused with what is missing; nothing but reading was asked then.
    """
    kept = _complete_intake(records, order)
    profile = parse_profile(kept.profile.text, str(kept.profile.path)) if kept.profile else None
    events = tuple(records.sweep_events(kept.id))
    targets = tuple(module.target for module in profile.module) if profile else ()
    before = picture(events, targets)
    if before.recorded:
        raise ClearingRefused(f"Intake {kept.id} was taken from a recording", "Take one of the vehicle")
    fold, now_events = _look(link, kept.protocol, (*targets, *before.modules), show)
    now = fold.finish()
    labels = {target: _label(target, profile) for target in (*before.modules, *now.modules)}
    _same_vehicle(before, now, labels)
    _nothing_unread(before, now, labels)
    then, here = languages_read(events, targets), languages_read(now_events, (*targets, *before.modules))
    ways = ways_of({target: then[target] & here.get(target, set()) for target in then})
    _all_read(now, ways, labels)
    ways = ways if every else tuple(way for way in ways if _erases(way, now))
    if not ways:
        raise ClearingRefused("No code is stored that could be erased", "Nothing was sent that clears")
    state = state_now(link, fold, now, lambda said: labels[said.target], declared)
    entries = [(target, entry) for target, said in now.modules.items() for entry in said.codes]
    return Ready(
        kept.order,
        kept.id,
        ways,
        labels,
        state,
        len({(target, entry.dtc.number) for target, entry in entries if entry.memory != PERMANENT}),
        tuple(sorted({f"{labels[t]} {entry.dtc}" for t, entry in entries if entry.memory == PERMANENT})),
        tuple(sorted({f"{labels[t]} {entry.dtc}" for t, entry in entries if failing(entry)})),
    )


def _erases(way: Way, now: Picture) -> bool:
    """Whether a module holds a code that this way reads: those of J1979 have no failure type."""
    typed_too = way.payload != CLEARING[Language.J1979]
    return any(
        entry.memory != PERMANENT and (typed_too or entry.dtc.failure_type is None)
        for target in way.modules
        for entry in now.modules[target].codes
    )


def _complete_intake(records: Records, order: str) -> SweepRecord:
    """The last sweep that was gone through and did not leave out what was stored with the codes."""
    usual = {"depth": Depth.USUAL.value}
    whole = [
        sweep
        for sweep in records.sweeps(order)
        if not sweep.partial and ({**usual, **(sweep.settings or {})})["depth"] >= Depth.USUAL.value
    ]
    if not whole:
        raise ClearingRefused(
            f"Order {order} has no complete intake: freeze frames and snapshots would be lost unread",
            "Take the intake to its end, without --quick",
        )
    return whole[-1]


def _look(
    link: GuardedLink,
    protocol: BusProtocol | None,
    expected: tuple[Target, ...],
    show: Callable[[Event], None],
) -> tuple[Fold, tuple[Event, ...]]:
    """Who answers now, and with which codes."""
    fold = Fold(expected, {})
    events: list[Event] = []
    guarded = link
    for event in sweep(guarded, Plan(rounds=1, protocol=protocol, expected=expected, depth=Depth.QUICK)):
        show(event)
        fold.take(event)
        events.append(event)
    return fold, tuple(events)


def _label(target: Target, profile: Profile | None) -> str:
    module = profile.module_at(target) if profile else None
    return module.id if module else target.label


# -- what must hold -------------------------------------------------------------------------------------


def _same_vehicle(before: Picture, now: Picture, labels: Mapping[Target, str]) -> None:
    """The modules of the intake answer, no other does, and their VINs are those of the intake."""
    if now.broken or not now.finished:
        raise ClearingRefused(f"The vehicle could not be read: {now.broken or 'the sweep ended early'}")
    if now.recorded:
        raise ClearingRefused("A recording cannot be cleared", "Name the adapter at the vehicle")
    missing = sorted(labels[target] for target in before.modules if target not in now.modules)
    new = sorted(labels[target] for target in now.modules if target not in before.modules)
    if missing:
        raise ClearingRefused(
            f"{', '.join(missing)} answered at the intake and is silent now", "Look into that first"
        )
    if new:
        raise ClearingRefused(
            f"{', '.join(new)} was not read at the intake and answers now",
            "Take its codes first: dtctriage recheck",
        )
    for target, said in now.modules.items():
        was = before.modules[target].vins
        if said.vins and was and set(said.vins.values()) != set(was.values()):
            says, said_then = _listed(said.vins), _listed(was)
            raise ClearingRefused(
                f"{labels[target]} says VIN {says}, at the intake it said {said_then}",
                "Check the order's number and the vehicle",
            )
    vins = {vin for said in before.modules.values() for vin in said.vins.values()}
    strangers = {vin for said in now.modules.values() for vin in said.vins.values()} - vins
    if strangers:
        raise ClearingRefused(
            f"VIN {min(strangers)} was not read at the intake", "Check the order's number and the vehicle"
        )


def _listed(vins: Mapping[str, str]) -> str:
    return ", ".join(sorted(set(vins.values())))


def _nothing_unread(before: Picture, now: Picture, labels: Mapping[Target, str]) -> None:
    """No code is stored now that the intake does not hold: with it would go what was stored beside it."""
    for target, said in now.modules.items():
        known = {entry.dtc.number for entry in before.modules[target].codes}
        for entry in said.codes:
            if entry.dtc.number not in known:
                raise ClearingRefused(
                    f"{labels[target]} {entry.dtc} was stored after the intake",
                    "Take it first: dtctriage recheck",
                )


def _all_read(now: Picture, ways: tuple[Way, ...], labels: Mapping[Target, str]) -> None:
    """A request that goes to all must not erase what was not read."""
    for way in ways:
        if way.target.functional:
            hearing = {t for t, said in now.modules.items() if Language.J1979 in said.languages}
            unread = sorted(labels[target] for target in hearing - set(way.modules))
            if unread:
                raise ClearingRefused(
                    f"{', '.join(unread)} would be cleared too, and its codes were not read",
                    "Take the intake again",
                )
