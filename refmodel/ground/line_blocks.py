"""A file read in blocks of whole lines, so that its size does not show in memory."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import IO

from refmodel.ground.errors import UserError

MARK = b"\xef\xbb\xbf"  # with which some programs begin a text
LONGEST = 1 << 20  # bytes of a line


class LineBlocks:
    """A file or a pipe, open, or `file` from its start. `read` says how many bytes have been read.

    `lines` yields its first lines one by one; iterating yields what follows them in blocks of at
    least one whole line. Raises UserError for a file that cannot be read.
    """

    def __init__(self, path: Path, size: int, file: IO[bytes] | None = None) -> None:
        self._path = path
        self._size = size
        self.read = 0
        try:
            self._file: IO[bytes] = file if file is not None else path.open("rb")
        except OSError as error:
            raise UserError(f"{path}: cannot be read: {error.strerror}") from None
        self._rest = self._more().removeprefix(MARK)

    def _more(self) -> bytes:
        """Return more of the file, empty at its end, with the ends of lines as they should be."""
        try:
            got = self._file.read(self._size)
            if got.endswith(b"\r"):
                got += self._file.read(1)
        except OSError as error:
            raise UserError(f"{self._path}: cannot be read: {error.strerror}") from None
        self.read += len(got)
        return got.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in got else got

    def lines(self) -> Iterator[str]:
        """Yield the first lines, as long as they are asked for."""
        while self._rest:
            line, end, self._rest = self._rest.partition(b"\n")
            if not end and len(line) < LONGEST and (more := self._more()):
                self._rest = line + more
                continue
            yield line.decode(errors="replace")

    def __iter__(self) -> Iterator[bytes]:
        """Yield the rest in blocks of whole lines; close the file."""
        with self._file:
            got = self._more() if not self._rest else self._rest
            self._rest = b""
            while got:
                more = self._more()
                cut = got.rfind(b"\n") + 1 if more else len(got)
                if not cut and len(got) > max(LONGEST, self._size):
                    raise UserError(
                        f"{self._path}: has a line longer than {LONGEST >> 20} MiB; is it text?"
                    )
                if cut:
                    yield got[:cut]
                got = got[cut:] + more
