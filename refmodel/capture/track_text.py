"""The table of a track, as the terminal shows it."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console
from rich.table import Table

from refmodel.capture.track_summary import TrackSummary
from refmodel.media.survey import ID, FieldSeen, Part
from refmodel.report.numbers import counted, signed

MOST = 12  # of a kind of region listed; the JSON has all


def show_track(console: Console, summary: TrackSummary) -> None:
    """Print what is on a track."""
    first = summary.turns.revolutions[0]
    console.print(
        f"{summary.name}: {counted(len(summary.bits), 'channel bit')} a revolution of"
        f" {first.length_ns / 1e6:.3f} ms, {counted(len(summary.turns.revolutions), 'revolution')}",
        style="bold",
        markup=False,
    )
    for line in (*summary.turns.notes, *_revolutions(summary)):
        console.print(line, markup=False, highlight=False, soft_wrap=True)
    console.print()
    console.print(_parts(summary))
    console.print()
    for line in _regions(summary):
        console.print(line, markup=False, highlight=False, soft_wrap=True)


def _revolutions(summary: TrackSummary) -> Iterator[str]:
    """Yield how long each revolution is."""
    lengths = [r.length_ns / 1e6 for r in summary.turns.revolutions]
    mean = sum(lengths) / len(lengths)
    spread = max(lengths) - min(lengths)
    yield (
        f"revolutions: {mean:.3f} ms on average, {1e3 * spread:.1f} us between shortest and"
        f" longest; cells {signed(summary.percent(summary.turns.revolutions[0]), 2)} % against"
        f" {summary.bit_ns:g} ns in the first"
    )


def _parts(summary: TrackSummary) -> Table:
    """Return a row a field or gap."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("bit", "ms"):
        table.add_column(name, justify="right")
    for name in ("part", "content", "check code"):
        table.add_column(name, overflow="fold")
    for part in summary.parts:
        ms = f"{summary.time_of(part.first_bit) / 1e6:.3f}"
        table.add_row(str(part.first_bit), ms, part.name, _content(part), _code(part))
    return table


def _content(part: Part) -> str:
    """Say what is in a part."""
    if not isinstance(part, FieldSeen):
        return part.content
    if part.kind == ID and len(part.body) == 4:
        cylinder, head, number, size = part.body
        return f"cylinder {cylinder}, head {head}, number {number}, size code {size}"
    return counted(len(part.body), "byte") if part.body else f"byte {part.mark:02X}"


def _code(part: Part) -> str:
    """Say whether a part's check code is right."""
    if not isinstance(part, FieldSeen) or part.crc_stored is None:
        return ""
    if part.crc_ok:
        return f"{part.crc_stored:04X} right"
    return f"{part.crc_stored:04X} wrong, should be {part.crc_right:04X}"


def _regions(summary: TrackSummary) -> Iterator[str]:
    """Yield what is unusual on the track."""
    syncs = summary.syncs
    yield f"sync word 0x{summary.sync_word:04X}: {counted(len(syncs), 'time')}" + (
        f", first at channel bit {syncs[0]},"
        f" {summary.time_of(syncs[0]) / 1e6:.3f} ms after the index"
        if syncs
        else ""
    )
    cells = [
        f"bits {r.first_bit} to {r.end_bit - 1}: {signed(r.percent, 1)} %" for r in summary.regions
    ]
    yield from _listed("cells of another length", cells, "none, all within 1.5 %")
    weak = [
        f"bits {r.first} to {r.last}: {r.weak} read both ways, one bit more or less in"
        f" {counted(r.slips, 'revolution')}"
        for r in summary.weak
    ]
    alone = len(summary.turns.revolutions) < 2
    none = "not known, it takes two revolutions to see" if alone else "none"
    yield from _listed("weak regions", weak, none)
    silent = [
        f"revolution {s.revolution}, bit {s.bit}: {s.length_ns / 1e3:.1f} us without a pulse"
        for s in summary.silences
    ]
    yield from _listed("silent regions", silent, "none")


def _listed(title: str, lines: list[str], none: str) -> Iterator[str]:
    """Yield a title and its lines, or that there is none."""
    if not lines:
        yield f"{title}: {none}"
        return
    yield f"{title}: {len(lines)}"
    yield from (f"  {line}" for line in lines[:MOST])
    if len(lines) > MOST:
        yield f"  and {len(lines) - MOST} more; --json has all"
