"""The demo vehicle with faults put in, as a sweep would see it and as triage judges it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import pytest
from threadpoolctl import threadpool_limits

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import codes_for_role
from dtctriage.link import BusProtocol, Framing, physical
from dtctriage.services.readiness import Readiness
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.sweep.questions import all_targets
from dtctriage.triage.assess import assess
from dtctriage.triage.history import History, OwnClearing
from dtctriage.triage.model import Abstained, Assessment, Finding, Problem
from dtctriage.triage.problems import find_problems
from dtctriage.triage.seen import Seen, seen_by
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.view import Ledger, Told, View
from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.faults import Fault, possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import load_profile

NOW, HISTORY = 0x2F, 0x28
"""Status bytes of ISO 14229-1 Annex D: failing and confirmed; confirmed and not failing."""
MESSAGE_MISSING = 0x87


def lost_code(role: str) -> Dtc:
    """The lost-communication code that names a role, with its usual failure type."""
    code = codes_for_role(role).lost
    assert code is not None, role
    return Dtc(code.number, MESSAGE_MISSING)


def stored(code: str | Dtc, status: int | None = NOW, memory: str = "stored") -> StoredCode:
    """A code as a sweep reads it; no status: service 03 and its like."""
    dtc = Dtc.parse(code) if isinstance(code, str) else code
    return StoredCode(dtc, memory, None if status is None else DtcStatus(status))


def swept(**changes: object) -> Picture:
    """A finished sweep in which nobody has answered yet."""
    usual = Picture(
        adapter="bench",
        protocol=BusProtocol.CAN11_500,
        supply=12.5,
        rounds=3,
        stage=Stage.STATE,
        finished=True,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def called_everywhere(picture: Picture) -> Picture:
    """The same, with every other diagnostic address of 11 bit called once, in vain."""
    heard = {target.request for target in picture.modules}
    others = (target for target in all_targets(Framing.CAN11) if target.request not in heard)
    return replace(picture, silent=dict.fromkeys(others, 1) | picture.silent)


def said(request: int, *codes: StoredCode, asked: int = 3, answered: int = 3, **more: object) -> ModuleSaid:
    """A module on 11-bit CAN that was read."""
    target = physical(Framing.CAN11, request)
    known: dict[str, object] = {"codes": list(codes), "codes_read": True} | more
    return ModuleSaid(target, target.answer or request + 8, asked, answered, **known)  # type: ignore[arg-type]


NEED_DRIVING = ("catalyst", "evaporative", "oxygen sensor", "oxygen sensor heater")


def readiness(waiting: Iterable[str]) -> Readiness:
    """A spark engine whose monitors are complete but for those that wait."""
    monitored = (*NEED_DRIVING, "misfire", "fuel system", "components")
    return Readiness.of(False, 0, False, monitored, set(monitored) - set(waiting))


def car(*modules: dict[int, str], **more: object) -> Picture:
    """Modules at 7E0, 7E1, ... with data by PID as hexadecimal text."""
    picture = swept(**more)
    for place, data in enumerate(modules):
        module = said(0x7E0 + place, data={pid: bytes.fromhex(text) for pid, text in data.items()})
        picture.modules[module.target] = module
    return picture


def titles(verdicts: list[Finding | Abstained]) -> list[str]:
    """The titles of the findings among verdicts."""
    return [item.title for item in verdicts if isinstance(item, Finding)]


def why(verdicts: list[Finding | Abstained]) -> str:
    """Why a rule abstained, where that is all it said."""
    (only,) = verdicts
    assert isinstance(only, Abstained)
    return only.why


class Bench:
    """A vehicle, its prepared suspicion, and sweeps of it."""

    stored = staticmethod(stored)
    readiness = staticmethod(readiness)
    lost_code = staticmethod(lost_code)
    said = staticmethod(said)
    swept = staticmethod(swept)
    car = staticmethod(car)
    titles = staticmethod(titles)
    why = staticmethod(why)
    called_everywhere = staticmethod(called_everywhere)
    NOW, HISTORY = NOW, HISTORY

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.suspicion = Suspicion(Wiring(profile))

    @cached_property
    def showing(self) -> list[Fault]:
        """The single faults that show in a sweep."""
        return [f for f in possible_faults(self.profile) if self.suspicion.trouble(self.seen(f))]

    def effects(self, *faults: Fault) -> Effects:
        if len(faults) == 1:
            return self.suspicion.effects_of(faults[0])
        return effects(self.suspicion.wiring, faults)

    def picture(self, *faults: Fault) -> Picture:
        """What a sweep sees of the vehicle with faults in it."""
        return self.picture_of(self.effects(*faults))

    def picture_of(self, shown: Effects) -> Picture:
        picture = swept(supply=round(shown.connector_volts, 1))
        for module in self.profile.module:
            if module.id not in shown.answering:
                picture.silent[module.target] = 3
                continue
            codes = [dtc for owner, dtc in shown.codes if owner == module.id]
            lost = sorted(loss.lost for loss in shown.losses if loss.witness == module.id)
            codes += [lost_code(self.profile.module_named(name).role) for name in lost]
            volts = round(shown.volts[module.id], 1) if "j1979" in module.speaks else None
            picture.modules[module.target] = ModuleSaid(
                module.target,
                module.target.answer or 0,
                3,
                3,
                codes=[stored(dtc) for dtc in sorted(codes)],
                codes_read=True,
                volts=volts,
                vins={"identifier F190": "G0ZKV5C2XP1000417"},
            )
        return picture

    def seen(self, *faults: Fault) -> Seen:
        return seen_by(self.picture(*faults), self.profile)

    def module(self, picture: Picture, name: str) -> ModuleSaid:
        """A module's part of a picture, to be changed."""
        return picture.modules[self.profile.module_named(name).target]

    def silence(self, picture: Picture, name: str) -> None:
        """Make a module silent, and nothing else."""
        target = self.profile.module_named(name).target
        del picture.modules[target]
        picture.silent[target] = 3

    def view(self, picture: Picture) -> View:
        return View(picture, self.profile, seen_by(picture, self.profile), None, Ledger())

    def problems(self, picture: Picture) -> list[Problem]:
        return list(find_problems(self.view(picture), self.suspicion))

    def assess(self, picture: Picture, vin: str | None = None) -> Assessment:
        return assess(picture, self.suspicion, vin)


@pytest.fixture(scope="session", autouse=True)
def one_thread() -> Iterator[None]:
    """Many small solves: threads inside BLAS cost several times what they save."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


@pytest.fixture(scope="session")
def bench(demo: Path) -> Bench:
    """The demo vehicle. Its faults are worked out once for the whole session."""
    return Bench(load_profile(demo / "kavo.vehicle.toml"))


@pytest.fixture
def no_checks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the choice of checks where a test looks at suspects alone."""
    monkeypatch.setattr("dtctriage.triage.problems.choose", lambda *_: ())


Ruled = Callable[..., list[Finding]]
Judged = Callable[..., list[Finding | Abstained]]


@pytest.fixture
def judged() -> Judged:
    """What one rule says of a picture: findings, each citing evidence that exists, and abstentions."""

    def run(
        rule: Callable[[View], Iterable[Finding | Abstained]],
        picture: Picture,
        profile: Profile | None = None,
        vin: str | None = None,
        history: History | None = None,
        told: Told | None = None,
        clearings: tuple[OwnClearing, ...] = (),
    ) -> list[Finding | Abstained]:
        seen = seen_by(picture, profile) if profile else None
        known = (history, told or Told())
        view = View(picture, profile, seen, vin, Ledger(), *known, clearings=clearings)
        verdicts = list(rule(view))
        known = {item.id for item in view.ledger.all}
        for verdict in verdicts:
            if isinstance(verdict, Abstained):
                assert verdict.rule and verdict.why
                continue
            assert verdict.evidence and set(verdict.evidence) <= known
            assert verdict.source and verdict.title and verdict.detail
        return verdicts

    return run


@pytest.fixture
def ruled(judged: Judged) -> Ruled:
    """The findings alone: `ruled(rule.find, picture)`."""

    def run(*arguments: object, **more: object) -> list[Finding]:
        return [verdict for verdict in judged(*arguments, **more) if isinstance(verdict, Finding)]

    return run
