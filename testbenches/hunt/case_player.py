"""Plays drawn cases into one core, all in one simulator session."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from multiprocessing.util import Finalize
from pathlib import Path

from refmodel.ground.errors import UserError
from refmodel.ground.garbage import garbage_put_off
from refmodel.ground.scratch import scratch
from refmodel.hunt.aims import Aim
from refmodel.hunt.case import READ, WRITE, DrawnCase
from refmodel.hunt.draw import BOTH_WAYS, Drawer, Reach
from refmodel.hunt.found import Batch, Failed, Kind
from refmodel.hunt.source import SourceCounts
from refmodel.report.result import AGREE, ERROR, Outcome
from refmodel.world.scenario import Scenario
from testbenches.binding.depth import depth_of
from testbenches.binding.load import load_binding
from testbenches.binding.reachable import reachable
from testbenches.binding.schema import Binding
from testbenches.hdl.vhdl import is_vhdl
from testbenches.hunt.coverage import read_counts
from testbenches.job import Asked
from testbenches.lockstep import Lockstep
from testbenches.on_demand import OnDemand
from testbenches.suite import quiet

BITS, LONG = 400, 4000  # channel bits of a case, and of a long one: quicker by the cycle
EVERY = 4  # seeds of which one draws a long case
PATIENCE, SLOWEST = 60.0, 20_000.0  # seconds beside the cycles of what is played; cycles a second


@dataclass(frozen=True)
class Quarry:
    """What is hunted: a binding's core on a simulator, with policies of the model."""

    path: Path
    simulator: str
    policies: dict[str, str] = field(default_factory=dict)
    seed: int = 1
    coverage: bool = False  # the simulator counts what ran of the core's source


class CasePlayer:
    """One core in a simulator that stays, beside the model; a context."""

    def __init__(self, quarry: Quarry) -> None:
        self._quarry = quarry
        self._binding = load_binding(quarry.path)
        self._stack = ExitStack()
        self._work = self._stack.enter_context(scratch("cellstep-"))
        self._lockstep = Lockstep(self._binding, self._work, quarry.seed, quarry.policies)
        self._folder = self._work / quarry.simulator
        self._simulator: OnDemand | None = None
        self.reach = reach_of(self._binding)
        self.strays = True
        self.reachable = reachable(self._binding)

    def __enter__(self) -> CasePlayer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the simulator, and remove what it left."""
        self._end_simulator()
        self._stack.close()

    def _end_simulator(self) -> None:
        if self._simulator is not None:
            self._simulator.close()
        self._simulator = None

    @garbage_put_off()
    def play(self, cases: Sequence[DrawnCase], fresh: bool = False) -> list[Outcome]:
        """Play cases in order; return an outcome for each.

        Beside the drawn accesses the bench makes some at addresses of no register, unless `strays`
        is off. `fresh` starts the simulator anew: nothing is left in the core's registers. Raises
        UserError for a core that does not run.
        """
        if not self.reach.resets and len(cases) > 1:  # each begins as the first one does
            return [outcome for case in cases for outcome in self.play([case], fresh=True)]
        if fresh or not self.reach.resets:
            self._end_simulator()
        lockstep, name = self._lockstep, self._quarry.simulator
        lockstep.with_strays = self.strays
        lasts = self.reach.lasts
        given = [case.scenario(f"case {n}", lasts=lasts) for n, case in enumerate(cases)]
        scenarios = [
            (self._work / f"{n}.yaml", Scenario.model_validate(data))
            for n, data in enumerate(given)
        ]
        ready = lockstep.prepare(scenarios, quiet)
        lockstep.lay(ready, self._folder)
        if self._simulator is None:
            session = lockstep.session(name, folder=self._folder, coverage=self._quarry.coverage)
            self._simulator = OnDemand(session).__enter__()
        cycles = sum(p.disk.cycles for p in ready) * self._binding.clock.edges_a_cycle
        try:
            asked = Asked(lockstep.runs(ready))
            played = self._simulator.play(asked, PATIENCE + cycles / SLOWEST)
        except BaseException:
            self._end_simulator()
            raise
        outcomes = [
            lockstep.outcome(p, name, done, self._folder)
            for p, done in zip(ready, played, strict=True)
        ]
        for outcome in outcomes:
            if outcome.verdict == ERROR or (outcome.verdict != AGREE and outcome.finding is None):
                raise UserError(outcome.note)
        return outcomes

    @garbage_put_off()
    def batch(self, seeds: range, aims: Sequence[Aim] = ()) -> Batch:
        """Draw and play the cases of some seeds, some of which have an aim."""
        batch = Batch(seeds)
        outcomes = self.play([self.drawn(seed, aims) for seed in seeds])
        for seed, outcome in zip(seeds, outcomes, strict=True):
            batch.cycles += outcome.cycles
            batch.met += outcome.met
            if outcome.finding is not None:
                kind, cycle = Kind.of(outcome.finding), outcome.finding.mismatch.cycle
                batch.failed.append(Failed(seed, kind, cycle))
        if self._quarry.coverage:
            batch.source = self._source_counts()
        return batch

    def refuse_coverage(self) -> None:
        """Raise UserError unless the simulator can count what of the core's source has run."""
        if self._quarry.simulator != "verilator":
            raise UserError("--coverage needs Verilator, give --sim verilator")
        if any(is_vhdl(Path(name)) for name in self._binding.core.sources):
            raise UserError("--coverage needs a core in Verilog: that of a VHDL core is generated")

    def _source_counts(self) -> SourceCounts:
        """End the simulator, which tells only then what of the source it has run."""
        assert self._simulator is not None, "it has just played"
        counted, self._simulator = self._simulator.finish(), None
        return read_counts(counted, self._lockstep.ports.sources)

    def drawn(self, seed: int, aims: Sequence[Aim] = ()) -> DrawnCase:
        """Return the case of a seed."""
        bits = LONG if seed % EVERY == 0 else BITS
        return Drawer(self.reach, seed, aims=aims).case(bits)


_players: dict[int, tuple[Quarry, CasePlayer]] = {}  # of this process, by thread


def play_batch(quarry: Quarry, seeds: range, aims: Sequence[Aim] = ()) -> Batch:
    """Play the cases of some seeds: what a worker is asked for, here or on another machine.

    Its simulator stays for the next call from the same thread.
    """
    own = threading.get_ident()
    known, player = _players.get(own, (None, None))
    if player is None or known != quarry:
        if player is not None:
            player.close()
        player = CasePlayer(quarry)
        _players[own] = quarry, player
        Finalize(None, close_players, exitpriority=10)
    return player.batch(seeds, aims)


def close_players() -> None:
    """End the simulators of this process."""
    while _players:
        _players.popitem()[1][1].close()


def reach_of(binding: Binding) -> Reach:
    """Return what of a core a case can reach."""
    shape = binding.bus_shape
    busy = dict.fromkeys(binding.registers, shape.busy)
    lasts = {(READ, name): cycles for name, cycles in busy.items()}
    lasts |= {(WRITE, name): cycles for name, cycles in busy.items()}
    for name in binding.registers:
        more = (len(getattr(shape, name)) - 1) * shape.step
        lasts[READ if name == "status" else WRITE, name] += more
    longest = max(lasts.values(), default=0)
    return Reach(
        binding.reset.cycles,
        list(binding.registers),
        list(binding.level_inputs),
        binding.memory is not None,
        longest + 1,
        max(depth_of(binding).deepest, shape.step if shape.in_halves else 0),
        bool(binding.reset.port),
        lasts,
        BOTH_WAYS - (binding.memory.ways_lacking if binding.memory is not None else set()),
    )
