"""The monitor: reads the harness's records back as lanes, losing nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import UNUSED, Layout
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.line_form import LongPulses, Toggles
from refmodel.ground.bus import HIGH, reads, reads_status
from refmodel.ground.depth import AGAIN
from refmodel.ground.errors import CannotRun
from refmodel.ground.lane import Lane
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus
from testbenches.binding.depth import depth_of
from testbenches.binding.schema import PADDING, RECORD, Binding


class Recorder:
    """Reads the records of one run, span by span in step with the model.

    The lines of a drive are among them if asked for with `drive`.
    """

    def __init__(
        self,
        binding: Binding,
        layout: Layout,
        folder: Path,
        index: int,
        resets: Sequence[tuple[int, int]] = (),
        drive: bool = False,
    ) -> None:
        self._binding = binding
        self._deep = depth_of(binding).reads > 0
        self._form = form_of(binding, resets)
        own = {w.lane for w in binding.drive.watched()} if binding.drive and not drive else set()
        slices = slices_of(binding, layout)
        self._slices = {name: place for name, place in slices.items() if name not in own}
        words = record_words(binding)
        self._changes = RecordFile(folder / f"{index}.changes", 1 + words)
        self._unknown = RecordFile(folder / f"{index}.unknown", 1 + words)
        self._reads = RecordFile(folder / f"{index}.reads", 3)
        self._moves = RecordFile(folder / f"{index}.moves", 5) if binding.memory else None
        self._words = [0] * words  # what the core showed, and which bits were X or Z, so far
        self._x_bits = [0] * words

    def observed(self, first: int, end: int) -> Observed:
        """Return what the core showed in cycles `first` .. `end - 1`."""
        words = _lanes(self._changes, first, end, self._words)
        x_bits = _lanes(self._unknown, first, end, self._x_bits)
        self._words, self._x_bits = ([int(w.value[-1]) for w in part] for part in (words, x_bits))
        lanes = self._split(words)
        if self._form is not None:
            lanes["write_data"] = self._form.take(lanes["write_data"], end)
        return Observed(lanes, self._split(x_bits))

    def reads(self, stimulus: Stimulus) -> Reads:
        """Return what the reads of status returned that count in the stimulus.

        Raises CannotRun when the core's run does not hold exactly the reads of the stimulus.
        """
        rows = self._reads.before(stimulus.end)
        reading = reads(stimulus.access_kind) & (stimulus.access_mask != AGAIN)
        planned = stimulus.access_cycle[reading]
        if self._deep:  # a read that a reset ends on its way is in the record only
            rows = rows[np.isin(rows[:, 0], planned)]
        if not np.array_equal(rows[:, 0], planned):
            raise CannotRun(
                f"the run recorded {len(rows)} reads up to cycle {stimulus.end}, "
                f"not the {len(planned)} that were played"
            )
        kind, mask = stimulus.access_kind[reading], stimulus.access_mask[reading]
        status = reads_status(kind)
        shift = np.where((mask == HIGH) & self._binding.byte_wide, 8, 0)[status]
        value, x_bits = (rows[status, column] << shift for column in (1, 2))
        return Reads(
            planned[status],
            mask[status],
            (value & 0xFFFF).astype(np.uint16),
            (x_bits & 0xFFFF).astype(np.uint16),
        )

    def moves(self, end: int) -> tuple[Moves, NDArray[np.int64]] | None:
        """Return the words moved before cycle `end` and not reported yet, and their X and Z bits.

        None for a core whose memory slots are not bound.
        """
        if self._moves is None:
            return None
        cycle, place, word, store, x_bits = self._moves.before(end).T
        return Moves(cycle, place, word.astype(np.uint16), store.astype(np.uint8)), x_bits

    def _split(self, words: list[Lane]) -> dict[str, Lane]:
        """Return the lanes of the fields within the recorded words, the lowest of them first."""
        found = {}
        for name, (lsb, mask) in self._slices.items():
            number, shift = divmod(lsb, RECORD)
            word = words[number]
            found[name] = Lane.of(word.cycle, word.value >> np.uint32(shift) & np.uint32(mask))
        return found


def _lanes(table: RecordFile, first: int, end: int, before: list[int]) -> list[Lane]:
    """Return the recorded words over a span, the lowest first; each begins with what it was."""
    rows = table.before(end)
    cycle = np.concatenate(([first], rows[:, 0]))
    return [
        Lane.of(cycle, np.concatenate(([old], rows[:, n]))) for n, old in enumerate(before, start=1)
    ]


class RecordFile:
    """A file of whole numbers in rows, sorted by the first column, read in blocks.

    It may grow between two calls, by whole rows.
    """

    BLOCK = 1 << 22  # characters

    def __init__(self, path: Path, columns: int) -> None:
        self._path = path
        self._columns = columns
        self._file: TextIO | None = None
        self._rows = np.empty((0, columns), np.int64)

    def before(self, end: int) -> NDArray[np.int64]:
        """Return the rows not returned yet whose first column is below `end`.

        Raises CannotRun for a file that is not whole.
        """
        while not len(self._rows) or self._rows[-1, 0] < end:
            block = self._block()
            if not len(block):
                break
            self._rows = np.concatenate((self._rows, block))
        at = int(np.searchsorted(self._rows[:, 0], end))
        rows, self._rows = self._rows[:at], self._rows[at:]
        return rows

    def _block(self) -> NDArray[np.int64]:
        """Return the file's next rows, none at its end."""
        try:
            if self._file is None:
                self._file = self._path.open("r", encoding="ascii")
            text = self._file.read(self.BLOCK)
            text += self._file.readline() if text else ""
            return np.fromstring(text, np.int64, sep=" ").reshape(-1, self._columns)
        except (OSError, ValueError, DeprecationWarning) as error:
            message = f"{self._path.name}: the simulator's record is not whole: {error}"
            raise CannotRun(message) from None

    def __del__(self) -> None:
        if self._file is not None:
            self._file.close()


def form_of(binding: Binding, resets: Sequence[tuple[int, int]]) -> LongPulses | Toggles | None:
    """Return what brings the core's write data to pulses of one cycle; None if they are."""
    line = binding.lines.write_data
    if line is None or (line.form == "pulse" and line.cycles == 1):
        return None
    return Toggles(resets) if line.form == "toggle" else LongPulses(line.cycles)


def record_words(binding: Binding) -> int:
    """Return of how many words of `RECORD` bits a record is."""
    return max(1, -(-sum(w.width for w in binding.recorded) // RECORD))


def slices_of(binding: Binding, layout: Layout) -> dict[str, tuple[int, int]]:
    """Return each observed lane's lowest bit and mask within the whole record."""
    watched = binding.recorded
    slices, at = {}, sum(w.width for w in watched)
    for seen in watched:
        at -= seen.width
        if seen.lane == "status":
            for field in layout.fields:
                slices[field.name] = (at + field.lsb, field.mask >> field.lsb)
            slices[UNUSED] = (at, layout.unused_mask)
        elif seen.lane != PADDING:
            slices[seen.lane] = (at, (1 << seen.width) - 1)
    return slices
