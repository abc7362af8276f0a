"""The driver: turns a stimulus into the event file the harness plays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refmodel.block.slots import Slots
from refmodel.drive.cable import BACK
from refmodel.ground.bus import (
    DRIVE_LINES,
    DRIVE_STATUS,
    ELSEWHERE,
    HIGH,
    READ_DRIVE,
    READ_UNUSED,
    WRITE_DRIVE,
    WRITE_KINDS,
    WRITE_UNUSED,
    BusCycle,
    reads,
    reads_status,
)
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import LEVEL_INPUTS, Stimulus
from testbenches.drive_word import DriveWord
from testbenches.event_file import Words, encoded, head, read_events
from testbenches.harness import Harness

KINDS = {**WRITE_KINDS, DRIVE_LINES: WRITE_DRIVE, DRIVE_STATUS: READ_DRIVE}
IDLE_CHANGES = 4
EVERY_BIT = np.uint64((1 << 64) - 1)
IDLE_LINES = ("address", "write_data", "bit")
IDLE = 2  # stream of random numbers beside the track's and the memory's


class Player:
    """Writes drive words for a harness. An event is the word of one cycle: `cycle word` in hex.

    What the core must not look at is random, drawn from `seed`: address and data without a strobe,
    and the channel bit without its own. Half of the idle addresses are those of status. From the
    first cycle of `idle` on they are what that says: rows of cycle, address, data and bit. A flux
    pulse lasts `pulse_cycles`, without it as long as the binding says.
    """

    def __init__(
        self,
        harness: Harness,
        slots: Slots,
        seed: int = 0,
        idle: Sequence[Sequence[int]] = (),
        pulse_cycles: int | None = None,
    ) -> None:
        self._given = np.array(idle, np.int64).reshape(-1, len(IDLE_LINES) + 1)
        self._harness = harness
        self._drive = harness.drive
        self._pulse_cycles = pulse_cycles or harness.binding.pulse_cycles
        self._hold = harness.shape.hold
        bus = harness.binding.bus
        self._acts = bus.counted[0] if bus is not None else 0
        self._slots = slots
        self._random = np.random.default_rng((seed, IDLE))

    def write(
        self, stimuli: Iterable[Stimulus], path: Path, cycles: int, window_end: int | None = None
    ) -> Iterator[Stimulus]:
        """Write the event file of `cycles` cycles while passing the stimuli on.

        The file ends at `window_end`, and the harness asks for more there, if that comes before.
        Raises OSError with the path when it cannot be written.
        """
        try:
            yield from self._written(stimuli, path, cycles, window_end or cycles)
        except OSError as error:
            raise OSError(error.errno, error.strerror, str(path)) from error

    def _written(
        self, stimuli: Iterable[Stimulus], path: Path, cycles: int, window_end: int
    ) -> Iterator[Stimulus]:
        with path.open("wb") as file:
            file.write(head(cycles, window_end))
            before = Stimulus(0, 0)
            for stimulus in stimuli:
                file.write(self.encoded(stimulus, before))
                before = stimulus
                yield stimulus

    def encoded(self, stimulus: Stimulus, before: Stimulus) -> bytes:
        """Return the events of a stimulus, which follows another, as they stand in the file."""
        edges, words = self.events(stimulus, before)
        return encoded(edges, words, self._drive.width)

    def events(self, stimulus: Stimulus, before: Stimulus) -> tuple[Cycles, Words]:
        """Return the cycles in which a driven input changes or lasts, and their drive words.

        The last flux pulse and bus cycle of the span `before` may reach into this one.
        """
        held = self._held_lanes(stimulus)
        if "flux" in self._drive.slots:
            held["flux"] = self._flux(stimulus, before.pulses.cycle[-1:])
        granted = self._granted(stimulus)
        changes = (lane.cycle for lane in held.values())
        bits = stimulus.bit_cycle if "bit" in self._drive.slots else granted[:0]
        begun, bus_words = self._accesses(before, stimulus)
        lasting = begun if self._hold == 1 else self._bounds(begun, stimulus)
        known = self._known(stimulus)
        edges = np.unique(np.concatenate((bits, lasting, granted, known, *changes)))
        words = self._idle(edges)
        for name, lane in held.items():
            words |= self._slot(name, lane.at(edges))
        if len(bits):
            at = np.searchsorted(edges, bits)
            words[at] &= ~np.uint64(self._drive.mask("bit"))
            words[at] |= np.uint64(self._drive.mask("bit_strobe")) | self._slot("bit", stimulus.bit)
        words[np.searchsorted(edges, granted)] |= np.uint64(self._drive.mask("slot"))
        taken = self._put_accesses(edges, words, begun, bus_words)
        self._hold_idle(words, taken, self._pauses(edges, begun))
        return edges, words

    def _pauses(self, edges: Cycles, begun: Cycles) -> NDArray[np.bool_]:
        """Return which edges lie in the pause behind a bus cycle, in which its lines stay."""
        pause = self._harness.shape.idle
        if not pause or not len(begun):
            return np.zeros(len(edges), bool)
        latest = np.searchsorted(begun, edges, side="right") - 1
        over = edges - begun[latest] - self._hold
        inside: NDArray[np.bool_] = (latest >= 0) & (over >= 0) & (over < pause)
        return inside

    def access(self, bus_cycle: BusCycle) -> int:
        """Return the drive word of one bus cycle, as a live host adds it to the disk's."""
        kind, mask = np.array([bus_cycle.kind]), np.array([bus_cycle.mask])
        return int(self._bus_words(kind, mask, np.array([bus_cycle.value]))[0])

    def _known(self, stimulus: Stimulus) -> Cycles:
        """Return the edges of a span on which it is given what idle lines carry."""
        first = self._given[0, 0] if len(self._given) else stimulus.end
        return np.arange(max(first, stimulus.first), stimulus.end, dtype=np.int64)

    def _idle(self, edges: Cycles) -> Words:
        """Return what is on the lines the core must not look at: as given, or random."""
        latest = np.searchsorted(self._given[:, 0], edges, side="right") - 1
        words = self._random_idle(len(edges))
        at = np.flatnonzero(latest >= 0)
        words[at] = 0
        for column, name in enumerate(IDLE_LINES, 1):
            words[at] |= self._slot(name, self._given[latest[at], column])
        return words

    def _random_idle(self, count: int) -> Words:
        """Return random words in all that the core must not look at, half of them with status."""
        words = self._random.integers(0, 1 << 63, count, np.uint64)
        words &= np.uint64(self._drive.moving)
        if self._harness.status_addresses:
            places = np.array(self._harness.status_addresses)
            chosen = self._random.integers(0, 2 * len(places), count)
            at = np.flatnonzero(chosen < len(places))
            words[at] &= ~np.uint64(self._drive.mask("address"))
            words[at] |= self._slot("address", places[chosen[at]])
        return words

    def _accesses(self, before: Stimulus, stimulus: Stimulus) -> tuple[Cycles, Words]:
        """Return where bus cycles begin that reach into the span, and their drive words."""
        if "address" not in self._drive.slots:
            return stimulus.access_cycle[:0], np.empty(0, np.uint64)
        late = before.access_cycle[-1:]
        late = late[late + self._hold > stimulus.first]
        last = slice(len(before.access_cycle) - len(late), None)
        columns = ("access_kind", "access_mask", "access_value")
        kind, mask, value = (
            np.concatenate((getattr(before, name)[last], getattr(stimulus, name)))
            for name in columns
        )
        return np.concatenate((late, stimulus.access_cycle)), self._bus_words(kind, mask, value)

    def _bounds(self, begun: Cycles, stimulus: Stimulus) -> Cycles:
        """Return the edges at which held bus cycles begin, count, and end, inside the span."""
        edges = np.concatenate([begun, begun + self._acts, begun + self._hold])
        return edges[(edges >= stimulus.first) & (edges < stimulus.end)]

    def _hold_idle(self, words: Words, taken: NDArray[np.bool_], pauses: NDArray[np.bool_]) -> None:
        """Let an idle bus change at one event in IDLE_CHANGES only: each change costs time."""
        moves = self._random.integers(0, IDLE_CHANGES, len(words)) == 0
        moves |= len(self._given) > 0
        kept = taken | (moves & ~pauses)
        source = np.maximum.accumulate(np.where(kept, np.arange(len(words)), 0))
        lines = np.uint64(self._drive.mask("address") | self._drive.mask("write_data"))
        words[:] = words & ~lines | words[source] & lines

    def _put_accesses(
        self, edges: Cycles, words: Words, begun: Cycles, bus_words: Words
    ) -> NDArray[np.bool_]:
        """Put bus cycles on the words of the edges at which they last; return which those are."""
        taken = np.zeros(len(edges), bool)
        if not len(begun):
            return taken
        latest = np.searchsorted(begun, edges, side="right") - 1
        at = np.flatnonzero((latest >= 0) & (edges < begun[latest] + self._hold))
        latest = latest[at]
        kept = np.uint64(self._drive.mask("address") | self._drive.mask("write_data"))
        own = np.full(len(at), EVERY_BIT)
        if len(self._given):  # a read carries no data to the core: they are as given
            own[self._reads(bus_words[latest])] ^= np.uint64(self._drive.mask("write_data"))
        words[at] &= ~(kept & own)
        words[at] |= bus_words[latest] & own
        if self._hold > 1:
            counts = edges[at] == begun[latest] + self._acts
            words[at] |= self._slot("counts", counts & self._reads(bus_words[latest]))
        taken[at] = True
        return taken

    def _reads(self, bus_words: Words) -> NDArray[np.bool_]:
        reads: NDArray[np.bool_] = (bus_words & np.uint64(self._drive.mask("read"))) != 0
        return reads

    def _bus_words(
        self, kind: NDArray[np.integer], mask: NDArray[np.integer], value: NDArray[np.integer]
    ) -> Words:
        """Return the bus slots of bus cycles of these kinds; data are random while it reads."""
        addresses = self._harness.addresses
        address = np.full(len(kind), self._harness.other_address)
        for (register, part), place in addresses.items():
            own = KINDS.get(register)
            meant = reads_status(kind) if own is None else kind == own
            address[meant & (mask == part)] = place
        value = self._for_the_core(kind, value)
        unused = (kind == READ_UNUSED) | (kind == WRITE_UNUSED)
        address[unused] = value[unused]
        write = ~reads(kind)
        width = self._drive.slots.get("write_data", (0, 0))[1]
        data = np.where((width <= 8) & (mask == HIGH), value >> 8, value)
        data = np.where(write & ~unused, data, self._random.integers(0, 1 << 16, len(kind)))
        words = self._slot("write", write) | self._slot("read", ~write)
        words |= self._slot("elsewhere", unused & (mask == ELSEWHERE))
        return words | self._slot("address", address) | self._slot("write_data", data)

    def _for_the_core(
        self, kind: NDArray[np.integer], value: NDArray[np.integer]
    ) -> NDArray[np.integer]:
        """Return the values with their bits where the core has them."""
        value = value.copy()
        for one, moved in self._harness.moved.items():
            at = np.flatnonzero(kind == one)
            value[at] = [moved(word) for word in value[at].tolist()]
        return value

    def _granted(self, stimulus: Stimulus) -> Cycles:
        """Return the edges with a memory slot, none for a core without memory."""
        if "slot" not in self._drive.slots:
            return np.empty(0, np.int64)
        line = self._slots.line_cycles
        lines = np.arange(stimulus.first // line, stimulus.end // line + 1, dtype=np.int64)
        edges = (lines[:, None] * line + np.array(self._slots.at)).ravel()
        inside: Cycles = edges[(edges >= stimulus.first) & (edges < stimulus.end)]
        return inside

    def _held_lanes(self, stimulus: Stimulus) -> dict[str, Lane]:
        """Return the held inputs the core has, reset among them, over the stimulus."""
        lanes = {
            name: stimulus.levels.get(name, Lane.constant(value, stimulus.first))
            for name, value in LEVEL_INPUTS.items()
            if name in self._drive.slots
        }
        lanes |= {
            name: stimulus.back.get(name, Lane.constant(0, stimulus.first))
            for name in BACK
            if name in self._drive.slots
        }
        resets = [edge for span in stimulus.resets for edge in span if edge < stimulus.end]
        asserted = np.arange(len(resets)) % 2 ^ 1
        lanes["reset"] = Lane.of(
            np.concatenate(([stimulus.first], np.array(resets, np.int64))),
            np.concatenate(([0], asserted)),
        )
        return lanes

    def _flux(self, stimulus: Stimulus, before: Cycles) -> Lane:
        """Return the read-data line over the stimulus: 1 while a pulse lasts."""
        rise = np.concatenate((before, stimulus.pulses.cycle))
        fall = rise + (self._pulse_cycles or 0)
        cycles = np.stack((rise, fall), axis=1).ravel()
        at = np.concatenate(([stimulus.first - 1], cycles))  # pulses do not overlap
        lane = Lane.of(np.maximum(at, stimulus.first), np.arange(len(at)) % 2)
        return lane.between(stimulus.first, stimulus.end)

    def _slot(self, name: str, values: NDArray[np.generic]) -> Words:
        """Return values placed in a slot of the drive word; a slot not there takes none."""
        if name not in self._drive.slots:
            return np.zeros(len(values), np.uint64)
        lsb, width = self._drive.slots[name]
        fitted: Words = values.astype(np.uint64) & np.uint64((1 << width) - 1)
        return fitted << np.uint64(lsb)


def value_line(events: Path, drive: DriveWord, end: int) -> Lane:
    """Return the channel bit's pin in each cycle before `end`: inverted behind an event."""
    edges, words = read_events(events, drive.width)
    edges, words = edges[edges < end], words[edges < end]
    value = (words >> np.uint64(drive.lsb("bit")) & np.uint64(1)).astype(np.int64)
    flipped = value ^ int(bool(drive.flipped))
    cycles = np.stack((edges, edges + 1), axis=1).ravel()
    values = np.stack((value, flipped), axis=1).ravel()
    return Lane.of(np.append(-1, cycles), np.append(0, values))
