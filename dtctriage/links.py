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
    provider: str
    problem: str


def offers() -> Iterator[Offer]:
    """Every installed link, usable or not."""
    for entry in sorted(entry_points(group=GROUP), key=lambda item: item.name):
        try:
            entry.load()
        except ImportError as error:
            yield Offer(entry.name, entry.value, f"install {error.name or 'its driver'}: {error}")
        else:
            yield Offer(entry.name, entry.value, "")


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
    except ImportError as error:
        raise LinkDriverMissing(
            f'The link "{entry.name}" cannot be loaded ({error})', f"Install {error.name or 'its driver'}"
        ) from error
    return opener
