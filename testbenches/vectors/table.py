"""Vectors as a table: a row an edge, or only the edges on which something happens."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import IO

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, Layout
from refmodel.engine.timeline import Expected
from refmodel.ground.bus import READ_OTHER, WRITTEN
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import LEVEL_INPUTS, Stimulus
from testbenches.binding.roles import LINES
from testbenches.vectors.values import Vectors

ABOUT = """\
# Vectors of {scenario}, profile {profile}, seed {seed}. One row {rows}.
# cycle: decimal. Edge n of the clock (enable on) begins cycle n; the clock runs at {clock} Hz.
# in_*: sampled at edge n. out_*: shown from edge n up to edge n + 1.
# 0x...: hexadecimal. All else is decimal. An empty cell: nothing happens.
# in_access: read or write of in_register; in_mask: the register bits the bus cycle carries.
# out_read: the whole of status as a read at edge n returns it: that of cycle n - 1.
# out_move: word moved in the memory slot of edge n, to (store) or from (fetch) out_place.
# Levels are the model's: 1 is active, whatever the polarity of a port.
"""
COLUMNS = ("bit_strobe", "bit", "pulse", "reset")
BLOCK = 1 << 16  # rows at a time


@dataclass(frozen=True)
class Heading:
    """What is said of a table above it."""

    scenario: str
    profile: str
    seed: int
    clock_hz: int


def busy_edges(vectors: Vectors) -> Cycles:
    """Return the edges on which something arrives, is read, moves or changes."""
    expected = vectors.expected
    lanes = [*expected.lanes.values(), *(expected.lines[name] for name in LINES)]
    parts = [lane.cycle for lane in lanes]
    parts += [expected.read_cycle, expected.moves.cycle]
    for stimulus in vectors.stimuli:
        parts += [stimulus.bit_cycle, stimulus.access_cycle, stimulus.pulses.cycle]
        parts += [lane.cycle for lane in stimulus.levels.values()]
        parts.append(np.array([edge for span in stimulus.resets for edge in span], np.int64))
    edges = np.unique(np.concatenate(parts))
    return edges[(edges >= 0) & (edges < vectors.cycles)]


def write_table(
    file: IO[str], vectors: Vectors, layout: Layout, heading: Heading, edges: Cycles, rows: str
) -> None:
    """Write the rows of some edges as CSV, below what units and radix they have."""
    clock, about = heading.clock_hz, ABOUT
    file.write(
        about.format(
            scenario=heading.scenario,
            profile=heading.profile,
            seed=heading.seed,
            clock=clock,
            rows=rows,
        )
    )
    names = [*_names()]
    file.write(",".join(names) + "\n")
    for stimulus in vectors.stimuli:
        first, end = np.searchsorted(edges, (stimulus.first, stimulus.end)).tolist()
        for at in range(first, end, BLOCK):
            part = edges[at : min(at + BLOCK, end)]
            file.writelines(_rows(part, stimulus, vectors.expected, layout))


def _names() -> Iterator[str]:
    yield "cycle"
    yield from (f"in_{name}" for name in (*COLUMNS, *LEVEL_INPUTS))
    yield from ("in_access", "in_register", "in_mask", "in_value")
    yield from (f"out_{name}" for name in ("status", *FIELD_NAMES, *LINES))
    yield from ("out_read", "out_move", "out_place", "out_word")


def _rows(edges: Cycles, stimulus: Stimulus, expected: Expected, layout: Layout) -> Iterable[str]:
    """Return the rows of some edges of a stimulus."""
    columns = [map(str, edges.tolist()), *_inputs(edges, stimulus), *_accesses(edges, stimulus)]
    columns += [*_outputs(edges, expected, layout), *_returned(edges, expected)]
    columns += _moved(edges, expected.moves)
    return (",".join(row) + "\n" for row in zip(*columns, strict=True))


def _inputs(edges: Cycles, stimulus: Stimulus) -> Iterator[Iterable[str]]:
    arriving = np.isin(edges, stimulus.bit_cycle)
    yield map(str, arriving.astype(int).tolist())
    yield _sparse(edges, stimulus.bit_cycle, map(str, stimulus.bit.tolist()))
    yield map(str, np.isin(edges, stimulus.pulses.cycle).astype(int).tolist())
    held = np.zeros(len(edges), int)
    for begin, end in stimulus.resets:
        held |= (edges >= begin) & (edges < end)
    yield map(str, held.tolist())
    for name, value in LEVEL_INPUTS.items():
        lane = stimulus.levels.get(name, Lane.constant(value, stimulus.first))
        yield map(str, lane.at(edges).tolist())


def _accesses(edges: Cycles, stimulus: Stimulus) -> Iterator[Iterable[str]]:
    kinds, cycle = stimulus.access_kind.tolist(), stimulus.access_cycle
    yield _sparse(edges, cycle, ("write" if k in WRITTEN else "read" for k in kinds))
    other = {READ_OTHER: "other"}
    yield _sparse(edges, cycle, (WRITTEN.get(k, other.get(k, "status")) for k in kinds))
    yield _sparse(edges, cycle, map("0x{:04X}".format, stimulus.access_mask.tolist()))
    values = zip(kinds, stimulus.access_value.tolist(), strict=True)
    yield _sparse(edges, cycle, (f"0x{v:04X}" if k in WRITTEN else "" for k, v in values))


def _outputs(edges: Cycles, expected: Expected, layout: Layout) -> Iterator[Iterable[str]]:
    shown = {name: expected.lanes[name].at(edges) for name in FIELD_NAMES}
    status = np.zeros(len(edges), np.int64)
    for field in layout.fields:
        status |= shown[field.name].astype(np.int64) << field.lsb
    yield map("0x{:04X}".format, status.tolist())
    for name in FIELD_NAMES:
        yield map("0x{:02X}".format if name == "data" else str, shown[name].tolist())
    for name in LINES:
        yield map(str, expected.lines[name].at(edges).tolist())


def _returned(edges: Cycles, expected: Expected) -> Iterator[Iterable[str]]:
    """Yield what reads that clear byte_ready return."""
    values = map("0x{:04X}".format, expected.read_value.tolist())
    yield _sparse(edges, expected.read_cycle, values)


def _moved(edges: Cycles, moves: Moves) -> Iterator[Iterable[str]]:
    yield _sparse(edges, moves.cycle, ("store" if s else "fetch" for s in moves.store.tolist()))
    yield _sparse(edges, moves.cycle, map(str, moves.place.tolist()))
    yield _sparse(edges, moves.cycle, map("0x{:04X}".format, moves.word.tolist()))


def _sparse(edges: Cycles, at: NDArray[np.int64], texts: Iterable[str]) -> Iterable[str]:
    """Return a text for each edge: that of what happens on it, or nothing."""
    known = dict(zip(at.tolist(), texts, strict=True))
    return (known.get(edge, "") for edge in edges.tolist())
