"""`dtctriage replay`: triage a recording."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from dtctriage.cli.choices import AsJson, Folder, Make, Meanings, PriorsFile, ProfileFile


def replay(
    recording: Annotated[
        Path, typer.Argument(help="A wire log, or a bus capture (.log, .asc, .blf).", show_default=False)
    ],
    profile: ProfileFile = None,
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    json: AsJson = False,
    out: Folder = None,
) -> None:
    """Make the sheet of a recording; nothing goes into the records."""
    from dtctriage.cli.paper import hand_over, read_profile
    from dtctriage.cli.progress import Progress
    from dtctriage.desk import compose
    from dtctriage.errors import TriageError
    from dtctriage.intake import Wish, events_of
    from dtctriage.link import LinkError
    from dtctriage.links import open_link
    from dtctriage.sheet import Job
    from dtctriage.work.opening import OwnTables, checked

    known, kept = read_profile(profile)
    own = checked(OwnTables(meanings, make, priors), None, known)
    try:
        link = open_link(f"replay:{recording}")
    except LinkError as error:  # here it is a file to mend, no way to a vehicle
        raise TriageError(error.message, error.advice) from error
    progress = Progress()
    events = []
    try:
        for event in events_of(link, Wish(profile=known, kept_profile=kept)):
            events.append(event)
            progress.show(event)
    finally:
        progress.close()
        link.close()
    written = datetime.fromtimestamp(recording.stat().st_mtime, UTC)
    made = compose(events, Job(order=recording.stem), known, written, written, "", own)
    hand_over(made, recording.stem, json, out, anything_read=progress.anything_read)
