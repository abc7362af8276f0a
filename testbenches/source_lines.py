"""The lines of a core's source behind a field: where it is assigned, and what that depends on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from heapq import heappop, heappush
from itertools import count
from pathlib import Path
from typing import Any

from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.engine.finding import SourceLine
from refmodel.ground.errors import UserError
from testbenches.binding.bus import STATUS
from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.binding.source_files import source_files
from testbenches.drafting.netlist import Netlist, bits_read, nets_in
from testbenches.drafting.read_netlist import read_netlist
from testbenches.hdl.elaborate import Design, elaborate
from testbenches.hdl.vhdl import is_vhdl
from testbenches.not_reset import not_reset

MOST = 12  # lines shown, the nearest first
FARTHEST = 5  # assignments away
OF_REGISTERS = 9  # likewise, where a register is named that reset does not set
Part = tuple[str, int, int]  # net, lowest bit, width


class SourceLines:
    """Finds lines in one elaborated core; it is elaborated when the first is asked for.

    What cannot be read from the elaborated design is not guessed: then there are no lines. Of a
    core in VHDL, whose Verilog is made by a tool, they are those that assign the observed signal.
    """

    def __init__(self, binding: Binding, ports: CorePorts, layout: Layout) -> None:
        self._binding = binding
        self._ports = ports
        self._layout = layout
        self._read: tuple[Design, Netlist] | None = None

    def of(self, field: str) -> tuple[SourceLine, ...]:
        """Return the lines behind a field or a line, each once."""
        part = self._observed(field)
        if part is None:
            return ()
        vhdl = [path for path in source_files(self._binding)[0] if is_vhdl(path)]
        if vhdl:
            return tuple(_assignments(vhdl, part[0].rpartition(".")[2]))[:MOST]
        try:
            design, netlist = self._design()
        except (UserError, RuntimeError, AttributeError):
            return ()
        found = (self._line(design, net, place) for net, place in _behind(netlist, part))
        lines = dict.fromkeys(line for line in found if line is not None)
        return tuple(lines)[:MOST]

    def not_reset(self, field: str) -> str:
        """Name the registers behind a field that reset does not set; empty if there are none."""
        if not self.of(field) or self._read is None:
            return ""
        part, (_, netlist) = self._observed(field), self._read
        nets = (net for net, _ in _behind(netlist, part, OF_REGISTERS)) if part is not None else ()
        return not_reset(netlist, self._binding, nets)

    def _design(self) -> tuple[Design, Netlist]:
        if self._read is None:
            ports, core = self._ports, self._binding.core
            design = elaborate(
                ports.sources, core.top, ports.include_dirs, core.defines, ports.parameters
            )
            self._read = design, read_netlist(design, merge=False)
        return self._read

    def _observed(self, field: str) -> Part | None:
        """Return the net and bits that show a field; without any, those a read returns."""
        for watched in (*self._binding.observed, *self._binding.lines_observed):
            net, _, select = watched.expression.partition("[")
            lsb = int(select.rstrip("]").split(":")[-1]) if select else 0
            if watched.lane == field:
                return net, lsb, watched.width
            if watched.lane == STATUS and field in (*FIELD_NAMES, UNUSED):
                return net, lsb + self._lsb(field), self._width(field)
        bus = self._binding.bus
        if bus is None or bus.read_data is None or field not in FIELD_NAMES:
            return None
        return bus.read_data, 0 if self._binding.byte_wide else self._lsb(field), 1

    def _lsb(self, field: str) -> int:
        mask = self._layout.mask_of(field)
        return (mask & -mask).bit_length() - 1

    def _width(self, field: str) -> int:
        return self._layout.mask_of(field).bit_length() - self._lsb(field)

    def _line(self, design: Design, net: str, place: Any) -> SourceLine | None:  # noqa: ANN401
        """Return a place of the design in the user's own file, if it stands in one."""
        where = design.place_of(place)
        if where is None:
            return None
        file, line = where
        return SourceLine(str(file), line, net)


def _assignments(files: Iterable[Path], signal: str) -> Iterator[SourceLine]:
    """Yield the lines of VHDL files that assign a signal, or a part of it."""
    name = re.escape(signal.partition("[")[0])
    assigns = re.compile(rf"(?:^|[;:]|\bthen\b|\belse\b|=>)\s*{name}\s*(?:\([^)]*\))?\s*<=", re.I)
    for path in files:
        try:
            text = path.read_text(encoding="utf-8", errors="replace")
        except OSError:
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if assigns.search(line.partition("--")[0]):
                yield SourceLine(str(path), number, signal)


def _behind(netlist: Netlist, part: Part, farthest: int = FARTHEST) -> Iterator[tuple[str, Any]]:
    """Yield the nets behind part of a net with the places that assign them, nearest first.

    What an assignment waits for is as far as two assignments more than what it assigns.
    """
    order = count()
    waiting = [(0, next(order), part)]
    seen = set()
    while waiting:
        distance, _, (named, lsb, width) = heappop(waiting)
        path = _outside(netlist, named)
        if (path, lsb, width) in seen or distance > farthest:
            continue
        seen.add((path, lsb, width))
        for drive in netlist.drives.get(path, []):
            if drive.lsb < lsb + width and lsb < drive.lsb + drive.width:
                yield path, drive.place
                first = max(lsb, drive.lsb)
                bits = min(lsb + width, drive.lsb + drive.width) - first
                for net, low, size in dict.fromkeys(
                    bits_read(drive.value, first - drive.lsb, bits)
                ):
                    heappush(waiting, (distance + 1, next(order), (net.path, low, size)))
                for net in dict.fromkeys(net for expr in drive.guards for net in nets_in(expr)):
                    heappush(waiting, (distance + 3, next(order), (net.path, 0, net.width)))


def _outside(netlist: Netlist, path: str) -> str:
    """Return the net a port inside is, as far out as it goes."""
    while path in netlist.same:
        path = netlist.same[path]
    return path
