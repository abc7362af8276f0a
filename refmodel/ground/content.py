"""The bytes of a file that a user named: all of them, if they are not too many."""

from __future__ import annotations

import os
import select
import stat
from pathlib import Path

from refmodel.ground.errors import UserError

SILENCE = 10  # seconds that a pipe may keep silent


def content_of(path: Path, most: int) -> bytes:
    """Return the bytes of a file; UserError for one that is missing, unreadable or too large.

    A pipe is read to its end, and must not keep silent. A device without end is too large.
    """
    try:
        content = _content(path, most)
    except FileNotFoundError:
        raise UserError(f"{path}: no such file") from None
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except ValueError as error:  # a null byte in the name
        raise UserError(f"{path!r}: cannot be read: {error}") from None
    if len(content) > most:
        raise UserError(f"{path}: is larger than {most >> 20} MiB; is it such a file?")
    return content


def _content(path: Path, most: int) -> bytes:
    """Return the bytes of a file up to one more than it may have."""
    if not stat.S_ISFIFO(path.stat().st_mode):
        with path.open("rb") as file:
            return file.read(most + 1)
    content = b""
    pipe = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    try:
        while len(content) <= most:
            if not select.select([pipe], [], [], SILENCE)[0]:
                raise UserError(f"{path}: a pipe, and nothing has come out of it for {SILENCE} s")
            part = os.read(pipe, 1 << 16)
            if not part:
                break
            content += part
    finally:
        os.close(pipe)
    return content
