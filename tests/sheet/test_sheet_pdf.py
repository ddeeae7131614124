"""The PDF sheet, read back with poppler (pdfinfo, pdftotext), a general PDF library."""

from __future__ import annotations

import html
import json
import re
import subprocess
from dataclasses import asdict, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from dtctriage.sheet import Job, Sheet, SheetError, Visit, build_sheet, to_pdf
from dtctriage.sheet.compose import compose
from dtctriage.sheet.pdf import Paper
from dtctriage.triage.model import Assessment, Check, CodeLine, Evidence, ModuleLine

Parts = tuple[Assessment, Job, Visit]
PAGES = {
    "all_silent": 2,
    "some_silent": 3,
    "one_silent": 2,
    "cut_off": 2,
    "codes_only": 2,
    "nothing_found": 1,
    "adapter_without_supply": 1,
    "partial": 3,
    "recorded": 2,
    "rechecked": 3,
}
MARK = "Qzx7"


def run(*command: str | Path) -> str:
    """Output of one of poppler's programs."""
    return subprocess.run(command, check=True, capture_output=True, encoding="utf-8").stdout


def text_of(pdf: bytes, folder: Path) -> str:
    """Text of all pages in one line, without the breaks allowed in long words."""
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    return " ".join(run("pdftotext", "-layout", path, "-").replace("\u200b", "").split())


def pages_of(pdf: bytes, folder: Path) -> int:
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    return int(re.findall(r"Pages:\s+(\d+)", run("pdfinfo", path))[0])


def test_same_sheet_gives_the_same_file(situation: str, sheet: Sheet) -> None:
    pdf = to_pdf(sheet)
    assert pdf.startswith(b"%PDF-")
    assert pdf == to_pdf(sheet), situation


def test_parts_of_a_second_do_not_matter(parts: Parts) -> None:
    assessment, job, visit = parts
    ended = visit.ended.replace(microsecond=987654)
    assert to_pdf(build_sheet(assessment, job, replace(visit, ended=ended))) == to_pdf(
        build_sheet(assessment, job, visit)
    )


def test_time_that_pdf_cannot_say(parts: Parts) -> None:
    assessment, job, visit = parts
    late = replace(visit, ended=datetime(9999, 12, 31, 23, tzinfo=timezone(timedelta(hours=-5))))
    sheet = build_sheet(assessment, job, late)
    with pytest.raises(SheetError, match="Print the HTML sheet instead"):
        to_pdf(sheet)


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_pages_and_their_footer(situation: str, sheet: Sheet, tmp_path: Path) -> None:
    pdf = to_pdf(sheet)
    pages = PAGES[situation]
    assert pages_of(pdf, tmp_path) == pages
    text = text_of(pdf, tmp_path)
    for page in range(1, pages + 1):
        assert f"Order {sheet.job.order} page {page} of {pages}" in text


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_before_and_after_is_the_second_page(rechecked: Sheet, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(to_pdf(rechecked))
    assert run("pdftotext", "-f", "2", "-l", "2", path, "-").startswith("Before and after")


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_a_check_stays_on_one_page_with_its_caution(parts: Parts, tmp_path: Path) -> None:
    """However long another text of the sheet is: what was stored with a code may fill a page."""
    assessment, job, visit = parts
    checks = tuple(
        Check("measure " * 10, "where", f"cond{n}.", "expect " * n, "source", 2, 0.1, f"warn{n}.")
        for n in range(20)
    )
    problem = replace(assessment.problems[0], checks=checks)
    code = replace(assessment.codes[0], stored_with=("reading; " * 300,))
    made = replace(assessment, problems=(problem,), codes=(code, *assessment.codes[1:]))
    path = tmp_path / "sheet.pdf"
    path.write_bytes(to_pdf(build_sheet(made, job, visit)))
    pages = run("pdftotext", path, "-").split("\f")
    for n in range(1, 20):  # the first stands in START HERE too
        on = [{nth for nth, page in enumerate(pages) if f"{word}{n}." in page} for word in ("warn", "cond")]
        assert on[0] == on[1] and len(on[0]) == 1, n


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("us-letter", "612 x 792")])
def test_paper(full_sheet: Sheet, tmp_path: Path, paper: Paper, size: str) -> None:
    """ISO 216 A4 is 210 x 297 mm; Letter is 8.5 x 11 in; both in points of 1/72 in."""
    path = tmp_path / "sheet.pdf"
    path.write_bytes(to_pdf(full_sheet, paper))
    assert size in run("pdfinfo", path)


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_only_the_fonts_that_come_with_typst(full_sheet: Sheet, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(to_pdf(full_sheet))
    fonts = {line.split()[0].partition("+")[2] for line in run("pdffonts", path).splitlines()[2:]}
    assert fonts
    assert all(name.startswith(("Libertinus", "DejaVuSansMono", "NewCM")) for name in fonts), fonts


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_pdf_says_what_the_sheet_says(situation: str, sheet: Sheet, tmp_path: Path) -> None:
    """Lines long enough to be recognised, as they stand in the composed sheet (hyphens are never added)."""
    view = compose(sheet)
    text = text_of(to_pdf(sheet), tmp_path)
    expected = [view.headline, view.start.title, *(problem.title for problem in view.problems)]
    expected += [
        f"{one.code} {one.text}; in {one.modules}" for item in view.problems for one in item.consequences
    ]
    expected += [piece.text for piece in view.evidence]
    expected += [answer for one in view.cleared for _, _, answer in one.answers]
    if view.second:
        expected += [view.second.headline, *view.second.gaps, *view.second.notes]
    assert [line for line in expected if line not in text] == [], situation


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_markup_in_text_stays_text(parts: Parts, tmp_path: Path) -> None:
    assessment, job, visit = parts
    typed = '#panic("no") = A *b* _c_ $x^2$ `d` <e> @f // g [h] #image("/etc/passwd") \\ "q"'
    sheet = build_sheet(replace(assessment, headline=typed), replace(job, complaint=typed), visit)
    assert text_of(to_pdf(sheet), tmp_path).count(typed) == 2


def filled(text: str, parts: Parts) -> Sheet:
    """A sheet with `text` in each field of paper, but for the order, which a footer cuts to one line."""
    assessment, job, visit = parts
    evidence = Evidence("E1", assessment.evidence[0].kind, text, text)
    check = Check(text, text, text, text, text, 1, 0.5, text)
    problem = assessment.problems[0]
    suspect = replace(problem.suspects[0], title=text, place=text, members=(text, text), because=text)
    problem = replace(
        problem,
        title=text,
        modules=(text,),
        suspects=(suspect, suspect),
        checks=(check, check),
        known_by=(text,),
        explains=(text,),
        open_end=text,
    )
    finding = replace(assessment.findings[0], title=text, detail=text, source=text, advice=text)
    code = CodeLine(text, text, text, text, text, (text,), text, True)
    module = ModuleLine(text, text, text, text, text, text, text, 12.0, ((text, text),))
    whole = replace(
        assessment,
        headline=text,
        vin=text,
        vin_from=text,
        evidence=(evidence,),
        modules=(module,),
        problems=(problem,),
        findings=(finding,),
        codes=(code, replace(code, because="")),
        cautions=(text,),
        missing=(text,),
        readiness=((text, text),),
    )
    job = Job(job.order, text, text, text, text, 1, "mi", text)
    visit = replace(
        visit, adapter=text, link=text, protocol=text, profile=text, wire_log=text, partial_why=text
    )
    return build_sheet(whole, job, replace(visit, partial=True))


def marks_to_print(sheet: Sheet) -> int:
    """How often the mark stands in the composed sheet; an identified module is labelled a second time."""
    view = compose(sheet)
    again = "".join(module.label for module in view.modules if module.identity)
    return json.dumps(asdict(view)).count(MARK) + again.count(MARK)


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
@pytest.mark.parametrize("text", [f"{MARK} " * 400, f"{MARK} " * 3, "x" * 2000 + f" {MARK}"])
def test_long_text_flows_and_none_is_lost(parts: Parts, tmp_path: Path, text: str) -> None:
    """Every word stands within its page, as pdftotext finds it."""
    sheet = filled(text, parts)
    path = tmp_path / "sheet.pdf"
    path.write_bytes(to_pdf(sheet))
    boxes = run("pdftotext", "-bbox", path, "-").replace("\u200b", "")
    width, height = (
        float(size) for size in re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes)[0]
    )
    words = re.findall(r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">([^<]*)<', boxes)
    outside: list[Any] = []
    for left, top, right, low, word in words:
        if float(left) < 0 or float(top) < 0 or float(right) > width or float(low) > height:
            outside.append(html.unescape(word))
    assert outside == []
    assert sum(word[4].count(MARK) for word in words) == marks_to_print(sheet)


@pytest.mark.full
@pytest.mark.usefixtures("pdf_tools")
def test_long_table_repeats_its_head(parts: Parts, tmp_path: Path) -> None:
    assessment, job, visit = parts
    sheet = build_sheet(replace(assessment, modules=assessment.modules * 8), job, visit)
    text = text_of(to_pdf(sheet), tmp_path)
    assert text.count("Module Address State Heard Known by Supply VIN") >= 3
