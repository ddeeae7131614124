"""What importing the sheet costs: typst and jinja2 only when a PDF or a page is made."""

from __future__ import annotations

import subprocess
import sys


def test_import_leaves_the_typesetters_out() -> None:
    code = "import dtctriage.sheet, sys; print([name for name in ('typst', 'jinja2') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"
