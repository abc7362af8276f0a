"""Accesses beside a core's registers: none of them may have an effect."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.bus import ELSEWHERE, READ_UNUSED, WRITE_UNUSED, BusShape
from refmodel.ground.lane import Cycles
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from testbenches.binding.bus import STATUS
from testbenches.binding.schema import Binding

APART = 150  # cycles between them on the average, where a host program leaves room
NEAR = 4  # cycles behind a channel bit
STREAM = 3  # of random numbers
MOST = 1 << 16  # addresses looked at, of a wider bus


class Strays:
    """Draws such accesses from a seed and puts them between those of a host program.

    A read goes to an address that returns nothing of status, a write to one that no register is
    written at, if the binding tells where all are: else a write may hit one that is not bound.
    Where the core has a select, either also goes to its registers' addresses in another device.
    """

    def __init__(
        self, binding: Binding, address_width: int, seed: int, shape: BusShape | None = None
    ) -> None:
        self._random = np.random.default_rng((seed, STREAM))
        self._shape = shape or binding.bus_shape
        self._room = self._shape.busy + 1
        free = {(READ_UNUSED, WORD): _free(binding, address_width, reads=True)}
        if tells_all_registers(binding):
            free[WRITE_UNUSED, WORD] = _free(binding, address_width, reads=False)
        if binding.bus is not None and binding.bus.select is not None:
            own = sorted(
                {c.address for name in binding.registers for c in binding.bus_cycles(name)}
            )
            free |= {(kind, ELSEWHERE): own for kind in (READ_UNUSED, WRITE_UNUSED)}
        self._choices = {sort: np.array(found, np.uint16) for sort, found in free.items() if found}

    def among(self, stimulus: Stimulus) -> Stimulus:
        """Return a span with accesses more in it."""
        at = self._places(stimulus)
        at = at[~np.isin(at % self._shape.fed_every, self._shape.fed)]
        if not self._choices or not len(at):
            return stimulus
        sorts = list(self._choices)
        which = self._random.integers(0, len(sorts), len(at))
        value = np.zeros(len(at), np.uint16)
        for n, sort in enumerate(sorts):
            value[which == n] = self._random.choice(self._choices[sort], int((which == n).sum()))
        kind = np.array([kind for kind, _ in sorts], np.uint8)[which]
        mask = np.array([mask for _, mask in sorts], np.uint16)[which]
        cycle = np.concatenate((stimulus.access_cycle, at))
        order = np.argsort(cycle, kind="stable")
        return replace(
            stimulus,
            access_cycle=cycle[order],
            access_kind=np.concatenate((stimulus.access_kind, kind))[order],
            access_mask=np.concatenate((stimulus.access_mask, mask))[order],
            access_value=np.concatenate((stimulus.access_value, value))[order],
        )

    def _places(self, stimulus: Stimulus) -> Cycles:
        """Return cycles at random with room for a bus cycle before the next and behind the last."""
        room = self._room
        first, end = stimulus.first + room, stimulus.end - 2 * room
        if end <= first:
            return stimulus.access_cycle[:0]
        at = self._random.integers(first, end, (end - first) // APART + 1)
        bits = stimulus.bit_cycle
        if len(bits):  # every second one near a channel bit: that is where things happen
            near = self._random.choice(bits, len(at[::2])) + self._random.integers(
                0, NEAR, len(at[::2])
            )
            at[::2] = np.clip(near, first, end - 1)
        at = np.sort(at)
        at = at[np.diff(at, prepend=first - room) >= room]
        made = stimulus.access_cycle
        if not len(made):
            return at
        behind = np.searchsorted(made, at, side="right")
        last = made[np.maximum(behind - 1, 0)]
        coming = made[np.minimum(behind, len(made) - 1)]
        early = (behind == 0) | (at - last >= room)
        late = (behind == len(made)) | (coming - at >= room)
        kept: NDArray[np.bool_] = early & late
        return at[kept]


def tells_all_registers(binding: Binding) -> bool:
    """Return whether a binding binds all registers, or lists the addresses of the others."""
    return binding.bus is not None and (
        binding.bus.others is not None or not binding.registers_unbound
    )


def _of_drive(binding: Binding) -> tuple[int, ...]:
    """Return the addresses of the drive's registers."""
    if binding.drive is None:
        return ()
    return binding.drive.registers.lines, binding.drive.registers.status


def _fed(binding: Binding) -> tuple[int, ...]:
    """Return the address at which the host writes words for the disk, if it does."""
    memory = binding.memory
    return (memory.written_at,) if memory is not None and memory.written_at is not None else ()


def _free(binding: Binding, width: int, reads: bool) -> list[int]:
    """Return the addresses at which nothing is read, or written."""
    bus = binding.bus
    if bus is None:
        return []
    decoded = (1 << width) - 1 if bus.decoded is None else bus.decoded
    apart = (*(bus.others or ()), *_of_drive(binding), *_fed(binding))
    taken = {
        bus_cycle.address & decoded
        for name in binding.registers
        if (name == STATUS) == reads
        for bus_cycle in binding.bus_cycles(name)
    } | {address & decoded for address in apart}
    if binding.drive is not None:
        own = binding.drive.registers
        taken |= {own.lines & decoded, own.status & decoded}
    return [a for a in range(min(1 << width, MOST)) if a & decoded not in taken]
