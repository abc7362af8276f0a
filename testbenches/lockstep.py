"""Lockstep: player, simulator, recorder, model and checker, wired together for one binding."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from threading import get_ident

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.comparison import Comparison, Held
from refmodel.engine.finding import Finding
from refmodel.ground.errors import UserError, in_file
from refmodel.ground.stimulus import Stimulus
from refmodel.report.mismatch_vcd import BITS_AFTER, BITS_BEFORE
from refmodel.report.result import Outcome
from refmodel.world.timed import TimedTrack
from testbenches.binding.roles import MOVES
from testbenches.binding.schema import Binding
from testbenches.harness import BEYOND, generate
from testbenches.job import Run, RunDone, Traced
from testbenches.player import value_line
from testbenches.prepared import Preparation, Prepared, Progress
from testbenches.recorder import Recorder
from testbenches.separated import recovery_of
from testbenches.simulator import Session


def _silent(said: str) -> None:
    """Say nothing: of a run that nobody waits for."""
    del said


UNTRACED = "--trace: no snapshot of the run has come to the mismatch; run it alone"
OWN_ENABLE, EARLY = 2, 3  # what a run got stuck at, or went on in spite of
MOVES_EARLY = (
    "status changes without an active edge of the clock: what it is after one edge it is not "
    "before the next; does it depend on the clock's level, or on an input straight through?"
)
ENDING, LOOPING = 120, 10  # seconds for a run beside its cycles; with a loop in the core's files


class Lockstep(Preparation):
    """One core beside the model.

    `run` plays what `prepare` made ready into the core, on one simulator, and yields an outcome a
    scenario. With `live`, the programs run against the core itself, and the model goes through the
    accesses they made.
    """

    def __init__(
        self, binding: Binding, work: Path, seed: int, policies: dict[str, str], live: bool = False
    ) -> None:
        super().__init__(binding, work, seed, policies, live)
        self.loops: list[str] = []  # combinational loops in the core's files, if any are known
        self.printed: dict[str, list[str]] = {}  # what the core printed, by simulator
        waived = binding.waived_fields
        self._lags = {
            name: binding.lag(name) for name in (*FIELD_NAMES, UNUSED) if name not in waived
        }
        self._lines = {
            w.lane: binding.latency.get(w.lane, 0)
            for w in binding.lines_observed
            if w.lane not in waived
        }
        if binding.observe.channel_bit is not None and CHANNEL_BIT not in waived:
            self._lines[CHANNEL_BIT] = binding.latency.get(CHANNEL_BIT, 0)
        self._compares_memory = binding.memory is not None and MOVES not in waived
        self._say: Progress = _silent
        self._traced = False

    def trace(self) -> None:
        """Have the sessions to come leave snapshots, from which a mismatch is gone through again.

        Its outcome then has every signal of the core around it. Raises UserError where a process
        cannot leave copies of itself.
        """
        if not Path("/proc/self/fd").exists():
            raise UserError("--trace takes Linux: elsewhere a simulator leaves no snapshots")
        self._traced = True
        self.harness = generate(self.binding, self.ports, traced=True)

    def session(
        self, simulator: str, number: int = 0, folder: Path | None = None, coverage: bool = False
    ) -> Session:
        """Return a simulator session for this core; those at work at once differ in number."""
        folder = folder or self._folder(simulator)
        which = (folder, self.seed, number, coverage, self._traced)
        return Session(simulator, self.harness, self.ports, *which)

    def _folder(self, simulator: str) -> Path:
        return self._work / simulator

    def run(self, prepared: list[Prepared], session: Session, say: Progress) -> Iterator[Outcome]:
        """Play the prepared scenarios in one session and compare each with the model."""
        self._say = say
        name = session.simulator
        playing = [p for p in prepared if not p.skipped]
        cycles = sum(p.disk.cycles for p in playing)
        say(f"{name}: building and running {cycles / 1e6:.1f} M cycles")
        runs = self.runs(playing)
        done = {d.index: d for d in (self.play(playing, session, runs) if runs else [])}
        for p in prepared:
            if p.skipped:
                yield Outcome(p.scenario.name, name, p.seed, "skipped", note=p.skipped)
            else:
                say(f"{name}: comparing {p.scenario.name}")
                yield self.outcome(p, name, done[p.index])

    def with_signals(self, p: Prepared, outcome: Outcome, session: Session) -> Outcome:
        """Return an outcome with every signal around its mismatch, if `trace` has been called.

        The session is the one that has played it.
        """
        if outcome.finding is None or not self._traced:
            return outcome
        cycle, bit = outcome.finding.mismatch.cycle, p.disk.profile.cycles_per_bit
        self._say(f"{session.simulator}: writing the signals around the mismatch")
        first = max(0, int(cycle - BITS_BEFORE * bit))
        wanted = Traced(first, int(cycle + BITS_AFTER * bit) + 1, cycle)
        signals = session.signals(p.index, wanted)
        if signals is not None:
            return replace(outcome, signals=signals)
        return replace(outcome, note="; ".join(filter(None, (outcome.note, UNTRACED))))

    def outcome(
        self, p: Prepared, simulator: str, done: RunDone, folder: Path | None = None
    ) -> Outcome:
        """Say what became of a run that was played; its records lie in `folder` if one is given."""
        which = (p.scenario.name, simulator, p.seed)
        if done.skipped:
            return Outcome(*which, "skipped", note=done.skipped)
        if done.stuck and done.stuck != EARLY:
            return Outcome(*which, "mismatch", 0, 0, done.seconds, note=self._stuck(done))
        if done.failed:
            return Outcome(*which, "error", note=in_file(p.path, done.failed))
        found = self.compare(p, simulator, done, folder)
        if done.stuck == EARLY and found.verdict == "agree":
            return replace(found, verdict="mismatch", note=MOVES_EARLY)
        return found

    def _stuck(self, done: RunDone) -> str:
        """Say what a core never did that the run waited for."""
        at = f"in cycle {done.cycles}"
        if done.stuck == OWN_ENABLE:
            return f"{at} the core's own clock enable stays off: clock.enabled_by is never active"
        bus = self.binding.bus
        assert bus is not None, "only a bus waits"
        assert bus.acknowledge is not None, "for its acknowledge"
        return (
            f"{at} {done.waiting}, after {done.accesses} other accesses, is not acknowledged: '"
            f"{bus.acknowledge.port}' has stayed inactive for {bus.acknowledge.timeout} cycles; are"
            " its level and that of reset right?"
        )

    def play(
        self,
        prepared: list[Prepared],
        session: Session,
        runs: list[Run],
        instead: Mapping[int, Path] | None = None,
    ) -> list[RunDone]:
        """Give the session the events of the prepared scenarios and let it play the runs.

        `instead` has event files to take in place of those prepared.
        """
        self.lay(prepared, self._folder(session.simulator), instead)
        cycles = len(runs) * max(p.disk.cycles for p in prepared)
        patience = LOOPING if self.loops else ENDING
        return session.run(runs, patience + cycles * self.binding.clock.edges_a_cycle / 20_000)

    def lay(
        self,
        prepared: Sequence[Prepared],
        folder: Path,
        instead: Mapping[int, Path] | None = None,
    ) -> None:
        """Lay the events of prepared scenarios where a session finds them, and the memory."""
        folder.mkdir(parents=True, exist_ok=True)
        for p in prepared:
            (folder / f"{p.index}.events").unlink(missing_ok=True)
            (folder / f"{p.index}.events").hardlink_to(
                (instead or {}).get(p.index, self.events(p.index))
            )
            if self.binding.memory is not None:
                (folder / f"{p.index}.memory").unlink(missing_ok=True)
                (folder / f"{p.index}.memory").hardlink_to(self._memory_file(p.disk.memory))

    def _memory_file(self, memory: NDArray[np.uint16]) -> Path:
        """Return the file with the words of a memory; those that are alike have one."""
        path = self._work / f"{sha256(memory.tobytes()).hexdigest()[:20]}.words"
        if not path.exists():
            part = path.with_suffix(f".{get_ident()}")
            part.write_bytes(memory.astype(">u2").tobytes())
            with suppress(FileExistsError):  # laid just now, and perhaps being linked to
                path.hardlink_to(part)
            part.unlink()
        return path

    def runs(self, prepared: Sequence[Prepared]) -> list[Run]:
        """Return what a session plays for prepared scenarios."""
        return [Run(p.index, live=self.live_host(p) if self.live else None) for p in prepared]

    def compare(
        self, prepared: Prepared, simulator: str, done: RunDone, folder: Path | None = None
    ) -> Outcome:
        """Compare one finished run with the model, span by span, up to a mismatch."""
        disk = prepared.disk
        recorder = Recorder(
            self.binding,
            self.profile.status,
            folder or self._folder(simulator),
            prepared.index,
            disk.resets,
        )
        held = Held(self._lags, self._lines, self._compares_memory, disk.start - 1)
        as_drives = not isinstance(disk.track, TimedTrack)  # else bits come wherever a file says
        recovery = recovery_of(
            self.binding, self.profile, judged=as_drives, pulse_cycles=disk.pulse_cycles
        )
        comparison = Comparison(disk.profile, held, disk, recovery)
        played = self._told_of(prepared, simulator, self._played_of(prepared, done))
        found = comparison.run(played, recorder)
        if found.finding is not None:
            found = replace(found, finding=self._with_value_line(found.finding, prepared.index))
        timed = isinstance(disk.track, TimedTrack)  # such a disk has no rate to keep up with
        slots = disk.profile.slot_rate.problem if found.moves and not timed else ""
        return Outcome(
            prepared.scenario.name,
            simulator,
            prepared.seed,
            "mismatch" if found.finding else "agree",
            found.cycles,
            found.reads,
            done.seconds,
            found.finding,
            done.result,
            note="; ".join(filter(None, (prepared.note, slots))),
            moves=found.moves,
            shown=found.shown,
            recovered=found.recovered,
            fields=found.fields,
            stirred=found.stirred,
            unreadable=found.unreadable,
            revolutions=found.revolutions,
            met=found.met,
        )

    def _with_value_line(self, finding: Finding, index: int) -> Finding:
        """Return a finding with what stood on the pin of the channel bit's value."""
        drive = self.harness.drive
        if "bit" not in drive.slots:
            return finding
        line = value_line(self.events(index), drive, finding.shown.stimulus.end)
        return replace(finding, shown=replace(finding.shown, value_line=line))

    def _told_of(
        self, prepared: Prepared, simulator: str, stimuli: Iterable[Stimulus]
    ) -> Iterator[Stimulus]:
        """Yield the run's stimuli, and say which revolution each is, of how many."""
        name, total = prepared.scenario.name, prepared.scenario.revolutions
        for number, stimulus in enumerate(stimuli, 1):
            if total > 1:
                self._say(f"{simulator}: comparing {name}, revolution {number} of {total}")
            yield stimulus

    def _played_of(self, prepared: Prepared, done: RunDone) -> Iterator[Stimulus]:
        """Yield the run's stimuli as far as all is recorded, if it was ended early."""
        if done.cycles >= prepared.disk.cycles:
            yield from self.stimuli(prepared, done)
            return
        end = done.cycles - BEYOND // 2
        for stimulus in self.stimuli(prepared, done):
            if stimulus.first < end:
                resets = tuple((a, min(b, end)) for a, b in stimulus.resets if a < end)
                part = stimulus.between(stimulus.first, min(stimulus.end, end))
                yield replace(part, resets=resets)
