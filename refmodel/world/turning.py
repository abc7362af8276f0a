"""A disk set turning: the stimulus of each revolution, with what was written before it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from refmodel.ground.stimulus import Stimulus
from refmodel.media.writing import Burst
from refmodel.world.disk import Disk
from refmodel.world.levels import in_cycles, lane_of
from refmodel.world.passage import Source, source_of


class Turning:
    """Yields the stimulus of a disk revolution by revolution, without host accesses.

    What `write` is told of between two revolutions is read in the later ones.
    """

    def __init__(self, disk: Disk) -> None:
        self._disk = disk
        self._source: Source = source_of(disk)
        self._turn = 0
        self._first = 0

    @property
    def takes_writes(self) -> bool:
        """Whether what is written changes what is read."""
        return self._source.takes_writes

    def __iter__(self) -> Iterator[Stimulus]:
        return self

    def __next__(self) -> Stimulus:
        disk, turn = self._disk, self._turn
        if turn == disk.scenario.revolutions:
            raise StopIteration
        passage = self._source.turn(turn)
        first, end = self._first, disk.revolution_end(turn)
        self._turn, self._first = turn + 1, end
        levels = {n: in_cycles(v, disk.profile) for n, v in disk.scenario.levels.items()}
        return Stimulus(
            first,
            end - first,
            bit_cycle=passage.cycle,
            bit=passage.bit,
            levels={n: lane_of(level, disk.start, first, end) for n, level in levels.items()},
            resets=disk.resets_between(first, end),
            reset_before=int(disk.in_reset(first - 1)),
            memory=disk.memory,
            pulses=passage.pulses,
            separated=passage.separated,
        )

    def write(self, bursts: Iterable[Burst]) -> None:
        """Lay down what was written in the revolutions so far."""
        for burst in bursts:
            self._source.write(burst)
