"""The checker itself: attached to a running test, fed by value changes, judged at the end."""

from __future__ import annotations

import os
from asyncio import CancelledError
from bisect import bisect_left
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import cocotb
import cocotb._test_manager as _test_manager
import numpy as np
from cocotb import simulator
from cocotb.triggers import Event

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.comparison import ComparedRun, Comparison, Held
from refmodel.ground.bus import READ_OTHER, READ_STATUS, READ_STATUS_PART
from refmodel.ground.errors import UserError
from refmodel.profile import Profile
from testbenches.binding.load import load_binding
from testbenches.binding.roles import MOVES
from testbenches.binding.schema import Binding
from testbenches.checker.accesses import PARTS, Access, BenchBus, at_edge, one_an_edge
from testbenches.checker.memory import BenchMemory
from testbenches.checker.pins import PinsToBlock, refuse_what_it_cannot
from testbenches.checker.sampled import Sampled, SampledBits, Steps, sample, steps
from testbenches.checker.signals import ClockWatch, Moment, Watch, refuse, roles_of, steps_of
from testbenches.checker.spans import Known, evidence_of, lanes_of, stimulus_of
from testbenches.separated import recovery_of

SPAN = 1 << 15  # edges between two comparisons
Half = Literal["high", "low"] | None


class CheckFailedError(AssertionError):
    """The core is not as the model, or nothing was compared; the text is the finding's."""


class Checker:
    """Holds the core at `dut` to the model while a cocotb test of the user's own drives it.

    Make one as the first thing in a test. It samples the signals a binding names, drives none, and
    fails the test when the test ends, with `stop="first"` as soon as it has seen the mismatch. With
    `out`, or the environment's CELLSTEP_OUT, the result folder of `cellstep run` is written there.
    The names of the binding are looked up below `dut`, so any signal will do, not ports alone.

    With `calls` the bus of the binding is not watched: the test hands over each access with
    `read_status`, `write` and `read_other`, at the edge of the clock at which the core takes it or
    in the cycle before. `reset=False` is for a test that never resets the core: each field is then
    compared from where it is known. With `strict`, or CELLSTEP_STRICT=1, a core that agrees fails
    the test, too, when something of it was not exercised; without, the log says so. Raises
    UserError, with the binding's line, for what cannot be.
    """

    def __init__(
        self,
        dut: Any,  # noqa: ANN401 - a simulator's handle has no type of its own
        binding: str | Path,
        *,
        calls: bool = False,
        reset: bool = True,
        stop: Literal["end", "first"] = "end",
        out: str | Path | None = None,
        policies: dict[str, str] | None = None,
        strict: bool | None = None,
    ) -> None:
        self._strict = os.environ.get("CELLSTEP_STRICT") == "1" if strict is None else strict
        self.binding: Binding = load_binding(Path(binding))
        self.profile: Profile = self.binding.load_profile().with_policies(policies or {})
        self._policies = policies or {}
        self._given = str(binding)
        self._out = out if out is not None else os.environ.get("CELLSTEP_OUT")
        self._calls = calls or self.binding.bus is None
        refuse_what_it_cannot(self.binding, self._calls, reset)
        self._attached = steps_of(simulator.get_sim_time())
        self._clock = ClockWatch(dut, self.binding, self._compare_safely)
        roles = [r for r in roles_of(self.binding, not self._calls) if reset or r.name != "reset"]
        self._watches = [Watch(dut, role, self.binding) for role in roles]
        self._known = Known(self.binding, self.profile, by_reset=reset)
        memory = self.binding.memory
        self._memory = BenchMemory(memory.stores) if memory is not None else None
        self._comparison = self._begin()
        self._bus = BenchBus(self.binding)
        self._core = PinsToBlock(self.binding, self._calls)
        self._bits = SampledBits()
        self._handed: list[tuple[Moment, Access]] = []
        self._edges: Steps = np.empty(0, np.int64)  # enabled ones that are not compared yet
        self._first = 0  # the number of the first of them
        self._times: Steps = self._edges  # of the last span compared
        self._times_first = 0
        self._done = False
        self._error: UserError | None = None
        self._failed = Event()
        self._stop_first = stop == "first"
        for watch in self._watches:
            watch.start()
        self._clock.start(SPAN if stop == "end" else SPAN >> 4)
        self._task = cocotb.start_soon(self._until_the_test_ends())

    def _begin(self) -> Comparison:
        waived = self.binding.waived_fields
        fields = (name for name in (*FIELD_NAMES, UNUSED) if name not in waived)
        shown = [w.lane for w in self.binding.lines_observed]
        shown += [CHANNEL_BIT] * bool(self.binding.channel_bit_observed)
        held = Held(
            {name: self.binding.lag(name) for name in fields},
            {name: self.binding.latency.get(name, 0) for name in shown if name not in waived},
            self._memory is not None and MOVES not in waived,
        )
        profile = self.profile
        if self._memory is not None:
            profile = profile.model_copy(update={"slots": self._memory.slots})
        return Comparison(profile, held, separator=recovery_of(self.binding, profile, beside=False))

    def read_status(self, value: Any, half: Half = None, *, clears: bool = True) -> None:  # noqa: ANN401
        """Tell of a read of status, and what it returned: a number, or a vector of a handle.

        `half` is for a byte of it, `clears` says whether reading that byte clears byte_ready.
        """
        kind = READ_STATUS if clears else READ_STATUS_PART
        shift = 8 if half == "high" else 0
        got, x_bits = _number(value, self._bits)
        self._hand(Access(0, kind, PARTS[half], got << shift, x_bits << shift))

    def write(self, register: str, value: int, half: Half = None) -> None:
        """Tell of a write of sync_word, transfer or control; `half` for a byte of it."""
        shift = 8 if half == "high" else 0
        try:
            self._hand(self._bus.write(0, register, PARTS[half], value << shift))
        except KeyError:
            raise UserError(f"'{register}' is not a register that is written") from None

    def read_other(self) -> None:
        """Tell of a read of another register."""
        self._hand(Access(0, READ_OTHER, PARTS[None]))

    def _hand(self, access: Access) -> None:
        if not self._calls:
            message = "the bus is watched: make the checker with calls=True to hand accesses over"
            raise refuse(self.binding, ("bus",), message)
        self._handed.append((simulator.get_sim_time(), access))

    async def _until_the_test_ends(self) -> None:
        """Wait, and judge: what is raised fails the test, also while it ends."""
        try:
            await self._failed.wait()
        except CancelledError:
            self._finish_in_an_ending_test()
            raise
        self.finish()

    def _finish_in_an_ending_test(self) -> None:
        """Judge, and give a failure to the test as one of its own.

        Raised from a cancelled task it would be an error of that task, without its text.
        """
        try:
            self.finish()
        except (CheckFailedError, UserError) as error:
            test = _test_manager._current_test
            if test is None:
                raise
            error.__context__ = None  # the cancellation is no part of the story
            test._abort(error.with_traceback(None))

    def finish(self) -> None:
        """Compare what is left and judge; raise CheckFailedError unless the core agrees.

        Called by itself when the test ends. Call it to stop watching before.
        """
        if self._done:
            return
        self._done = True
        self._stop()
        if self._error is not None:
            raise self._error
        if self._comparison.found().finding is None:
            self._compare()
        if self._comparison.found().finding is None:
            self._refuse_open_access()
            self._refuse_unanswered()
        text = self._verdict()
        if text:
            raise CheckFailedError(text)

    def _verdict(self) -> str:
        """Write what was asked for; return why the test fails, empty if the core agrees."""
        from testbenches.checker.verdict import WatchedSignal, verdict

        found = self._found()
        at = self._time_ns(found.finding.mismatch.cycle) if found.finding else 0.0
        given, known = self._given, self._known
        watched = WatchedSignal(
            self.binding, self.profile, given, self._policies, found, known, self._attached, at
        )
        return verdict(watched, self._out, self._strict)

    def _found(self) -> ComparedRun:
        """Return what has been found, a bench's memory slots given as a schedule."""
        found = self._comparison.found()
        if self._memory is None:
            return found
        slots = self._memory.slots.schedule()
        self.profile = self.profile.model_copy(update={"slots": slots})
        shown, finding = found.shown, found.finding
        if finding is not None:
            finding = replace(finding, shown=replace(finding.shown, slots=slots))
        return replace(found, shown=replace(shown, slots=slots) if shown else None, finding=finding)

    def _stop(self) -> None:
        self._clock.stop()
        for watch in self._watches:
            watch.stop()

    def _refuse_open_access(self) -> None:
        """Raise UserError when an access is under way that no edge of the clock has taken."""
        last = self._edges[-1:]
        if not self._calls and len(last):
            seen = {w.role.name: self._sampled(w, self._edges) for w in self._watches}
            self._bus.refuse_open(seen, self._first, self._first + len(self._edges))
        for watch in self._watches:
            role = watch.role
            if role.name not in ("bus.read", "bus.select") or not len(last):
                continue
            since, bits = watch.samples[-1]
            if bits == ("1" if role.active == "high" else "0") and steps_of(since) > int(last[0]):
                message = f"the test ends within an access: no edge has taken '{role.signal}' yet"
                raise refuse(self.binding, role.key, message)

    def _compare_safely(self) -> None:
        """Compare from within the simulator, where nothing may be raised: the task raises it."""
        try:
            self._compare()
        except UserError as error:
            self._error = error
        if self._error or (self._stop_first and self._comparison.found().finding):
            self._failed.set()
        if self._error or self._comparison.found().finding:
            self._stop()

    def _compare(self) -> None:
        """Compare the cycles that are over, the accesses of which have their answers."""
        raw = steps(self._clock.edges)
        self._clock.edges.clear()
        self._edges = np.append(self._edges, raw[self._enabled(raw)])
        edges = self._edges
        known = self._first + len(edges)
        end = known - max(1, self._latency, 1 + self._core.deepest)
        if end <= self._first:
            return
        seen = {
            w.role.name: self._sampled(w, edges) for w in self._watches if w.role.name != "enable"
        }
        if not self._calls:
            end = self._bus.settled(seen, self._first, known, end)
        if end <= self._first:
            return
        for piece in self._core.pieces(seen, self._first, end):
            self._take(seen, edges, *piece)
        kept = end - self._first
        self._times, self._times_first = edges[: kept + 1], self._first
        self._edges, self._first = edges[kept:], end
        for watch in self._watches:
            _forget(watch, int(edges[kept - 1]))

    @property
    def _latency(self) -> int:
        return 0 if self._calls else self._bus.latency

    def _take(self, seen: dict[str, Sampled], edges: Steps, first: int, end: int) -> None:
        """Hold the cycles `first` .. `end - 1` to the model."""
        if self._comparison.found().finding is not None:
            return
        accesses = (
            self._handed_over(edges, end) if self._calls else self._bus.accesses(seen, first, end)
        )
        accesses = self._known.without_transfers(accesses)
        pins = stimulus_of(self.binding, seen, accesses, first, end, self._core.state)
        moved = None
        if self._memory is not None:
            running = pins.resets[0][1] if pins.resets else first
            moved = self._memory.take(seen, first, end, running)
            pins = replace(pins, memory=self._memory.words)
        stimulus, answered = self._core.take(pins, accesses, seen)
        layout = self.profile.status
        shown = lanes_of(self.binding, layout, seen)
        self._known.follow(stimulus, shown)
        form = self._core.form
        evidence = evidence_of(layout, shown, answered, self._known, first, end, form, moved)
        self._comparison.take(stimulus, evidence)

    def _handed_over(self, edges: Steps, end: int) -> list[Access]:
        """Return the accesses handed over for edges before `end`; keep the later ones."""
        moments = steps([moment for moment, _ in self._handed])
        at = (np.searchsorted(edges, moments, side="left") + self._first).tolist()
        pairs = list(zip(at, self._handed, strict=True))
        self._handed = [handed for edge, handed in pairs if edge >= end]
        return one_an_edge(at_edge(access, edge) for edge, (_, access) in pairs if edge < end)

    def _enabled(self, raw: Steps) -> Any:  # noqa: ANN401 - an index of an array
        """Return which edges count: those with the clock enable on."""
        for watch in self._watches:
            if watch.role.name == "enable":
                level = self._sampled(watch, raw, 0)
                up = level.value.at(np.arange(len(raw))) & ~level.unknown.at(np.arange(len(raw)))
                watch.samples[:-1] = []
                return np.flatnonzero(up)
        return slice(None)

    def _sampled(self, watch: Watch, edges: Steps, first: int | None = None) -> Sampled:
        """Return a signal at some edges, active high."""
        begin = self._first if first is None else first
        seen = sample(watch.samples, edges, begin, self._bits)
        return seen.inverted(watch.width) if watch.role.active == "low" else seen

    def _refuse_unanswered(self) -> None:
        """Raise UserError when the test ends before a read has its answer."""
        latency, first = self._latency, self._first
        if not latency or not len(self._edges):
            return
        seen = {w.role.name: self._sampled(w, self._edges) for w in self._watches}
        strobe = seen.get("bus.read", seen.get("bus.select"))
        assert strobe is not None, "a bus has one of them"
        known = first + len(self._edges)
        if len(strobe.active(max(first, known - latency), known)):
            message = f"the test ends within an access: a read has its value {latency} edges later"
            raise refuse(self.binding, ("bus", "read_latency"), message)

    def _time_ns(self, cycle: int) -> float:
        """Return when a cycle of the last span compared began, by the simulator's own clock."""
        at = min(max(cycle - self._times_first, 0), len(self._times) - 1)
        return float(self._times[at]) * 10.0 ** (simulator.get_precision() + 9)


def _forget(watch: Watch, before: int) -> None:
    """Drop what a signal was before a moment, but for its last value then."""
    moment = (before >> 32, before & 0xFFFFFFFF)
    last = bisect_left(watch.samples, moment, key=lambda sample: sample[0]) - 1
    del watch.samples[: max(last, 0)]


def _number(value: Any, bits: SampledBits) -> tuple[int, int]:  # noqa: ANN401
    """Return what a read returned as a number and its X and Z bits."""
    if isinstance(value, int):
        return value, 0
    value = getattr(value, "value", value)
    return bits.of(str(value))
