"""Flux is read from plain lists, whatever their unit, and what is no list says where."""

from fractions import Fraction

import numpy as np
import pytest

from refmodel.ground.errors import UserError
from refmodel.media.flux_list import Reading, read_flux

TIMES = [4000.0, 8000.0, 14000.0, 20000.0]


def read(folder, name, content, **reading):
    """Write a file and read it back as flux."""
    path = folder / name
    if isinstance(content, str):
        path.write_text(content)
    else:
        path.write_bytes(content)
    return read_flux(path, Reading(**reading))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.txt", "4000\n4000\n6000\n6000\n"),
        ("b.txt", "# from a drive\nindex 0 19000\n4000 4000 6000, 6000 # four\n"),
        ("c.txt", "rate 1000000\n4\n4\n6\n6\n"),
        ("d.txt", "times\n4000\n8000\n14000\n20000\n"),
        ("e.txt", "rate 1e6\ntimes\nwrap 9\n4\n8\n5\n2\n"),
        ("f.csv", "interval\n4000\n4000\n6000\n6000\n"),
        ("g.csv", "number,time,index\n1,4000,0\n2,8000,19000\n3,14000,\n4,20000\n"),
        ("h.csv", "rate 1000000\ninterval,index\n4,0\n4,19\n6,\n6,\n"),
    ],
)
def test_text_and_csv_forms_read_alike(name, text, tmp_path):
    """Intervals or times, ns or ticks, one column or several: the pulses are the same."""
    flux = read(tmp_path, name, text)
    assert flux.ns.tolist() == TIMES
    assert flux.index_ns.tolist() in ([], [0.0, 19000.0])


def test_numpy_arrays_read_alike(tmp_path):
    """An array of intervals, or named arrays with index times and a rate."""
    np.save(tmp_path / "a.npy", np.array([4000, 4000, 6000, 6000], np.uint16))
    np.savez(tmp_path / "b.npz", times=np.array([4, 8, 14, 20]), index=[0, 19], rate=1_000_000)
    assert read_flux(tmp_path / "a.npy").ns.tolist() == TIMES
    both = read_flux(tmp_path / "b.npz")
    assert (both.ns.tolist(), both.index_ns.tolist()) == (TIMES, [0.0, 19000.0])


def test_a_rate_given_outside_the_file_is_used(tmp_path):
    """The rate of a command or a scenario holds where the file says none."""
    flux = read(tmp_path, "a.txt", "4\n4\n6\n6\n", rate=Fraction(1_000_000))
    assert flux.ns.tolist() == TIMES


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("a.txt", "4000\n0\n", "a.txt:2: this pulse is not after the one before it"),
        ("a.txt", "4000\n-1\n", "a.txt:2: -1 is not a time"),
        ("a.txt", "4000\nnan\n", "a.txt:2:1: 'nan' is not a number or a word known here"),
        ("a.txt", "times\n5\n4\n", "a.txt:3: this pulse is not after the one before it; if a"),
        ("a.txt", "4000\n40x0\n", "a.txt:2:1: '40x0' is not a number"),
        ("a.txt", "rat 5\n4000\n", "did you mean 'rate'?"),
        ("a.txt", "rate 0\n4000\n", "a.txt:1: '0' is not a rate in ticks per second"),
        ("a.txt", "times 3\n4000\n", "'times' takes nothing"),
        ("a.txt", "wrap 4\ntimes\n3\n5\n", "a.txt:4: time 5 is not below wrap, which is 4"),
        ("a.txt", "# none\n", "a.txt: holds no pulse"),
        ("a.txt", "", "a.txt: holds no pulse"),
        ("a.txt", "index 9 4\n4000\n", "index times must be numbers in order of time"),
        ("a.txt", "1e30\n", "is `rate` right?"),
        ("a.txt", b"\xff\xfe\x00", "is not text"),
        ("a.csv", "pulse\n4\n", "the heading has no column 'interval' or 'time'"),
        ("a.csv", "interval,time\n4,4\n", "leave one out"),
        ("a.csv", "interval\n4\nx\n", "a.csv:3:1: 'x' is not a number"),
        ("a.npy", b"no array", "is not a numpy file of plain numbers"),
        ("a.npz", b"no archive", "is not a numpy file of plain numbers"),
    ],
)
def test_what_is_no_list_of_times_says_where(name, text, message, tmp_path):
    """The message names the file, the line and what would be right."""
    with pytest.raises(UserError) as error:
        read(tmp_path, name, text)
    assert message in str(error.value)
    assert str(tmp_path) in str(error.value) or "wrap" in message


def test_a_file_that_is_missing_is_told(tmp_path):
    """A missing file is a message with its name."""
    with pytest.raises(UserError, match=r"none\.txt: cannot be read: No such file"):
        read_flux(tmp_path / "none.txt")


def test_arrays_of_another_kind_are_refused(tmp_path):
    """An array of texts or of two dimensions is not a list of times."""
    np.save(tmp_path / "a.npy", np.zeros((2, 2)))
    with pytest.raises(UserError, match="an array of float64 in 2 dimensions"):
        read_flux(tmp_path / "a.npy")
    np.savez(tmp_path / "b.npz", other=np.zeros(2))
    with pytest.raises(UserError, match="one of the arrays 'intervals' and 'times'"):
        read_flux(tmp_path / "b.npz")
