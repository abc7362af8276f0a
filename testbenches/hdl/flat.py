"""A core's flat netlist as a graph of bits: what drives each, and what each leads to."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from typing import Any, NamedTuple

Bit = int | str  # a net's number, or "0", "1", "x", "z"
Cell = dict[str, Any]

REGISTERS = ("$dff", "$adff", "$dffe", "$adffe", "$sdff", "$sdffe", "$aldff", "$dffsr")
BITWISE = ("$mux", "$and", "$or", "$xor", "$xnor", "$not", "$tribuf")
INVERTERS = ("$not", "$logic_not")
CONSTANTS = ("0", "1", "x", "z")


class Pin(NamedTuple):
    """One bit of a cell's port."""

    cell: Cell
    port: str
    at: int


class Level(NamedTuple):
    """A net at one of its levels."""

    bit: Bit
    high: bool


class FlatCore:
    """The module as yosys writes it, flat, with its registers and multiplexers as they are."""

    def __init__(self, module: dict[str, Any]) -> None:
        self._ports: dict[str, Any] = module["ports"]
        self._cells: list[Cell] = list(module["cells"].values())
        self._drivers: dict[Bit, Pin] = {}
        self._sinks: dict[Bit, list[Pin]] = defaultdict(list)
        for cell in self._cells:
            for port, bits in cell["connections"].items():
                for at, bit in enumerate(bits):
                    if cell["port_directions"][port] == "output":
                        self._drivers[bit] = Pin(cell, port, at)
                    elif bit not in CONSTANTS:
                        self._sinks[bit].append(Pin(cell, port, at))
        self._nets = {name: net["bits"] for name, net in module["netnames"].items()}
        self._named: dict[Bit, tuple[str, int, int]] = {}
        for name, net in module["netnames"].items():
            for bit in net["bits"]:
                known = self._named.get(bit)
                better = known is None or (len(net["bits"]), name.count(".")) < known[1:]
                if better and not net.get("hide_name"):
                    self._named[bit] = (name, len(net["bits"]), name.count("."))
        self._shown = {
            bit for p in self._ports.values() if p["direction"] == "output" for bit in p["bits"]
        }

    def bits(self, port: str) -> list[Bit]:
        """Return a port's bits, the lowest first."""
        found: list[Bit] = self._ports[port]["bits"]
        return found

    def net(self, name: str) -> list[Bit]:
        """Return the bits of a net by its hierarchical name; none for one that is not there."""
        found: list[Bit] = self._nets.get(name, [])
        return found

    def name_of(self, bit: Bit) -> str | None:
        """Return the name of a net of one bit, as the user wrote it."""
        name, width, _ = self._named.get(bit, ("", 0, 0))
        return name if width == 1 else None

    def used(self, port: str) -> int:
        """Return the bits of an input that lead anywhere, as a mask."""
        return sum(1 << at for at, bit in enumerate(self.bits(port)) if self._sinks.get(bit))

    def copies(self, bit: Bit) -> int:
        """Return how many registers a bit passes before anything else is done with it.

        Inverters, resets and enables on the way do not count as anything else.
        """
        passed = 0
        for _ in range(len(self._cells)):
            sinks = self._sinks.get(bit, [])
            following = {self._onward(pin) for pin in sinks}
            if bit in self._shown or len(following) != 1 or None in following:
                break
            (pin,) = sinks[:1]
            step = self._onward(pin)
            assert step is not None
            passed += pin.cell["type"] in REGISTERS
            bit = step
        return passed

    def _onward(self, pin: Pin) -> Bit | None:
        """Return where a bit goes on as it is, or inverted; None where it does something else."""
        cell, outputs = pin.cell, pin.cell["connections"]
        kind = cell["type"]
        if kind in REGISTERS and pin.port == "D":
            found: Bit = outputs["Q"][pin.at]
            return found
        if kind in INVERTERS and len(outputs["A"]) == 1:
            return self._first(outputs["Y"])
        if kind == "$mux" and pin.port in "AB":
            other = outputs["B" if pin.port == "A" else "A"][pin.at]
            held = any(
                end.cell["type"] in REGISTERS and end.cell["connections"]["Q"][end.at] == other
                for end in self._sinks.get(outputs["Y"][pin.at], [])
                if end.port == "D"
            )
            if other in CONSTANTS or held or self._passes_on(other):
                return self._first(outputs["Y"][pin.at :])
        return None

    def _passes_on(self, bit: Bit) -> bool:
        """Return whether a bit is a register's own output, which an enable keeps."""
        pin = self._drivers.get(bit)
        return pin is not None and pin.cell["type"] in REGISTERS

    @staticmethod
    def _first(bits: list[Bit]) -> Bit:
        return bits[0]

    def distance(self, start: Bit, ends: set[Bit]) -> int | None:
        """Return the fewest registers from a bit to one of `ends`; None if there is no way.

        The way through a register's clock, reset or a multiplexer's selection does not count.
        """
        reached: dict[Bit, int] = {start: 0}
        waiting = [start]
        while waiting:
            bit = waiting.pop(0)
            if bit in ends:
                return reached[bit]
            for pin in self._sinks.get(bit, []):
                for onward, edges in self._through(pin):
                    if onward not in reached or reached[bit] + edges < reached[onward]:
                        reached[onward] = reached[bit] + edges
                        waiting.append(onward)
        return None

    @staticmethod
    def _through(pin: Pin) -> Iterator[tuple[Bit, int]]:
        outputs, kind = pin.cell["connections"], pin.cell["type"]
        if kind in REGISTERS:
            if pin.port == "D":
                yield outputs["Q"][pin.at], 1
        elif not (kind in ("$mux", "$pmux") and pin.port == "S"):
            same_place = len(outputs.get("Y", [])) == len(outputs.get(pin.port, []))
            bitwise = kind in BITWISE and same_place
            for at, bit in enumerate(outputs.get("Y", [])):
                if not bitwise or at == pin.at:
                    yield bit, 0

    @property
    def cells(self) -> list[Cell]:
        """Every cell."""
        return self._cells

    def driver(self, bit: Bit) -> Pin | None:
        """Return what drives a bit; None for an input."""
        return self._drivers.get(bit)

    def behind(self, bit: Bit, registers: int = 1 << 16) -> set[str]:
        """Return the inputs a bit depends on, through so many registers at most."""
        cone = self.cone(bit, registers)
        return {
            name
            for name, port in self._ports.items()
            if port["direction"] != "output" and cone & {*port["bits"]}
        }

    def cone(self, bit: Bit, registers: int = 0) -> set[Bit]:
        """Return every bit this one is made of, through so many registers at most."""
        passed = {bit: 0}
        waiting = [bit]
        while waiting:
            bit = waiting.pop(0)
            pin = self._drivers.get(bit)
            if pin is None:
                continue
            edges = passed[bit] + (pin.cell["type"] in REGISTERS)
            if edges > registers:
                continue
            for one in self._made_of(pin):
                if one not in CONSTANTS and passed.get(one, edges + 1) > edges:
                    passed[one] = edges
                    waiting.append(one)
        return set(passed)

    @staticmethod
    def _made_of(pin: Pin) -> Iterator[Bit]:
        """Yield the bits that decide a bit of a cell's output, clocks and resets left out."""
        cell, ends = pin.cell, pin.cell["connections"]
        clocked = cell["type"] in REGISTERS
        for port, bits in ends.items():
            if cell["port_directions"][port] != "input":
                continue
            if clocked and port not in ("D", "EN"):
                continue
            alike = len(bits) == len(ends[pin.port]) and (clocked or cell["type"] in BITWISE)
            yield from bits[pin.at : pin.at + 1] if alike and len(bits) > 1 else bits

    def copied_from(self, bit: Bit) -> Bit:
        """Return the bit that this one shows unchanged, however many registers later."""
        for _ in range(len(self._cells)):
            pin = self._drivers.get(bit)
            if pin is None:
                break
            taken = pin.cell["type"] in REGISTERS
            onward = pin.cell["connections"]["D"][pin.at] if taken else self._chosen(pin)
            if onward is None:
                break
            bit = onward
        return bit

    def _chosen(self, pin: Pin) -> Bit | None:
        """Return what a multiplexer lets through but for a constant, or what was there before."""
        ends = pin.cell["connections"]
        if pin.cell["type"] != "$mux":
            return None
        sides: tuple[Bit, Bit] = ends["A"][pin.at], ends["B"][pin.at]
        if {*sides} & {"0", "1"}:
            return sides[1] if sides[0] in CONSTANTS else sides[0]
        return sides[1] if self._keeps(pin) else None

    def _keeps(self, pin: Pin) -> bool:
        """Return whether a multiplexer's A is the register that takes what it chooses."""
        ends = pin.cell["connections"]
        before = self._drivers.get(ends["A"][pin.at])
        if before is None or before.cell["type"] not in REGISTERS:
            return False
        return bool(before.cell["connections"]["D"][before.at] == ends["Y"][pin.at])

    def is_kept(self, port: str) -> bool:
        """Return whether an input leads to a register at all."""
        waiting, seen = list(self.bits(port)), set()
        while waiting:
            bit = waiting.pop()
            if bit in seen:
                continue
            seen.add(bit)
            for pin in self._sinks.get(bit, []):
                if pin.cell["type"] in REGISTERS:
                    return True
                waiting += pin.cell["connections"].get("Y", [])
        return False

    def origin(self, bit: Bit) -> Level:
        """Return the net a bit is, or is the inverse of."""
        high = True
        for _ in range(len(self._cells)):
            pin = self._drivers.get(bit)
            if pin is None or pin.cell["type"] not in INVERTERS:
                break
            if len(pin.cell["connections"]["A"]) != 1:
                break
            bit, high = pin.cell["connections"]["A"][0], not high
        return Level(bit, high)

    def input_at(self, bit: Bit) -> tuple[str, bool] | None:
        """Return the input a bit is, and whether at its own level; None for anything else."""
        source = self.origin(bit)
        for name, port in self._ports.items():
            if port["direction"] == "input" and source.bit in port["bits"]:
                return name, source.high
        return None

    def _registers(self) -> list[Cell]:
        return [cell for cell in self._cells if cell["type"] in REGISTERS]

    def looks_for_an_edge(self, port: str) -> bool:
        """Return whether an input is held against itself as it was on the edge before."""
        for cell in self._cells:
            if cell["type"] not in ("$and", "$logic_and"):
                continue
            ends = [cell["connections"][side] for side in "AB"]
            if all(len(bits) == 1 for bits in ends):
                one, other = (self.origin(bits[0]).bit for bits in ends)
                for now, before in ((one, other), (other, one)):
                    if self._taken_by(before) == now and self._source(now) == self.bits(port)[0]:
                        return True
        return False

    def _taken_by(self, bit: Bit) -> Bit | None:
        """Return what a register of one bit takes but for resets and enables; None for others."""
        pin = self._drivers.get(bit)
        if pin is None or pin.cell["type"] not in REGISTERS:
            return None
        taken: Bit = pin.cell["connections"]["D"][pin.at]
        for _ in range(len(self._cells)):
            pin = self._drivers.get(taken)
            onward = self._chosen(pin) if pin is not None else None
            if onward is None:
                break
            taken = onward
        return self.origin(taken).bit

    def _source(self, bit: Bit) -> Bit:
        """Return the bit this one shows, inverted or not, however many registers later."""
        for _ in range(len(self._cells)):
            onward = self.origin(self.copied_from(bit)).bit
            if onward == bit:
                break
            bit = onward
        return bit

    @property
    def has_registers(self) -> bool:
        """Whether there is any register."""
        return bool(self._registers())

    def asynchronous_reset(self) -> tuple[str, bool] | None:
        """Return the input that resets registers without a clock, and its level."""
        for cell in self._registers():
            if "ARST" in cell["connections"]:
                found = self.input_at(cell["connections"]["ARST"][0])
                if found is not None:
                    level = int(cell["parameters"]["ARST_POLARITY"], 2) == 1
                    return found[0], found[1] == level
        return None

    def clocks(self) -> Counter[tuple[str, bool]]:
        """Return the inputs that clock registers, at which edge, and how many bits of them."""
        found: Counter[tuple[str, bool]] = Counter()
        for cell in self._registers():
            source = self.input_at(cell["connections"]["CLK"][0])
            if source is not None:
                rising = int(cell["parameters"]["CLK_POLARITY"], 2) == 1
                found[source[0], source[1] == rising] += len(cell["connections"]["Q"])
        return found

    def clock_behind(self, port: str) -> str | None:
        """Return the input that clocks the first registers an input leads to."""
        waiting, seen = list(self.bits(port)), set()
        while waiting:
            bit = waiting.pop(0)
            if bit in seen:
                continue
            seen.add(bit)
            for pin in self._sinks.get(bit, []):
                if pin.cell["type"] in REGISTERS:
                    source = self.input_at(pin.cell["connections"]["CLK"][0])
                    return source[0] if source is not None else None
                waiting += pin.cell["connections"].get("Y", [])
        return None

    def own_divider(self) -> tuple[str, int] | None:
        """Return the clock's port and how many of its edges make one of the divided clock.

        None for a core whose registers are clocked by a port.
        """
        clocks = Counter(cell["connections"]["CLK"][0] for cell in self._registers())
        for _ in clocks:
            pin = self._drivers.get(clocks.most_common(1)[0][0])
            if pin is None or pin.cell["type"] not in REGISTERS:
                return None
            source = self.input_at(pin.cell["connections"]["CLK"][0])
            return (source[0], 2 << pin.at) if source is not None else None
        return None

    def shared_data(self, port: str) -> Level | None:
        """Return what is up while the core drives an inout port."""
        for bit in self.bits(port):
            pin = self._drivers.get(bit)
            if pin is not None and pin.cell["type"] == "$tribuf":
                return self._nearest_named(pin.cell["connections"]["EN"][0])
            if pin is not None and pin.cell["type"] == "$mux":
                sides = {side: pin.cell["connections"][side][pin.at] for side in "AB"}
                if "z" in sides.values():
                    level = self._nearest_named(pin.cell["connections"]["S"][0])
                    return Level(level.bit, level.high == (sides["A"] == "z"))
        return None

    def _nearest_named(self, bit: Bit) -> Level:
        """Return a net with a name: this one, or the one it is the inverse of."""
        return Level(bit, True) if self.name_of(bit) else self.origin(bit)
