"""Make any text fit for paper: one line, no controls, on request nothing but ASCII."""

from __future__ import annotations

import re
import unicodedata

_PLANES = range(0x10000, 0x110000, 0x10000)
_UNFIT = re.compile(
    "[\x00-\x1f\x7f-\x9f"  # controls, among them the terminal's escape
    "\u061c\u202a-\u202e\u2066-\u2069"  # marks that turn the direction of what follows
    "\ud800-\udfff"  # half a surrogate pair
    "\ufdd0-\ufdef\ufffe\uffff"  # no characters (Unicode 23.7), and the same in each further plane
    + "".join(f"{chr(plane | 0xFFFE)}{chr(plane | 0xFFFF)}" for plane in _PLANES)
    + "]"
)
_SPELLED = str.maketrans(
    {
        "\u2126": "ohm",
        "\u03a9": "ohm",
        "\u00b5": "u",
        "\u03bc": "u",
        "\u00b0": "deg",
        "\u2013": "-",
        "\u2014": "-",
        "\u2212": "-",
        "\u2018": "'",
        "\u2019": "'",
        "\u201c": '"',
        "\u201d": '"',
        "\u2026": "...",
        "\u00d7": "x",
        "\u00b1": "+/-",
        "\u2264": "<=",
        "\u2265": ">=",
        "\u2192": "->",
        "\u00df": "ss",
        "\u00e6": "ae",
        "\u00c6": "Ae",
        "\u00f8": "o",
        "\u00d8": "O",
        "\u00b7": "-",
        "\u20ac": "EUR ",
    }
)


def one_line(text: str) -> str:
    """Join lines with ` / `, make one space of each run of space, and mark what cannot be shown (U+FFFD)."""
    lines = (" ".join(line.split()) for line in text.splitlines())
    return _UNFIT.sub("\ufffd", " / ".join(line for line in lines if line))


def ascii_only(text: str) -> str:
    """Spell text in ASCII for a terminal that has nothing else: accents dropped, the rest a question mark."""
    spread = unicodedata.normalize("NFKD", text.translate(_SPELLED))
    bare = "".join(char for char in spread if unicodedata.category(char) not in ("Mn", "Me", "Cf"))
    return bare.encode("ascii", "replace").decode("ascii")
