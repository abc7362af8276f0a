"""The signals of a running simulation that a binding names, and how they are watched."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from cocotb import simulator
from cocotb.handle import SimHandleBase

from refmodel.ground.errors import InputError, UserError
from refmodel.ground.word import WORD_BITS
from testbenches.binding.schema import Binding

NAME = re.compile(r"([\w.$\[\]]*?\w)(?:\[(\d+)(?::(\d+))?\])?")
Moment = tuple[int, int]  # simulated time in steps: upper and lower 32 bits
Sample = tuple[Moment, str]  # when a signal changed, and to which bits
NOTHING_BEFORE = (-1, 0)  # before any moment


class BenchRole(NamedTuple):
    """A signal of the binding: the key that names it, how many bits it has, its polarity."""

    name: str
    key: tuple[str | int, ...]
    signal: str
    width: int | None  # None: as many as it has
    active: str = "high"


def roles_of(binding: Binding, bus: bool) -> Iterator[BenchRole]:
    """Yield every signal the checker samples, the clock aside; those of the bus if asked for."""
    if binding.clock.enable is not None:
        key = ("clock", "enable")
        yield BenchRole("enable", key, binding.clock.enable, 1, binding.clock.enable_active)
    if binding.clock.enabled_by is not None:
        own = binding.clock.enabled_by
        yield BenchRole("enable", ("clock", "enabled_by"), own.signal, 1, own.active)
    if binding.reset.port:
        yield BenchRole("reset", ("reset", "port"), binding.reset.port, 1, binding.reset.active)
    for driven in binding.disk.driven():
        name = {"strobe": "bit_strobe", "value": "bit", "flux": "flux"}[driven.key[-1]]
        yield BenchRole(name, driven.key, driven.port, 1, driven.active)
    for name, signal in binding.level_inputs.items():
        parent = "gates" if name.endswith("_enable") else "inputs"
        key = (parent, name)
        yield BenchRole(f"in.{name}", key, signal.port, 1, signal.active)
    if bus:
        yield from _bus_roles(binding)
    memory = binding.memory
    if memory is not None and memory.slot is not None:
        yield BenchRole("slot", ("memory", "slot"), memory.slot.port, 1, memory.slot.active)
    if memory is not None and memory.data_in is not None:
        yield BenchRole("data_in", ("memory", "data_in"), memory.data_in, WORD_BITS)
    of_memory = memory.watched() if memory is not None else ()
    shown = (*binding.observed, *binding.lines_observed, *binding.channel_bit_observed)
    for watched in (*shown, *of_memory):
        yield BenchRole(
            watched.lane, watched.key, watched.expression, watched.width, watched.active
        )


def _bus_roles(binding: Binding) -> Iterator[BenchRole]:
    bus = binding.bus
    assert bus is not None, "asked for only where there is one"
    for name in ("read", "select", "write"):
        signal = getattr(bus, name)
        if signal is not None:
            yield BenchRole(f"bus.{name}", ("bus", name), signal.port, 1, signal.active)
    if bus.acknowledge is not None:
        ack = bus.acknowledge
        yield BenchRole("bus.acknowledge", ("bus", "acknowledge"), ack.port, 1, ack.active)
    for name in ("high", "low") if bus.strobes is not None else ():
        strobe = getattr(bus.strobes, name)
        yield BenchRole(
            f"bus.strobes.{name}", ("bus", "strobes", name), strobe.port, 1, strobe.active
        )
    for name in ("address", "write_data", "read_data"):
        port, key = getattr(bus, name), ("bus", name)
        if bus.data is not None and name != "address":
            port, key = bus.data.port, ("bus", "data", "port")
        if port is not None:
            yield BenchRole(f"bus.{name}", key, port, None)


class Watch:
    """One signal: every change of it, in the order in which the simulator tells of them."""

    def __init__(self, dut: SimHandleBase, role: BenchRole, binding: Binding) -> None:
        self.role = role
        self._handle, self._bits = _find(dut, role.key, role.signal, binding)
        width = len(self._now())
        if role.width is not None and width != role.width:
            bits = "1 bit" if width == 1 else f"{width} bits"
            message = f"'{role.signal}' has {bits}; the role takes {role.width}"
            raise InputError([binding.document.problem(role.key, message)])
        self.width = width
        self.samples: list[Sample] = [(NOTHING_BEFORE, self._now())]
        self._callback: Any = None

    def _now(self) -> str:
        """Return the signal's bits now, the highest first."""
        bits: str = self._handle.get_signal_val_binstr()
        return bits if self._bits is None else bits[self._bits]

    def start(self) -> None:
        """Note every change from now on."""
        handle, bits, note = self._handle, self._bits, self.samples.append
        value, now = handle.get_signal_val_binstr, simulator.get_sim_time
        again, any_change = simulator.register_value_change_callback, simulator.VALUE_CHANGE
        if bits is None:

            def changed() -> None:
                note((now(), value()))
                self._callback = again(handle, changed, any_change)

        else:

            def changed() -> None:
                note((now(), value()[bits]))
                self._callback = again(handle, changed, any_change)

        self._callback = again(handle, changed, any_change)

    def stop(self) -> None:
        """Note nothing any more."""
        if self._callback is not None:
            self._callback.deregister()
            self._callback = None


class ClockWatch:
    """The clock: the moment of every rising edge; `full` is called whenever `most` are noted."""

    def __init__(self, dut: SimHandleBase, binding: Binding, full: Callable[[], None]) -> None:
        self._handle, bits = _find(dut, ("clock", "port"), binding.clock.port, binding)
        if bits is not None or len(self._handle.get_signal_val_binstr()) != 1:
            message = f"'{binding.clock.port}' is no signal of 1 bit: the checker takes one clock"
            raise InputError([binding.document.problem(("clock", "port"), message)])
        self.edges: list[Moment] = []
        self._full = full
        self._callback: Any = None

    def start(self, most: int) -> None:
        """Note every rising edge from now on."""
        handle, edges, note = self._handle, self.edges, self.edges.append
        now, again = simulator.get_sim_time, simulator.register_value_change_callback
        rising, full = simulator.RISING, self._full

        def rose() -> None:
            note(now())
            self._callback = again(handle, rose, rising)
            if len(edges) >= most:
                full()

        self._callback = again(handle, rose, rising)

    def stop(self) -> None:
        """Note nothing any more."""
        if self._callback is not None:
            self._callback.deregister()
            self._callback = None


def _find(
    dut: SimHandleBase, key: tuple[str | int, ...], name: str, binding: Binding
) -> tuple[Any, slice | None]:
    """Return a signal's handle below `dut`, and which of its bits are meant; None for all.

    Raises InputError with the key's place when the simulation has no such signal.
    """
    found = NAME.fullmatch(name)
    handle: Any = dut
    whole, bits = name, None
    if found and found[2] is not None:
        whole, bits = found[1], (int(found[2]), int(found[3] or found[2]))
    try:
        for part in whole.split("."):
            handle = getattr(handle, part)
        gpi = handle._handle
        gpi.get_signal_val_binstr()
        where = None if bits is None else _slice(handle, *bits)
    except (AttributeError, TypeError, RuntimeError, ValueError, IndexError):
        message = f"the simulation has no signal '{name}' below {dut._path}"
        raise InputError([binding.document.problem(key, message)]) from None
    return gpi, where


def _slice(handle: Any, left: int, right: int) -> slice:  # noqa: ANN401 - a handle has no type
    """Return where bits `left` .. `right` of a vector stand in its binary string."""
    highest = max(handle.range.left, handle.range.right)
    first, last = highest - left, highest - right
    if not 0 <= first <= last < len(handle):
        raise IndexError
    return slice(first, last + 1)


def steps_of(moment: Moment) -> int:
    """Return a moment in steps of the simulator's time."""
    return moment[0] << 32 | moment[1]


def refuse(binding: Binding, key: tuple[str | int, ...], message: str) -> UserError:
    """Return the error of something the checker cannot do, at its place in the binding."""
    return InputError([binding.document.problem(key, message)])
