"""`cellstep track`: what is on a track."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import ProfileName, Seed
from refmodel.cli.wrote import say_wrote


class Format(StrEnum):
    """What `--format` takes."""

    table = "table"
    json = "json"


def track_command(
    given: Annotated[
        str,
        typer.Argument(
            metavar="CAPTURE|SCENARIO|IMAGE",
            help="Captured flux (.txt, .csv, .npy, .npz), a scenario, or a file of sectors (.img).",
        ),
    ],
    profile: ProfileName = "pal_dd",
    rate: Annotated[
        str | None,
        typer.Option(metavar="HZ", help="Flux times are ticks of so many a second, not ns."),
    ] = None,
    sync: Annotated[
        str, typer.Option(metavar="WORD", help="The sync word whose places are listed.")
    ] = "0x4489",
    sectors: Annotated[int, typer.Option(help="Sectors of a track of an image.")] = 9,
    size: Annotated[int, typer.Option(help="Bytes of a sector of an image.")] = 512,
    layout: Annotated[Format, typer.Option("--format", help="Form of the output.")] = Format.table,
    seed: Seed = 1,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw the track: a file that ends in .svg or .png."),
    ] = None,
) -> None:
    """Show what is on a track: fields, check codes, gaps, cell length, weak and silent places.

    Several revolutions of a capture are laid over each other: bits that do not read alike are weak.

    Example: cellstep track capture.txt --rate 24000000 --out track.svg

    Exit status: 0, 2 for bad input.
    """
    from rich.console import Console

    from refmodel.capture.track_source import ImageShape, find_track
    from refmodel.capture.track_text import show_track
    from refmodel.capture.track_told import TrackTold
    from refmodel.ground.errors import UserError
    from refmodel.media.flux_list import rate_of
    from refmodel.profile import load_profile
    from refmodel.report.progress import Progress

    if out is not None and out.suffix not in (".svg", ".png"):
        raise UserError(f"--out {out}: a picture ends in .svg or .png")
    ticks = None if rate is None else rate_of(rate, "--rate")
    word = _word(sync)
    with Progress(Console(stderr=True)) as progress:
        progress.say(f"track: reading {given}")
        shape = ImageShape(sectors, size)
        told = TrackTold(find_track(given, load_profile(profile), seed, ticks, shape), word)
        text = json.dumps(told.as_json(), indent=1) if layout is Format.json else ""
    if text:
        typer.echo(text)
    else:
        show_track(Console(), told)
    if out is not None:
        _draw(told, out)


def _word(text: str) -> int:
    """Return a sync word; raise UserError for none of 16 bits."""
    from refmodel.ground.errors import UserError

    try:
        word = int(text, 0)
    except ValueError:
        word = -1
    if not 0 <= word <= 0xFFFF:
        raise UserError(f"--sync {text}: is no word of 16 bits, e.g. 0x4489")
    return word


def _draw(told: object, out: Path) -> None:
    """Write the picture."""
    from refmodel.capture.track_picture import track_picture
    from refmodel.capture.track_told import TrackTold
    from refmodel.report.atomic import write_bytes

    assert isinstance(told, TrackTold)
    write_bytes(out, track_picture(told, out.suffix[1:]))
    say_wrote(out, "picture of the track")
