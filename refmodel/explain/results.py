"""The runs of a result folder: any moment of one can be explained, the core's lanes beside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from refmodel.explain.moment import MISMATCH, Found, Moment, Played, find_in
from refmodel.explain.trace import SHOWN, Trace, trace_of_played
from refmodel.ground.content import content_of
from refmodel.ground.errors import UserError, near
from refmodel.report.kept import KEPT, Kept, read_kept
from refmodel.report.numbers import counted
from refmodel.world.spans import Span

RESULT = "result.json"
LARGEST = 1 << 28  # bytes of it


class _Part(BaseModel):
    """A part of the file; what is not read here may change."""

    model_config = ConfigDict(frozen=True, strict=True)


class FirstMismatch(_Part):
    """Where a run's core and model part first; the model showed it `latency` cycles earlier."""

    cycle: int
    field: str
    expected: int
    observed: int
    through: str
    latency: int
    track_position: str = ""


class _Run(_Part):
    binding: str
    scenario: str
    simulator: str
    seed: int
    scenario_file: str = ""
    live: bool = False
    policies: dict[str, str] = {}
    programs: list[str] = []
    first_mismatch: FirstMismatch | None

    @property
    def name(self) -> str:
        return f"{self.scenario}/{self.simulator}"


class _Result(_Part):
    runs: list[_Run]


@dataclass(frozen=True)
class RecordedRun:
    """One run of a result: how it was run, where it parted from the model, and what is kept of it.

    `number` is the mismatch it was asked for as, if it was.
    """

    path: Path
    entry: _Run
    kept: Kept | None
    number: int = 0

    @property
    def lag(self) -> int:
        """How late the field of the first mismatch may be."""
        return self.entry.first_mismatch.latency if self.entry.first_mismatch else 0

    @property
    def moment(self) -> Moment:
        """The first mismatch as a cycle of the model: a constant latency earlier."""
        first = self.entry.first_mismatch
        assert first is not None, "asked for of a run that has one"
        return Moment("cycle", first.cycle - first.latency)

    def as_mismatch(self, found: Found) -> Found:
        """Return the cycle found in the model as the run's first mismatch.

        Raises UserError when the model does not show there what the run has recorded.
        """
        first = self.entry.first_mismatch
        assert first is not None, "asked for of a run that has one"
        self._check(found, first)
        shown, wanted = (f"{v:#x}" if v > 1 else str(v) for v in (first.observed, first.expected))
        read = "a read of status returns " if first.through == "read" else ""
        is_ = "" if read else " is"
        what = f"{read}{first.field}{is_} {shown} where the model says {wanted}"
        place = first.track_position or found.place
        return replace(found, moment=Moment(MISMATCH, self.number), what=what, place=place)

    def _check(self, found: Found, first: FirstMismatch) -> None:
        at = self.moment.number - (first.through == "read")
        for span in found.spans:
            lane = (span.expected.lanes | span.expected.lines).get(first.field)
            inside = span.stimulus.first <= at < span.stimulus.end
            if lane is not None and inside and int(lane.at(at)) != first.expected:
                raise UserError(
                    f"{self.path}: in cycle {at} of {self.entry.scenario} the model does not show"
                    f" {first.field} as the run has it; has a file changed since?"
                )

    def as_played(self) -> Played | None:
        """Return the revolution that is kept, for moments in it; None if there is none."""
        if self.kept is None:
            return None
        shown = self.kept.shown
        span = Span(shown.state, shown.stimulus, shown.expected)
        end = shown.stimulus.end
        return Played(
            self.entry.scenario,
            self.kept.scope.profile,
            end,
            self.kept.place,
            iter([span]),
            self.kept,
        )

    def why_not_again(self) -> str:
        """Say why the model alone cannot go through the run again; empty if it can."""
        if not self.entry.scenario_file:
            return "of a bench of one's own"
        return "of host programs run live" if self.entry.live else ""


def recorded_run(folder: Path, moment: Moment | None, name: str = "") -> RecordedRun:
    """Return the run that a moment is asked of, from the folder `run --out` has written.

    For `mismatch:N` that is the N-th run with a mismatch. Otherwise it is the run called `name`, a
    scenario or scenario/simulator; without a name the first with a mismatch, else the first.
    Raises UserError for what is no such result or has no such run.
    """
    file = folder / RESULT if folder.is_dir() else folder
    runs = _read(file)
    if moment is not None and moment.kind == MISMATCH:
        wrong = [n for n, run in enumerate(runs) if run.first_mismatch and _called(run, name)]
        if moment.number > len(wrong):
            there = counted(len(wrong), "run") if wrong else "no run"
            raise UserError(f"--around {moment.text}: {file} has {there} with a mismatch")
        at, number = wrong[moment.number - 1], moment.number
    else:
        at, number = _chosen(file, runs, name), 0
    return RecordedRun(file, runs[at], read_kept(file.with_name(KEPT), at), number)


def _called(run: _Run, name: str) -> bool:
    return name in ("", run.scenario, run.name)


def _chosen(file: Path, runs: list[_Run], name: str) -> int:
    numbers = [n for n, run in enumerate(runs) if _called(run, name)]
    if not numbers:
        names = [known for run in runs for known in (run.scenario, run.name)]
        said = f"--run {name}: {file} has no such run" if name else f"{file}: has no run"
        raise UserError(said + (near(name, names) if name else ""))
    wrong = [n for n in numbers if runs[n].first_mismatch]
    return (wrong or numbers)[0]


def _read(file: Path) -> list[_Run]:
    try:
        return _Result.model_validate_json(content_of(file, LARGEST)).runs
    except UserError as error:
        told = f"{error}; a folder is to be one that `cellstep run --out` has written"
        raise UserError(told) from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        said = f"{place}: {first['msg']}" if place else first["msg"]
        raise UserError(f"{file}: is not a result of `cellstep run`: {said}") from None


def find_in_run(run: RecordedRun, moment: Moment, again: Callable[[], Played]) -> Found:
    """Return a moment of a run: in the revolution that is kept, or where the model passes it.

    `again` lets the model go through the run once more. Raises UserError when the moment never
    comes, or lies outside of what is kept of a run that the model cannot go through.
    """
    asked = run.moment if moment.kind == MISMATCH else moment
    kept = run.as_played()
    if kept is not None and run.kept is not None:
        first = run.kept.shown.stimulus.first
        if run.kept.holds(asked.number) if asked.kind == "cycle" else first == 0:
            found = _found_or_none(kept, asked)
            if found is not None:
                return run.as_mismatch(found) if moment.kind == MISMATCH else found
    found = find_in(played_again(run, again), asked)
    if run.kept is not None and run.kept.holds(found.cycle):
        found = replace(found, core=run.kept, note="")
    return run.as_mismatch(found) if moment.kind == MISMATCH else found


def _found_or_none(played: Played, moment: Moment) -> Found | None:
    try:
        return find_in(played, moment)
    except UserError:
        return None  # in a later revolution, perhaps


def played_again(run: RecordedRun, again: Callable[[], Played]) -> Played:
    """Return the model's way through a run; raise UserError where that is not known."""
    why = run.why_not_again()
    if why:
        stimulus = run.kept.shown.stimulus if run.kept else None
        there = f"cycles {stimulus.first} to {stimulus.end - 1}" if stimulus else "nothing"
        raise UserError(
            f"{run.path}: of {run.entry.name} {there} are kept; beyond them a run {why} cannot be"
            " explained without the core"
        )
    played = again()
    return replace(played, note="\n".join(_not_kept(run)))


def _not_kept(run: RecordedRun) -> Iterator[str]:
    """Say what is known of the core where its lanes are not kept."""
    first = run.entry.first_mismatch
    if run.kept is not None:
        stimulus = run.kept.shown.stimulus
        kept = f"cycles {stimulus.first} to {stimulus.end - 1}"
        yield f"core: its lanes are kept for {kept} of {run.entry.name}"
    until = f"up to cycle {first.cycle - 1} " if first else ""
    yield f"core: {until}all that is compared is as the model's"


def trace_of_run(
    run: RecordedRun, first: int | None, last: int | None, again: Callable[[], Played]
) -> Trace:
    """Return some cycles of a run, by default those around its first mismatch.

    Those of the revolution that is kept have the core's lanes beside the model's. Raises UserError
    for cycles that neither are kept nor can be gone through again.
    """
    around = run.moment.number if run.entry.first_mismatch else None
    asked = [cycle for cycle in (first, last) if cycle is not None] or [around or 0]
    kept = run.as_played()
    chosen = around is not None or first is not None or last is not None
    short = kept is not None and kept.cycles < SHOWN and not chosen  # a span with drives
    if kept is not None and run.kept is not None and all(map(run.kept.holds, asked)) and not short:
        return trace_of_played(kept, first, last, around)
    played = replace(played_again(run, again), core=run.kept)
    return trace_of_played(played, first, last, around)
