"""Value change dumps as recordings: streamed in blocks, so that a file may be of any size."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import IO

import numpy as np

from refmodel.capture.vcd_body import LEAD, TIME, Block, Words, changes_of, code_of, cut, last_time
from refmodel.capture.vcd_header import Header, read_header
from refmodel.capture.waves import FOREVER, Signal, WavePiece
from refmodel.ground.errors import UserError

BLOCK = 1 << 22  # bytes read at once
MOST = 1 << 28  # bytes without a time in them that are held
Progress = Callable[[int], None]
CUT_OFF = (
    "ends in the middle of a {}; the file is cut off: remove its last line to use what is whole"
)


class Vcd:
    """A value change dump. `progress` is told how many bytes were read.

    A pipe is read once; the header is read at once, the changes with `pieces`.
    """

    def __init__(self, path: Path, progress: Progress | None = None) -> None:
        self.path = path
        self._progress = progress or (lambda _: None)
        self._file: IO[bytes] | None = None

    @property
    def name(self) -> str:
        """The file's name as given."""
        return str(self.path)

    @cached_property
    def header(self) -> Header:
        """What the header says."""
        try:
            self._file = self.path.open("rb", buffering=0)
            return read_header(self._file, self.name)
        except OSError as error:
            raise UserError(f"{self.path}: cannot be read: {error.strerror}") from None

    @property
    def signals(self) -> Mapping[str, Signal]:
        """The signals by their whole name."""
        return self.header.signals

    @property
    def notes(self) -> Sequence[str]:
        """What was taken for granted in reading it."""
        return self.header.notes

    def pieces(self, names: Sequence[str]) -> Iterator[WavePiece]:
        """Yield the changes of some signals, block by block."""
        header = self.header
        if self._file is None:
            raise UserError(f"{self.path}: has been read; a pipe can be read once only")
        ids = {
            code_of(code): [name for name in shared if name in names]
            for code, shared in header.ids.items()
        }
        ids = {code: shared for code, shared in ids.items() if shared}
        widths = {code: header.signals[shared[0]].width for code, shared in ids.items()}
        with self._file:
            yield from self._pieces(self._file, ids, widths)
        self._file = None
        if self.path.is_file():
            del self.__dict__["header"]

    def _pieces(
        self, file: IO[bytes], ids: dict[int, list[str]], widths: dict[int, int]
    ) -> Iterator[WavePiece]:
        """Yield the changes of the body."""
        header = self.header
        unit, now, offset, text = float(header.unit_ns), 0.0, header.offset, header.rest
        declared = np.array([code_of(code) for code in header.ids], np.uint64)
        dark_since: float | None = None
        ended = False
        while not ended:
            more = _read(file, BLOCK)
            ended = not more
            text += more
            self._progress(offset + len(text))
            words = cut(np.frombuffer(text, np.uint8))
            if ended:
                if words.kind.tolist()[-1:] == [LEAD] and not words.code[-1]:
                    raise self._placed(
                        UserError(f"{words.begin[-1]}:{CUT_OFF.format('value change')}"), offset
                    )
                used, part = len(text), words
            else:
                last = last_time(words)
                if last <= 0:
                    if len(text) > MOST:
                        raise UserError(f"{self.name}: no time in {MOST} bytes; is it a VCD file?")
                    continue
                used, part = int(words.begin[last]), words.part(slice(0, last))
            try:
                block, now = changes_of(part, widths, unit, now, declared)
            except UserError as error:
                raise self._placed(_cut_off(error, words) if ended else error, offset) from None
            end = FOREVER if ended else float(now)
            dark, dark_since = _dark(block, dark_since, now if not ended else FOREVER)
            text, offset = text[used:], offset + used
            held = {name: c for code, c in block.changes.items() for name in ids[code]}
            yield WavePiece(np.nextafter(end, FOREVER) if not ended else end, held, dark)

    def _placed(self, error: UserError, offset: int) -> UserError:
        """Return the fault of a block with its line in the file."""
        place, _, said = str(error).partition(":")
        at = offset + int(place)
        if not self.path.is_file():
            return UserError(f"{self.name}: byte {at}: {said}")
        return UserError(f"{self.name}:{_line_of(self.path, at)}: {said}")


def _cut_off(error: UserError, words: Words) -> UserError:
    """Return a fault at the end of a file as what it is if the last word has no end."""
    place = str(error).partition(":")[0]
    if int(words.end[-1]) < len(words.text) or int(place) < int(
        words.begin[-1 - words.code[-1] :][0]
    ):
        return error
    what = "time" if words.kind[-1] == TIME else "value change"
    return UserError(f"{place}:{CUT_OFF.format(what)}")


def _read(file: IO[bytes], count: int) -> bytes:
    """Return so many bytes, fewer only at the end; a pipe gives them in small parts."""
    parts = []
    while count > 0 and (part := file.read(count)):
        parts.append(part)
        count -= len(part)
    return b"".join(parts)


def _line_of(path: Path, at: int) -> int:
    """Return the line that byte `at` of a file is on, from 1."""
    line = 1
    with path.open("rb") as file:
        while at > 0 and (block := file.read(min(at, BLOCK))):
            line += block.count(b"\n")
            at -= len(block)
    return line


def _dark(
    block: Block, since: float | None, end: float
) -> tuple[list[tuple[float, float]], float | None]:
    """Return the stretches of a block in which the dump was off, and since when it is off."""
    found = []
    for when, on in block.switched:
        if on and since is not None:
            found.append((since, when))
            since = None
        elif not on and since is None:
            since = when
    if since is not None:
        found.append((since, end))
    return found, since
