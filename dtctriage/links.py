"""Finding and opening links: installed packages offer them under the entry point group `dtctriage.links`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points

from dtctriage.link import Link, LinkDriverMissing, LinkUrlError

GROUP = "dtctriage.links"


@dataclass(frozen=True, slots=True)
class Offer:
    """A link by its name; `problem` says why it cannot be used here, "" when it can."""

    name: str
    problem: str


def offers() -> Iterator[Offer]:
    """Every installed link, usable or not."""
    for entry in sorted(entry_points(group=GROUP), key=lambda item: item.name):
        try:
            _load(entry)
        except LinkDriverMissing as missing:
            yield Offer(entry.name, str(missing))
        else:
            yield Offer(entry.name, "")


def open_link(url: str) -> Link:
    """Open `NAME:REST`. Raises LinkUrlError, LinkDriverMissing and whatever the link raises."""
    name, colon, rest = url.partition(":")
    known = {entry.name: entry for entry in entry_points(group=GROUP)}
    if not colon or name not in known:
        raise LinkUrlError(
            f'"{url}" names no link', f"Begin with one of {', '.join(f'{item}:' for item in sorted(known))}"
        )
    return _load(known[name])(rest)


def _load(entry: EntryPoint) -> Callable[[str], Link]:
    try:
        opener: Callable[[str], Link] = entry.load()
    except (ImportError, AttributeError, OSError) as error:
        # OSError: a driver library of the system's that a Python package loads and does not find.
        missing = getattr(error, "name", None) if isinstance(error, ImportError) else None
        advice = f"Install {missing}" if missing else f"Install {entry.value.partition(':')[0]} again"
        raise LinkDriverMissing(f'The link "{entry.name}" cannot be loaded ({error})', advice) from error
    return opener
