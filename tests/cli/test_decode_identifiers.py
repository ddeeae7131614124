"""What CAN identifiers say (ISO 15765-4, ISO 15765-2), at both ends of each range."""

from __future__ import annotations

import pytest

from dtctriage.pasted.headers import identifier_text, identifier_words

NAMES = [
    (0x7DF, False, "7DF", "every emission module"),
    (0x7E0, False, "7E0", "answers on 7E8"),
    (0x7E7, False, "7E7", "answers on 7EF"),
    (0x7E8, False, "7E8", "asked on 7E0"),
    (0x7EF, False, "7EF", "asked on 7E7"),
    (0x7F0, False, "7F0", "no identifier"),
    (0x7BB, False, "7BB", "no identifier"),
    (0x18DB33F1, True, "18DB33F1", "every emission module"),
    (0x18DA10F1, True, "18DA10F1", "request to module 10"),
    (0x18DAF110, True, "18DAF110", "answer of module 10"),
    (0x18DAFBEE, True, "18DAFBEE", "from address EE to address FB"),
    (0x18FEF100, True, "18FEF100", "no identifier"),
]


@pytest.mark.parametrize(("identifier", "extended", "text", "words"), NAMES)
def test_names(identifier: int, extended: bool, text: str, words: str) -> None:
    assert identifier_text(identifier, extended) == text
    assert words in identifier_words(identifier, extended)
