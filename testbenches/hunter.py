"""Plays drawn cases into a core, many in one simulator session, and makes failing ones small."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import count
from pathlib import Path

import yaml

from refmodel.ground.errors import UserError
from refmodel.hunt.case import DrawnCase
from refmodel.hunt.draw import Drawer, Reach
from refmodel.hunt.found import Failure, Hunted, Kind
from refmodel.hunt.shrink import shrunk
from refmodel.report.atomic import write_text
from refmodel.report.result import ERROR, Outcome
from refmodel.world.scenario import Scenario
from testbenches.binding.load import load_binding
from testbenches.binding.reachable import reachable
from testbenches.binding.schema import Binding
from testbenches.lockstep import Lockstep

BATCH = 60  # cases in a session
BITS = 400  # channel bits of a case
Say = Callable[[str], None]


class Hunter:
    """Hunts one core on one simulator."""

    def __init__(
        self, path: Path, simulator: str, policies: dict[str, str], say: Say, seed: int = 1
    ) -> None:
        self._given = path
        self._binding = load_binding(path)
        self._simulator = simulator
        self._policies = policies
        self._say = say
        self._seed = seed
        self.reach = reach_of(self._binding)

    def hunt(self, seconds: float, most: int, keep_going: bool = False) -> Hunted:
        """Play cases until some fail, the time is up, or `most` were played.

        With `keep_going` it goes on to the end, and finds one failure of each kind. Raises
        UserError for a core that does not run.
        """
        given = (str(self._given), self._simulator, self._seed)
        found = Hunted(*given, reachable=reachable(self._binding), policies=self._policies)
        began = time.monotonic()
        for first in count(0, BATCH):
            seeds = range(self._seed + first, self._seed + min(first + BATCH, most))
            left = seconds - (time.monotonic() - began)
            if not seeds or (first and left <= 0) or (found.failures and not keep_going):
                break
            self._batch(seeds, found)
            self._say(f"{self._simulator}: {found.cases} cases, {found.cycles / 1e6:.2f} M cycles")
        found.seconds = time.monotonic() - began
        return found

    def _batch(self, seeds: Sequence[int], found: Hunted) -> None:
        """Play the cases of some seeds; a failure of a new kind is played again and made small."""
        cases = [Drawer(self.reach, seed).case(BITS) for seed in seeds]
        outcomes = self.play(cases)
        found.cases += len(cases)
        for outcome in outcomes:
            found.met += outcome.met
        found.cycles += sum(outcome.cycles for outcome in outcomes)
        for seed, case, outcome in zip(seeds, cases, outcomes, strict=True):
            if outcome.finding is None:
                continue
            kind = Kind.of(outcome.finding)
            alike = [failure for failure in found.failures if failure.kind == kind]
            if alike:
                alike[0].seeds.append(seed)
                continue
            if not self._fails_as(kind)([case])[0]:
                found.flaky.append(seed)
                continue
            self._say(f"{self._simulator}: seed {seed} fails, making it small")
            found.failures.append(self._small(kind, case, seed))

    def _small(self, kind: Kind, case: DrawnCase, seed: int) -> Failure:
        """Return the failure of a case, as small as it can be."""
        small = shrunk(case, self._fails_as(kind), self.reach.busy)
        (outcome,) = self.play([small])
        assert outcome.finding is not None, "a small case fails, or it would not have been kept"
        return Failure(kind, small, outcome.finding, [seed])

    def _fails_as(self, kind: Kind) -> Callable[[Sequence[DrawnCase]], list[bool]]:
        """Return a function that says which cases fail in one way."""

        def fails(cases: Sequence[DrawnCase]) -> list[bool]:
            outcomes = self.play(cases) if cases else []
            return [o.finding is not None and Kind.of(o.finding) == kind for o in outcomes]

        return fails

    def play(self, cases: Sequence[DrawnCase]) -> list[Outcome]:
        """Play cases in one session; return an outcome for each."""
        with tempfile.TemporaryDirectory(prefix="cellstep-", ignore_cleanup_errors=True) as folder:
            work = Path(folder)
            lockstep = Lockstep(self._binding, work, self._seed, self._policies)
            scenarios = [
                (work / f"{n}.yaml", Scenario.model_validate(case.scenario(f"case {n}")))
                for n, case in enumerate(cases)
            ]
            prepared = lockstep.prepare(scenarios, _quiet)
            session = lockstep.session(self._simulator)
            try:
                outcomes = list(lockstep.run(prepared, session, _quiet))
            finally:
                with suppress(OSError):
                    session.stop()
        for outcome in outcomes:
            if outcome.verdict == ERROR:
                raise UserError(outcome.note)
        return outcomes


def write_case(failure: Failure, folder: Path, number: int) -> Path:
    """Write the scenario that shows a failure, and return its file."""
    kind = failure.kind
    name = f"{kind.clause.lower()}_{kind.field}_{number}"
    about = f"Found by a hunt, seed {failure.seeds[0]}: {kind.field} breaks {kind.clause}."
    data = failure.case.scenario(name, about)
    path = folder / f"{name}.yaml"
    write_text(path, yaml.safe_dump(data, sort_keys=False, width=96, default_flow_style=None))
    return path


def reach_of(binding: Binding) -> Reach:
    """Return what of a core a case can reach."""
    return Reach(
        binding.reset.cycles,
        list(binding.registers),
        list(binding.level_inputs),
        binding.memory is not None,
        binding.bus_shape.busy + 2,
    )


def _quiet(message: str) -> None:
    del message
