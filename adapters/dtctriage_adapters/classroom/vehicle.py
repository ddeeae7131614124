"""The simulated vehicle: a lesson's faults put into its wiring, and the modules that are left of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from functools import partial

from dtctriage.link import BusProtocol
from dtctriage.wiring.buses import TOOL, working_stretches
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.profile import Bus, Profile
from dtctriage_adapters.classroom.assembly import build_module
from dtctriage_adapters.classroom.can_network import CanNetwork
from dtctriage_adapters.classroom.course import Course, course_of
from dtctriage_adapters.classroom.lesson import Lesson
from dtctriage_adapters.classroom.line_network import LineNetwork
from dtctriage_adapters.classroom.module import SimulatedModule
from dtctriage_adapters.classroom.traffic import Traffic


class BusState(Enum):
    """What the diagnostic connector's bus is to somebody who sends on it."""

    WORKING = auto()
    NOBODY_ACKNOWLEDGES = auto()
    SHORTED = auto()


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A vehicle as the diagnostic connector shows it.

    `modules` are those that a request reaches. `connector_volts` is the voltage at pin 16. `protocol` and
    `bus_state` are those of the bus at the connector; None and NOBODY_ACKNOWLEDGES where it has none.
    """

    lesson: Lesson
    course: Course
    modules: tuple[SimulatedModule, ...]
    protocol: BusProtocol | None
    bus_state: BusState
    connector_volts: float
    network: CanNetwork
    traffic: Traffic
    line: LineNetwork | None
    """The modules on K-line or J1850, None where the connector's bus is CAN."""

    @property
    def effects(self) -> Effects:
        """What the faults do when the tool is plugged in."""
        return self.course.at(self.course.plugged_in)


def build_vehicle(lesson: Lesson) -> Vehicle:
    """Put the faults in, work out what they do, and set up what is left."""
    course = course_of(lesson)
    result = course.at(course.plugged_in)
    modules = tuple(
        build_module(module, lesson, course)
        for module in lesson.profile.module
        if course.ever(partial(_answers, module.id))
    )
    bus = _connector_bus(lesson.profile)
    company = _company(lesson, result, bus)
    elsewhere = frozenset(m.profile.id for m in modules if bus is None or m.profile.buses[0] != bus.id)
    protocol = None if bus is None else bus.protocol
    extended = protocol in (BusProtocol.CAN29_500, BusProtocol.CAN29_250)
    on_can = protocol is None or protocol.framing.is_can
    traffic = Traffic(company if on_can else (), lesson.file.traffic_period, extended, course.awake)
    traffic.skip_to(course.plugged_in)
    return Vehicle(
        lesson=lesson,
        course=course,
        modules=modules,
        protocol=protocol,
        bus_state=_state(lesson, bus, company),
        connector_volts=0.0 if lesson.file.pin16_open else result.connector_volts,
        network=CanNetwork(modules, elsewhere),
        traffic=traffic,
        line=None if protocol is None or on_can else LineNetwork(modules, protocol),
    )


def _answers(module_id: str, effects: Effects) -> bool:
    return module_id in effects.answering


def _connector_bus(profile: Profile) -> Bus | None:
    return next((bus for bus in profile.bus if bus.at_connector is not None), None)


def _company(lesson: Lesson, result: Effects, bus: Bus | None) -> frozenset[str]:
    """The modules that share a working pair with the connector."""
    if bus is None:
        return frozenset()
    for stretch in working_stretches(lesson.profile, lesson.faults, result.awake):
        if stretch.bus == bus.id and TOOL in stretch.stations:
            return stretch.stations - {TOOL}
    return frozenset()


def _state(lesson: Lesson, bus: Bus | None, company: frozenset[str]) -> BusState:
    if bus is not None and Fault(FaultKind.BUS_SHORTED, bus.id) in lesson.faults:
        return BusState.SHORTED
    return BusState.WORKING if company else BusState.NOBODY_ACKNOWLEDGES
