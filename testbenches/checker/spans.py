"""From sampled signals to what the comparison takes: a stimulus, and the evidence beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from refmodel.block.arming import ENABLE
from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.engine.evidence import ALL_BITS, Moved, Observed, Reads
from refmodel.engine.inner import COUNTERS
from refmodel.engine.line_form import LongPulses, Toggles
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS_PART, WRITE_KINDS, WRITE_TRANSFER
from refmodel.ground.depth import AGAIN
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.pulses import NO_BIT, NO_PULSES, Pulses
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.profile import Profile
from testbenches.binding.depth import depth_of
from testbenches.binding.schema import STATUS, Binding
from testbenches.checker.accesses import Access
from testbenches.checker.sampled import Sampled

NEVER = 1 << 62
BYTE_BITS = 8
BY_TRANSFER = ("dma_active", "writing")
Form = LongPulses | Toggles


@dataclass
class Known:
    """From which cycle on each field is known, and so held to the model; not yet: `NEVER`.

    With a reset that is its last cycle, for all. Without one a field is known once it is no longer
    unknown and all it depends on has come: a write of each register the core has, for sync_equal
    16 channel bits, for data and byte_ready a byte behind a match that realigns.
    """

    binding: Binding
    profile: Profile
    by_reset: bool
    since: dict[str, int] = field(default_factory=dict)
    until: dict[str, int] = field(default_factory=dict)  # and up to which: transfers are not played
    bits: int = 0
    matched: int = NEVER
    framed: int = NEVER
    bits_behind: int = 0  # channel bits behind the match
    masks: dict[str, int] = field(default_factory=dict)
    writes: dict[str, int] = field(default_factory=dict)
    resets: tuple[tuple[int, int], ...] = ()  # of the span taken last
    _model: Timeline | None = None

    @property
    def straight(self) -> frozenset[str]:
        """The levels that pass through the core as they are, in reset as well."""
        return depth_of(self.binding).straight

    def follow(self, stimulus: Stimulus, observed: dict[str, Sampled]) -> None:
        """Take one more span."""
        names = (*FIELD_NAMES, UNUSED, *observed)
        self.resets = stimulus.resets
        if self.by_reset:
            self._with_reset(stimulus, names)
        elif any(name not in self.since for name in names):
            self._without_reset(stimulus, observed, names)

    def _with_reset(self, stimulus: Stimulus, names: Sequence[str]) -> None:
        """Find the end of the first reset: from its last cycle on all is known."""
        ends = [stop for _, stop in stimulus.resets if stop < stimulus.end]
        if stimulus.reset_before and all(start > stimulus.first for start, _ in stimulus.resets):
            ends.insert(0, stimulus.first)
        for name in names if ends else ():
            lag = (
                self.binding.lag(name) if name in FIELD_NAMES else self.binding.latency.get(name, 0)
            )
            self.since.setdefault(name, ends[0] - 1 + lag)

    def without_transfers(self, accesses: list[Access]) -> list[Access]:
        """Return the accesses without writes that may start a transfer.

        Without the binding's memory slots the model does not know when a word moves.
        """
        if self.binding.memory is not None:
            return accesses
        starts = [a for a in accesses if a.kind == WRITE_TRANSFER and a.value & ENABLE]
        for name in (*BY_TRANSFER, *COUNTERS) if starts else ():
            self.until.setdefault(name, starts[0].edge)
        return [a for a in accesses if a not in starts]

    def _without_reset(
        self, stimulus: Stimulus, observed: dict[str, Sampled], names: Sequence[str]
    ) -> None:
        """Find the fields that become known in the span."""
        self._model = self._model or Timeline(self.profile)
        expected = self._model.run(stimulus)
        filled = self._filled(stimulus)
        written = {name: self._written(stimulus, name) for name in WRITE_KINDS}
        compared = max(filled, written["sync_word"])
        rises = expected.lines["sync_found"]
        up = rises.cycle[(rises.value == 1) & (rises.cycle >= max(compared, written["control"]))]
        if len(up) and self.matched == NEVER and self.profile.policies.realign != "never":
            self.matched = int(up[0])
        framed = self._framed(stimulus)
        needs = {"sync_equal": compared, "data": framed, "byte_ready": framed}
        needs |= dict.fromkeys(BY_TRANSFER, written["transfer"])
        needs |= {"window": filled, "sync_word": written["sync_word"]}
        needs |= {"control": written["control"], "bit_count": self.matched}
        for name in names:
            needed = max(needs.get(name, stimulus.first), stimulus.first)
            if name in self.since or needed >= stimulus.end:
                continue
            shown = observed.get(name)
            if shown is None:
                self.since[name] = needed
                continue
            x_bits = shown.unknown.between(needed, stimulus.end)
            clear = x_bits.cycle[x_bits.value == 0]
            if len(clear):
                self.since[name] = int(clear[0])

    def _written(self, stimulus: Stimulus, register: str) -> int:
        """Return from which cycle on a register is known: 0 if the core has none, else a write."""
        if register not in self.binding.registers:
            return 0
        masks = self.masks.setdefault(register, 0)
        for edge, mask, _ in stimulus.writes(WRITE_KINDS[register]):
            masks |= mask
            if register != "sync_word" or masks == WORD:
                self.masks[register] = WORD
                self.writes.setdefault(register, edge)
        return self.writes.get(register, NEVER)

    def _framed(self, stimulus: Stimulus) -> int:
        """Return the cycle in which the first byte behind a match that realigns completes."""
        if self.framed == NEVER and self.matched != NEVER:
            later = stimulus.bit_cycle[stimulus.bit_cycle > self.matched]
            missing = BYTE_BITS - self.bits_behind
            self.bits_behind += len(later)
            if len(later) >= missing:
                self.framed = int(later[missing - 1])
        return self.framed

    def _filled(self, stimulus: Stimulus) -> int:
        """Return the cycle in which the window holds nothing from before the record."""
        before, self.bits = self.bits, self.bits + len(stimulus.bit_cycle)
        if before >= WORD_BITS:
            return 0
        if self.bits < WORD_BITS:
            return NEVER
        return int(stimulus.bit_cycle[WORD_BITS - 1 - before])

    def undecided(self, name: str, first: int, end: int) -> Lane | None:
        """Return where a field of the span is not to be compared; None if everywhere."""
        since, until = self.since.get(name, NEVER), self.until.get(name, NEVER)
        resets = self.resets if name in self.straight else ()
        if since <= first and until >= end and not resets:
            return None
        cycles = np.unique([first, *(edge for span in ((since, until), *resets) for edge in span)])
        cycles = cycles[(cycles >= first) & (cycles < end)]
        return Lane.of(cycles, np.where(self.is_open(name, cycles), ALL_BITS, 0))

    def is_open(self, name: str, cycles: Cycles) -> NDArray[np.bool_]:
        """Return in which cycles a field is not to be compared: a straight level not in reset."""
        since, until = self.since.get(name, NEVER), self.until.get(name, NEVER)
        found: NDArray[np.bool_] = (cycles < since) | (cycles >= until)
        for start, stop in self.resets if name in self.straight else ():
            found |= (cycles >= start) & (cycles < stop)
        return found


@dataclass(frozen=True)
class BenchEvidence:
    """What a core showed in one span, as the comparison asks for it."""

    shown: Observed
    returned: Reads
    moved: Moved | None = None

    def observed(self, first: int, end: int) -> Observed:
        """Return what was shown in the span."""
        del first, end
        return self.shown

    def reads(self, stimulus: Stimulus) -> Reads:
        """Return what its reads returned."""
        del stimulus
        return self.returned

    def moves(self, end: int) -> Moved | None:
        """Return the words that were moved in the span, if memory is bound."""
        del end
        return self.moved


def stimulus_of(
    binding: Binding,
    seen: dict[str, Sampled],
    accesses: list[Access],
    first: int,
    end: int,
    before: tuple[int, int],
) -> Stimulus:
    """Return what reached the core's pins at edges `first` .. `end - 1`.

    `before` has reset at the edge before, and the level of the flux.
    """
    reset_before, flux_before = before
    strobes, pulses = np.empty(0, np.int64), NO_PULSES
    bits = strobes.astype(np.uint8)
    if "flux" in seen:
        begun = seen["flux"].rises(first, end, flux_before)
        pulses = Pulses(begun, np.full(len(begun), NO_BIT))
    else:
        strobes = seen["bit_strobe"].active(first, end)
        bits = seen["bit"].value.at(strobes).astype(np.uint8)
    return Stimulus(
        first,
        end - first,
        strobes,
        bits,
        np.array([a.edge for a in accesses], np.int64),
        np.array([a.kind for a in accesses], np.uint8),
        np.array([a.mask for a in accesses], np.uint16),
        np.array([a.value for a in accesses], np.uint16),
        {n: _level(binding, n, seen[f"in.{n}"], first, end) for n in binding.level_inputs},
        resets=resets_in(binding, seen, first, end),
        reset_before=reset_before,
        pulses=pulses,
    )


def _level(binding: Binding, name: str, sampled: Sampled, first: int, end: int) -> Lane:
    """Return a level as edges sample it; a straight one as the cycle behind the edge shows it."""
    straight = binding.level_inputs[name].path == "straight"
    return (sampled.value.delayed(-1) if straight else sampled.value).between(first, end)


def resets_in(
    binding: Binding, seen: dict[str, Sampled], first: int, end: int
) -> tuple[tuple[int, int], ...]:
    """Return the spans of edges at which reset is on.

    An asynchronous one that begins behind an edge acts in that edge's cycle.
    """
    if "reset" not in seen:
        return ()
    edges = seen["reset"].active(first, end + 1)
    if binding.reset.kind == "asynchronous":
        edges = np.union1d(edges, edges - 1)
    edges = edges[(edges >= first) & (edges < end)]
    breaks = np.flatnonzero(np.diff(edges) > 1) + 1
    parts = [part for part in np.split(edges, breaks) if len(part)]
    return tuple((int(part[0]), int(part[-1]) + 1) for part in parts)


def evidence_of(
    layout: Layout,
    shown: dict[str, Sampled],
    accesses: list[Access],
    known: Known,
    first: int,
    end: int,
    form: Form | None = None,
    moved: Moved | None = None,
) -> BenchEvidence:
    """Return what the core showed in cycles `first` .. `end - 1`, lane by lane.

    `accesses` are those that count there, with what they returned. `form` brings its write data to
    pulses of one cycle, where they are something else.
    """
    undecided = {name: known.undecided(name, first, end) for name in shown}
    lanes = {name: sampled.value.between(first, end) for name, sampled in shown.items()}
    if form is not None:
        lanes["write_data"] = form.take(lanes["write_data"], end)
    observed = Observed(
        lanes,
        {name: sampled.unknown.between(first, end) for name, sampled in shown.items()},
        {name: lane for name, lane in undecided.items() if lane is not None},
    )
    status = [a for a in accesses if a.kind <= READ_STATUS_PART and a.mask != AGAIN]
    cycle = np.array([a.edge for a in status], np.int64)
    open_bits = np.zeros(len(status), np.uint16)
    for name in (*FIELD_NAMES, UNUSED):
        open_bits |= np.where(known.is_open(name, cycle - 1), layout.mask_of(name), 0).astype(
            np.uint16
        )
    return BenchEvidence(
        observed,
        Reads(
            cycle,
            np.array([a.mask for a in status], np.uint16),
            np.array([a.value for a in status], np.uint16),
            np.array([a.unknown for a in status], np.uint16),
            open_bits,
        ),
        moved,
    )


def lanes_of(binding: Binding, layout: Layout, seen: dict[str, Sampled]) -> dict[str, Sampled]:
    """Return what the core shows in each cycle: what is sampled at the edge that ends it."""
    found: dict[str, Sampled] = {}
    every = (*binding.observed, *binding.lines_observed, *binding.channel_bit_observed)
    for watched in every:
        value, x_bits = (
            lane.delayed(-1) for lane in (seen[watched.lane].value, seen[watched.lane].unknown)
        )
        if watched.lane != STATUS:
            found[watched.lane] = Sampled(value, x_bits)
            continue
        for place in layout.fields:
            found[place.name] = Sampled(
                *(_part(lane, place.lsb, place.mask >> place.lsb) for lane in (value, x_bits))
            )
        found[UNUSED] = Sampled(*(_part(lane, 0, layout.unused_mask) for lane in (value, x_bits)))
    return found


def _part(word: Lane, lsb: int, mask: int) -> Lane:
    return Lane.of(word.cycle, word.value >> np.uint32(lsb) & np.uint32(mask))
