"""The log of the work on the sheet, in every form."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dtctriage.sheet import LogPart, Sheet, build_sheet, from_json, to_html, to_json, to_pdf, to_text
from dtctriage.sheet.log import BeliefPart, ConclusionPart, MeasuredPart, NotePart

AT = datetime(2025, 3, 4, 9, 12, tzinfo=UTC)
LOG = LogPart(
    measured=(
        MeasuredPart(
            at=AT,
            who="M. Adeyemi",
            means="volts",
            place="F21 load side to battery -",
            condition="key run, everything plugged in",
            reading="0.02 V",
            expected="12.6 V",
            aside="",
        ),
        MeasuredPart(
            at=AT + timedelta(minutes=9),
            who="",
            means="lamp",
            place="X1:2 towards F21 to battery -",
            condition="key run, X9 unplugged",
            reading="dim",
            expected="",
            aside="measured again later",
        ),
    ),
    belief=(BeliefPart(problem=1, suspect="fuse F21 (15 A)", at_intake=0.34, now=0.912),),
    notes=(NotePart(at=AT + timedelta(minutes=4), who="M. Adeyemi", text="owner waits"),),
    conclusion=ConclusionPart(
        at=AT + timedelta(minutes=20),
        who="M. Adeyemi",
        text="fuse blown by a chafed wire",
        suspect="fuse F21 (15 A)",
        share=0.912,
        against=("E3: 12.6 V behind the fuse",),
    ),
)


@pytest.fixture
def worked_on(parts: Any) -> Sheet:
    return build_sheet(*parts, log=LOG)


def test_text_shows_what_was_done_in_its_order(worked_on: Sheet) -> None:
    text = to_text(worked_on)
    assert all(len(line) <= 80 for line in text.splitlines())
    section = text.split("MEASURED AND SEEN")[1].split("_____")[0]
    assert section.split("\n")[1:] == [
        "  - 2025-03-04 09:12 +00:00, M. Adeyemi: volts F21 load side to battery -, key",
        "    run, everything plugged in",
        "      0.02 V (a sound vehicle: 12.6 V)",
        "  - 2025-03-04 09:16 +00:00, M. Adeyemi: Note",
        "      owner waits",
        "  - 2025-03-04 09:21 +00:00: lamp X1:2 towards F21 to battery -, key run, X9",
        "    unplugged",
        "      dim [measured again later]",
        "",
        "  Suspicion, after the intake and now",
        "  1   fuse F21 (15 A): 34 % -> 91 %",
        "",
        "  CONCLUSION  fuse blown by a chafed wire",
        "              2025-03-04 09:32 +00:00, M. Adeyemi",
        "              names fuse F21 (15 A): nearly certain, 91 %, by the evidence",
        "              against it: E3: 12.6 V behind the fuse",
        "",
        "",
    ]


def test_a_conclusion_nothing_speaks_against(parts: Any) -> None:
    assert LOG.conclusion is not None
    agreed = LOG.conclusion.model_copy(update={"against": (), "share": None})
    text = to_text(build_sheet(*parts, log=LogPart(conclusion=agreed)))
    assert "no evidence speaks against it" in text and "not suspected, by the evidence" in text


def test_json_keeps_it(worked_on: Sheet) -> None:
    assert from_json(to_json(worked_on)).log == LOG


def test_html_shows_it(worked_on: Sheet) -> None:
    page = to_html(worked_on)
    for text in ("0.02 V (a sound vehicle: 12.6 V)", "owner waits", "34 % -&gt; 91 %", "chafed wire"):
        assert text in page


@pytest.mark.full
def test_pdf_shows_it(worked_on: Sheet, pdf_tools: None, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(to_pdf(worked_on))
    command = ["pdftotext", "-layout", str(file), "-"]
    text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    for part in ("0.02 V", "owner waits", "34 %", "chafed wire", "against it: E3"):
        assert part in " ".join(text.split())
    assert text.upper().count("MEASURED AND SEEN") == 1
