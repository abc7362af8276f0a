"""An attempt to prove that what a system claims always holds, or to find a run that breaks it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import z3

from refmodel.ground.numbers import counted
from refmodel.prove.bounded import search
from refmodel.prove.candidates import Finder
from refmodel.prove.explained import Explained
from refmodel.prove.induction import BusyClock, Clock, OutOfTimeError, Work, keep, unproved
from refmodel.prove.second import SECOND, agrees, questions
from refmodel.prove.seen import Candidate
from refmodel.prove.shorten import shortened
from refmodel.prove.system import System
from refmodel.prove.telling import tellings
from refmodel.prove.verdict import BOUNDED, PROVED, REFUTED, Verdict
from refmodel.prove.walk import Draw, Walked, Walker, WalkTrace, joined
from testbenches.prove.checked import check

RUNS = 256
SHORTER = 10.0  # seconds of a search for a shorter run
FAR = 32  # edges: where a run is longer, the search will hardly come there, and gets less time
ALONE = 300  # edges on which nothing comes, in which a core may go wrong by itself
LOOK = 200  # edges of runs that only count what is met
LONGEST_WALK = 30.0  # seconds of runs side by side
CHECKED = "the model checker that comes with yosys finds no run in which they differ"
Say = Callable[[str], None]


@dataclass(frozen=True)
class Effort:
    """How hard to try: seconds in all, cycles of each run that is looked at first, search depth."""

    seconds: float = 300.0
    edges: int = 900
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
    shown: dict[str, z3.BitVecRef]  # what the core shows, by claim
    reached: dict[str, int] = field(default_factory=dict)
    hints: Sequence[Candidate] = ()
    twins: bool = False  # two versions of one core: the hints may do
    _found: WalkTrace | None = field(default=None, init=False)  # a run of the model checker

    def run(self) -> tuple[Verdict, WalkTrace | None]:
        """Return the verdict, and the run that shows it if it is `refuted`."""
        clock = Clock(self.effort.seconds)
        walker = Walker(self.system, self.watched)
        verdict, trace = self._verdict(PROVED), None
        if self.twins:
            known = self._is_twin(verdict, clock) or self._is_checked(verdict, walker, clock)
        else:
            known = False
        if known:
            self.reached |= walker.walk(self.draw, RUNS, LOOK, self.effort.seed).reached
        else:
            verdict, trace = self._run(walker, clock)
        verdict.seconds = clock.passed
        return verdict, trace

    def _run(self, walker: Walker, clock: Clock) -> tuple[Verdict, WalkTrace | None]:
        """Run the two side by side; prove what never parts, make short what does."""
        if self._found is not None:
            return self._refuted(walker, self._found, clock)
        self.say("running model and core side by side")
        effort = self.effort
        limit = BusyClock(min(LONGEST_WALK, effort.seconds / 4))
        walked = walker.walk(
            self.draw,
            RUNS,
            effort.edges,
            effort.seed,
            stop=lambda: limit.passed > limit.seconds or clock.passed > effort.seconds / 2,
        )
        self.reached |= walked.reached
        if walked.broken is not None:
            return self._refuted(walker, walked.broken, clock)
        verdict, kept = self._induction(walked, clock)
        if verdict.verdict == PROVED or self._follows(verdict, walker, clock, kept):
            return verdict, None
        if self._found is not None:
            return self._refuted(walker, self._found, clock)
        return self._bounded(walker, verdict, clock)

    def _follows(
        self, verdict: Verdict, walker: Walker, clock: Clock, kept: Sequence[Candidate]
    ) -> bool:
        """Ask whether what one step leaves open follows from what was kept in more of them."""
        if self.twins or not kept:
            return False
        return self._is_checked(verdict, walker, clock, kept)

    def _is_twin(self, verdict: Verdict, clock: Clock) -> bool:
        """Prove two versions of a core equal by registers of one name alone, if that does."""
        try:
            kept, left = self._sifted(self.hints, clock)
        except OutOfTimeError:
            return False
        if not left:
            self._conclude(verdict, kept, clock)
        return not left

    def _is_checked(
        self, verdict: Verdict, walker: Walker, clock: Clock, kept: Sequence[Candidate] = ()
    ) -> bool:
        """Ask the model checker, for half of the time left; keep a run that it finds.

        What was `kept` is known to hold.
        """
        self.say("asking the model checker")
        checked = check(self.system, walker, (clock.seconds - clock.passed) / 2, kept)
        self._found = checked.trace
        if checked.never:
            verdict.verdict, verdict.why, verdict.how = PROVED, "", CHECKED
        return checked.never

    def _conclude(self, verdict: Verdict, kept: Sequence[Candidate], clock: Clock) -> None:
        """Put into a verdict what the relations kept prove, and what another solver says."""
        verdict.relations = len(kept)
        if self.effort.second:
            self.say(f"asking {SECOND} as well")
            verdict.second = _opinion(questions(self.system, kept), clock)

    def _verdict(self, verdict: str) -> Verdict:
        system = self.system
        return Verdict(
            verdict, self.subject, list(system.claims), list(system.assumed), self.reached
        )

    def _induction(self, walked: Walked, clock: Clock) -> tuple[Verdict, Sequence[Candidate]]:
        """Look for relations that follow from themselves, and imply all that is claimed.

        Also return those that do follow.
        """
        verdict = self._verdict(PROVED)
        try:
            found = Finder(self.system, walked.samples).find()
            kept, left = self._sifted([*self.hints, *found], clock)
        except OutOfTimeError:
            verdict.verdict = BOUNDED
            verdict.why = f"the time, {self.effort.seconds:g} s, was over before induction ended"
            return verdict, []
        if left and not self.twins:
            kept, left = self._sifted_again(found, walked, clock) or (kept, left)
        if left:
            verdict.verdict, verdict.relations = BOUNDED, len(kept)
            verdict.why = (
                f"{', '.join(left)} does not follow from the {len(kept)} relations"
                " found between model and core; a hint may help"
            )
        else:
            self._conclude(verdict, kept, clock)
        return verdict, kept

    def _sifted(
        self, candidates: Sequence[Candidate], clock: Clock
    ) -> tuple[list[Candidate], list[str]]:
        """Return which candidates hold for ever, and the claims that do not follow from them."""
        self.say(f"checking which of {len(candidates)} likely relations always hold")
        kept = keep(self.system, candidates, clock, self.wander).candidates
        self.say(f"{len(kept)} relations always hold; checking what follows from them")
        return kept, list(unproved(self.system, kept, clock))

    def _sifted_again(
        self, found: Sequence[Candidate], walked: Walked, clock: Clock
    ) -> tuple[list[Candidate], list[str]] | None:
        """Sift once more, with what counts tell besides; None if half of the time left is over.

        These relations are many, and most cores need none of them.
        """
        said = {candidate.said for candidate in found}
        told = Explained(self.system, joined([walked.samples, walked.counting])).find()
        more = [candidate for candidate in told if candidate.said not in said]
        try:
            half = Clock(clock.left / 2)
            return self._sifted([*self.hints, *found, *more], half)
        except OutOfTimeError:
            return None

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
        found = shortened(walker, found, self.idle)
        best = self._telling(walker, found, clock, len(found) - 1)
        return self._refuting(self._verdict(REFUTED), best, shortest=len(best) == len(found)), best

    def _refuted(
        self, walker: Walker, trace: WalkTrace, clock: Clock
    ) -> tuple[Verdict, WalkTrace | None]:
        """Make the run short, and see whether a shorter one can be, and one that tells more."""
        self.say(f"they differ after {counted(len(trace), 'edge')}; looking for a shorter run")
        short = shortened(walker, trace, self.idle)
        limit = self._limit(_patience(short), clock)
        sooner, depth = search(self.system, len(short) - 1, limit)
        if sooner is not None:
            found = walker.replay(sooner.start, sooner.inputs)
            assert found is not None, "what a solver finds happens on numbers, too"
            short = shortened(walker, found, self.idle)
        shortest = sooner is not None or depth >= len(short) - 1
        best = self._telling(walker, short, clock, min(depth, len(short) - 1))
        verdict = self._refuting(self._verdict(REFUTED), best, shortest and len(best) == len(short))
        if len(best) > len(short):
            verdict.sooner = f"{_names(short.broken)} after {len(short) - 1}"
        return verdict, best

    def _telling(self, walker: Walker, short: WalkTrace, clock: Clock, known: int) -> WalkTrace:
        """Return the run that tells most of why they differ; on `known` edges none can."""
        alone = self._alone(walker, short)
        if alone is not None:
            return alone
        patience = _patience(short)
        left = self._limit(patience, clock)
        for telling in tellings(self.system, self.shown, short.broken, len(short)):
            if left.passed > left.seconds:
                break
            self.say("looking for a run that tells more")
            limit = self._limit(min(patience / 2, left.seconds - left.passed), clock)
            found, _ = search(telling.system, telling.depth, limit, known)
            if found is not None:
                plain = shortened(Walker(telling.system), found, self.idle)
                best = walker.replay(plain.start, plain.inputs)
                assert best is not None, "it breaks the claims proper, too"
                return best
        return short

    def _alone(self, walker: Walker, short: WalkTrace) -> WalkTrace | None:
        """Return a run behind whose reset nothing comes, if there is one and `short` is none."""
        busy = [e[n] != value for e in short.inputs[1:] for n, value in self.idle.items()]
        if not any(busy):
            return None
        nothing = {**dict.fromkeys(self.system.inputs, 0), **self.idle}
        return walker.replay(short.start, [short.inputs[0], *[nothing] * ALONE])

    def _limit(self, seconds: float, clock: Clock) -> Work:
        return Work(seconds, Clock(max(1.0, self.effort.seconds - clock.passed)))

    def _refuting(self, verdict: Verdict, trace: WalkTrace, shortest: bool) -> Verdict:
        verdict.broken = _fields(trace.broken)
        verdict.length, verdict.shortest = len(trace) - 1, shortest
        return verdict


def _patience(trace: WalkTrace) -> float:
    """Return for how many seconds a search for a run that is shorter, or tells more, may go on."""
    return SHORTER if len(trace) <= FAR else SHORTER / 4


def _fields(claims: Sequence[str]) -> list[str]:
    """Return the fields that claims speak of, each once."""
    return list(dict.fromkeys(name.split(".", 1)[1] for name in claims))


def _names(claims: Sequence[str]) -> str:
    return ", ".join(_fields(claims))


def _opinion(texts: Sequence[str], clock: Clock) -> str:
    """Say what another solver makes of the questions of a proof."""
    try:
        agreed = agrees(texts, clock.seconds)
    except ImportError:
        return f"none, {SECOND} is not installed"
    if agreed is None:
        return f"{SECOND} ran out of time"
    return f"{SECOND} finds the same" if agreed else f"{SECOND} does NOT agree"
