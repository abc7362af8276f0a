"""`cellstep track`: what is on a track."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.options import ProfileName, Seed
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import say_wrote
from refmodel.report.numbers import counted

if TYPE_CHECKING:
    from refmodel.capture.track_summary import TrackSummary


def track_command(
    given: Annotated[
        str,
        typer.Argument(
            metavar="CAPTURE|SCENARIO|IMAGE",
            help="Captured flux (.txt, .csv, .npy, .npz), a waveform (.vcd, .fst, .csv with --map),"
            " a scenario, or a file of sectors (.img).",
        ),
    ],
    wave_map: Annotated[
        Path | None,
        typer.Option(
            "--map",
            metavar="MAP",
            help="The roles of a waveform's signals: disk.flux, or lines.write_gate for a write.",
        ),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(metavar="CAPTURE", help="A second capture, to compare its writes with these."),
    ] = None,
    profile: ProfileName = "pal_dd",
    rate: Annotated[
        str | None,
        typer.Option(metavar="HZ", help="Flux times are ticks at this rate, not ns."),
    ] = None,
    sync: Annotated[
        str, typer.Option(metavar="WORD", help="The sync word to look for.")
    ] = "0x4489",
    sectors: Annotated[int, typer.Option(metavar="N", help="Sectors per track of an image.")] = 9,
    size: Annotated[int, typer.Option(metavar="N", help="Bytes per sector of an image.")] = 512,
    layout: Annotated[str | None, typer.Option("--format", hidden=True)] = None,
    seed: Seed = 1,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw the track: a file that ends in .svg or .png."),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Show what is on a track: fields, check codes, gaps, cell length, weak and silent places.

    The revolutions of a capture are aligned: bits that do not always read alike are weak.

    With a map that names a write gate it shows what was written, and how far pulses were shifted.

    Example: cellstep track capture.txt --rate 24000000 --out track.svg

    Exit status: 0, 1 when the writes of two captures differ, 2 for bad input.
    """
    from rich.console import Console

    from refmodel.capture.track_source import ImageShape, find_track
    from refmodel.capture.track_summary import TrackSummary
    from refmodel.capture.track_text import show_track
    from refmodel.capture.wave_flux import is_write_map
    from refmodel.ground.errors import UserError
    from refmodel.media.flux_list import rate_of
    from refmodel.profile import load_profile
    from refmodel.report.progress import Progress

    if layout is not None:
        raise UserError("--format: is now called --json; the table needs no option")
    if wave_map is not None and is_write_map(wave_map):
        raise typer.Exit(_writes(Path(given), wave_map, against, quiet, as_json))
    if against is not None:
        raise UserError("--against: compares writes; the map must name lines.write_gate")
    if out is not None and out.suffix not in (".svg", ".png"):
        raise UserError(f"--out {out}: no picture; give a name that ends in .svg or .png")
    ticks = None if rate is None else rate_of(rate, "--rate")
    word = _word(sync)
    with Progress(Console(stderr=True)) as progress:
        progress.say(f"track: reading {given}")
        shape = ImageShape(sectors, size)
        summary = TrackSummary(
            find_track(given, load_profile(profile), seed, ticks, shape, wave_map), word
        )
        text = json.dumps(summary.as_json(), indent=1) if as_json else ""
    report(
        quiet,
        as_json,
        full=lambda: show_track(Console(), summary),
        line=lambda: _line(summary),
        data=lambda: text,
    )
    if out is not None:
        _draw(summary, out)


def _line(summary: TrackSummary) -> str:
    """Return what is on a track in one line."""
    parts, weak = counted(len(summary.parts), "field"), counted(len(summary.weak), "weak place")
    return f"{parts}, {counted(len(summary.syncs), 'sync word')}, {weak}"


def _writes(capture: Path, wave_map: Path, against: Path | None, quiet: bool, as_json: bool) -> int:
    """Show the writes of a capture, and how those of another differ; return the exit status."""
    from dataclasses import asdict

    from rich.console import Console

    from refmodel.capture.opened import open_capture
    from refmodel.capture.written import differences, written_in
    from refmodel.capture.written_text import show_differences, show_writes
    from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH

    opened = open_capture(capture, wave_map)
    found = written_in(opened)
    other = written_in(open_capture(against, wave_map)) if against is not None else None
    apart = differences(found, other) if other is not None else []
    alike = sum(one.alike for one in apart)

    def show() -> None:
        show_writes(Console(), str(capture), found, opened.profile)
        show_differences(Console(), apart)

    def data() -> str:
        summary = {"writes": [one.as_json(opened.profile) for one in found]}
        return json.dumps(summary | {"against": [asdict(one) for one in apart]}, indent=1)

    held = f", {alike} of {len(apart)} alike" if apart else ""
    report(
        quiet,
        as_json,
        full=show,
        line=lambda: f"{counted(len(found), 'write')}{held}",
        data=data,
    )
    return EXIT_AGREE if all(one.alike for one in apart) else EXIT_MISMATCH


def _word(text: str) -> int:
    """Return a sync word; raise UserError for none of 16 bits."""
    from refmodel.ground.errors import UserError

    try:
        word = int(text, 0)
    except ValueError:
        word = -1
    if not 0 <= word <= 0xFFFF:
        raise UserError(f"--sync {text}: is not a word of 16 bits, e.g. 0x4489")
    return word


def _draw(summary: object, out: Path) -> None:
    """Write the picture."""
    from refmodel.capture.track_picture import track_picture
    from refmodel.capture.track_summary import TrackSummary
    from refmodel.report.atomic import write_bytes

    assert isinstance(summary, TrackSummary)
    write_bytes(out, track_picture(summary, out.suffix[1:]))
    say_wrote(out, "picture of the track")
