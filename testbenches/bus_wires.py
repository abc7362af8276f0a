"""The host's side of a core in Verilog: what drives its ports, and what the harness must know."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from testbenches.binding.bus import Bus
from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.drive_word import DriveWord
from testbenches.expressions import inverted, seen, signal_of


def bus_connections(binding: Binding, bus: Bus, drive: DriveWord) -> dict[str, str]:
    """Return the expressions that drive the bus ports."""
    lines = _Lines(bus, drive, _fed_at(binding))
    access = f"({lines.read} | {lines.write})"
    found = {bus.address: lines.address}
    if bus.read is not None:
        found[bus.read.port] = signal_of(lines.read, bus.read)
    if bus.select is not None:
        selected = f"({access} & ~{lines.of('elsewhere')})"
        found[bus.select.port] = signal_of(selected, bus.select)
    if bus.write is not None:
        found[bus.write.port] = signal_of(lines.write, bus.write)
    if bus.strobes is not None:
        for strobe in (bus.strobes.high, bus.strobes.low):
            found[strobe.port] = signal_of(access, strobe)
    if bus.write_data is not None:
        found[bus.write_data] = lines.data
    if bus.data is not None:
        found[bus.data.port] = "data_lines"
    return found


def bus_values(
    binding: Binding, ports: CorePorts, drive: DriveWord, outputs: Mapping[str, int]
) -> dict[str, Any] | None:
    """Return what the harness must know of the bus; None for a core without one."""
    bus = binding.bus
    if bus is None:
        return None
    lines = _Lines(bus, drive, _fed_at(binding))
    read_from = bus.data.port if bus.data is not None else bus.read_data
    width = ports.width(read_from) if read_from else 1
    ack = bus.acknowledge
    lag = bus.read_latency if ack is None else -bus.latency
    swaps = bus.byte_order == "swapped"
    name = "data_lines" if bus.data is not None else "read_lines"
    return {
        "read_width": width,
        "latency": bus.answer - bus.counted[0],  # from the edge it would count at without any
        "lagging": f" {'-' if lag > 0 else '+'} {abs(lag)}" if lag else "",
        "counted_at": "begun" if ack is not None and bus.acts == "first" else "cycle",
        "hold": bus.hold,
        "idle": bus.idle,
        "step": bus.hold + bus.idle,
        "acts": bus.counted[0],
        "over": max(bus.hold - 1, bus.answer),
        "acknowledge": ack is not None,
        "timeout": ack.timeout if ack is not None else 0,
        "asynchronous": bus.asynchronous,
        "shared": bus.data is not None,
        "writes": lines.write,
        "data": lines.data,
        "read": _swapped(name) if swaps else name,
        "seen": {w.lane: inverted(seen(w.expression, outputs), w.active) for w in bus.watched()},
    }


class _Lines:
    """The host's lines as expressions; they change with the others, or by themselves."""

    def __init__(self, bus: Bus, drive: DriveWord, fed_at: int | None) -> None:
        self._drive = drive
        self._fed_at = fed_at
        self._word = "host_lines" if bus.asynchronous else "drive"
        self._swaps = bus.byte_order == "swapped"

    def of(self, name: str) -> str:
        """Return a slot of the word."""
        text = self._drive.verilog(name)
        return text.replace("drive[", f"{self._word}[", 1)

    @property
    def read(self) -> str:
        """1 while the host reads."""
        return self.of("read")

    @property
    def write(self) -> str:
        """1 while the host writes."""
        write = self.of("write")
        return write if self._fed_at is None else f"({write} | feeds)"

    @property
    def address(self) -> str:
        """Where it reads or writes."""
        address = self.of("address")
        return address if self._fed_at is None else f"(feeds ? {self._fed_at} : {address})"

    @property
    def data(self) -> str:
        """What the host writes."""
        return (
            self._own_data if self._fed_at is None else f"(feeds ? {self._fed} : {self._own_data})"
        )

    @property
    def _fed(self) -> str:
        return "{memory_word[7:0], memory_word[15:8]}" if self._swaps else "memory_word"

    @property
    def _own_data(self) -> str:
        if "write_data" not in self._drive.slots:
            return "0"
        if not self._swaps:
            return self.of("write_data")
        at = self._drive.lsb("write_data")
        word = self._word
        return f"{{{word}[{at + 7}:{at}], {word}[{at + 15}:{at + 8}]}}"


def _fed_at(binding: Binding) -> int | None:
    """Return the address at which the host writes words for the disk, if it does."""
    return binding.memory.written_at if binding.memory is not None else None


def _swapped(name: str) -> str:
    return f"{{{name}[7:0], {name}[15:8]}}"
