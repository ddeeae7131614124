"""A drawing as PDF, set in the typewriter face that comes with typst: the same on each machine."""

from __future__ import annotations

from dtctriage.errors import TriageError
from dtctriage.wiring.drawing.paper import Drawing

_PAGE = """#set page(
  width: float(sys.inputs.wide) * 1mm, height: float(sys.inputs.high) * 1mm, margin: 0mm
)
#set document(title: sys.inputs.title, date: none)
#image(bytes(sys.inputs.svg), format: "svg", width: 100%)
"""


class DrawingError(TriageError):
    """There is nothing to draw, or the drawing cannot be written."""


def to_pdf(drawing: Drawing) -> bytes:
    """The sheet as a PDF file of its own size. Raises DrawingError where typst cannot set it."""
    import typst

    wide, high = drawing.size
    inputs = {"svg": drawing.svg, "title": drawing.title, "wide": f"{wide:.2f}", "high": f"{high:.2f}"}
    try:
        fonts = typst.Fonts(include_system_fonts=False)
        return typst.compile(_PAGE.encode(), format="pdf", sys_inputs=inputs, font_paths=fonts)
    except typst.TypstError as wrong:
        message = " ".join(str(wrong).split())
        raise DrawingError(f"Cannot set the drawing as PDF: {message}", "Write it as .svg instead") from wrong
