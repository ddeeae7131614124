"""The sheet as JSON, and the schema it keeps to."""

from __future__ import annotations

import json
from importlib import resources

from pydantic import ValidationError
from pydantic_core import from_json as parse

from dtctriage.sheet.build import first_error
from dtctriage.sheet.errors import SheetError
from dtctriage.sheet.model import FORMAT, VERSION, Sheet

SCHEMA_FILE = f"triage-sheet-{VERSION}.json"


def to_json(sheet: Sheet) -> str:
    """The sheet as JSON text (RFC 8259), always the same for the same sheet, with a line end at its end."""
    return sheet.model_dump_json(indent=2) + "\n"


def from_json(text: str) -> Sheet:
    """Read a sheet back. Raises SheetError when it is no JSON, no sheet, or of another version."""
    try:
        content = parse(text)
    except ValueError as wrong:
        raise SheetError(f"Not a triage sheet: no JSON, {wrong}", "Give the file as written") from wrong
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise SheetError(f'Not a triage sheet: "format" is not "{FORMAT}"', "Give a sheet written as JSON")
    if content.get("version") != VERSION:
        raise SheetError(
            f"Triage sheet of version {content.get('version')!r}; this program reads version {VERSION}",
            "Use a program of that version",
        )
    try:
        return Sheet.model_validate_json(text)
    except ValidationError as wrong:
        raise SheetError(f"Triage sheet is damaged: {first_error(wrong)}", "Write it again") from wrong


def schema_text() -> str:
    """The published JSON Schema (2020-12) of the sheet."""
    return resources.files("dtctriage.sheet").joinpath("schema", SCHEMA_FILE).read_text(encoding="utf-8")


def schema_of_model() -> str:
    """The JSON Schema as the model has it now: what the published file must say."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:dtctriage:triage-sheet:{VERSION}",
        **Sheet.model_json_schema(mode="serialization"),
    }
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
