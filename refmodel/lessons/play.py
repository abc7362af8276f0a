"""Short runs of the model for the lessons, and drawings of what it shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.block.registers import RegisterBlock
from refmodel.engine.blame import completes_byte
from refmodel.engine.compare import differences
from refmodel.engine.edges import edges
from refmodel.engine.timeline import Expected, Timeline
from refmodel.ground.bus import READ_STATUS, WRITTEN, BusCycle
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.lessons.lesson import Unit
from refmodel.media.mfm import Bits
from refmodel.profile import Profile, load_profile
from refmodel.report.drawing.sheet import Drawn, Piece, flag_pieces, stretches
from refmodel.report.waves import block_waves
from refmodel.world.disk import RESET_CYCLES, Disk
from refmodel.world.play import with_accesses
from refmodel.world.scenario import Scenario
from refmodel.world.spans import Span
from refmodel.world.world import result_on_model

PAL = load_profile("pal_dd")
CYCLES = Unit("cycle", float(PAL.cycle_ns))
BITS = Unit("bit", float(PAL.channel_bit_ns))
SEED = 1


@dataclass(frozen=True)
class Ran:
    """A short run: its profile and span."""

    profile: Profile
    span: Span

    @property
    def expected(self) -> Expected:
        """What the block showed."""
        return self.span.expected

    @property
    def reads(self) -> list[int]:
        """The edges of the host's reads of status."""
        edges: list[int] = self.expected.read_cycle.tolist()
        return edges


def arrival(bit: int, profile: Profile = PAL) -> int:
    """Return the edge at which channel bit `bit` of a run arrives, at nominal speed."""
    return RESET_CYCLES + int((bit + 1) * profile.cycles_per_bit)


def run_bits(
    bits: Bits,
    accesses: Sequence[BusCycle] = (),
    levels: Mapping[str, int] | None = None,
    profile: Profile = PAL,
    memory: NDArray[np.uint16] | None = None,
    resets: tuple[tuple[int, int], ...] = (),
) -> Ran:
    """Run the model over channel bits at nominal speed, with the host's bus cycles."""
    held = {name: Lane.constant(value) for name, value in (levels or {}).items()}
    each = profile.cycles_per_bit
    whole = np.arange(1, len(bits) + 1, dtype=np.int64) * each.numerator // each.denominator
    cycles = RESET_CYCLES + whole
    disk = Stimulus(
        0,
        arrival(len(bits), profile) + 1,
        bit_cycle=cycles,
        bit=bits,
        levels=held,
        resets=((0, RESET_CYCLES), *resets),
        memory=np.zeros(64, np.uint16) if memory is None else memory,
    )
    stimulus = with_accesses(disk, list(accesses))
    timeline = Timeline(profile)
    state = timeline.state
    return Ran(profile, Span(state, stimulus, timeline.run(stimulus)))


def returned_by(scenario: Mapping[str, Any], profile: Profile = PAL) -> Any:  # noqa: ANN401
    """Return what the host program of a scenario returns when it meets the model."""
    read = Scenario.model_validate({"name": "lesson", **scenario})
    return result_on_model(Disk.of(read, profile, Path(), SEED))


def reads_at(*edges: int) -> list[BusCycle]:
    """Return reads of status at these edges."""
    return [BusCycle(edge, READ_STATUS) for edge in edges]


def draw(ran: Ran, first: int, end: int, *names: str) -> tuple[Drawn, ...]:
    """Draw cycles `first` .. `end - 1`: bits, host, window, or fields of status."""
    return tuple(
        Drawn(_LABEL.get(name, name), tuple(_drawn(ran, name, first, end))) for name in names
    )


_LABEL = {"bits": "channel bits", "host": "host"}


def _drawn(ran: Ran, name: str, first: int, end: int) -> Iterator[Piece]:
    if name == "bits":
        yield from _bits(ran, first, end)
    elif name == "host":
        yield from _accesses(ran, first, end)
    elif name == "window":
        waves = block_waves(ran.profile, ran.span.state, ran.span.stimulus, first, end)
        word = next(w for w in waves if w.name == "sync_word").changes[-1][1]
        for start, stop, value in _runs([c[:2] for c in waves[0].changes], end):
            yield Piece(start, stop, "lit" if value == word else "box", f"{value:04X}")
    else:
        lane = ran.expected.lanes[name].between(first, end)
        changes = list(zip(lane.cycle.tolist(), lane.value.tolist(), strict=True))
        for start, stop, value in _runs(changes, end):
            if name == "data":
                yield Piece(start, stop, "box", f"{value:02X}")
            else:
                yield Piece(start, stop, "on" if value else "off")


def _bits(ran: Ran, first: int, end: int) -> Iterator[Piece]:
    """Yield each channel bit for as long as it is the newest."""
    stimulus = ran.span.stimulus
    arrived = zip(stimulus.bit_cycle.tolist(), stimulus.bit.tolist(), strict=True)
    near = [(cycle, bit) for cycle, bit in arrived if first <= cycle < end]
    for n, (cycle, bit) in enumerate(near):
        stop = near[n + 1][0] if n + 1 < len(near) else end
        yield Piece(cycle, stop, "box", str(bit))


def _accesses(ran: Ran, first: int, end: int) -> Iterator[Piece]:
    stimulus = ran.span.stimulus
    rows = zip(
        stimulus.access_cycle.tolist(),
        stimulus.access_kind.tolist(),
        stimulus.access_value.tolist(),
        strict=True,
    )
    for cycle, kind, value in rows:
        if first <= cycle < end:
            text = f"{WRITTEN[kind]} {value:04X}" if kind in WRITTEN else ""
            yield Piece(cycle, cycle + 1, "mark", text)


def _runs(changes: Sequence[tuple[int, ...]], end: int) -> Iterator[tuple[int, int, int]]:
    """Yield start, end and value of each stretch of a lane."""
    for n, (start, value) in enumerate(changes):
        stop = changes[n + 1][0] if n + 1 < len(changes) else end
        if n == 0 or value != changes[n - 1][1]:
            merged = next((c[0] for c in changes[n + 1 :] if c[1] != value), end)
            yield start, max(stop, merged), value


def beside(drawn: tuple[Drawn, ...], name: str, model: Lane, core: Lane) -> tuple[Drawn, ...]:
    """Return a drawing in which a core shows `core` where the model shows the flag `model`."""
    shown = []
    for lane in drawn:
        if lane.name == name:
            first, end = int(lane.pieces[0].start), int(lane.pieces[-1].end)
            known = Lane.constant(0)
            wrong = stretches(differences(model, core, known, first), first, end)
            lane = replace(lane, core=flag_pieces(core, first, end), wrong=wrong)
        shown.append(lane)
    return tuple(shown)


def held_until_read(level: Lane, reads: Sequence[int], end: int) -> Lane:
    """Return a flag that, once up, stays so until the host has read it: a usual mistake."""
    cycles, values = [int(level.cycle[0])], [int(level.value[0])]
    rises = level.cycle[(level.value == 1) & (level.cycle > level.cycle[0])].tolist()
    falls = level.cycle[level.value == 0].tolist()
    for rise in rises:
        fall = next((c for c in falls if c > rise), end)
        seen = next((edge for edge in reads if edge > rise), end)
        cycles += [rise, max(fall, seen)]
        values += [1, 0]
    return Lane.of(np.array(cycles, np.int64), np.array(values, np.int64))


def seen_at(level: Lane, edges: Sequence[int]) -> list[int]:
    """Return what reads at these edges return of a flag: its value in the cycle before."""
    return [int(level.at(edge - 1)) for edge in edges]


def bytes_after(ran: Ran, match: int) -> list[int]:
    """Return the four bytes that complete after the cycle of the match."""
    block = RegisterBlock(ran.profile)
    block.restore(ran.span.state)
    done = [
        edge.after.data
        for edge in edges(block, ran.span.stimulus)
        if edge.cycle > match and completes_byte(edge)
    ]
    return done[:4]
