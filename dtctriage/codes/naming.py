"""Which role a module has by the name that it gives itself (identifier F197, info type 0A)."""

from __future__ import annotations

import re
from functools import cache

from dtctriage.codes.network import roles
from dtctriage_reference import rows

_SHORT = re.compile(r"([A-Z0-9]{1,4})[\x00 ]*-(.*)", re.DOTALL)
"""`ECM-EngineControl`: up to four letters, a hyphen, words (SAE J1979 info type 0A)."""
_SAYS_LITTLE = frozenset({"control", "module", "sensor", "system", "unit"})


def role_of(name: str) -> str:
    """The role whose words or further name are the name's, or the only one that is so but for a letter.

    "" where none is. Of `ECM-EngineControl` the words go before the short name.
    """
    short = _SHORT.fullmatch(name)
    return _role(_plain(spaced(name))) or (_role(_plain(short[1])) if short else "")


def spaced(name: str) -> str:
    """`ECM-EngineControl` as `Engine Control`."""
    short = _SHORT.fullmatch(name)
    words = short[2] if short and short[2].strip("\x00 ") else name
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words).strip("\x00 ")


def names_another(name: str, role: str) -> bool:
    """Whether a name speaks in the trade's words of something that has none of them in common with a role."""
    told = _words(spaced(name)) & _vocabulary()
    return bool(told) and not told & _words_of_role(role)


def _role(plain: str) -> str:
    if not plain:
        return ""
    further = {_plain(row["name"]): row["role"] for row in rows("module_names")}
    alike = {_plain(role.words): key for key, role in roles().items()}
    return alike.get(plain) or further.get(plain) or alike.get(f"{plain}a", "")


def _plain(words: str) -> str:
    return re.sub(r"[^a-z0-9]", "", words.lower())


def _words(text: str) -> frozenset[str]:
    """Its words of three letters or more that say what it is about."""
    return frozenset(re.findall(r"[a-z]{3,}", text.lower())) - _SAYS_LITTLE


@cache
def _words_of_role(role: str) -> frozenset[str]:
    further = [row["name"] for row in rows("module_names") if row["role"] == role]
    return frozenset().union(*map(_words, (roles()[role].words, *further)))


@cache
def _vocabulary() -> frozenset[str]:
    return frozenset().union(*map(_words_of_role, roles()))
