"""Sources are read first in a copy of the process, which may end with a signal."""

import os
import signal
from pathlib import Path

import pytest

from refmodel.ground.errors import CannotRun
from testbenches.hdl import guard

FILES = [Path("a.v"), Path("b.v")]


def falling(number, tally, times=99):
    """Return a read that sends itself a signal in its first calls; `tally` counts them."""

    def read():
        with tally.open("a") as file:
            file.write("x")
        if tally.stat().st_size <= times:
            signal.signal(number, signal.SIG_DFL) if number != signal.SIGKILL else None
            os.kill(os.getpid(), number)

    return read


@pytest.mark.parametrize("number", [signal.SIGSEGV, signal.SIGBUS, signal.SIGABRT, signal.SIGKILL])
def test_a_reader_that_falls_once_is_tried_again(number, tmp_path):
    """One signal is no verdict on the sources."""
    guard.guarded(falling(number, tmp_path / "calls", times=1), FILES)
    assert "xx" == (tmp_path / "calls").read_text()


@pytest.mark.parametrize(
    ("number", "message"),
    [
        (signal.SIGSEGV, "the reader of the sources ended twice with signal 11; try"),
        (signal.SIGBUS, "the reader of the sources ended twice with signal 7; try"),
        (signal.SIGABRT, "reading the sources took more than 2 GiB of memory; does a macro"),
        (signal.SIGKILL, "reading the sources took more than 2 GiB of memory; does a macro"),
    ],
)
def test_a_reader_that_always_falls_is_reported_by_its_signal(number, message, tmp_path):
    """Only what a lack of memory ends in is called one."""
    with pytest.raises(CannotRun, match=f"^a.v, b.v: {message}"):
        guard.guarded(falling(number, tmp_path / "calls"), FILES)
    assert "xx" == (tmp_path / "calls").read_text()


def test_a_reader_that_is_too_slow_is_not_tried_again(tmp_path):
    """The processor's time has run out once; a second try would take as long."""
    with pytest.raises(CannotRun, match="took more than 60 s"):
        guard.guarded(falling(signal.SIGXCPU, tmp_path / "calls"), FILES)
    assert "x" == (tmp_path / "calls").read_text()


def test_a_reader_without_memory_is_not_tried_again(tmp_path):
    """MemoryError says itself what was lacking."""

    def read():
        (tmp_path / "calls").open("a").write("x")
        raise MemoryError

    with pytest.raises(CannotRun, match="2 GiB of memory"):
        guard.guarded(read, FILES)
    assert "x" == (tmp_path / "calls").read_text()
