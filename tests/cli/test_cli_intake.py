"""What intake, recheck and replay make of the files they are given, before the vehicle is asked."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.cli.paper import read_profile

Cli = Callable[..., Any]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_profile_out_of_a_pipe_is_kept_word_for_word(demo: Path, tmp_path: Path) -> None:
    """A pipe gives its text once: read twice, the second time it is empty or never ends."""
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    pipe = tmp_path / "pipe.vehicle.toml"
    os.mkfifo(pipe)
    threading.Thread(target=pipe.write_text, args=(text, "utf-8"), daemon=True).start()
    found: list[Any] = []
    reader = threading.Thread(target=lambda: found.extend(read_profile(pipe)), daemon=True)
    reader.start()
    reader.join(30)
    assert found, "the pipe was read a second time"
    profile, kept = found
    assert profile.vehicle.make == "Ostrell" and kept.text == text
