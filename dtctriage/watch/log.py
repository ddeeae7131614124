"""The watch's log: one CSV line a sample, on the disk's way before the screen shows it."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from types import TracebackType

from dtctriage.errors import TriageError
from dtctriage.watch.run import Round

COLUMNS = ("at", "seconds", "module", "reading", "value", "unit", "state", "flip")


class WatchLog:
    """A new CSV file (RFC 4180). Each round is written and flushed whole. Raises TriageError."""

    def __init__(self, path: Path, started: datetime) -> None:
        self.path = path
        self._started = started
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("x", encoding="utf-8", newline="")
        except FileExistsError:
            raise TriageError(f"{path} exists and is left as it is", "Name another file: --to FILE") from None
        except OSError as error:
            raise self._failed(error) from error
        self._writer = csv.writer(self._file)
        self._write([COLUMNS])

    def keep(self, taken: Round) -> None:
        """Write one round."""
        at = self._started + timedelta(seconds=taken.seconds)
        flipped = {(flip.module, flip.name): f"{flip.before} -> {flip.after}" for flip in taken.flips}
        self._write(
            (
                at.isoformat(timespec="milliseconds"),
                f"{taken.seconds:.3f}",
                sample.module,
                sample.name,
                sample.told if sample.number is None else f"{sample.number:.6g}",
                sample.unit,
                sample.state,
                flipped.get(sample.key, ""),
            )
            for sample in taken.samples
        )

    def close(self) -> None:
        """Never raises: what a full disk refused was told when it was written."""
        with suppress(OSError):
            self._file.close()

    def _write(self, rows: Iterable[Iterable[str]]) -> None:
        try:
            self._writer.writerows(rows)
            self._file.flush()
        except OSError as error:
            raise self._failed(error) from error

    def _failed(self, error: OSError) -> TriageError:
        return TriageError(
            f"The log {self.path} cannot be written ({error.strerror})", "Choose another place: --to FILE"
        )

    def __enter__(self) -> WatchLog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
