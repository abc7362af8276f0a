"""The story of a moment in the terminal: what it is, each edge around it, a timing diagram."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import IO

from refmodel.explain.diagram import text_diagram
from refmodel.explain.moment import Found
from refmodel.explain.trace import Trace, TraceRow, row_data, rows
from refmodel.ground.clauses import says
from refmodel.report.lines import folded, room_of_stream
from refmodel.report.numbers import time_text

WHAT = {
    "sync": "match {n} of the sync word",
    "read": "read {n} of status",
    "byte": "byte {n} completes",
    "cycle": "cycle {n}",
}
WHY_INDENT = 9
HEADS = ("cycle", "arrives", "window", "count", "what changes, and why")


def trace_of(found: Found) -> Trace:
    """Return the cycles around a moment as a trace."""
    end = max(span.stimulus.end for span in found.spans)
    return Trace(
        found.scenario, found.profile, found.spans, found.first, found.end, end, found.core
    )


def heading(found: Found) -> str:
    """Say which moment is explained, and where it is."""
    what = found.what or WHAT[found.moment.kind].format(n=found.moment.number)
    when = time_text(float(found.cycle * found.profile.cycle_ns))
    return f"{found.scenario}, profile {found.profile.name}: {what}, cycle {found.cycle}, {when}"


def write_story(file: IO[str], found: Found) -> None:
    """Write heading, place, table and diagram."""
    room = room_of_stream(file)

    def write(text: str, indent: str = "    ") -> None:
        file.write("".join(f"{line}\n" for line in folded(text.rstrip(), room, indent)))

    for line in filter(None, (heading(found), found.place, found.note)):
        write(line)
    file.write("\n")
    for line in _table(list(rows(trace_of(found))), found.cycle):
        write(line, " " * WHY_INDENT)
    clauses = clauses_in(found)
    if clauses:
        file.write("\n")
    for clause in clauses:
        write(f"{clause:<4} {says(clause)}", " " * 5)
    file.write("\n")
    for line in text_diagram(found, room):
        file.write(line.rstrip() + "\n")


def story_json(found: Found) -> str:
    """Return the moment and each edge around it as JSON."""
    trace = trace_of(found)
    data = {
        "scenario": found.scenario,
        "profile": found.profile.name,
        "moment": found.moment.text,
        "what": heading(found),
        "cycle": found.cycle,
        "place": found.place,
        "note": found.note,
        "edges": [row_data(row, trace) for row in rows(trace)],
        "clauses": {clause: says(clause) for clause in clauses_in(found)},
    }
    return json.dumps(data, indent=1)


def _table(shown: list[TraceRow], at: int) -> Iterator[str]:
    """Yield the lines of the cycle table; `>` marks the moment."""
    body = [
        (str(row.cycle), row.arrives, f"{row.after.window:04X}", str(row.after.bit_count))
        for row in shown
    ]
    widths = [max(len(cells[n]) for cells in [HEADS, *body]) for n in range(4)]
    yield "  " + _line(HEADS, widths, HEADS[4])
    for row, cells in zip(shown, body, strict=True):
        mark = "> " if row.cycle == at else "  "
        moved, _, why = row.change.partition(": ")
        yield mark + _line(cells, widths, moved)
        yield from (" " * WHY_INDENT + text for text in (why, row.core) if text)


def _line(cells: tuple[str, ...], widths: list[int], last: str) -> str:
    cycle, arrives, window, count = cells[:4]
    padded = (
        f"{cycle:>{widths[0]}}",
        f"{arrives:<{widths[1]}}",
        f"{window:>{widths[2]}}",
        f"{count:>{widths[3]}}",
        last,
    )
    return "  ".join(padded)


def clauses_in(found: Found) -> list[str]:
    """Return the clauses of the fields that change around the moment, each once."""
    layout = found.profile.status
    names = [
        field.clause
        for row in rows(trace_of(found))
        for field in layout.fields
        if field.name in row.change.partition(":")[0]
    ]
    return sorted(dict.fromkeys(names), key=lambda clause: int(clause[1:]))
