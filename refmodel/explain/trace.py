"""The model alone: what it shows on each edge on which something arrives, and why."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

import numpy as np

from refmodel.block.fields import FIELD_NAMES
from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.cause import describe
from refmodel.engine.edges import Edge, edges
from refmodel.engine.timeline import Expected
from refmodel.ground.bus import WRITE_KINDS
from refmodel.ground.errors import UserError
from refmodel.ground.stimulus import LEVEL_INPUTS, Stimulus
from refmodel.profile import Profile
from refmodel.report import words
from refmodel.report.waves import (
    Wave,
    block_waves,
    move_waves,
    status_waves,
    stimulus_waves,
    write_vcd,
)
from refmodel.world.scenario import Scenario
from refmodel.world.spans import Span, disk_of, spans_of

SHOWN = 200  # cycles, where the user names no range
COLUMNS = (
    *("cycle", "us", "arrives", "window", "count"),
    *("ready", "dma", "writing", "equal", "data", "change"),
)
WIDTHS = (9, 11, 20, 6, 5, 5, 3, 7, 5, 4)


@dataclass(frozen=True)
class Trace:
    """Cycles `first` .. `end - 1` of a scenario of `cycles` cycles, on the model alone."""

    scenario: str
    profile: Profile
    spans: list[Span]
    first: int
    end: int
    cycles: int

    @property
    def about(self) -> str:
        """What is shown, how to see something else, and what is odd about it."""
        slots = self.profile.slot_rate.problem
        moved = any(len(span.expected.moves) for span in self.spans)
        return (
            f"{self.scenario}, profile {self.profile.name}: cycles {self.first} to {self.end - 1} "
            f"of 0 to {self.cycles - 1}; choose others with --from N --to N"
        ) + (f"\nnote: {slots}" if moved and slots else "")


@dataclass(frozen=True)
class TraceRow:
    """One edge: what arrived, the model's state after it, and why status changed, if it did."""

    cycle: int
    arrives: str
    after: State
    fields: dict[str, int]
    change: str
    separated: str = ""  # why a separator model took the bit as it did


def model_trace(
    path: Path,
    scenario: Scenario,
    profile: Profile,
    seed: int,
    first: int | None = None,
    last: int | None = None,
) -> Trace:
    """Run a scenario on the model, up to cycle `last`.

    With neither end given, the first match of the sync word is in the middle. Raises UserError
    for a range that is empty or not in the scenario.
    """
    disk = disk_of(path, scenario, profile, seed)
    _check_range(first, last, disk.cycles)
    spans = spans_of(path, disk)
    kept = [next(spans)]
    if first is None and last is None:
        first = max(0, _first_match(kept[0].expected, disk.start) - SHOWN // 2)
    elif first is None:
        first = max(0, (last or 0) - SHOWN + 1)
    end = min(disk.cycles, first + SHOWN if last is None else last + 1)
    while kept[-1].stimulus.end < end:
        kept = [span for span in kept if span.stimulus.end > first] + [next(spans)]
    return Trace(scenario.name, disk.profile, kept, first, end, disk.cycles)


def _check_range(first: int | None, last: int | None, cycles: int) -> None:
    """Raise UserError unless the range lies in the scenario."""
    for option, cycle in (("--from", first), ("--to", last)):
        if cycle is not None and not 0 <= cycle < cycles:
            raise UserError(f"{option} {cycle}: the scenario has cycles 0 to {cycles - 1}")
    if first is not None and last is not None and first > last:
        raise UserError(f"--from {first} is after --to {last}; the range would be empty")


def _first_match(expected: Expected, start: int) -> int:
    """Return where sync_equal first rises, or the cycle the disk starts in."""
    lane = expected.lanes["sync_equal"]
    rises = lane.cycle[(lane.value == 1) & (lane.cycle >= start)]
    return int(rises[0]) if len(rises) else start + SHOWN // 2


def rows(trace: Trace) -> Iterator[TraceRow]:
    """Yield the trace's edges on which something arrives or status changes."""
    for span in trace.spans:
        block = RegisterBlock(trace.profile)
        block.restore(span.state)
        for edge in edges(block, span.stimulus):
            if edge.cycle >= trace.end:
                return
            arrives = _arrivals(edge)
            changed = edge.status_before != edge.status_after
            if edge.cycle >= trace.first and (arrives or changed):
                row = _row(edge, arrives, trace.profile)
                yield replace(row, separated=_separated(edge, span.stimulus))


def _row(edge: Edge, arrives: str, profile: Profile) -> TraceRow:
    fields = profile.status.split(edge.status_after)
    old = profile.status.split(edge.status_before)
    changes = [
        f"{name} {words.value_text(name, old[name], 0, profile.status)} -> "
        f"{words.value_text(name, value, 0, profile.status)}"
        for name, value in fields.items()
        if value != old[name]
    ]
    why = describe(edge) if changes or _moves_word(edge) else ""
    change = f"{', '.join(changes)}: {why}" if changes else why
    return TraceRow(edge.cycle, arrives or "-", edge.after, fields, change)


def _separated(edge: Edge, stimulus: Stimulus) -> str:
    """Say why the separator took the edge's channel bit as it did; nothing for an ideal one."""
    bits = stimulus.separated
    if bits is None or not edge.inputs.bit_strobe:
        return ""
    return bits.why(int(np.searchsorted(bits.cycle, edge.cycle)))


def _moves_word(edge: Edge) -> bool:
    """Return whether a memory slot is used on an edge (B10, B11)."""
    before, after = edge.before.transfer, edge.after.transfer
    return bool(edge.inputs.slot) and before.memory_index != after.memory_index


def _arrivals(edge: Edge) -> str:
    """Say in a few words what arrives on an edge."""
    inputs, said = edge.inputs, []
    if "reset" in edge.changed:
        said.append("reset" if inputs.reset else "reset ends")
    for register in WRITE_KINDS:
        if getattr(inputs, f"write_{register}"):
            said.append(f"write {register} {getattr(inputs, register):04X}")
    if inputs.bit_strobe:
        said.append(f"bit {inputs.bit}")
    if inputs.read_status:
        said.append("read")
    if _moves_word(edge):
        said.append("slot")
    for name in LEVEL_INPUTS:
        if name in edge.changed:
            said.append(f"{name} {getattr(inputs, name)}")
    return ", ".join(said)


def write_table(file: IO[str], trace: Trace) -> None:
    """Write the trace as text, a line an edge."""
    _line(file, COLUMNS)
    for row in rows(trace):
        us = f"{float(row.cycle * trace.profile.cycle_ns) / 1000:.3f}"
        window, data = f"{row.after.window:04X}", f"{row.fields['data']:02X}"
        flags = [row.fields[name] for name in FIELD_NAMES if name != "data"]
        said = "; ".join(filter(None, (row.change, row.separated)))
        shown = (row.cycle, us, row.arrives, window, row.after.bit_count, *flags, data, said)
        _line(file, shown)


def write_csv(file: IO[str], trace: Trace) -> None:
    """Write the trace as CSV, a line an edge; numbers are decimal."""
    writer = csv.writer(file, lineterminator="\n")
    state = ("window", "sync_word", "bit_count")
    writer.writerow(
        ["cycle", "time_ns", "arrives", *state, *FIELD_NAMES, "change", "separator_why"]
    )
    for row in rows(trace):
        ns = float(row.cycle * trace.profile.cycle_ns)
        shown = [row.cycle, f"{ns:.3f}", row.arrives, *(getattr(row.after, n) for n in state)]
        fields = [row.fields[name] for name in FIELD_NAMES]
        writer.writerow([*shown, *fields, row.change, row.separated])


def write_waves(file: IO[str], trace: Trace) -> None:
    """Write the trace as VCD: status, the block's inner registers, disk, inputs and host."""
    joined: dict[tuple[str, str], Wave] = {}
    for span in trace.spans:
        first = max(trace.first, span.stimulus.first)
        end = min(trace.end, span.stimulus.end)
        for wave in (
            *status_waves("model", span.expected.lanes | span.expected.lines, first, end),
            *move_waves("model.memory", span.expected.moves, first, end),
            *block_waves(trace.profile, span.state, span.stimulus, first, end),
            *stimulus_waves(span.stimulus, first, end),
        ):
            before = joined.get((wave.scope, wave.name))
            changes = [*(before.changes if before else ()), *wave.changes]
            joined[wave.scope, wave.name] = Wave(wave.scope, wave.name, wave.width, changes)
    write_vcd(file, trace.profile, list(joined.values()), trace.first, trace.end)


WRITERS = {"table": write_table, "csv": write_csv, "vcd": write_waves}


def _line(file: IO[str], cells: tuple[object, ...]) -> None:
    """Write the cells in columns, the last one as long as it is."""
    padded = [f"{cell!s:>{width}}" for cell, width in zip(cells, WIDTHS, strict=False)]
    padded[2] = f"{cells[2]!s:<{WIDTHS[2]}}"
    file.write(f"{' '.join(padded)} {cells[-1]}".rstrip() + "\n")
