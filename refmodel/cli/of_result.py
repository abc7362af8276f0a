"""What `explain` and `trace` share where they are asked of the results of a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.ground.errors import UserError

if TYPE_CHECKING:
    from refmodel.explain.moment import Played
    from refmodel.explain.results import RecordedRun

ScenarioOrResult = Annotated[
    str,
    typer.Argument(
        metavar="SCENARIO",
        help="A scenario file, or a shipped one such as status/iso_sectors; or a folder"
        " that run --out wrote, to see the core's lanes beside the model's.",
    ),
]
RunName = Annotated[
    str,
    typer.Option(
        "--run",
        metavar="NAME",
        help="With a result folder: a scenario, or scenario/simulator; by default the first run"
        " with a mismatch.",
    ),
]


def is_result(given: str) -> bool:
    """Return whether what is given is what `cellstep run --out` has written."""
    from refmodel.explain.results import RESULT

    path = Path(given)
    return path.is_dir() or path.name == RESULT


def given_by_user(context: typer.Context, name: str) -> bool:
    """Return whether an option stands on the command line."""
    source = context.get_parameter_source(name)
    return source is not None and source.name == "COMMANDLINE"


def refuse_own(context: typer.Context) -> None:
    """Raise UserError for an option that a run has settled."""
    for name in ("profile", "policy", "seed"):
        if given_by_user(context, name):
            raise UserError(f"--{name}: a recorded run has its own; leave it out")


def again(run: RecordedRun) -> Played:
    """Return the model's way through a recorded run, with the core as it was bound."""
    from refmodel.explain.moment import played_on
    from refmodel.host.catalogue import use_programs
    from testbenches.model_side import model_side

    entry = run.entry
    for file in entry.programs:
        use_programs(Path(file))
    return played_on(
        *model_side(Path(entry.binding), entry.scenario_file, entry.policies, entry.seed)
    )
