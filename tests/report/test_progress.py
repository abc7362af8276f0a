"""The status line: on a terminal what each speaker last said, elsewhere nothing."""

import io

from rich.console import Console

from refmodel.report.progress import Progress


def said(terminal):
    """Return what is written while two simulators speak."""
    file = io.StringIO()
    with Progress(Console(file=file, force_terminal=terminal, width=100)) as progress:
        progress.say("icarus: building")
        progress.say("verilator: building")
        progress.say("icarus: comparing poll")
    return file.getvalue()


def test_last_words_of_each():
    """The line has the last word of each speaker."""
    assert "icarus: comparing poll, verilator: building" in said(True)


def test_what_is_soon_done_is_silent_off_a_terminal():
    """Into a file or a pipe nothing is written of what takes less than ten seconds."""
    assert "" == said(False)


def test_long_work_says_how_far_it_is_at_most_once_in_ten_seconds(monkeypatch):
    """Into a file or a pipe a line is written where ten seconds have passed since the last."""
    monkeypatch.delenv("CELLSTEP_PROGRESS")
    file, clock = io.StringIO(), [0.0]
    with Progress(Console(file=file, width=20), now=lambda: clock[0]) as progress:
        for second in range(60):
            clock[0] = float(second)
            progress.say(f"model: prepared {second} of 60 scenarios")
    assert file.getvalue().splitlines() == [
        f"model: prepared {second} of 60 scenarios" for second in (10, 20, 30, 40, 50)
    ]
