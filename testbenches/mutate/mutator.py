"""Plays the suites into the mutants of one core, all in one build, and says which are killed."""

from __future__ import annotations

import queue
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import accumulate
from pathlib import Path
from typing import TypeVar

from refmodel.engine.inner import COUNTERS
from refmodel.ground.errors import UserError
from refmodel.ground.processors import processors
from refmodel.mutate.score import EQUIVALENT, KILLED, SURVIVED, UNSEEN, Fate, Mutant, Score
from refmodel.world.find import find_suite
from refmodel.world.scenario import Scenario
from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.harness import Choice, generate
from testbenches.hdl.mutants import CHOICE, Planted, planted
from testbenches.hdl.synth import NetSource
from testbenches.lockstep import Lockstep
from testbenches.mutate.bench import Judged, MutantBench
from testbenches.prepared import Prepared

Say = Callable[[str], None]
Ask = Callable[[list[Fate]], None]  # says of some mutants whether anything can tell them
T = TypeVar("T")
FIRST = 10  # a mutant is asked about that a part of all cycles, one in so many, does not kill
SUITES = ("quick", "block", "aimed")
COUNTING = "counters"  # played as well when the binding observes a counter
SEPARATING = "flux_lengths"  # played as well when the core takes flux


@dataclass(frozen=True)
class Planting:
    """How many changes, from which seed, on which simulator, held to which suites."""

    simulator: str
    suites: Sequence[str] = ()  # none: those that suit the binding
    count: int = 400
    seed: int = 1
    policies: dict[str, str] = field(default_factory=dict)


def suites_for(binding: Binding) -> tuple[str, ...]:
    """Return the suites that are played when none is named."""
    counts = any(watched.lane in COUNTERS for watched in binding.all_observed)
    separates = binding.disk.flux is not None
    return (*SUITES, *[COUNTING] * counts, *[SEPARATING] * separates)


def _scenarios_of(suites: Sequence[str]) -> dict[Path, Scenario]:
    """Return the scenarios of some suites, each once, without those of the lines of a drive."""
    return {p: s for suite in suites for p, s in find_suite(suite) if s.drives is None}


class Mutator:
    """One core with mutants in it, beside the model; `work` is a folder for its files."""

    def __init__(
        self, binding: Binding, given: str, planting: Planting, work: Path, say: Say
    ) -> None:
        self._planting = planting
        self._work = work
        self._say = say
        suites = planting.suites or suites_for(binding)
        self._scenarios = _scenarios_of(suites)
        self.lockstep = Lockstep(binding, work, planting.seed, planting.policies)
        self.planted = self._plant(self.lockstep.ports)
        self.score = Score(given, binding.core.top, planting.simulator, suites, planting.seed)
        self._kills: Counter[int] = Counter()
        self._waiting: queue.SimpleQueue[Mutant] = queue.SimpleQueue()
        self._doubted: queue.SimpleQueue[tuple[Fate, list[int]]] = queue.SimpleQueue()
        self.stopping = threading.Event()  # the run is given up

    def _plant(self, ports: CorePorts) -> Planted:
        """Put the mutants in the place of the core; raise UserError where that cannot be."""
        binding, planting = self.lockstep.binding, self._planting
        if not binding.reset.port:
            raise UserError(
                f"{binding.path}: mutate plays many runs in one simulator, and a core without reset"
                " begins with its initial values only once; give it a reset to mutate"
            )
        if binding.bus is not None and binding.bus.data is not None:
            raise UserError(
                f"{binding.path}: bus.data: mutate cannot take data lines that both core and host"
                " drive, since yosys mixes up what the core drives with what it reads; bind a"
                " module with separate data in and data out"
            )
        self._say("yosys: planting changes")
        source = NetSource(ports.sources, ports.include_dirs, binding.core.defines)
        found = planted(source, ports.top, ports.parameters, planting.count, planting.seed)
        path = self._work / "mutants.v"
        self._work.mkdir(parents=True, exist_ok=True)
        path.write_text(found.text, encoding="utf-8")
        changed = replace(ports, sources=(path,), include_dirs=(), parameters={}, files=(path,))
        self.lockstep.ports = changed
        self.lockstep.harness = generate(binding, changed, Choice(CHOICE, found.width))
        return found

    def run(self, ask: Ask | None = None) -> Score:
        """Play the scenarios into each mutant until one kills it; return what became of all.

        A mutant that lives through the first of them is asked about first, if there is somebody to
        ask: to play all the rest into one that nothing can tell from the core is what takes long.
        Raises CannotRun for a core that does not run, UserError for one that does not agree with
        the model as it is.
        """
        began = time.monotonic()
        ready = self._ready()
        for mutant in self.planted.mutants:
            self._waiting.put(mutant)
        count = min(processors(), len(self.planted.mutants))
        self._all_there = threading.Barrier(count, partial(self._asked_about, ask))
        with ThreadPoolExecutor(count) as pool:
            jobs = [pool.submit(self._work_off, n, ready) for n in range(count)]
            try:
                for job in jobs:
                    self.score.fates += job.result()
            except BaseException:
                self.stopping.set()
                raise
        self.score.fates.sort(key=lambda fate: fate.mutant.number)
        self.score.seconds = time.monotonic() - began
        return self.score

    def _ready(self) -> list[Prepared]:
        """Make the suites' scenarios ready, each once; raise UserError if none applies."""
        found = self.lockstep.prepare(list(self._scenarios.items()), self._say)
        ready = [p for p in found if not p.skipped]
        if not ready:
            raise UserError(f"{self.score.binding}: none of the scenarios applies to the core")
        self.score.scenarios = len(ready)
        return ready

    def _work_off(self, number: int, ready: list[Prepared]) -> list[Fate]:
        """Judge mutants in a simulator of its own until none is left."""
        try:
            return self._judged(number, ready)
        except BaseException:
            self._all_there.abort()
            raise

    def _judged(self, number: int, ready: list[Prepared]) -> list[Fate]:
        found: list[Fate] = []
        simulator = self._planting.simulator
        folder = self._work / f"{simulator}-{number}"
        with MutantBench(self.lockstep, simulator, number, folder, ready) as bench:
            for mutant in self._taken(self._waiting):
                first, rest = self._order(ready)
                judged = bench.judge(mutant, first)
                self._note(judged, ready)
                if judged.fate.fate == KILLED or not rest:
                    found.append(judged.fate)
                else:
                    self._doubted.put((judged.fate, rest))
            try:
                self._all_there.wait()
            except threading.BrokenBarrierError:
                return found  # another one has failed, and says why
            for fate, rest in self._taken(self._doubted):
                if fate.fate == SURVIVED:
                    judged = bench.judge(fate.mutant, rest)
                    self._note(judged, ready)
                    fate = judged.fate
                found.append(fate)
        return found

    def _asked_about(self, ask: Ask | None) -> None:
        """Ask about those that are left; what is not known of them then is played."""
        doubted = list(self._taken(self._doubted))
        if ask is not None:
            ask([fate for fate, _ in doubted])
        for fate, rest in doubted:
            known = fate.fate in (EQUIVALENT, UNSEEN)
            self._doubted.put((fate if known else Fate(fate.mutant), rest))

    def _taken(self, waiting: queue.SimpleQueue[T]) -> Iterator[T]:
        """Yield what waits and nobody has taken yet."""
        while not self.stopping.is_set():
            try:
                yield waiting.get_nowait()
            except queue.Empty:
                return

    def _order(self, ready: Sequence[Prepared]) -> tuple[list[int], list[int]]:
        """Return the scenarios by number, what has killed most for its length first.

        The first ones come to a part of all cycles; the rest stands apart.
        """
        rated = sorted(ready, key=lambda p: -(self._kills[p.index] + 1) / p.disk.cycles)
        order, cycles = [p.index for p in rated], [p.disk.cycles for p in rated]
        most = sum(cycles) / FIRST
        count = 1 + sum(until <= most for until in accumulate(cycles[1:], initial=cycles[0]))
        return order[:count], order[count:]

    def _note(self, judged: Judged, ready: Sequence[Prepared]) -> None:
        """Count a mutant that was judged, and say how far the run is."""
        fate = judged.fate
        self._kills.update(p.index for p in ready if p.scenario.name == fate.scenario)
        self.score.cycles += judged.cycles
        killed = sum(self._kills.values())
        left = self._waiting.qsize()
        verb = "killed" if fate.fate == KILLED else "survived"
        self._say(f"{self._planting.simulator}: {killed} killed, {left} left; {verb} the last")
