"""Proves a core equal to the model, or finds the run that shows it is not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import z3

from refmodel.profile import Profile
from refmodel.prove.bounded import search
from refmodel.prove.candidates import Candidate, Finder
from refmodel.prove.induction import WANDERERS, Clock, OutOfTimeError, keep, unproved
from refmodel.prove.second import SECOND, agrees, questions
from refmodel.prove.shorten import shortened
from refmodel.prove.system import System
from refmodel.prove.verdict import BOUNDED, PROVED, REFUTED, Verdict
from refmodel.prove.walk import Draw, Walked, Walker, WalkTrace
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.binding.schema import Binding
from testbenches.harness import Harness, generate
from testbenches.hdl.synth import TooLargeError
from testbenches.prove.product import Product, product
from testbenches.prove.stimulus import Habits
from testbenches.prove.triggers import triggers

RUNS = 256
LONGEST_WALK = 30.0  # seconds of runs side by side
Say = Callable[[str], None]


@dataclass(frozen=True)
class Effort:
    """How hard to try: seconds in all, cycles of each run that is looked at first, search depth."""

    seconds: float = 300.0
    edges: int = 600
    depth: int = 200
    second: bool = True
    seed: int = 1


@dataclass
class Attempt:
    """A proof under way: the system, and what is asked of it."""

    system: System
    draw: Draw
    wander: Draw  # the same for fewer runs, from states that a solver finds
    idle: dict[str, int]
    subject: str
    effort: Effort
    say: Say
    watched: dict[str, z3.BoolRef]
    reached: dict[str, int] = field(default_factory=dict)
    hints: Sequence[Candidate] = ()

    def run(self) -> tuple[Verdict, WalkTrace | None]:
        """Return the verdict, and the run that shows it if it is `refuted`."""
        clock = Clock(self.effort.seconds)
        walker = Walker(self.system, self.watched)
        self.say("running model and core side by side")
        effort = self.effort
        limit = min(LONGEST_WALK, effort.seconds / 4)
        walked = walker.walk(
            self.draw, RUNS, effort.edges, effort.seed, stop=lambda: clock.passed > limit
        )
        self.reached = walked.reached
        if walked.broken is not None:
            verdict, trace = self._refuted(walker, walked.broken, clock)
        else:
            verdict, trace = self._induction(walked, clock), None
            if verdict.verdict != PROVED:
                verdict, trace = self._bounded(walker, verdict, clock)
        verdict.seconds = clock.passed
        return verdict, trace

    def _verdict(self, verdict: str) -> Verdict:
        system = self.system
        return Verdict(
            verdict, self.subject, list(system.claims), list(system.assumed), self.reached
        )

    def _induction(self, walked: Walked, clock: Clock) -> Verdict:
        """Look for relations that follow from themselves, and imply all that is claimed."""
        system = self.system
        verdict = self._verdict(PROVED)
        try:
            candidates = [*self.hints, *Finder(system, walked.samples).find()]
            self.say(f"sifting {len(candidates)} relations")
            kept = keep(system, candidates, clock, self.wander)
            verdict.relations = len(kept.candidates)
            self.say(f"{len(kept.candidates)} relations hold for ever; asking what they imply")
            left = unproved(system, kept.candidates, clock)
        except OutOfTimeError:
            verdict.verdict = BOUNDED
            verdict.why = f"the time, {self.effort.seconds:g} s, was over before induction ended"
            return verdict
        if left:
            verdict.verdict = BOUNDED
            verdict.why = (
                f"{', '.join(left)} does not follow from the {len(kept.candidates)} relations"
                " found between model and core; a hint may help"
            )
        elif self.effort.second:
            self.say(f"asking {SECOND} as well")
            verdict.second = _opinion(questions(system, kept.candidates), clock)
        return verdict

    def _bounded(
        self, walker: Walker, verdict: Verdict, clock: Clock
    ) -> tuple[Verdict, WalkTrace | None]:
        """Search from the reset on for as long as there is time."""
        self.say("searching from the reset on")
        limit = Clock(max(5.0, self.effort.seconds - clock.passed))
        trace, depth = search(self.system, self.effort.depth, limit)
        if trace is None:
            verdict.verdict, verdict.depth = BOUNDED, max(0, depth)
            return verdict, None
        found = walker.replay(trace.start, trace.inputs)
        assert found is not None, "what a solver finds happens on numbers, too"
        return self._told(self._verdict(REFUTED), found, shortest=True), found

    def _refuted(
        self, walker: Walker, trace: WalkTrace, clock: Clock
    ) -> tuple[Verdict, WalkTrace | None]:
        """Make the run short, and see whether a shorter one can be."""
        self.say(f"they differ after {len(trace)} edges; looking for a shorter run")
        short = shortened(walker, trace, self.idle)
        limit = Clock(min(10.0, max(1.0, self.effort.seconds - clock.passed)))
        sooner, depth = search(self.system, len(short) - 1, limit)
        if sooner is not None:
            found = walker.replay(sooner.start, sooner.inputs)
            assert found is not None, "what a solver finds happens on numbers, too"
            short = shortened(walker, found, self.idle)
        shortest = sooner is not None or depth >= len(short) - 1
        return self._told(self._verdict(REFUTED), short, shortest), short

    def _told(self, verdict: Verdict, trace: WalkTrace, shortest: bool) -> Verdict:
        verdict.broken = [name.split(".", 1)[1] for name in trace.broken]
        verdict.broken = list(dict.fromkeys(verdict.broken))
        verdict.length, verdict.shortest = len(trace) - 1, shortest
        return verdict


def _opinion(texts: Sequence[str], clock: Clock) -> str:
    """Say what another solver makes of the questions of a proof."""
    try:
        agreed = agrees(texts, clock.seconds)
    except ImportError:
        return f"none, {SECOND} is not installed"
    if agreed is None:
        return f"{SECOND} ran out of time"
    return f"{SECOND} finds the same" if agreed else f"{SECOND} does NOT agree"


@dataclass
class Proof:
    """A verdict on a binding's core, and the run that refutes it if one does."""

    verdict: Verdict
    binding: Binding
    profile: Profile
    harness: Harness
    product: Product | None = None
    trace: WalkTrace | None = None


def prove_binding(
    path: Path, policies: dict[str, str], effort: Effort, say: Say = lambda _: None
) -> Proof:
    """Prove the core of a binding equal to the model, or refute it.

    Raises UserError for a bad binding, CannotRun for a core that yosys does not take.
    """
    binding = load_binding(path)
    ports = preflight(binding)
    profile = binding.load_profile().with_policies(policies)
    harness = generate(binding, ports)
    subject = f"core {binding.core.top} equals the model of {profile.name}"
    say("reading the core")
    try:
        both = product(binding, profile, ports, harness)
    except TooLargeError as error:
        verdict = Verdict(BOUNDED, subject, [], [], {}, why=str(error))
        return Proof(verdict, binding, profile, harness)
    both.system.reduce()
    attempt = attempt_on(both, subject, effort, say)
    verdict, trace = attempt.run()
    return Proof(verdict, binding, profile, harness, both, trace)


def attempt_on(both: Product, subject: str, effort: Effort, say: Say) -> Attempt:
    """Return the attempt to prove a product."""
    system = both.system
    dtype = Walker(system).dtype
    habits = Habits(both, RUNS, dtype, effort.seed)
    wander = Habits(both, WANDERERS, dtype, effort.seed)
    idle = {name: 0 for name in system.inputs if name.startswith(("drive.", "host."))}
    idle |= {name: 1 for name in idle if name.endswith("_enable")}
    return Attempt(system, habits.draw, wander.draw, idle, subject, effort, say, triggers(both))
