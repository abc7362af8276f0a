"""Scenarios made ready for one core: their disks, and what the host does to them on the model."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path

from refmodel.ground.bus import BusCycle, BusShape
from refmodel.ground.depth import Inside, quiet_in_reset
from refmodel.ground.errors import reading
from refmodel.ground.numbers import counted
from refmodel.ground.processors import processors
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.workers import run_all
from refmodel.host.lacking import CONTROL, Lacking, MissingRegisterError
from refmodel.host.listed import can_be_listed, with_listed
from refmodel.host.processor import Processor
from refmodel.media.writing import Burst
from refmodel.profile import Profile
from refmodel.world.disk import Disk
from refmodel.world.play import with_accesses
from refmodel.world.scenario import HostPart, Scenario
from refmodel.world.turning import Turning
from refmodel.world.world import World
from testbenches.adapted import (
    disk_with_waits_alone,
    lacking_of,
    waits_in_control,
    waits_on_a_port,
    with_waits,
)
from testbenches.binding.depth import depth_of
from testbenches.binding.ports import CorePorts, preflight
from testbenches.binding.schema import Binding
from testbenches.harness import Harness, generate
from testbenches.job import LONGEST_LIVE, LiveHost, RunDone
from testbenches.kept_spans import KeptSpans
from testbenches.player import Player
from testbenches.strays import Strays

Progress = Callable[[str], None]
WORTH_WORKERS = 1_000_000  # cycles: the model plays so many in the time that workers take to start


@dataclass
class Prepared:
    """A scenario made ready for one core: its disk and, in replay, the bus cycles of its host."""

    index: int
    scenario: Scenario
    seed: int
    disk: Disk
    accesses: Sequence[Stimulus] = ()
    written: list[list[Burst]] = field(default_factory=list)
    skipped: str = ""
    note: str = ""
    path: Path = Path()


class Preparation:
    """One core's scenarios before any simulator starts.

    `prepare` plays the host programs against the model and writes the events, `stimuli` yields what
    they come to. With `live` the programs will run against the core itself, so only the disk's
    events are written.
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
        self.with_strays = True  # accesses at addresses of no register, in replay
        self.depth = depth_of(binding)
        low = self.depth.straight if binding.reset.port else frozenset(binding.level_inputs)
        self._quiet = replace(self.depth, straight=low)  # without a reset levels wait as well
        self._work = work

    def prepare(self, scenarios: list[tuple[Path, Scenario]], say: Progress) -> list[Prepared]:
        """Make scenarios ready; one whose program needs a register the core lacks is skipped.

        Where the core takes wait_for_sync on a port and has no control, the port has the level
        that the program writes to control; in a core that has no port, the host writes control.

        Where it is the quicker way, the programs are played in processes of their own.
        """
        self._work.mkdir(parents=True, exist_ok=True)
        prepared = [self._on_disk(n, path, given) for n, (path, given) in enumerate(scenarios)]
        played = [p.disk.cycles for p in prepared if not _is_list(p.scenario)]
        if not _worth_workers(played):
            for p in prepared:
                say(f"model: preparing {p.scenario.name}")
                self._played(p)
            return prepared
        order = sorted(prepared, key=lambda p: -p.disk.cycles)
        numbers = count(1)
        say(f"model: preparing {counted(len(order), 'scenario')}")
        made = run_all(
            [partial(self._played, p) for p in order],
            done=lambda: say(f"model: prepared {next(numbers)} of {len(order)} scenarios"),
        )
        return sorted(made, key=lambda p: p.index)

    def _on_disk(self, index: int, path: Path, scenario: Scenario) -> Prepared:
        """Fit a scenario to the core and build its disk."""
        seed = scenario.own_seed(self.seed)
        if self.binding.bus is None:
            scenario = scenario.model_copy(update={"host": HostPart()})
        in_control = waits_in_control(self.binding, scenario)
        levels = {n: v for n, v in scenario.levels.items() if n in self.binding.level_inputs}
        scenario = scenario.model_copy(update={"levels": levels})
        if not self.binding.reset.port:
            scenario = scenario.model_copy(update={"resets": []})
        pulse_cycles = self._pulse_cycles(scenario)
        if pulse_cycles is not None:
            named = self.binding.separator.model or scenario.separator
            scenario = scenario.model_copy(update={"separator": named})
        with reading(path):
            start = self.binding.reset.cycles
            disk = Disk.of(scenario, self.profile, path.parent, seed, start, pulse_cycles)
            disk = replace(disk, in_control=in_control)
            if self.live and disk.cycles > LONGEST_LIVE:
                message = (
                    f"'{scenario.revolutions}' take {disk.cycles} cycles, "
                    f"a live run {LONGEST_LIVE} at most; leave out --live"
                )
                raise scenario.fault(("revolutions",), message)
        return Prepared(index, scenario, seed, disk, path=path)

    def _pulse_cycles(self, scenario: Scenario) -> int | None:
        """Return how long a flux pulse is: what the binding says, else what the scenario does."""
        whole = self.binding.pulse_cycles
        if whole is None or self.binding.disk.pulse_cycles or not scenario.pulse_percent:
            return whole
        return max(1, round(float(self.profile.cycles_per_bit) * scenario.pulse_percent / 100))

    def _played(self, ready: Prepared) -> Prepared:
        """Write a run's events and, in replay, let its program run against the model for them."""
        if ready.skipped:
            return ready
        disk = ready.disk
        idle = [line.row for line in ready.scenario.idle_lines]
        player = Player(
            self.harness, disk.profile.slots, ready.seed, idle, pulse_cycles=disk.pulse_cycles
        )
        try:
            with reading(ready.path):
                ready.disk = disk = self._with_waits(ready)
                stimuli, window_end = self._stimuli(ready)
                path = self.events(ready.index)
                ready.accesses = kept = self._no_spans(ready)
                for stimulus in player.write(stimuli, path, disk.cycles, window_end):
                    kept.append(stimulus.accesses_only())
        except MissingRegisterError as error:
            ready.skipped = str(error)
        return ready

    def _with_waits(self, ready: Prepared) -> Disk:
        """Return a run's disk, its level wait_for_sync up where its program has it in control."""
        disk = ready.disk
        if not waits_on_a_port(self.binding) or disk.scenario.host.program == "idle":
            return disk
        registers = [*self._registers, CONTROL]
        alone = disk_with_waits_alone(disk)
        lacking = self._lacking(ready).with_register(CONTROL)
        processor = alone.processor(self.shape(disk), registers, lacking)
        return with_waits(disk, self._spans_on_model(ready, alone, processor))

    def _lacking(self, ready: Prepared) -> Lacking:
        """Return what the core has not, and a run's program can do without."""
        return lacking_of(self.binding, ready.scenario.host.program)

    def _spans_on_model(
        self, ready: Prepared, disk: Disk, processor: Processor
    ) -> Iterator[Stimulus]:
        """Yield what a program makes of a run on the model."""
        del ready
        return (stimulus for stimulus, _ in World(disk, processor, self.depth).spans())

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
        processor = disk.processor(self.shape(disk), self._registers, self._lacking(ready))
        strays = self._strays(ready.seed, self.shape(disk)) if self.with_strays else None
        alone = not (processor.looks or self.shape(disk).fed or self._lacking(ready).ways)
        if _is_list(disk.scenario) and alone:
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
        accesses = disk.scenario.host.params.get("accesses", ())
        shape = self.shape(disk)
        if can_be_listed(accesses, shape, disk.machine, self._registers) and not _written_first(
            disk.profile
        ):
            processor.close()
            return with_listed(stimulus, accesses, shape, disk.start)
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
            Player(
                self.harness,
                disk.profile.slots,
                prepared.seed,
                pulse_cycles=disk.pulse_cycles,
            ),
            prepared.disk.cycles - self.binding.bus_shape.busy,
            lacking=self._lacking(prepared),
            machine=prepared.disk.machine,
            **({"disk": disk, "binding": self.binding} if self._lays_windows(disk) else {}),
            acknowledged=bus.acts if (bus := self.binding.bus) and bus.acknowledge else "",
        )

    def events(self, index: int) -> Path:
        """Return the event file of a prepared scenario."""
        return self._work / f"{index}.events"

    def _no_spans(self, ready: Prepared) -> KeptSpans:
        """Return what takes the spans of a run."""
        return KeptSpans(self._work / f"{ready.index}.spans")

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

    def _at_pins(self, disk: Disk, turning: Turning) -> Iterator[Stimulus]:
        """Yield what a disk brings to the core's pins."""
        for turn in turning:
            yield quiet_in_reset(turn, self._quiet, disk.resets)


def _is_list(scenario: Scenario) -> bool:
    """Return whether all accesses are known before anything is read, on a disk that turns once."""
    alone = scenario.drives is None and scenario.revolutions == 1
    return alone and scenario.host.program == "in_order"


def _written_first(profile: Profile) -> bool:
    """Return whether a host writes sync_word before its first access, as reset leaves it alone."""
    return "sync_word" in profile.reset_leaves


def _worth_workers(cycles: Sequence[int]) -> bool:
    """Return whether runs of so many cycles are prepared sooner side by side than in turn."""
    saved = sum(cycles) - max(*cycles, sum(cycles) // processors()) if cycles else 0
    return saved > WORTH_WORKERS
