"""Hunts one core: batch after batch of drawn cases, and each kind of failure made small."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, repeat
from pathlib import Path

import yaml

from refmodel.hunt.aims import Aim
from refmodel.hunt.case import Access, DrawnCase
from refmodel.hunt.found import Batch, Failure, Hunted, Kind
from refmodel.report.history import History
from testbenches.hunt.case_player import CasePlayer, Quarry, close_players
from testbenches.hunt.pool import Alone, Played, Pool
from testbenches.hunt.smaller import fails, smaller

FIRST = (8, 32)  # cases of the first parts
BATCH = 40  # cases that a worker plays at a time
BEFORE = 3  # cases whose leavings a failure may need
Say = Callable[[str], None]


@dataclass
class Part:
    """Seeds that one worker plays, and what some of their cases aim at."""

    number: int
    seeds: range
    aims: tuple[Aim, ...] = ()

    @property
    def rests_on(self) -> int:
        """After how many parts the aims are those: a power of 2, at most half of those before."""
        return 1 << (self.number // 2).bit_length() - 1 if self.number > 1 else 0


class Hunter:
    """Hunts one core on one simulator; a context. `given` is the binding as the user named it.

    With a history every part of the hunt is recorded as it ends, and what failed before is played
    first. With `coverage` the simulator counts what ran of the source; raises UserError where none
    can.
    """

    def __init__(
        self,
        given: Path,
        simulator: str,
        policies: dict[str, str],
        say: Say,
        seed: int | None = None,
        pool: Pool | None = None,
        history: History | None = None,
        coverage: bool = False,
    ) -> None:
        self._say = say
        self._pool = pool or Alone()
        self._history = history
        self._name = str(given.resolve())
        first = history.next_seed(self._name, simulator) if history and seed is None else 1
        self._seed = first if seed is None else seed
        plain = Quarry(given.resolve(), simulator, policies)
        self._player = CasePlayer(plain)
        if coverage:
            self._player.refuse_coverage()
        self._quarry = replace(plain, coverage=coverage)
        self.hunted = Hunted(
            str(given), simulator, self._seed, reachable=self._player.reachable, policies=policies
        )
        self._run = 0
        self._aims: tuple[Aim, ...] = ()  # of the part that is taken
        self._aims_after: dict[int, tuple[Aim, ...]] = {}  # by how many parts were taken

    @property
    def lasts(self) -> Mapping[Access, int]:
        """For how many cycles an access keeps the core's host."""
        return self._player.reach.lasts

    def __enter__(self) -> Hunter:
        return self

    def __exit__(self, *_: object) -> None:
        self._player.close()
        close_players()

    def hunt(self, seconds: float, most: int, keep_going: bool = False) -> Hunted:
        """Play cases until some fail, the time is up, or `most` were played.

        With `keep_going` it goes on to the end, and finds one failure of each kind. Raises
        UserError for a core that does not run.
        """
        hunted, began = self.hunted, time.monotonic()
        if self._history is not None:
            name = self._quarry.simulator
            self._run = self._history.begin("hunt", self._name, name, self._seed)
            self._play_known()
        for part, batch in self._played(began + seconds, most):
            self._aims = part.aims
            self._take(batch, keep_going)
            done = f"{hunted.cases} cases, {hunted.cycles / 1e6:.2f} M cycles"
            self._say(f"{hunted.simulator}: {done}")
            if hunted.failures and not keep_going:
                break
        self._pool.drop()
        hunted.seconds = time.monotonic() - began
        if self._history is not None:
            found = ", ".join(_described(failure.kind) for failure in hunted.failures)
            self._history.end(self._run, hunted.verdict, hunted.seconds, summary=found)
        return hunted

    def _played(self, end: float, most: int) -> Iterator[tuple[Part, Batch]]:
        """Yield parts and what became of them, in order, until the time `end` or `most` cases.

        Some parts are under way ahead, as many as keep the pool busy. What a part aims at rests on
        parts far enough before it, so that it is the same whoever plays them; and so is where the
        hunt ends.
        """
        coming = self._parts(most)
        under_way: deque[tuple[Part, Played]] = deque()
        taken, part = 0, next(coming, None)
        while under_way or part is not None:
            while part is not None and len(under_way) < self._pool.width:
                if part.number and time.monotonic() > end:
                    part = None
                    break
                if part.rests_on > taken:
                    break
                part.aims = self._aims_after.get(part.rests_on, ())
                played = self._pool.submit(self._quarry, part.seeds, part.aims)
                under_way.append((part, played))
                part = next(coming, None)
            if not under_way:
                return  # the time is up
            first, waits = under_way.popleft()
            yield first, waits()
            taken += 1
            if taken.bit_count() == 1:
                self._aims_after[taken] = self.hunted.aims()

    def _parts(self, most: int) -> Iterator[Part]:
        """Yield the parts of a hunt; the first are short, to be soon at a failure."""
        end, first = self._seed + most, self._seed
        for number, size in enumerate(chain(FIRST, repeat(BATCH))):
            if first >= end:
                break
            yield Part(number, range(first, min(end, first + size)))
            first += size

    def _play_known(self) -> None:
        """Play what failed in earlier runs."""
        assert self._history is not None, "only a history knows"
        known: list[DrawnCase] = []
        for text in self._history.known(self._name):
            try:
                known.append(DrawnCase.of_text(text))
            except ValueError:
                self._say(f"{self._history.path}: a failing case cannot be read; it is left out")
        if not known:
            return
        for case, outcome in zip(known, self._player.play(known), strict=True):
            if outcome.finding is None:
                self.hunted.mended += 1
            else:
                self._add(Failure(Kind.of(outcome.finding), case, outcome.finding))

    def _take(self, batch: Batch, keep_going: bool) -> None:
        """Count a batch; a failure of a new kind is played again and made small.

        The one that shows soonest comes first. Without `keep_going` it is the only one.
        """
        if self.hunted.failures and not keep_going:
            return
        self.hunted.add(batch)
        if self._history is not None:
            met = batch.met.as_texts()
            self._history.add(self._run, len(batch.seeds), batch.cycles, met)
        for seed, kind, _ in sorted(batch.failed, key=lambda failed: failed.cycle):
            failures = self.hunted.failures
            alike = [failure for failure in failures if failure.kind == kind]
            if alike:
                alike[0].seeds.append(seed)
            elif failures and not keep_going:
                continue
            elif (case := self._reproduced(batch.seeds, seed, kind)) is None:
                self.hunted.flaky.append(seed)
            else:
                self._say(f"{self.hunted.simulator}: seed {seed} fails, making it small")
                self._add(smaller(self._player, kind, case, seed, any_clause=not keep_going))

    def _reproduced(self, seeds: range, seed: int, kind: Kind) -> DrawnCase | None:
        """Return the case of a seed, behind as many of those before it as it takes to fail.

        A core keeps what a reset leaves alone, so a case may fail only behind another.
        """
        player = self._player
        drawn = player.drawn(seed, self._aims)
        earlier = range(seeds.start, seed) if player.reach.resets else range(0)
        for before in dict.fromkeys((range(0), earlier)):
            for player.strays in (False, True):  # without, what is left out moves nothing else
                case = self._failing(drawn, before, kind)
                if case is not None:
                    return case
        return None

    def _failing(self, case: DrawnCase, before: range, kind: Kind) -> DrawnCase | None:
        """Return a case as far as its mismatch, behind as many before it as it takes to fail."""
        for seed in (None, *reversed(before[-BEFORE:])):
            if seed is not None:
                case = case.behind(self._player.drawn(seed, self._aims), self._player.reach.start)
            finding = fails(self._player, case, kind)
            if finding is not None:
                short = case.until(finding.mismatch.cycle)
                return short if fails(self._player, short, kind) else case
        return None

    def _add(self, failure: Failure) -> None:
        self.hunted.failures.append(failure)
        if self._history is not None:
            seed = failure.seeds[0] if failure.seeds else 0
            self._history.fail(self._run, seed, _described(failure.kind), failure.case.as_text())


def _described(kind: Kind) -> str:
    return f"{kind.field} breaks {kind.clause} ({kind.through})"


def case_files(
    hunts: Sequence[Hunted], folder: Path, lasts: Mapping[Access, int]
) -> list[tuple[str, str]]:
    """Return the scenario that shows each failure, and note in which file of a folder it lies."""
    files = []
    for number, failure in enumerate((f for h in hunts for f in h.failures), 1):
        kind = failure.kind
        name = f"{kind.clause.lower()}_{kind.field}_{number}"
        seed = f"seed {failure.seeds[0]}" if failure.seeds else "known from an earlier one"
        about = f"Found by a hunt, {seed}: {kind.field} breaks {kind.clause}."
        data = failure.case.scenario(name, about, lasts)
        text = yaml.safe_dump(data, sort_keys=False, width=96, default_flow_style=None)
        files.append((f"{name}.yaml", text))
        failure.file = str(folder / f"{name}.yaml")
    return files
