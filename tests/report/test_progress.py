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


def test_silent_off_a_terminal():
    """Into a file or a pipe nothing is written."""
    assert "" == said(False)
