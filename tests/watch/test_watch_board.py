"""What flips, when, and how far readings went: a fold over samples, without a clock."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dtctriage.watch import Board, Flip, Sample
from dtctriage.watch.layout import MOST_FLIPS, clock_text, flip_text, screen, summary


def state(text: str, settling: float = 0.0, name: str = "module") -> Sample:
    return Sample("ECM", name, text, settling=settling)


def volts(value: float, leap: float = 1.0) -> Sample:
    return Sample("ECM", "own supply", "reading", number=value, unit="V", leap=leap)


def test_a_state_that_changes_flips_with_its_time() -> None:
    board = Board()
    assert board.take(0.0, [state("answers")]) == []
    assert board.take(0.5, [state("answers")]) == []
    lost = Flip(1.0, "ECM", "module", "answers", "no answer")
    assert board.take(1.0, [state("no answer")]) == [lost]
    assert board.take(1.5, [state("answers")]) == [Flip(1.5, "ECM", "module", "no answer", "answers")]
    assert len(board.tracks["ECM", "module"].flips) == 2


def test_a_state_counts_once_it_has_settled_and_from_its_beginning() -> None:
    board = Board()
    board.take(0.0, [state("agree")])
    for seconds in (1.0, 1.5, 2.5):
        assert board.take(seconds, [state("DISAGREE", settling=2.0)]) == []
        assert board.tracks["ECM", "module"].settles
    assert board.take(3.0, [state("DISAGREE", settling=2.0)]) == [
        Flip(1.0, "ECM", "module", "agree", "DISAGREE")
    ]


def test_a_part_on_its_way_does_not_flip() -> None:
    board = Board()
    for seconds, said in (
        (0.0, "agree"),
        (1.0, "DISAGREE"),
        (2.0, "agree"),
        (3.0, "DISAGREE"),
        (4.0, "agree"),
    ):
        assert board.take(seconds, [state(said, 2.0 if said == "DISAGREE" else 0.0)]) == []


def test_what_is_there_from_the_start_is_no_flip() -> None:
    board = Board()
    assert board.take(0.0, [state("DISAGREE", settling=1.0)]) == []
    assert board.take(2.0, [state("DISAGREE", settling=1.0)]) == []
    assert board.tracks["ECM", "module"].state == "DISAGREE"


def test_a_number_flips_where_it_leaps() -> None:
    board = Board()
    board.take(0.0, [volts(12.4)])
    assert board.take(0.5, [volts(11.9)]) == []
    assert board.take(1.0, [volts(9.1)]) == [Flip(1.0, "ECM", "own supply", "11.9 V", "9.1 V")]
    track = board.tracks["ECM", "own supply"]
    assert (track.low, track.high) == (9.1, 12.4)


def test_a_number_that_is_not_read_any_more_flips() -> None:
    board = Board()
    board.take(0.0, [volts(12.4)])
    (flip,) = board.take(0.5, [Sample("ECM", "own supply", "no reading")])
    assert (flip.before, flip.after) == ("reading", "no reading")


def test_what_a_silent_module_does_not_say_is_no_flip_of_its_own() -> None:
    board = Board()
    board.take(0.0, [state("answers"), volts(12.4)])
    assert len(board.take(0.5, [state("no answer")])) == 1
    assert not board.tracks["ECM", "own supply"].heard
    assert len(board.take(1.0, [state("answers"), volts(12.4)])) == 1


@given(st.lists(st.sampled_from(["answers", "no answer"]), min_size=1, max_size=40))
def test_flips_are_the_changes(said: list[str]) -> None:
    board = Board()
    for nth, text in enumerate(said):
        board.take(float(nth), [state(text)])
    changes = [float(nth) for nth in range(1, len(said)) if said[nth] != said[nth - 1]]
    assert [flip.at for flip in board.flips] == changes


@given(st.lists(st.floats(-50, 50, allow_nan=False), min_size=1, max_size=40))
def test_lowest_and_highest_are_those_of_all_samples(values: list[float]) -> None:
    board = Board()
    for nth, value in enumerate(values):
        board.take(float(nth), [volts(value, leap=0.0)])
    track = board.tracks["ECM", "own supply"]
    assert (track.low, track.high) == (min(values), max(values))
    assert board.flips == []


# Layout ---------------------------------------------------------------------------------------------------


def test_times_are_minutes_and_seconds() -> None:
    assert [clock_text(value) for value in (0.0, 9.96, 59.97, 64.5, 3600.0)] == [
        "0:00.0",
        "0:10.0",
        "1:00.0",
        "1:04.5",
        "60:00.0",
    ]


def test_a_flip_is_one_line() -> None:
    assert flip_text(Flip(12.5, "ECM", "module", "answers", "no answer")) == (
        "0:12.5  ECM module: answers -> no answer"
    )


@given(st.integers(40, 200), st.integers(5, 60), st.integers(0, 60), st.integers(0, 12))
def test_a_screen_never_runs_over(width: int, height: int, readings: int, flips: int) -> None:
    board = Board()
    for turn in range(flips + 1):
        changing = Sample("GSM", "module", "answers" if turn % 2 else "no answer")
        rest = [Sample("ECM", f"reading {nth}", "x" * 90) for nth in range(readings)]
        board.take(float(turn), [changing, *rest])
    lines = screen(board, "Watching RO-7 every 0.5 s", width, height)
    assert len(lines) <= height and all(len(line) <= width for line in lines)
    told = sum("GSM module" in line for line in lines)
    assert told <= MOST_FLIPS
    if height > 20:
        assert told == min(flips, MOST_FLIPS)


def test_the_summary_tells_every_flip_and_how_far_readings_went() -> None:
    board = Board()
    for nth, value in enumerate((12.4, 9.0, 12.3)):
        board.take(nth / 2, [state("answers"), volts(value)])
    lines = list(summary(board, 80))
    assert lines[0] == "Watched 0:01.0, 3 rounds."
    assert any(line.split() == ["ECM", "own", "supply", "12.3", "V", "9", "12.4", "2"] for line in lines)
    assert lines[-2:] == [
        "  0:00.5  ECM own supply: 12.4 V -> 9 V",
        "  0:01.0  ECM own supply: 9 V -> 12.3 V",
    ]
