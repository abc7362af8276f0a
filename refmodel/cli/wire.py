"""`cellstep wire`: a core's two-wire controller against the published times of the bus."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typing_extensions import TypedDict

from refmodel.cli.margin import Simulator
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
from refmodel.report.numbers import counted

if TYPE_CHECKING:
    from testbenches.wire import WireRun

MOST_SHOWN = 12  # faults of one simulator


def wire_command(
    given: Annotated[Path, typer.Argument(metavar="BINDING", help="The wire's binding.")],
    sim: Annotated[
        Simulator | None,
        typer.Option(help="Which simulator; by default all that are here."),
    ] = None,
    stretch: Annotated[
        int, typer.Option(metavar="CYCLES", min=0, help="Cycles the expander stretches SCL by.")
    ] = 0,
    vcd: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the wires into this VCD file.")
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Let a core's two-wire controller drive a port expander, and check every edge.

    Each time below the minimum of the bus specification is reported, with the measured and the
    required value. hdl_stubs/wire/wire.yaml is an example of a binding.

    Example: cellstep wire hdl_stubs/wire/wire.yaml

    Exit status: 0 without a fault, 1 with one, 2 for bad input, 125 for a core that does not
    build or run.
    """
    from testbenches.toolchain import simulators
    from testbenches.wire import Target, run_wire
    from testbenches.wire_binding import load_wire_binding

    binding, design, sources = load_wire_binding(given)
    runs = [
        run_wire(binding, design, sources, name, Target(stretch_cycles=stretch))
        for name in simulators([sim.value] if sim is not None else [])
    ]
    report(
        quiet,
        as_json,
        full=lambda: _tell_all(runs),
        line=lambda: "\n".join(map(_line, runs)),
        data=lambda: json.dumps([_data(run) for run in runs], indent=1),
    )
    if vcd is not None:
        _write_vcd(runs[0], vcd)
    raise typer.Exit(EXIT_MISMATCH if any(run.problems for run in runs) else EXIT_AGREE)


def _line(run: WireRun) -> str:
    edges, faults = len(run.samples) - 1, counted(len(run.problems), "fault")
    return (
        f"{run.simulator}: {counted(edges, 'edge')},"
        f" {counted(len(run.messages), 'transfer')}, {faults}"
    )


class WireForm(TypedDict):
    """What a run of a two-wire controller showed on one simulator."""

    simulator: str
    """The simulator."""
    edges: int
    """Edges of the two wires."""
    transfers: int
    """Transfers that were decoded."""
    faults: list[str]
    """What does not agree with the bus specification or with what was sent, a sentence each."""


def _data(run: WireRun) -> WireForm:
    return {
        "simulator": run.simulator,
        "edges": len(run.samples) - 1,
        "transfers": len(run.messages),
        "faults": run.problems,
    }


def _tell_all(runs: list[WireRun]) -> None:
    for run in runs:
        _tell(run)


def _tell(run: WireRun) -> None:
    typer.echo(_line(run))
    for line in run.problems[:MOST_SHOWN]:
        typer.echo(f"  {line}")
    if len(run.problems) > MOST_SHOWN:
        typer.echo(f"  and {len(run.problems) - MOST_SHOWN} more")


def _write_vcd(run: WireRun, path: Path) -> None:
    from refmodel.cli.wrote import say_wrote
    from refmodel.drive.wire_vcd import wire_vcd
    from refmodel.report.atomic import write_text

    write_text(path, wire_vcd(run.samples), "--vcd")
    say_wrote(path, "the wires, for any viewer or decoder")
