"""Whatever a module answers to a question of a sweep, its data can be kept and told."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import Framing, Target
from dtctriage.services.definitions import DataDefinition, Definitions, Flag
from dtctriage.services.readings import Signal
from dtctriage.sheet.data import appendix, data_part, on_their_way, results_to_look_at
from dtctriage.sweep.events import Answered, Ask, Stage
from dtctriage.sweep.known import Known
from dtctriage.sweep.picture import picture
from dtctriage.triage.module_data import module_data, stored_with

QUESTIONS = [
    "0100", "01050C0D", "01A6", "020200", "020000", "0205000C00", "020201", "03", "07", "0A", "0600", "0621",
    "050001", "050101", "0900", "0902", "0904", "0906", "0908", "090A", "090B", "0911", "22F190", "22F18C",
    "223A01", "22F400", "22F40C", "22F404F405F40B", "22F600", "22F621", "22F800", "22F802", "22F808",
    "22F810", "1902AF", "1904030100FF", "1906030100FF", "190A", "1914", "1915", "1917AF02", "1918030100FF02",
    "1919030100FF02", "194233081E", "195533", "1A90", "1A91", "13FF00", "170301", "1800FF00",
]  # fmt: skip
TARGETS = [Target(Framing.CAN11, 0x7E0, 0x7E8), Target(Framing.ISO9141, 0x10, 0x10)]
SIGNAL = Signal("odometer", 0, 3, False, 1, 0, "km")  # type: ignore[arg-type]
KNOWN = Known(
    Definitions(
        {0x3A01: DataDefinition("odometer", 3, (SIGNAL,), (Flag("latch", 2, 7),))},
        {0x01: DataDefinition("occurrences", 1)},
    )
)


@st.composite
def answers(draw: st.DrawFn) -> tuple[bytes, bytes]:
    """A question with an answer that begins as it should, or with anything at all."""
    question = bytes.fromhex(draw(st.sampled_from(QUESTIONS)))
    echo = draw(st.integers(0, len(question) - 1))
    body = draw(st.binary(max_size=40))
    right = bytes([question[0] + 0x40]) + question[1 : 1 + echo] + body
    return question, draw(st.sampled_from([right, body]))


@given(st.lists(answers(), min_size=1, max_size=8), st.sampled_from(TARGETS))
def test_any_answers_are_kept_and_told(exchanges: list[tuple[bytes, bytes]], target: Target) -> None:
    events = [
        Answered(Ask(Stage.STATE, target, question), target.answer or 0, answer, 1.0)
        for question, answer in exchanges
    ]
    seen = picture(events, (target,), {target: KNOWN})
    (said,) = seen.modules.values()
    for code in said.codes:
        assert all(isinstance(line, str) for line in stored_with(said, code.dtc))
    parts = [data_part(data) for data in module_data(seen, None)]
    assert [part.module for part in parts] == [target.label]
    list(appendix(parts))
    assert len(list(results_to_look_at(parts))) <= len(said.tests)
    assert len(list(on_their_way(parts))) <= len(said.maturing)
