"""What a technician types for a reading: "0.9mV", "10,1 V", "4k7", "OL", "lit", "no click", "corroded".

A number without a unit takes the unit of what is measured. Whatever cannot be a reading is told in one line
that says what to type.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import cache

from dtctriage.errors import TriageError
from dtctriage.wiring.bench import Means, Observation, Probe
from dtctriage_reference import rows

OL = "OL"
"""What an ohmmeter shows beyond its range."""
SHOWN = 40
"""As much of what was typed stands in a message."""
UNITS = {Means.VOLTS: "V", Means.OHMS: "ohm"}
"""Units of what is read as a number."""

_PREFIXES = {"": 1.0, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}
_LETTERS = {"R": 1.0, "K": 1e3, "M": 1e6}
_PREFIX_WORDS = {"micro": "u", "milli": "m", "kilo": "k", "kil": "k", "mega": "M", "meg": "M"}
_UNIT_WORDS = {"v": "V", "volt": "V", "volts": "V", "ohm": "ohm", "ohms": "ohm", "ω": "ohm", "r": "ohm"}
_NUMBER = re.compile(
    r"(?P<number>[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(?P<unit>\D*)"
)
_LETTER_FOR_POINT = re.compile(r"([0-9]+)([RrkKM])([0-9]+)\s*(?:ohms?|ω|Ω)?")
"""4k7 and 4R7: the letter stands where the decimal point would (IEC 60062, from memory)."""
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_WHOLE_VOLTS = {Means.VOLTS: ("", "v", "volt", "volts"), Means.OHMS: ()}
_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2014": "-", "\u00b5": "u", "\u03bc": "u"})


class ReadingError(TriageError):
    """What was typed is no reading of this kind."""


class ImpossibleReading(ReadingError):
    """A reading that no meter on this vehicle can show."""


def observe(text: str, probe: Probe) -> Observation:
    """The observation that was typed. Raises ReadingError."""
    means = probe.means
    plain = " ".join(unicodedata.normalize("NFKC", text).translate(_SIGNS).split())
    word = _words(means).get(plain.lower().rstrip("."))
    if word is None and means is Means.OHMS:
        word = _words(means).get(_without_unit(plain.lower()))
    if word == OL:
        return Observation(probe, math.inf)
    if word is not None:
        return Observation(probe, word=word)
    if means not in UNITS:
        raise _no_word(plain, means)
    return Observation(probe, _value(plain, means))


def reading_text(observation: Observation) -> str:
    """The reading as it is printed; typed again it gives the same."""
    value = observation.value
    if value is None:
        return observation.word
    if math.isinf(value):
        return OL
    means = observation.probe.means
    # A meter shows 0.2 V rather than 200 mV.
    prefix = _prefix(abs(value), "mu", 0.1) if means is Means.VOLTS else _prefix(abs(value), "Mkmu", 1.0)
    return f"{value / _PREFIXES[prefix] + 0.0:.5g} {prefix}{UNITS[means]}"


def as_typed(text: str, observation: Observation) -> str:
    """What was typed, with its unit, or with the word that it was taken for: "blown (bad)"."""
    said = " ".join(text.split())
    if observation.value is not None:
        return said if any(char.isalpha() for char in said) else f"{said} {UNITS[observation.probe.means]}"
    return said if said.lower() == observation.word else f"{said} ({observation.word})"


def impossible(observation: Observation, nominal_volts: int) -> str:
    """Why the vehicle cannot show this, or "". Limits: the table reading_bounds."""
    value = observation.value
    if value is None or math.isinf(value):
        return ""
    low, high, hint = _bounds()[observation.probe.means, nominal_volts]
    return "" if low <= value <= high else f"{reading_text(observation)} cannot be: {hint}"


def checked(text: str, probe: Probe, nominal_volts: int) -> Observation:
    """The observation that was typed. Raises ReadingError, and ImpossibleReading with the reason."""
    found = observe(text, probe)
    why = impossible(found, nominal_volts)
    if why:
        raise ImpossibleReading(why, "Measure again")
    return found


def means_of(text: str) -> Means:
    """What a reading was taken with, by its unit or word: volts where nothing tells. Never raises."""
    for means in Means:
        try:
            observe(text, Probe(means, ""))
        except ReadingError:
            continue
        return means
    return Means.VOLTS


def readings(words: Sequence[str], probes: Sequence[Probe], skipped: str = "") -> Iterator[str]:
    """Words of a command line as one reading a probe: "10.1", "V", "no", "click" are two readings.

    Each probe takes as many words as make one reading, or the word that stands for a `skipped` one. A word
    that begins none stands alone; it and words left over are for the caller to refuse.
    """
    left = list(words)
    for probe in probes:
        if not left:
            return
        counts = (n for n in range(1, 4) if n <= len(left) and _reads(left[:n], probe))
        count = 1 if left[0] == skipped else max(counts, default=1)
        yield " ".join(left[:count])
        del left[:count]
    yield from left


def _reads(words: Sequence[str], probe: Probe) -> bool:
    try:
        observe(" ".join(words), probe)
    except ReadingError:
        return False
    return True


# -- numbers --------------------------------------------------------------------------------------------


def _value(text: str, means: Means) -> float:
    """Volt or ohm. `text` is in the normal form."""
    letter = _LETTER_FOR_POINT.fullmatch(text)
    if letter is not None and means is Means.OHMS:
        whole, prefix, part = letter.groups()
        value = float(f"{whole}.{part}") * _LETTERS[prefix.upper()]
        return _finite(value, text, means)
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise _no_number(text, means)
    number, unit = found["number"], found["unit"].strip()
    # No vehicle has a thousand volts to measure: there the comma can only be a decimal one.
    if _THOUSANDS.fullmatch(number) and unit.lower() not in _WHOLE_VOLTS[means]:
        plain = number.replace(",", "")
        raise ReadingError(
            f'"{text[:SHOWN]}" can be read in two ways',
            f"Type {plain} or {number.replace(',', '.')} with its unit",
        )
    return _finite(float(number.replace(",", ".")) * _factor(unit, means, text), text, means)


def _finite(value: float, text: str, means: Means) -> float:
    if not math.isfinite(value):
        raise ImpossibleReading(f'"{text[:SHOWN]}" is beyond any meter', _examples(means))
    return value


def _factor(unit: str, means: Means, text: str) -> float:
    """What a number with this unit is multiplied with."""
    prefix, base = _unit(unit)
    wanted = UNITS[means]
    if base is None:
        raise ReadingError(f'"{text[:SHOWN]}": the unit "{unit[:SHOWN]}" is not known here', _examples(means))
    if base not in ("", wanted):
        raise ReadingError(f'"{text[:SHOWN]}" is not in {wanted}, which is measured here', _examples(means))
    if prefix in ("k", "M") and means is Means.VOLTS:
        small = "mV" if prefix == "M" else "V or mV"
        raise ReadingError(f'"{text[:SHOWN]}" is far beyond a vehicle\'s wiring', f"Type it in {small}")
    return _PREFIXES[prefix]


def _unit(text: str) -> tuple[str, str | None]:
    """Prefix and unit, "" where there is none; the unit None when it is not known.

    Only the case of M tells milli from mega, where the unit begins with it.
    """
    lower = text.lower()
    for name, prefix in {**_PREFIX_WORDS, "": ""}.items():
        if lower.startswith(name):
            rest = lower[len(name) :].strip()
            if rest in _UNIT_WORDS and (name or rest):
                return prefix, _UNIT_WORDS[rest]
    if not text:
        return "", ""
    prefix = {"K": "k", "U": "u"}.get(text[0], text[0])
    rest = lower[1:].strip()
    if prefix in _PREFIXES and (not rest or rest in _UNIT_WORDS):
        return prefix, _UNIT_WORDS[rest] if rest else ""
    return "", None


def _prefix(size: float, known: str, least: float) -> str:
    """The largest known prefix that leaves at least `least`, with five digits shown."""
    fits = [prefix for prefix in ("", *known) if size >= 0.999995 * least * _PREFIXES[prefix]]
    smallest = min(known, key=lambda prefix: _PREFIXES[prefix])
    return max(fits, key=lambda prefix: _PREFIXES[prefix]) if fits else smallest if size else ""


# -- words ----------------------------------------------------------------------------------------------


@cache
def _words(means: Means) -> dict[str, str]:
    return {row["typed"]: row["word"] for row in rows("reading_words") if row["means"] == means}


@cache
def _bounds() -> dict[tuple[Means, int], tuple[float, float, str]]:
    return {
        (Means(row["means"]), int(row["nominal_volts"])): (float(row["low"]), float(row["high"]), row["hint"])
        for row in rows("reading_bounds")
    }


def _without_unit(text: str) -> str:
    """`ol mohm` is `ol`."""
    head, _, unit = text.rpartition(" ")
    return head if head and _unit(unit)[1] == "ohm" else ""


def _examples(means: Means) -> str:
    """What to type for a measurement of this kind."""
    match means:
        case Means.VOLTS:
            return "Type it like 12.4 V, 0.9 mV or -0.2"
        case Means.OHMS:
            return "Type it like 4.7 kohm, 60, 4k7, or OL"
    words = ", ".join(dict.fromkeys(row["word"] for row in rows("reading_words") if row["means"] == means))
    return f"Type one of {words}"


def _no_number(text: str, means: Means) -> ReadingError:
    if not text:
        return ReadingError("The reading is empty", _examples(means))
    if means is Means.VOLTS and text.lower() in _words(Means.OHMS):
        return ReadingError(f"{text} on a voltmeter: its range is too small", "Take the next higher range")
    for other in Means:
        if other is not means and text.lower() in _words(other):
            known = {Means.LAMP: "a lamp", Means.LISTEN: "a relay", Means.LOOK: "the eyes"}
            kind = known.get(other, "the roll" if other is Means.CALL else "ohms")
            return ReadingError(
                f'"{text}" is a word for {kind}, not a reading in {UNITS[means]}', _examples(means)
            )
    return ReadingError(f'"{text[:SHOWN]}" is no reading in {UNITS[means]}', _examples(means))


def _no_word(text: str, means: Means) -> ReadingError:
    by_means = {Means.LAMP: "a test lamp", Means.LOOK: "the eyes", Means.LISTEN: "the ears"}
    with_what = by_means.get(means, "the roll")
    return ReadingError(f'"{text[:SHOWN]}" is nothing that {with_what} can tell', _examples(means))
