"""The triage sheet as text, HTML, PDF and JSON."""

from __future__ import annotations

from dtctriage.sheet.before_after import BeforeAfter, ClearingAnswerPart, ClearingPart
from dtctriage.sheet.build import build_sheet
from dtctriage.sheet.errors import SheetError
from dtctriage.sheet.explain import explanation
from dtctriage.sheet.html import to_html
from dtctriage.sheet.log import LogPart
from dtctriage.sheet.model import Job, Sheet, Visit
from dtctriage.sheet.pdf import to_pdf
from dtctriage.sheet.sheet_json import from_json, schema_text, to_json
from dtctriage.sheet.text import to_text

__all__ = [
    "BeforeAfter",
    "ClearingAnswerPart",
    "ClearingPart",
    "Job",
    "LogPart",
    "Sheet",
    "SheetError",
    "Visit",
    "build_sheet",
    "explanation",
    "from_json",
    "schema_text",
    "to_html",
    "to_json",
    "to_pdf",
    "to_text",
]
