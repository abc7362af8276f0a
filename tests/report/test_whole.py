"""A single file is written whole or not at all."""

import os

import pytest

from refmodel.ground.errors import UserError
from refmodel.report.atomic import write_whole


def test_one_whole_file(tmp_path):
    """A single file is replaced when the new one is whole, and kept when it is not."""

    def half(file):
        file.write("half")
        raise ZeroDivisionError

    path = tmp_path / "trace.csv"
    path.write_text("earlier")
    write_whole(path, lambda file: file.write("first"))
    with pytest.raises(ZeroDivisionError):
        write_whole(path, half)
    assert "first" == path.read_text()
    assert [path] == list(tmp_path.iterdir())


@pytest.mark.parametrize("place", ["no/such/folder/x.csv", ".", "file/x.csv"])
def test_one_file_that_cannot_be_written(place, tmp_path):
    """A folder that is not there, or a folder where the file should be, is a user's error."""
    (tmp_path / "file").write_text("")
    with pytest.raises(UserError, match="cannot be written"):
        write_whole(tmp_path / place, lambda file: file.write("x"))


def test_device_is_written_to_as_it_is(tmp_path):
    """What is not a plain file is not replaced by one."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_whole(pipe, lambda file: file.write("through"))
    assert b"through" == os.read(reader, 100)
    os.close(reader)
    assert pipe.is_fifo()
