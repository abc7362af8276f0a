"""A core under trial in a margin sweep: one simulator session that plays pulses on demand."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from multiprocessing.connection import Connection, Pipe

import numpy as np

from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.core_separator import delivered, together
from refmodel.engine.separator_verdict import FEW
from refmodel.ground.errors import CannotRun, InputError, UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_BIT, Pulses
from refmodel.ground.scratch import scratch
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile
from refmodel.separator.measure import windows_of_bits
from testbenches.binding.ports import preflight
from testbenches.binding.roles import Lines
from testbenches.binding.schema import Binding, Observe
from testbenches.harness import generate
from testbenches.job import BUILD_FAILED, TRIALS
from testbenches.player import Player
from testbenches.recorder import Recorder
from testbenches.simulator import Session, said

BUILD_SECONDS, TRIAL_SECONDS = 600, 60  # that no build and no trial takes


class CoreSubject:
    """A core's own separator as the subject of a sweep; a context, in which its simulator runs.

    Of everything else in the core nothing is accessed, and nothing recorded.
    """

    def __init__(self, binding: Binding, profile: Profile, simulator: str, seed: int) -> None:
        if binding.pulse_cycles is None:
            message = (
                "the core takes channel bits; a margin needs a core with a separator of its own, "
                "bound as disk.flux"
            )
            raise InputError([binding.document.problem(("disk",), message)])
        self.name = f"core {binding.core.top}"  # no model's name, whatever the core is called
        known = binding.separator
        self._latency = known.pulse_latency
        self._lag = binding.latency.get(CHANNEL_BIT, 0)
        self._start = binding.reset.cycles
        self._layout = profile.status
        self._binding = binding.model_copy(
            update={"observe": Observe(channel_bit=binding.observe.channel_bit), "lines": Lines()}
        )
        ports = preflight(binding)
        harness = generate(self._binding, ports)
        self._player = Player(harness, profile.slots)
        self._folder = ExitStack()
        self._work = self._folder.enter_context(scratch("cellstep-"))
        self._session = Session(simulator, harness, ports, self._work, seed)
        self._bench: Connection | None = None

    def __enter__(self) -> CoreSubject:
        """Build the core and start the simulator; raise CannotRun when either fails."""
        with ExitStack() as undo:
            undo.callback(self._close)
            self._start_simulator()
            undo.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        """End the simulator and remove what it left."""
        self._close()

    def _start_simulator(self) -> None:
        """Start the worker with one end of a pipe, and wait until the simulator is there."""
        self._bench, simulator = Pipe()
        with simulator:
            job = replace(self._session.job(), test_module="testbenches.trial_tests")
            job.write([])
            (self._work / "0.memory").write_bytes(bytes(2))
            descriptor = simulator.fileno()
            self._session.start(job, (descriptor,), {TRIALS: str(descriptor)})
        self._job = job
        self._await(BUILD_SECONDS)

    def _close(self) -> None:
        if self._bench is not None:
            self._bench.close()
        self._session.stop()
        self._folder.close()

    def windows(self, pulses: Cycles) -> Cycles:
        """Return, from reset at edge 0, how many windows ended up to the edge of each pulse.

        Raises CannotRun when the core does not build, or ends the simulation itself.
        """
        seen = pulses + (self._start - self._latency)
        if len(seen) and seen[0] < self._start:
            raise UserError(f"trial: a pulse comes at edge {pulses[0]}, before the core sees any")
        end = int(seen[-1]) + self._latency + self._lag + 2 if len(seen) else self._start + 1
        stimulus = Stimulus(
            0,
            end,
            pulses=Pulses(seen, np.full(len(seen), NO_BIT)),
            resets=((0, self._start),),
        )
        for _ in self._player.write([stimulus], self._work / "0.events", end):
            pass
        self._await(TRIAL_SECONDS, number=0)
        observed = Recorder(self._binding, self._layout, self._work, 0).observed(0, end)
        lane, x_bits = together(observed)
        if x_bits.at(end - 1) or len(x_bits.cycle) > 1:
            raise CannotRun(f"{self.name}: its channel bits are unknown (X or Z)")
        cycle, bit = delivered(lane, end)
        if len(seen) >= FEW and len(bit) and len(np.unique(bit)) == 1:
            raise CannotRun(f"{self.name}: every channel bit it delivers is a {bit[0]}")
        return windows_of_bits(cycle, seen, self._latency + self._lag)

    def _await(self, seconds: float, number: int | None = None) -> None:
        """Wait for the simulator's answer, to a request to play the events of a number if given."""
        assert self._bench is not None, "used outside its context"
        try:
            if number is not None:
                self._bench.send(number)
            if not self._bench.poll(seconds):
                raise CannotRun(f"{self.name}: the simulator says nothing for {seconds} s")
            self._bench.recv()
        except (EOFError, OSError):
            failed = self._session.wait() == BUILD_FAILED
            why = "the core does not build" if failed else "the simulation ended"
            raise CannotRun(f"{self.name}: {why}:\n{said(self._job)}") from None
