"""The model alone: what it shows on each edge on which something arrives, and why."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

import numpy as np

from refmodel.block.fields import FIELD_NAMES
from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.cause import describe
from refmodel.engine.edges import Edge, edges
from refmodel.explain.beside import UNKNOWN, core_values, notes
from refmodel.explain.moment import Played, played_on_model
from refmodel.ground.bus import WRITE_KINDS
from refmodel.ground.errors import UserError
from refmodel.ground.stimulus import LEVEL_INPUTS, Stimulus
from refmodel.profile import Profile
from refmodel.report import words
from refmodel.report.kept import Kept
from refmodel.report.lines import folded, room_of_stream
from refmodel.report.mismatch_vcd import shown_waves
from refmodel.report.waves import (
    Wave,
    block_waves,
    move_waves,
    status_waves,
    stimulus_waves,
    write_vcd,
)
from refmodel.world.scenario import Scenario
from refmodel.world.spans import Span

SHOWN = 200  # cycles, where the user names no range
COLUMNS = (
    *("cycle", "us", "arrives", "window", "count"),
    *("ready", "dma", "writing", "equal", "data", "change"),
)
WIDTHS = (9, 11, 20, 6, 5, 5, 3, 7, 5, 4)
NARROW = (8, 10, 14, 6, 5, 5, 3, 7, 5, 4)
LEAST_ROOM = 110  # columns for all in one line


@dataclass(frozen=True)
class Trace:
    """Cycles `first` .. `end - 1` of a scenario of `cycles` cycles, on the model.

    `core` has the record of a core in some of them, `note` what is known of one elsewhere.
    """

    scenario: str
    profile: Profile
    spans: list[Span]
    first: int
    end: int
    cycles: int
    core: Kept | None = None
    note: str = ""

    @property
    def summary(self) -> str:
        """What is shown, in one line."""
        shown = f"cycles {self.first} to {self.end - 1} of 0 to {self.cycles - 1}"
        return f"{self.scenario}, profile {self.profile.name}: {shown}"

    @property
    def about(self) -> str:
        """What is shown, how to see something else, and what is odd about it."""
        slots = self.profile.slot_rate.problem
        moved = any(len(span.expected.moves) for span in self.spans)
        planned = slots and self.core is None  # a bench of one's own grants what it grants
        notes = (self.note, f"note: {slots}" if moved and planned else "")
        return f"{self.summary}; choose others with --from N --to N" + "".join(
            f"\n{note}" for note in notes if note
        )


@dataclass(frozen=True)
class TraceRow:
    """One edge: what arrived, the model's state after it, and why status changed, if it did."""

    cycle: int
    arrives: str
    after: State
    fields: dict[str, int]
    change: str
    separated: str = ""  # why a separator model took the bit as it did
    core: str = ""  # what the core does otherwise


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
    return trace_of_played(played_on_model(path, scenario, profile, seed), first, last)


def trace_of_played(
    played: Played, first: int | None, last: int | None, around: int | None = None
) -> Trace:
    """Return a range of the cycles of a way through a scenario.

    With neither end given, cycle `around` is in the middle; without it, the first match.
    """
    _check_range(first, last, played.cycles)
    spans = played.spans
    kept = [next(spans)]
    if first is None and last is None:
        at = _first_match(kept[0]) if around is None else around
        first = max(0, at - SHOWN // 2)
    elif first is None:
        first = max(0, (last or 0) - SHOWN + 1)
    first = max(first, kept[0].stimulus.first)
    end = min(played.cycles, first + SHOWN if last is None else last + 1)
    while kept[-1].stimulus.end < end:
        kept = [span for span in kept if span.stimulus.end > first] + [next(spans)]
    return Trace(
        played.scenario, played.profile, kept, first, end, played.cycles, played.core, played.note
    )


def _check_range(first: int | None, last: int | None, cycles: int) -> None:
    """Raise UserError unless the range lies in the scenario."""
    for option, cycle in (("--from", first), ("--to", last)):
        if cycle is not None and not 0 <= cycle < cycles:
            raise UserError(f"{option} {cycle}: the scenario has cycles 0 to {cycles - 1}")
    if first is not None and last is not None and first > last:
        raise UserError(f"--from {first} is after --to {last}; the range would be empty")


def _first_match(span: Span) -> int:
    """Return where sync_equal first rises in a span once reset has ended, or half a view on."""
    start = max((stop for _, stop in span.stimulus.resets[:1]), default=span.stimulus.first)
    lane = span.expected.lanes["sync_equal"]
    rises = lane.cycle[(lane.value == 1) & (lane.cycle >= start)]
    return int(rises[0]) if len(rises) else start + SHOWN // 2


def rows(trace: Trace) -> Iterator[TraceRow]:
    """Yield the trace's edges on which something arrives or status changes, in model or core."""
    said = notes(trace.core, trace.first, trace.end) if trace.core is not None else {}
    waiting = iter([*said.items(), (trace.end, "")])
    noted = next(waiting)
    last = RegisterBlock(trace.profile)
    for edge, stimulus in _edges(trace):
        while noted[0] < min(edge.cycle, trace.end):
            yield _quiet_row(noted, last)
            noted = next(waiting)
        if edge.cycle >= trace.end:
            return
        last.restore(edge.after)
        arrives, core = _arrivals(edge), ""
        if noted[0] == edge.cycle:
            core, noted = noted[1], next(waiting)
        changed = edge.status_before != edge.status_after
        if edge.cycle >= trace.first and (arrives or changed or core):
            row = _row(edge, arrives, trace.profile)
            yield replace(row, separated=_separated(edge, stimulus), core=core)
    while noted[0] < trace.end:
        yield _quiet_row(noted, last)
        noted = next(waiting)


def _edges(trace: Trace) -> Iterator[tuple[Edge, Stimulus]]:
    """Yield the model's edges in a trace's spans, each with the stimulus it is of."""
    for span in trace.spans:
        block = RegisterBlock(trace.profile)
        block.restore(span.state)
        yield from ((edge, span.stimulus) for edge in edges(block, span.stimulus))


def _quiet_row(noted: tuple[int, str], block: RegisterBlock) -> TraceRow:
    """Return a cycle in which only the core does something; the model is as it was."""
    fields = block.settings.status.split(block.status)
    return TraceRow(noted[0], "", block.state, fields, "", core=noted[1])


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
    room = room_of_stream(file)
    _line(file, COLUMNS, room)
    for row in rows(trace):
        us = f"{float(row.cycle * trace.profile.cycle_ns) / 1000:.3f}"
        window, data = f"{row.after.window:04X}", f"{row.fields['data']:02X}"
        flags = [row.fields[name] for name in FIELD_NAMES if name != "data"]
        said = "; ".join(filter(None, (row.change, row.separated, row.core)))
        shown = (row.cycle, us, row.arrives, window, row.after.bit_count, *flags, data, said)
        _line(file, shown, room)


def write_csv(file: IO[str], trace: Trace) -> None:
    """Write the trace as CSV, a line an edge; numbers are decimal."""
    writer = csv.writer(file, lineterminator="\n")
    state = ("window", "sync_word", "bit_count")
    lanes = list(trace.core.shown.observed.lanes) if trace.core is not None else []
    beside = [*(f"core_{name}" for name in lanes), "core_differs"] if lanes else []
    writer.writerow(
        ["cycle", "time_ns", "arrives", *state, *FIELD_NAMES, "change", "separator_why", *beside]
    )
    for row in rows(trace):
        ns = float(row.cycle * trace.profile.cycle_ns)
        shown = [row.cycle, f"{ns:.3f}", row.arrives, *(getattr(row.after, n) for n in state)]
        fields = [row.fields[name] for name in FIELD_NAMES]
        core = _core_cells(trace, row) if lanes else []
        writer.writerow([*shown, *fields, row.change, row.separated, *core])


def _core_cells(trace: Trace, row: TraceRow) -> list[object]:
    """Return what the core shows in a row's cycle, x for what is unknown, and how it differs."""
    core = trace.core
    assert core is not None, "asked for of a core's record"
    if not core.holds(row.cycle):
        return [""] * (len(core.shown.observed.lanes) + 1)
    shown = core_values(core, row.cycle)
    cells: list[object] = ["x" if value == UNKNOWN else value for value in shown.values()]
    return [*cells, row.core]


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
    if trace.core is not None:
        kept = trace.core.shown.stimulus
        first, end = max(trace.first, kept.first), min(trace.end, kept.end)
        of_core = shown_waves(trace.core.shown, trace.core.scope, first, end) if first < end else ()
        joined |= {(wave.scope, wave.name): wave for wave in of_core}
    write_vcd(file, trace.profile, list(joined.values()), trace.first, trace.end)


def write_json(file: IO[str], trace: Trace) -> None:
    """Write the trace's rows as JSON; numbers are decimal."""
    json.dump([row_data(row, trace) for row in rows(trace)], file, indent=1)
    file.write("\n")


def row_data(row: TraceRow, trace: Trace) -> dict[str, object]:
    """Return a row as plain data; of a core that was recorded what it shows, null if unknown."""
    after, ns = row.after, float(row.cycle * trace.profile.cycle_ns)
    data: dict[str, object] = {"cycle": row.cycle, "time_ns": ns, "arrives": row.arrives}
    data |= {"window": after.window, "sync_word": after.sync_word, "bit_count": after.bit_count}
    data |= {**row.fields, "change": row.change, "separator_why": row.separated}
    if trace.core is not None and trace.core.holds(row.cycle):
        shown = core_values(trace.core, row.cycle)
        core = {name: None if value == UNKNOWN else value for name, value in shown.items()}
        data |= {"core": core, "core_differs": row.core}
    return data


WRITERS = {"table": write_table, "csv": write_csv, "vcd": write_waves, "json": write_json}


def _line(file: IO[str], cells: tuple[object, ...], room: int | None) -> None:
    """Write the cells in columns, the last one as long as it is; on a terminal it is folded.

    On one too narrow for it it has lines of its own.
    """
    widths = WIDTHS if room is None or room >= LEAST_ROOM else NARROW
    padded = [f"{cell!s:>{width}}" for cell, width in zip(cells, widths, strict=False)]
    padded[2] = f"{cells[2]!s:<{widths[2]}}"
    head, last = " ".join(padded), str(cells[-1])
    if room is None or widths is WIDTHS:
        for line in folded(f"{head} {last}".rstrip(), room, " " * (len(head) + 1)):
            file.write(line + "\n")
        return
    indent = " " * (widths[0] + 1)
    file.write(head.rstrip() + "\n")
    for line in folded(indent + last, room, indent) if last else ():
        file.write(line + "\n")
