"""`cellstep run`: compares cores with the model."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from refmodel.cli.options import HistoryFile, Policies, Programs, Seed, chosen_policies
from refmodel.cli.reporting import AsJson, Quiet, report
from refmodel.cli.wrote import write_and_show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from refmodel.report.result import SuiteResult
    from refmodel.report.whole_folder import Content, WholeFolder


class Simulators(StrEnum):
    """What `--sim` takes."""

    icarus = "icarus"
    verilator = "verilator"
    both = "both"

    @property
    def names(self) -> list[str]:
        """The simulators' names."""
        return ["icarus", "verilator"] if self is Simulators.both else [self.value]


def run_command(
    bindings: Annotated[
        list[Path], typer.Argument(metavar="BINDING", help="One or more binding files.")
    ],
    suite: Annotated[
        str,
        typer.Option(
            metavar="SUITE",
            help="quick, status, block, aimed, counters, spec, flux, flux_lengths,"
            " recording, drive or hazard; a folder of scenarios, or one scenario.",
        ),
    ] = "status",
    sim: Annotated[
        Simulators | None, typer.Option(help="Which simulators; by default all that are here.")
    ] = None,
    seed: Seed = 1,
    live: Annotated[
        bool, typer.Option("--live", help="Run the host programs against the core itself.")
    ] = False,
    policy: Policies = None,
    programs: Programs = None,
    history: HistoryFile = None,
    after: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SCENARIO",
            help="Play this scenario first in the same simulator: it may leave values in registers"
            " without a reset. May be repeated.",
        ),
    ] = None,
    behind: Annotated[list[str] | None, typer.Option(hidden=True)] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 as well when a field is not exercised.")
    ] = False,
    trace: Annotated[
        bool,
        typer.Option(
            "--trace",
            help="Write every signal of the core around each mismatch to --out, as a VCD. The"
            " simulator resumes from a snapshot shortly before it.",
        ),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="Folder for report.html, result.json, junit.xml, report.txt, waves, and what"
            " explain needs.",
        ),
    ] = None,
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Compare a core with the model, cycle by cycle, and show the first mismatch.

    Example: cellstep run binding.yaml --suite status --out results

    Fields that agree but were never exercised are listed first, in amber. VERDICTS.md says what
    each verdict promises.

    Exit status: 0 agree, 1 mismatch, 2 bad input or nothing compared, 125 a core that does not
    build or run.
    """
    from rich.console import Console

    from refmodel.ground.errors import UserError
    from refmodel.report.exercised import status_of
    from refmodel.report.progress import Progress
    from refmodel.report.result import WAVES, worst_status
    from refmodel.report.result_json import to_json
    from refmodel.report.terminal import show_all, total
    from testbenches.suite import Options, run_bindings

    if behind:
        raise UserError("--behind: is now called --after")
    options = Options(
        simulators=sim.names if sim else (),
        seed=seed,
        policies=chosen_policies(policy),
        live=live,
        programs=programs or (),
        strict=strict,
        after=after or (),
        trace=trace,
    )
    if trace and out is None:
        raise UserError("--trace: the waves go to the folder of results; give --out FOLDER")
    with _results(out) if out else nullcontext() as folder:
        with Progress(Console(stderr=True)) as progress:
            results = run_bindings(bindings, suite, options, progress.say)
        status = worst_status([status_of(result) for result in results])
        if history is not None:
            _record(history, results)

        def show() -> None:
            report(
                quiet,
                as_json,
                full=lambda: show_all(Console(), results),
                line=lambda: "\n".join(total(result) for result in results),
                data=lambda: to_json(results),
            )

        def files() -> Iterator[tuple[str, Content]]:
            from refmodel.lessons.catalogue import lessons_about
            from refmodel.report.outdir import result_files

            return result_files(results, lessons_about(results))

        write_and_show(folder, out, files, show, status, WAVES)
    raise typer.Exit(status)


def _results(out: Path) -> WholeFolder:
    """Return the folder of results; a run without one starts sooner without what writes it."""
    from refmodel.report.outdir import ResultFolder

    return ResultFolder(out)


def _record(path: Path, results: Sequence[SuiteResult]) -> None:
    """Write verdicts to a history."""
    from refmodel.report.history import History
    from refmodel.report.terminal import total

    history = History(path, lambda text: typer.echo(text, err=True))
    for result in results:
        name = str(Path(result.scope.binding).resolve())
        for simulator in result.simulators:
            own = [outcome for outcome in result.outcomes if outcome.simulator == simulator]
            run = history.begin("run", name, simulator, result.seed)
            history.add(run, len(own), sum(outcome.cycles for outcome in own), {})
            seconds = sum(outcome.seconds for outcome in own)
            history.end(run, result.verdict, seconds, summary=total(result))
    history.close()
