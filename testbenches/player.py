"""The driver: turns a stimulus into the event file the harness plays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refmodel.block.slots import Slots
from refmodel.ground.bus import HIGH, WRITE_KINDS, BusCycle, reads, reads_status
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import LEVEL_INPUTS, Stimulus
from testbenches.harness import Harness

Words = NDArray[np.uint64]


class Player:
    """Writes drive words for a harness. An event is the word of one cycle: `cycle word` in hex."""

    def __init__(self, harness: Harness, slots: Slots) -> None:
        self._harness = harness
        self._drive = harness.drive
        self._pulse_cycles = harness.binding.pulse_cycles
        self._slots = slots

    def write(self, stimuli: Iterable[Stimulus], path: Path, cycles: int) -> Iterator[Stimulus]:
        """Write the event file of `cycles` cycles while passing the stimuli on.

        Raises OSError with the path when it cannot be written.
        """
        try:
            yield from self._written(stimuli, path, cycles)
        except OSError as error:
            raise OSError(error.errno, error.strerror, str(path)) from error

    def _written(self, stimuli: Iterable[Stimulus], path: Path, cycles: int) -> Iterator[Stimulus]:
        with path.open("w", encoding="ascii") as file:
            file.write(f"{cycles}\n")
            active = np.empty(0, np.int64)
            for stimulus in stimuli:
                edges, words = self.events(stimulus, active)
                active = stimulus.pulses.cycle[-1:]
                pairs = zip(edges.tolist(), words.tolist(), strict=True)
                file.write("".join(map("%d %x\n".__mod__, pairs)))
                yield stimulus

    def events(self, stimulus: Stimulus, before: Cycles) -> tuple[Cycles, Words]:
        """Return the cycles in which a driven input changes or lasts, and their drive words.

        `before` has the last flux pulse of the span before, which may reach into this one.
        """
        held = self._held_lanes(stimulus)
        if "flux" in self._drive.slots:
            held["flux"] = self._flux(stimulus, before)
        granted = self._granted(stimulus)
        changes = (lane.cycle for lane in held.values())
        bits = stimulus.bit_cycle if "bit" in self._drive.slots else granted[:0]
        edges = np.unique(np.concatenate((bits, stimulus.access_cycle, granted, *changes)))
        words = np.zeros(len(edges), np.uint64)
        for name, lane in held.items():
            words |= self._slot(name, lane.at(edges))
        if len(bits):
            strobe = np.uint64(self._drive.mask("bit_strobe"))
            words[np.searchsorted(edges, bits)] |= strobe | self._slot("bit", stimulus.bit)
        words[np.searchsorted(edges, granted)] |= np.uint64(self._drive.mask("slot"))
        if len(stimulus.access_cycle):
            at = np.searchsorted(edges, stimulus.access_cycle)
            words[at] |= self._accesses(stimulus)
        return edges, words

    def access(self, beat: BusCycle) -> int:
        """Return the drive word of one bus cycle, as a live host adds it to the disk's."""
        kind, mask = np.array([beat.kind]), np.array([beat.mask])
        return int(self._bus_words(kind, mask, np.array([beat.value]))[0])

    def _accesses(self, stimulus: Stimulus) -> Words:
        return self._bus_words(stimulus.access_kind, stimulus.access_mask, stimulus.access_value)

    def _bus_words(
        self, kind: NDArray[np.integer], mask: NDArray[np.integer], value: NDArray[np.integer]
    ) -> Words:
        """Return the bus slots of bus cycles of these kinds."""
        addresses = self._harness.addresses
        address = np.full(len(kind), self._harness.other_address)
        for (register, part), place in addresses.items():
            write_kind = WRITE_KINDS.get(register)
            meant = reads_status(kind) if write_kind is None else kind == write_kind
            address[meant & (mask == part)] = place
        write = ~reads(kind)
        width = self._drive.slots.get("write_data", (0, 0))[1]
        data = np.where((width <= 8) & (mask == HIGH), value >> 8, value)
        words = self._slot("write", write) | self._slot("read", ~write)
        return words | self._slot("address", address) | self._slot("write_data", data * write)

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
