"""The one sentence on top of the second page, and what was cleared, in words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from dtctriage.compare import Change, CodeChange, Comparison, ModuleChange, MonitorToRun
from dtctriage.sheet import ClearingAnswerPart, ClearingPart, Sheet, to_html, to_text
from dtctriage.sheet.before_after import headline
from dtctriage.sheet.before_after_view import cleared_view

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


def code(change: Change, permanent: bool = False) -> CodeChange:
    return CodeChange("ECM", "P0420", "catalyst", change, "x", "y", permanent)


def compared(*codes: CodeChange, modules: tuple[ModuleChange, ...] = (), waiting: int = 0) -> Comparison:
    names = tuple(f"P042{n}" for n in range(waiting))
    to_run = (MonitorToRun("ECM", "catalyst", False, names, "cruise", "common practice"),) if names else ()
    return Comparison(modules, codes, (), to_run)


def silent_then_answering(*names: str) -> tuple[ModuleChange, ...]:
    return tuple(ModuleChange(name, "", "silent", "answers") for name in names)


@pytest.mark.parametrize(
    ("comparison", "words"),
    [
        (compared(), "Nothing is stored now, and nothing was before."),
        (compared(code(Change.STILL)), "Nothing changed; Codes: 1 still there."),
        (compared(code(Change.GONE), code(Change.GONE), code(Change.NEW)), "Codes: 2 gone, 1 new."),
        (compared(code(Change.NOT_READ_AFTER)), "Codes: 1 not read again."),
        (compared(modules=silent_then_answering("GSM")), "GSM was silent and answers now."),
        (compared(modules=silent_then_answering("ECM", "TCM")), "ECM, TCM were silent and answer now."),
        (compared(modules=(ModuleChange("TBC", "", "answers", "silent"),)), "TBC IS SILENT NOW."),
        (
            compared(code(Change.CHANGED, True), waiting=2),
            "Codes: 1 still there with another status; 2 codes permanent until the monitor has run.",
        ),
    ],
)
def test_the_page_in_one_sentence(comparison: Comparison, words: str) -> None:
    assert headline(comparison) == words


def clearing(*answers: tuple[str, str], planned: int) -> ClearingPart:
    parts = [
        ClearingAnswerPart(module=module, request="14 FF FF FF", outcome=outcome, detail="")
        for module, outcome in answers
    ]
    return ClearingPart(
        at=AT, who="M. Sato", intake=4, engine="off", supply="12.4 V", planned=planned, answers=tuple(parts)
    )


def test_modules_with_the_same_answer_share_a_line() -> None:
    told = cleared_view(clearing(("ECM", "cleared"), ("TCM", "cleared"), ("BCM", "refused"), planned=3))
    assert [(modules, answer) for modules, _, answer in told.answers] == [
        ("ECM, TCM", "cleared"),
        ("BCM", "refused"),
    ]
    assert "BROKEN OFF" not in told.head and told.note.startswith("Cleared with the codes")


def test_where_nothing_was_cleared_nothing_is_lost() -> None:
    assert cleared_view(clearing(("BCM", "refused"), planned=1)).note == ""


def test_a_clearing_that_ended_early_says_so() -> None:
    broken = cleared_view(clearing(("ECM", "cleared"), planned=3)).head
    assert broken.endswith("BROKEN OFF: no answer kept of 2 of 3, some may have cleared: recheck")


@pytest.mark.parametrize("form", [to_text, to_html])
def test_before_and_after_stands_before_all_that_may_fill_pages(
    rechecked: Sheet, form: Callable[[Sheet], str]
) -> None:
    shown = form(rechecked).upper()
    assert shown.index("START HERE") < shown.index("BEFORE AND AFTER")
    assert shown.index("MONITORS TO BE RUN") < shown.index("MEASURED AND SEEN")
