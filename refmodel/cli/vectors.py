"""`cellstep vectors`: a scenario as files for a bench in any simulator."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from refmodel.cli.options import Policies, Programs, Seed, chosen_policies
from refmodel.cli.wrote import say_wrote


def vectors_command(
    scenario: Annotated[
        str,
        typer.Argument(
            metavar="SCENARIO", help="A scenario file, or a shipped one such as quick/sync_poll."
        ),
    ],
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="The new folder for the files.")],
    binding: Annotated[
        Path | None,
        typer.Option(
            metavar="BINDING",
            help="The core the benches are for; by default one with the ports of hdl_stubs/stub.",
        ),
    ] = None,
    profile: Annotated[
        str | None,
        typer.Option(
            metavar="PROFILE", help="A shipped profile, or a file; by default the binding's."
        ),
    ] = None,
    policy: Policies = None,
    programs: Programs = None,
    seed: Seed = 1,
) -> None:
    """Write golden vectors: the inputs of a scenario and the expected outputs, edge by edge.

    Example: cellstep vectors quick/sync_poll --binding binding.yaml --out vectors

    The folder has lists for $readmemh, tables in CSV, and a bench that plays and checks them,
    in Verilog-2005 and in VHDL. Its README.txt says how to run it. No simulator is needed.
    Exit status: 0, 2 for bad input, 125 for a core that does not compile.
    """
    del programs  # taken already
    from testbenches.binding.load import load_binding
    from testbenches.vectors.folder import VectorsOrder, shipped_ports, write_vectors

    core = load_binding(binding if binding is not None else shipped_ports())
    order = VectorsOrder(
        scenario, seed, chosen_policies(policy), profile, own_core=binding is not None
    )
    files = write_vectors(core, order, out)
    say_wrote(out, ", ".join(files))
