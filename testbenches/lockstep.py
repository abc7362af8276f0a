"""Lockstep: player, simulator, recorder, model and checker, wired together for one binding."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.comparison import Comparison, Held
from refmodel.engine.finding import Finding
from refmodel.ground.bus import BusCycle, BusShape
from refmodel.ground.depth import Inside, quiet_in_reset
from refmodel.ground.errors import in_file, reading
from refmodel.ground.processors import processors
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.workers import run_all
from refmodel.host.processor import MissingRegisterError, Processor
from refmodel.media.writing import Burst
from refmodel.profile import Profile
from refmodel.report.result import Outcome
from refmodel.world.disk import Disk
from refmodel.world.play import with_accesses
from refmodel.world.scenario import HostPart, Scenario
from refmodel.world.timed import TimedTrack
from refmodel.world.turning import Turning
from refmodel.world.world import World
from testbenches.binding.depth import depth_of
from testbenches.binding.ports import CorePorts, preflight
from testbenches.binding.roles import MOVES
from testbenches.binding.schema import Binding
from testbenches.harness import BEYOND, Harness, generate
from testbenches.job import LONGEST_LIVE, LiveHost, Run, RunDone
from testbenches.player import Player, value_line
from testbenches.recorder import Recorder
from testbenches.separated import recovery_of
from testbenches.simulator import Session
from testbenches.strays import Strays

Progress = Callable[[str], None]


def _silent(said: str) -> None:
    """Say nothing: of a run that nobody waits for."""
    del said


OWN_ENABLE, EARLY = 2, 3  # what a run got stuck at, or went on in spite of
MOVES_EARLY = (
    "status changes without an active edge of the clock: what it is after one edge it is not "
    "before the next; does it depend on the clock's level, or on an input straight through?"
)
ENDING, LOOPING = 120, 10  # seconds for a run beside its cycles; with a loop in the core's files
WORTH_WORKERS = 1_000_000  # cycles: the model plays so many in the time that workers take to start


@dataclass
class Prepared:
    """A scenario made ready for one core: its disk and, in replay, the bus cycles of its host."""

    index: int
    scenario: Scenario
    seed: int
    disk: Disk
    accesses: list[Stimulus] = field(default_factory=list)
    written: list[list[Burst]] = field(default_factory=list)
    skipped: str = ""
    note: str = ""
    path: Path = Path()


class Lockstep:
    """One core beside the model.

    `prepare` plays the host programs against the model and writes the events; `run` plays them
    into the core on one simulator and yields an outcome a scenario. With `live`, the programs run
    against the core itself and the model is told what they did.
    """

    def __init__(
        self, binding: Binding, work: Path, seed: int, policies: dict[str, str], live: bool = False
    ) -> None:
        self.binding = binding
        self.seed = seed
        bus = binding.bus
        self.live = live or (bus is not None and bus.acknowledge is not None)
        self.ports: CorePorts = preflight(binding)
        self.profile: Profile = binding.load_profile().with_policies(policies)
        self.harness: Harness = generate(binding, self.ports)
        self.loops: list[str] = []  # combinational loops in the core's files, if any are known
        self.printed: dict[str, list[str]] = {}  # what the core printed, by simulator
        self.with_strays = True  # accesses at addresses of no register, in replay
        self._work = work
        self.depth = depth_of(binding)
        low = self.depth.straight if binding.reset.port else frozenset(binding.level_inputs)
        self._quiet = replace(self.depth, straight=low)  # without a reset levels wait as well
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

    def session(self, simulator: str, number: int = 0, folder: Path | None = None) -> Session:
        """Return a simulator session for this core; those at work at once differ in number."""
        folder = folder or self._folder(simulator)
        return Session(simulator, self.harness, self.ports, folder, self.seed, number)

    def _folder(self, simulator: str) -> Path:
        return self._work / simulator

    def prepare(self, scenarios: list[tuple[Path, Scenario]], say: Progress) -> list[Prepared]:
        """Make scenarios ready; one whose program needs a register the core lacks is skipped.

        Where it is the quicker way, the programs are played in processes of their own.
        """
        self._work.mkdir(parents=True, exist_ok=True)
        prepared = [self._on_disk(n, path, given) for n, (path, given) in enumerate(scenarios)]
        if not _worth_workers([p.disk.cycles for p in prepared]):
            for p in prepared:
                say(f"model: preparing {p.scenario.name}")
                self._played(p)
            return prepared
        order = sorted(prepared, key=lambda p: -p.disk.cycles)
        counted = count(1)
        say(f"model: preparing {len(order)} scenarios")
        played = run_all(
            [partial(self._played, p) for p in order],
            done=lambda: say(f"model: prepared {next(counted)} of {len(order)} scenarios"),
        )
        return sorted(played, key=lambda p: p.index)

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
            f"{bus.acknowledge.port}' has stayed inactive for {bus.acknowledge.timeout} cycles"
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
                words = p.disk.memory.tolist()
                (folder / f"{p.index}.memory").write_text("".join(f"{w:04x}\n" for w in words))

    def runs(self, prepared: Sequence[Prepared]) -> list[Run]:
        """Return what a session plays for prepared scenarios."""
        return [Run(p.index, live=self.live_host(p) if self.live else None) for p in prepared]

    def _on_disk(self, index: int, path: Path, scenario: Scenario) -> Prepared:
        """Fit a scenario to the core and build its disk."""
        seed = scenario.own_seed(self.seed)
        if self.binding.bus is None:
            scenario = scenario.model_copy(update={"host": HostPart()})
        levels = {n: v for n, v in scenario.levels.items() if n in self.binding.level_inputs}
        scenario = scenario.model_copy(update={"levels": levels})
        if not self.binding.reset.port:
            scenario = scenario.model_copy(update={"resets": []})
        pulse_cycles = self.binding.pulse_cycles
        if pulse_cycles is not None:
            named = self.binding.separator.model or scenario.separator
            scenario = scenario.model_copy(update={"separator": named})
        with reading(path):
            start = self.binding.reset.cycles
            disk = Disk.of(scenario, self.profile, path.parent, seed, start, pulse_cycles)
            if self.live and disk.cycles > LONGEST_LIVE:
                message = (
                    f"'{scenario.revolutions}' take {disk.cycles} cycles, "
                    f"a live run {LONGEST_LIVE} at most; leave out --live"
                )
                raise scenario.fault(("revolutions",), message)
        return Prepared(index, scenario, seed, disk, path=path)

    def _played(self, ready: Prepared) -> Prepared:
        """Write a run's events and, in replay, let its program run against the model for them."""
        if ready.skipped:
            return ready
        disk = ready.disk
        player = Player(self.harness, disk.profile.slots, ready.seed)
        try:
            with reading(ready.path):
                stimuli, window_end = self._stimuli(ready)
                path = self.events(ready.index)
                for stimulus in player.write(stimuli, path, disk.cycles, window_end):
                    ready.accesses.append(stimulus.accesses_only())
        except MissingRegisterError as error:
            ready.skipped = str(error)
        return ready

    def _stimuli(self, ready: Prepared) -> tuple[Iterator[Stimulus], int | None]:
        """Return what is played, and where it ends if the rest depends on what a core writes."""
        disk = ready.disk
        if not self.live:
            return self._on_model(ready), None
        turning = self._at_pins(disk, Turning(disk))
        if not self._lays_windows(disk):
            return turning, None
        first = next(turning)
        return iter([first]), first.end

    def _on_model(self, ready: Prepared) -> Iterator[Stimulus]:
        """Play the host program against the model; note what that writes."""
        disk = ready.disk
        processor = disk.processor(self.shape(disk), self._registers)
        strays = self._strays(ready.seed, self.shape(disk)) if self.with_strays else None
        if _is_list(disk.scenario) and not processor.looks and not self.shape(disk).fed:
            stimulus = self._listed(disk, processor)
            yield stimulus if strays is None else strays.among(stimulus)
            return
        world = World(disk, processor, self.depth)
        for stimulus, bursts in world.spans():
            ready.written.append(bursts)
            yield stimulus if strays is None else strays.among(stimulus)
        ready.note = world.problem

    def _listed(self, disk: Disk, processor: Processor) -> Stimulus:
        """Return the only revolution of a disk with a list of accesses: the model is not asked."""
        (stimulus,) = self._at_pins(disk, Turning(disk))
        bus_cycles: list[BusCycle] = []
        while processor.pending and processor.pending[0].cycle < stimulus.end:
            bus_cycles += processor.pending
            processor.complete([0] * len(processor.pending))
        processor.close()
        return with_accesses(
            stimulus, [bus_cycle for bus_cycle in bus_cycles if bus_cycle.cycle < stimulus.end]
        )

    def _lays_windows(self, disk: Disk) -> bool:
        """Return whether a live core may write what later revolutions read."""
        shown = {watched.lane for watched in self.binding.lines_observed}
        writes = {"write_gate", "write_data"} <= shown and "transfer" in self.binding.registers
        return writes and disk.scenario.revolutions > 1 and Turning(disk).takes_writes

    def _strays(self, seed: int, shape: BusShape) -> Strays:
        """Return what adds accesses beside the registers to a run."""
        bus = self.binding.bus
        return Strays(self.binding, self.ports.width(bus.address) if bus else 0, seed, shape)

    def shape(self, disk: Disk) -> BusShape:
        """Return how accesses are laid out; a host that feeds the words has its edges for that."""
        shape, memory, slots = self.binding.bus_shape, self.binding.memory, disk.profile.slots
        if memory is None or memory.written_at is None:
            return shape
        return replace(shape, fed_every=slots.line_cycles, fed=slots.at)

    @property
    def _registers(self) -> list[str]:
        return list(self.binding.registers)

    def live_host(self, prepared: Prepared) -> LiveHost:
        """Return what the simulator needs to run the scenario's program against the core."""
        disk = prepared.disk
        return LiveHost(
            prepared.scenario,
            self.profile,
            self.shape(disk),
            self._registers,
            prepared.disk.start,
            prepared.seed,
            Player(self.harness, disk.profile.slots, prepared.seed),
            prepared.disk.cycles - self.binding.bus_shape.busy,
            prepared.disk.machine,
            **({"disk": disk, "binding": self.binding} if self._lays_windows(disk) else {}),
            acknowledged=bus.acts if (bus := self.binding.bus) and bus.acknowledge else "",
        )

    def events(self, index: int) -> Path:
        """Return the event file of a prepared scenario."""
        return self._work / f"{index}.events"

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
        comparison = Comparison(disk.profile, held, disk, recovery_of(self.binding, self.profile))
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
            revolutions=found.revolutions,
            met=found.met,
        )

    def _with_value_line(self, finding: Finding, index: int) -> Finding:
        """Return a finding with what stood on the pin of the channel bit's value."""
        drive = self.harness.drive
        if "bit" not in drive.slots:
            return finding
        lsb, end = drive.lsb("bit"), finding.shown.stimulus.end
        line = value_line(self.events(index), lsb, drive.flipped >> lsb & 1, end)
        return replace(finding, shown=replace(finding.shown, value_line=line))

    def stimuli(self, prepared: Prepared, done: RunDone | None = None) -> Iterator[Stimulus]:
        """Yield the run's stimuli again, as the block has them, with the accesses that were made.

        A live run's are those its simulator noted when it was `done`.
        """
        disk = prepared.disk
        turning = Turning(disk)
        inside = Inside(self.depth, disk.resets)
        written = iter(done.written if done and self.live else prepared.written)
        for n, turn in enumerate(self._at_pins(disk, turning)):
            turning.write(next(written, []))  # read from the next revolution on
            if done and self.live:
                made = with_accesses(
                    turn, [b for b in done.bus_cycles if turn.first <= b.cycle < turn.end]
                )
            else:
                made = turn.with_accesses_of(prepared.accesses[n])
            yield inside.take(made)

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

    def _at_pins(self, disk: Disk, turning: Turning) -> Iterator[Stimulus]:
        """Yield what a disk brings to the core's pins."""
        for turn in turning:
            yield quiet_in_reset(turn, self._quiet, disk.resets)


def _is_list(scenario: Scenario) -> bool:
    """Return whether all accesses are known before anything is read, on a disk that turns once."""
    alone = scenario.drives is None and scenario.revolutions == 1
    return alone and scenario.host.program == "in_order"


def _worth_workers(cycles: Sequence[int]) -> bool:
    """Return whether runs of so many cycles are prepared sooner side by side than in turn."""
    saved = sum(cycles) - max(*cycles, sum(cycles) // processors()) if cycles else 0
    return saved > WORTH_WORKERS
