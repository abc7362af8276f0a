"""The first mismatch of a run, as its result.json has it, to be explained like any other moment."""

from __future__ import annotations

import shlex
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from refmodel.explain.moment import MISMATCH, Found, Moment
from refmodel.ground.errors import UserError
from refmodel.report.numbers import counted

RESULT = "result.json"


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


class _Run(_Part):
    binding: str
    seed: int
    reproduce: str
    first_mismatch: FirstMismatch | None


class _Result(_Part):
    runs: list[_Run]


@dataclass(frozen=True)
class Mismatched:
    """A run that ended in a mismatch: how it was run, and where it parted from the model."""

    path: Path
    number: int
    binding: Path
    scenario: str
    policies: dict[str, str]
    seed: int
    first: FirstMismatch
    programs: tuple[Path, ...] = ()

    @property
    def cycle(self) -> int:
        """The cycle to explain: in the model, a constant latency earlier."""
        return self.first.cycle - self.first.latency

    def told(self, found: Found) -> Found:
        """Return the cycle found in the model as this mismatch.

        Raises UserError when the model does not show there what the run has recorded.
        """
        self._check(found)
        first = self.first
        shown, wanted = (f"{v:#x}" if v > 1 else str(v) for v in (first.observed, first.expected))
        read = "a read of status returns " if first.through == "read" else ""
        is_ = "" if read else " is"
        what = f"{read}{first.field}{is_} {shown} where the model says {wanted}"
        return replace(found, moment=Moment(MISMATCH, self.number), what=what)

    def _check(self, found: Found) -> None:
        at = self.cycle - (self.first.through == "read")
        for span in found.spans:
            lane = (span.expected.lanes | span.expected.lines).get(self.first.field)
            inside = span.stimulus.first <= at < span.stimulus.end
            if lane is not None and inside and int(lane.at(at)) != self.first.expected:
                raise UserError(
                    f"{self.path}: in cycle {at} of {self.scenario} the model does not show"
                    f" {self.first.field} as the run has it; has a file changed since?"
                )


def read_mismatch(path: Path, number: int) -> Mismatched:
    """Return the `number`-th run of a result that has a mismatch, from the folder of `run --out`.

    Raises UserError for what is no such result, or has fewer.
    """
    file = path / RESULT if path.is_dir() else path
    try:
        result = _Result.model_validate_json(file.read_bytes())
    except OSError as error:
        raise UserError(
            f"{file}: cannot be read: {error.strerror}; {MISMATCH}:N is asked of the folder"
            " `cellstep run --out` has written"
        ) from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        said = f"{place}: {first['msg']}" if place else first["msg"]
        raise UserError(f"{file}: is no result of `cellstep run`: {said}") from None
    runs = [(run, run.first_mismatch) for run in result.runs if run.first_mismatch]
    if number > len(runs):
        there = counted(len(runs), "run") if runs else "no run"
        raise UserError(f"--around {MISMATCH}:{number}: {file} has {there} with a mismatch")
    run, mismatch = runs[number - 1]
    words = shlex.split(run.reproduce)
    given = list(pairwise(words))
    return Mismatched(
        file,
        number,
        Path(run.binding),
        next((value for option, value in given if option == "--suite"), ""),
        dict(_policy(value) for option, value in given if option == "--policy"),
        run.seed,
        mismatch,
        tuple(Path(value) for option, value in given if option == "--programs"),
    )


def _policy(text: str) -> tuple[str, str]:
    name, _, value = text.partition("=")
    return name, value
