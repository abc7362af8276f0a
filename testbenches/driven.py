"""Cores that move the lines of drives: their runs laid out with the drives, and judged by rules.

In replay the host program meets the model and the model's drives; the core gets its accesses, the
channel bits and the lines back. Live, the program meets the core. What the drives make of the
core's own lines must be what was played to it: if it is not, the run is laid out anew from these
lines and played again, until it is. Each round is right further than the one before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from refmodel.drive.cable import BACK
from refmodel.drive.cautions import CAUTIONS
from refmodel.drive.register import LINES, DriveRegister
from refmodel.drive.rules import Violation
from refmodel.engine.compare import Mismatch, first_mismatch
from refmodel.engine.comparison import Comparison, Held
from refmodel.ground.bus import DRIVE_LINES, DRIVE_STATUS
from refmodel.ground.errors import in_file, reading
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.host.lacking import MissingRegisterError
from refmodel.host.processor import Processor
from refmodel.report.result import ERROR, MISMATCH, SKIPPED, Outcome
from refmodel.world.cabled import Cabled
from refmodel.world.disk import Disk
from refmodel.world.drive_world import DriveWorld, up_to
from refmodel.world.play import with_accesses
from refmodel.world.scenario import Scenario
from testbenches.job import LiveHost, Run, RunDone
from testbenches.lockstep import Lockstep
from testbenches.player import Player
from testbenches.prepared import Prepared, Progress
from testbenches.recorder import Recorder
from testbenches.simulator import Session

MOST_ROUNDS = 8  # of a live run
GATE = ("write_gate", "write_data")
SHOWN_BROKEN = 5  # broken rules shown in a note


class DriveLockstep(Lockstep):
    """A lockstep whose scenarios may have drives."""

    @property
    def _registers(self) -> list[str]:
        own = [DRIVE_LINES, DRIVE_STATUS] if self.binding.drive is not None else []
        return [*self.binding.registers, *own]

    def live_host(self, prepared: Prepared) -> LiveHost:
        """Return what the simulator needs to run the scenario's program against the core."""
        host = super().live_host(prepared)
        drive = self.binding.drive
        return replace(host, drive_registers=drive.registers if drive is not None else None)

    def _played(self, ready: Prepared) -> Prepared:
        """Write a run's events; with drives, after the program has met the model's."""
        if ready.scenario.drives is None:
            return super()._played(ready)
        missing = self._missing()
        if ready.skipped or missing:
            ready.skipped = ready.skipped or missing
            return ready
        try:
            with reading(ready.path):
                ready.disk = disk = self._with_waits(ready)
                processor = disk.processor(self.shape(disk), self._registers, self._lacking(ready))
                world = DriveWorld(disk, ready.path.parent, processor)
                ready.accesses = kept = self._no_spans(ready)
                for span in world.spans():
                    kept.append(span)
        except MissingRegisterError as error:
            ready.skipped = str(error)
            return ready
        self._write(ready, ready.accesses, self.events(ready.index))
        return ready

    def _spans_on_model(
        self, ready: Prepared, disk: Disk, processor: Processor
    ) -> Iterator[Stimulus]:
        """Yield what a program makes of a run on the model, and on the drives' if it has some."""
        if disk.scenario.drives is None:
            return super()._spans_on_model(ready, disk, processor)
        return DriveWorld(disk, ready.path.parent, processor).spans()

    def _missing(self) -> str:
        """Say what a core lacks to move drives; empty if nothing."""
        if self.binding.drive is None:
            return "the core has no lines of a drive; bind them under drive"
        shown = {watched.lane for watched in self.binding.all_observed}
        missing = [line for line in (*LINES, *GATE) if line not in shown]
        return f"the core does not show the lines {', '.join(missing)}" if missing else ""

    def _write(self, ready: Prepared, spans: Sequence[Stimulus], path: Path) -> None:
        """Write the event file of a run's spans; live, without the accesses."""
        disk = ready.disk
        player = Player(
            self.harness, disk.profile.slots, ready.seed, pulse_cycles=disk.pulse_cycles
        )
        played = (with_accesses(s, []) for s in spans) if self.live else iter(spans)
        for _ in player.write(played, path, ready.disk.cycles):
            pass

    def run(self, prepared: list[Prepared], session: Session, say: Progress) -> Iterator[Outcome]:
        """Play the prepared scenarios and compare each; a live one with drives by itself."""
        alone = [p for p in prepared if self.live and p.scenario.drives is not None]
        others = [p for p in prepared if p not in alone]
        found = dict(zip((p.index for p in others), super().run(others, session, say), strict=True))
        for p in prepared:
            yield found[p.index] if p.index in found else self._live(p, session, say)

    def _live(self, ready: Prepared, session: Session, say: Progress) -> Outcome:
        """Play a live run until the drives agree with what was played."""
        name, scenario = session.simulator, ready.scenario.name
        if ready.skipped:
            return Outcome(scenario, name, ready.seed, SKIPPED, note=ready.skipped)
        spans: Sequence[Stimulus] = ready.accesses
        for number in range(MOST_ROUNDS):
            say(f"{name}: {scenario}, round {number + 1}")
            done = self._play_round(ready, session, spans)
            if done.skipped:
                return Outcome(scenario, name, ready.seed, SKIPPED, note=done.skipped)
            if done.failed:
                note = in_file(ready.path, done.failed)
                return Outcome(scenario, name, ready.seed, ERROR, note=note)
            laid_out = self._from_core(ready, name)
            if _same(spans, laid_out):
                made = self._no_spans(ready)
                for s in laid_out:
                    own = [b for b in done.bus_cycles if s.first <= b.cycle < s.end]
                    made.append(with_accesses(s, own))
                return self.compare(replace(ready, accesses=made), name, done)
            spans = laid_out
        note = f"after {MOST_ROUNDS} rounds the drives still differ from what was played"
        return Outcome(scenario, name, ready.seed, ERROR, note=in_file(ready.path, note))

    def _play_round(self, ready: Prepared, session: Session, spans: Sequence[Stimulus]) -> RunDone:
        """Play spans into the core, its host program live."""
        events = self.events(ready.index).with_suffix(f".{session.simulator}")
        events.unlink(missing_ok=True)
        self._write(ready, spans, events)
        runs = [Run(ready.index, live=self.live_host(ready))]
        (done,) = self.play([ready], session, runs, {ready.index: events})
        return done

    def _from_core(self, ready: Prepared, simulator: str) -> list[Stimulus]:
        """Return the run as the drives make it from what the core showed on its lines."""
        cabled = Cabled(ready.disk, ready.path.parent)
        recorder = self._drive_recorder(ready, simulator)
        spans, before = [], dict.fromkeys(LINES, 0)
        lanes = recorder.observed(0, ready.disk.cycles).lanes
        while not cabled.over:
            span = cabled.span()
            shown = {n: lanes[n].between(span.first, span.end) for n in (*LINES, *GATE)}
            moves = [_first_move(shown[line], before[line]) for line in LINES]
            cut = min((cycle + 1 for cycle in moves if cycle is not None), default=span.end)
            span = up_to(span, cut)
            shown = {n: lane.between(span.first, span.end) for n, lane in shown.items()}
            before = {line: int(shown[line].value[-1]) for line in LINES}
            cabled.take(span.end, shown)
            spans.append(span)
        return spans

    def _drive_recorder(self, ready: Prepared, simulator: str) -> Recorder:
        folder = self._folder(simulator)
        return Recorder(
            self.binding, self.profile.status, folder, ready.index, ready.disk.resets, drive=True
        )

    def compare(
        self, prepared: Prepared, simulator: str, done: RunDone, folder: Path | None = None
    ) -> Outcome:
        """Compare a finished run with the model; with drives, its lines and their rules too."""
        if prepared.scenario.drives is None:
            return super().compare(prepared, simulator, done, folder)
        disk = prepared.disk
        recorder = Recorder(
            self.binding,
            self.profile.status,
            folder or self._folder(simulator),
            prepared.index,
            disk.resets,
        )
        own = self._lines_of(prepared, simulator)
        held = Held(self._lags, self._lines, self._compares_memory, disk.start - 1)
        found = Comparison(disk.profile, held, own).run(prepared.accesses, recorder)
        agrees = found.finding is None and own.mismatch is None and not own.broken
        return Outcome(
            prepared.scenario.name,
            simulator,
            prepared.seed,
            "agree" if agrees else MISMATCH,
            found.cycles,
            found.reads,
            done.seconds,
            found.finding,
            done.result,
            note="\n".join(own.described),
            moves=found.moves,
            shown=found.shown,
            fields=found.fields,
            stirred=found.stirred,
            unreadable=found.unreadable,
            broken=tuple(own.broken),
            line_parted=own.mismatch,
            lost_pulses=own.cabled.lost_pulses,
            revolutions=found.revolutions,
            met=found.met,
        )

    def _lines_of(self, prepared: Prepared, simulator: str) -> _Lines:
        """Return what the core did on the lines of the drives, and what came of it."""
        cabled = Cabled(prepared.disk, prepared.path.parent)
        recorder = self._drive_recorder(prepared, simulator)
        register = DriveRegister()
        mismatch: Mismatch | None = None
        start = prepared.disk.start
        for span in prepared.accesses:
            observed = recorder.observed(span.first, span.end)
            wanted = register.lanes(span)
            first = max(span.first, start)
            found = [
                first_mismatch(
                    line,
                    wanted[line],
                    observed.lanes[line],
                    observed.unknown[line],
                    self.binding.latency.get(line, 0),
                    first,
                    span.end,
                )
                for line in LINES
            ]
            parted = min((m for m in found if m), key=lambda m: m.cycle, default=None)
            mismatch = mismatch or parted
            cabled.take(span.end, {n: observed.lanes[n] for n in (*LINES, *GATE)})
        cabled.finish()
        return _Lines(cabled, mismatch, cabled.violations)


@dataclass(frozen=True)
class _Lines:
    """What a core did on the lines: the first mismatch, the rules broken.

    It answers as the places of a track, too.
    """

    cabled: Cabled
    mismatch: Mismatch | None
    broken: list[Violation]

    def place(self, cycle: int) -> str:
        """Say what is under the head in a cycle."""
        return self.cabled.place(cycle)

    def places(self, span: int) -> tuple[tuple[int, str], ...]:
        """Return no place: a span is not a revolution."""
        del span
        return ()

    @property
    def described(self) -> list[str]:
        """What does not agree, a line each; and what to mind with a real drive, if it writes."""
        lines = []
        if self.mismatch is not None:
            m = self.mismatch
            shown = "unknown (X or Z)" if m.unknown else m.observed
            lines.append(
                f"drive line {m.field} is {shown} in cycle {m.cycle} where the model says"
                f" {m.expected}, {self.cabled.place(m.cycle)}."
            )
        lines += [f"rule broken: {v.described}." for v in self.broken[:SHOWN_BROKEN]]
        more = len(self.broken) - SHOWN_BROKEN
        lines += [f"and {more} more."] if more > 0 else []
        return lines + (
            ["The run writes. " + " ".join(CAUTIONS)] if self.cabled.bus.written else []
        )


def _first_move(lane: Lane, before: int) -> int | None:
    """Return the first cycle in which a line is not as it was before the span."""
    moved = np.flatnonzero(lane.value != before)
    return int(lane.cycle[moved[0]]) if len(moved) else None


def _same(one: Sequence[Stimulus], other: Sequence[Stimulus]) -> bool:
    """Return whether two runs bring the same bits and lines to the core, however they are cut."""
    return all(np.array_equal(a, b) for a, b in zip(_brings(one), _brings(other), strict=True))


def _brings(spans: Sequence[Stimulus]) -> Iterator[np.ndarray]:
    """Yield the bits of a run, when they arrive, and the lines back."""
    yield np.concatenate([s.bit_cycle for s in spans])
    yield np.concatenate([s.bit for s in spans])
    first = np.array([s.first for s in spans], np.int64)
    for line in BACK:
        lane = Lane.of(first, np.array([int(s.back[line].value[0]) for s in spans]))
        yield lane.cycle
        yield lane.value


def lockstep_for(scenarios: Iterable[Scenario]) -> type[Lockstep]:
    """Return the lockstep to run scenarios in: with drives if any has some."""
    return DriveLockstep if any(s.drives is not None for s in scenarios) else Lockstep
