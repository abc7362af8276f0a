"""A whole run compared: model and stimulus on one side, evidence on the other, up to a mismatch.

No simulator is needed: whoever recorded the evidence, the finding is the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from refmodel.block.registers import State
from refmodel.engine.cause import Cause, find_cause
from refmodel.engine.compare import CHANNEL_BIT, Compared, Mismatch, SpanChecker
from refmodel.engine.core_separator import Recovery
from refmodel.engine.evidence import Evidence, Reads
from refmodel.engine.finding import AccessSeen, Finding, Shown
from refmodel.engine.history import History
from refmodel.engine.meetings import Meetings
from refmodel.engine.revolution import Revolution, revolution
from refmodel.engine.separator_verdict import Recovered
from refmodel.engine.settling import Settling
from refmodel.engine.stirred import Stirred
from refmodel.engine.symptoms import symptoms
from refmodel.engine.timeline import Timeline
from refmodel.engine.unreadable import Unreadable, UnreadableBytes
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.profile import Profile

LAST_ACCESSES = 4  # listed with a finding


class Places(Protocol):
    """Where on the track a cycle lies, for whoever knows."""

    def place(self, cycle: int) -> str:
        """Say what is under the head in a cycle."""

    def places(self, span: int) -> tuple[tuple[int, str], ...]:
        """Return the cycle in which each named place of a span begins."""


class Nowhere:
    """The places of a track nobody knows."""

    def place(self, cycle: int) -> str:
        """Say that it is not known."""
        del cycle
        return "not known"

    def places(self, span: int) -> tuple[tuple[int, str], ...]:
        """Return no place."""
        del span
        return ()


@dataclass(frozen=True)
class Held:
    """What is held to the model: fields, lines and inner registers with their latency in cycles.

    Nothing before cycle `start` counts, which is the last one of the reset.
    """

    fields: Mapping[str, int]
    lines: Mapping[str, int] = field(default_factory=dict)
    memory: bool = False
    start: int = 0


@dataclass(frozen=True)
class ComparedRun:
    """What a comparison found: the first mismatch if any, how far it went, and a span to draw."""

    finding: Finding | None
    cycles: int
    reads: int
    moves: int
    fields: Mapping[str, Compared]
    shown: Shown | None
    recovered: Recovered | None = None
    stirred: Mapping[str, int] = field(default_factory=dict)
    revolutions: tuple[Revolution, ...] = ()
    met: Meetings = field(default_factory=Meetings)
    unreadable: Unreadable = field(default_factory=Unreadable)


class Comparison:
    """Holds one run's evidence to a profile's model.

    `separator` follows the core's own separator, if it has one: the block then gets the channel
    bits that delivers. `begin` is the model's state before the first span, if not that of a reset.
    """

    def __init__(
        self,
        profile: Profile,
        held: Held,
        places: Places | None = None,
        separator: Recovery | None = None,
        begin: State | None = None,
    ) -> None:
        self._profile = profile
        self._held = held
        self._places = places or Nowhere()
        self._separator = separator
        self._timeline = Timeline(profile, held.lines)
        if begin is not None:
            self._timeline.state = begin
        self._stirred = Stirred()
        self._met = Meetings()
        self._unreadable = UnreadableBytes(profile.status, held.fields, held.start)
        lags = (*held.fields.values(), *held.lines.values())
        self._settling = Settling(profile.reset_leaves, max(lags, default=0))
        self._checker = SpanChecker(
            profile.status, dict(held.fields), held.start, lines=dict(held.lines)
        )
        self._history = History(profile)
        self._spans = 0
        self._revolutions: list[Revolution] = []
        self._last: Shown | None = None
        self._shown: Shown | None = None
        self._found: Finding | None = None

    def run(self, stimuli: Iterable[Stimulus], evidence: Evidence) -> ComparedRun:
        """Compare span after span until one has a mismatch.

        Raises what the evidence raises when it is not whole.
        """
        for stimulus in stimuli:
            if self.take(stimulus, evidence):
                break
        else:
            self._judge_separator()
        return self.found()

    def take(self, stimulus: Stimulus, evidence: Evidence) -> bool:
        """Compare the next span; return whether it has a mismatch, after which none is taken."""
        seen, mismatch = self._span(self._spans, stimulus, evidence)
        self._spans += 1
        self._last = seen
        bit = float(self._profile.cycles_per_bit)
        wrong = None if mismatch is None else mismatch.cycle
        self._revolutions.append(revolution(seen.stimulus, seen.expected, bit, wrong))
        if self._shown is None or mismatch is not None:
            self._shown = seen
        if mismatch is not None:
            self._found = self._finding(mismatch, seen)
        else:
            self._history.follow(seen.state, seen.stimulus, seen.expected, seen.stimulus.end)
        return mismatch is not None

    def _judge_separator(self) -> None:
        """Hold the core's separator to what it must do over the whole run, now that it is over."""
        separator, seen = self._separator, self._last
        if separator is None or seen is None:
            return
        mismatch = separator.verdict(seen.stimulus.end)
        if mismatch is not None:
            self._shown, self._found = seen, self._finding(mismatch, seen)

    def found(self) -> ComparedRun:
        """Return what has been found so far."""
        checker, separator = self._checker, self._separator
        return ComparedRun(
            self._found,
            checker.cycles_compared,
            checker.reads_compared,
            checker.moves_compared,
            checker.fields,
            self._shown,
            separator.recovered() if separator is not None else None,
            self._stirred.counts,
            tuple(self._revolutions),
            self._met,
            self._unreadable.found,
        )

    def _span(
        self, number: int, stimulus: Stimulus, evidence: Evidence
    ) -> tuple[Shown, Mismatch | None]:
        """Compare one span; return it as it is drawn, and its first mismatch."""
        state, separator = self._timeline.state, self._separator
        self._stirred.add(stimulus)
        observed = evidence.observed(stimulus.first, stimulus.end)
        if separator is not None:
            stimulus, observed = separator.follow(stimulus, observed)
        expected = self._timeline.run(stimulus)
        self._met.take(stimulus, expected, self._profile.slots)
        self._unreadable.take(stimulus, expected)
        if separator is not None:
            expected = separator.expect(expected, stimulus, observed)
        reads = evidence.reads(stimulus)
        if not self._settling.over:
            observed, reads = self._settling.leave_open(
                stimulus, expected, observed, reads, self._profile.status
            )
        moved = evidence.moves(stimulus.end) if self._held.memory else None
        if moved is not None:
            self._stirred.moved(expected.moves)
        mismatch = self._checker.check(expected, observed, reads, moved, stimulus.reset_begins)
        since = max(stimulus.first, self._checker.start)
        places = self._places.places(number)
        moves = moved[0] if moved else None
        slots = self._profile.slots
        shown = Shown(state, stimulus, expected, observed, reads, since, places, moves, slots=slots)
        return shown, mismatch

    def _finding(self, mismatch: Mismatch, shown: Shown) -> Finding:
        """Say of a mismatch where and when it is, why, and what the host did before."""
        target = mismatch.cycle - mismatch.lag
        self._history.follow(shown.state, shown.stimulus, shown.expected, target + 1)
        earlier = self._history.before(mismatch.field)
        lags = {**self._held.fields, **self._held.lines}
        noticed = symptoms(mismatch, self._profile, shown, earlier, lags)
        return Finding(
            mismatch,
            self._cause(mismatch, shown),
            self._places.place(mismatch.cycle - mismatch.lag),
            float(mismatch.cycle * self._profile.cycle_ns),
            accesses_before(shown.stimulus, shown.reads, mismatch.cycle),
            shown,
            tuple(earlier),
            tuple(noticed) if mismatch.field != CHANNEL_BIT else (),
            profile=self._profile,
            lags=lags,
        )

    def _cause(self, mismatch: Mismatch, shown: Shown) -> Cause:
        """Say why the model's field is what it is in the cycle of the mismatch."""
        if self._separator is not None and mismatch.field == CHANNEL_BIT:
            return self._separator.cause(mismatch)
        return find_cause(mismatch, self._profile, shown.state, shown.stimulus, shown.observed)


def accesses_before(
    stimulus: Stimulus, reads: Reads, cycle: int, count: int = LAST_ACCESSES
) -> list[AccessSeen]:
    """Return the last bus cycles up to `cycle`, reads of status with what was returned."""
    values = zip(reads.value.tolist(), reads.unknown.tolist(), strict=True)
    returned = dict(zip(reads.cycle.tolist(), values, strict=True))
    end = int(np.searchsorted(stimulus.access_cycle, cycle, side="right"))
    part = slice(max(0, end - count), end)
    rows = zip(
        stimulus.access_cycle[part].tolist(),
        stimulus.access_kind[part].tolist(),
        stimulus.access_mask[part].tolist(),
        stimulus.access_value[part].tolist(),
        strict=True,
    )
    return [
        AccessSeen(at, kind, mask, *returned.get(at, (value & (mask or WORD), 0)))
        for at, kind, mask, value in rows
    ]
