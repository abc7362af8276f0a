"""Keys that say where words and their bits are, and contradict one another."""

from __future__ import annotations

from collections.abc import Iterator

from refmodel.ground.errors import UserError
from testbenches.binding.schema import Binding

Fault = tuple[tuple[str | int, ...], str]  # key, message
SLOT_KEYS = ("slot", "store", "data_out", "data_in")


def word_faults(binding: Binding) -> Iterator[Fault]:
    """Yield every such contradiction, at its key."""
    yield from _memory(binding)
    yield from _fed(binding)
    yield from _written(binding)
    yield from _decoded(binding)
    yield from _pulse(binding)
    yield from _held_back(binding)


def _memory(binding: Binding) -> Iterator[Fault]:
    """Yield what memory slots need and have not, or stands beside a host that feeds the words."""
    memory = binding.memory
    if memory is None:
        return
    given = [name for name in SLOT_KEYS if getattr(memory, name) is not None]
    if memory.written_at is not None:
        for name in given:
            message = "goes with memory slots; with written_at the host itself writes each word"
            yield ("memory", name), message
        return
    missing = [name for name in SLOT_KEYS if name not in given]
    one_way = len({"data_out", "data_in"} & {*missing}) == 1
    missing = [name for name in missing if not one_way or name == "slot"]
    if missing:
        message = (
            "missing; a core whose words go one way only can do without store and data_in, or"
            " store and data_out; one whose host writes the words has written_at instead"
        )
        yield ("memory",), f"{', '.join(missing)}: {message}"


def _fed(binding: Binding) -> Iterator[Fault]:
    """Yield what keeps a host from writing the words for the disk."""
    memory, bus = binding.memory, binding.bus
    if memory is None or memory.written_at is None:
        return
    key, at = ("memory", "written_at"), memory.written_at
    if bus is None or bus.write is None or bus.written_on is None:
        yield key, "needs a bus with write and write_data, on which the host writes the words"
        return
    if binding.byte_wide:
        yield key, "needs a bus of words; the binding has registers of two bytes"
    deep = {
        "hold": bus.hold > 1,
        "acknowledge": bus.acknowledge is not None,
        "asynchronous": bus.asynchronous,
        "latency": bus.latency > 0,
        "write_latency": bus.write_latency > 0,
    }
    for name in (name for name, is_so in deep.items() if is_so):
        message = "cannot yet be had beside memory.written_at: a word is written on one edge"
        yield ("bus", name), message
    for name in binding.registers:
        if name != "status" and at in {bus_cycle.address for bus_cycle in binding.bus_cycles(name)}:
            yield key, f"{at:#x} is where {name} is written"


def _written(binding: Binding) -> Iterator[Fault]:
    """Yield two registers written at one address; status, which is only read, may share one."""
    first: dict[int, str] = {}
    for name in (name for name in binding.registers if name != "status"):
        for bus_cycle in binding.bus_cycles(name):
            other = first.setdefault(bus_cycle.address, name)
            if other != name:
                message = (
                    f"{bus_cycle.address:#x} is where {other} is written; one of the two is wrong"
                )
                yield ("bus", "registers", name), message


def _decoded(binding: Binding) -> Iterator[Fault]:
    """Yield two registers that the address lines a core looks at do not tell apart."""
    bus = binding.bus
    if bus is None or bus.decoded is None:
        return
    for written in (False, True):
        first: dict[int, tuple[str, int]] = {}
        for name in (n for n in binding.registers if (n != "status") == written):
            for bus_cycle in binding.bus_cycles(name):
                other, at = first.setdefault(
                    bus_cycle.address & bus.decoded, (name, bus_cycle.address)
                )
                if at != bus_cycle.address:
                    message = f"{bus.decoded:#x} does not tell {at:#x} ({other}) from"
                    yield ("bus", "decoded"), f"{message} {bus_cycle.address:#x} ({name})"
    if bus.decoded == 0 and len(binding.registers) > 1:
        yield ("bus", "decoded"), "0: a core that looks at no address line has one register only"


def _pulse(binding: Binding) -> Iterator[Fault]:
    """Yield pulses of write data that run into one another."""
    line = binding.lines.write_data
    try:
        bit = binding.load_profile().cycles_per_written_bit
    except UserError:
        return  # reported elsewhere
    if line is not None and line.cycles >= bit:
        message = f"{line.cycles} cycles are not shorter than a written channel bit of {bit}"
        yield ("lines", "write_data", "cycles"), f"{message}: two ones in a row would be one pulse"


def _held_back(binding: Binding) -> Iterator[Fault]:
    """Yield what is held back for longer than the reset in which nothing is compared."""
    for watched in binding.observed:
        for part in watched.parts:
            if part.delay >= binding.reset.cycles:
                message = (
                    f"{part.delay} cycles are not less than the reset at the start, so the field"
                    f" would begin unknown; reset.cycles: {part.delay + 1} would do"
                )
                yield (*part.key, "delay"), message
