"""Drives behind a serial port expander: every line arrives when its byte is acknowledged.

linked = LinkedDrives(drives, settings)
linked.put(cycle, "select_1", 1)     # what the controller wants
linked.advance(cycle)                # what reaches the drives by then
linked.lane("track_zero")            # what the controller has seen, and from when on
linked.latency("select_1")           # how late that line came
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from statistics import median
from typing import Any

from refmodel.drive.bus import Change, DriveBus
from refmodel.drive.cable import BACK, OUT
from refmodel.drive.link_settings import LinkSettings
from refmodel.drive.ticks import LONG_AGO, NEVER
from refmodel.drive.two_wire import TwoWireTransfer, microseconds, times_of

_Sampled = dict[int, dict[str, Change]]  # by bank and line: since when, and what


@dataclass(frozen=True)
class _Happens:
    """What happens on the bus at a cycle: `what` is a method, `given` what it is told besides."""

    cycle: int
    what: str
    given: tuple[Any, ...] = ()


@dataclass(frozen=True)
class Latency:
    """How late a line came, in microseconds, over the changes that arrived."""

    count: int
    least: float
    typical: float
    worst: float


@dataclass(frozen=True)
class Kept:
    """A write gate the interlock kept closed: at which edge, and why."""

    cycle: int
    why: str


@dataclass
class _Wanted:
    """One change still to be sent: which line, to what, and since when it is wanted."""

    line: str
    value: int
    since: int
    changes: int = 1  # it stands for


class LinkedDrives:
    """The controller's side of the cable, some of its lines behind a port expander."""

    def __init__(self, drives: DriveBus, settings: LinkSettings) -> None:
        self.drives, self._settings = drives, settings
        self._times = times_of(settings.speed)
        self._dies = drives.ticks.of(settings.dies_at_us) if settings.dies_at_us else NEVER
        self._waiting: deque[_Wanted] = deque()
        self._coming: deque[_Happens] = deque()  # of the transfer under way
        self._free = 0  # the bus, from this cycle on
        self._poll_at = 0 if settings.input_banks else NEVER
        self._late: dict[str, list[int]] = {}
        self._seen: dict[str, list[Change]] = {line: [(0, 0)] for line in BACK}
        self.lost: list[tuple[int, str]] = []  # pulses that never were on the cable
        self.kept: list[Kept] = []
        self._gate_wanted = 0
        self._alive_at = LONG_AGO
        self._last_put = dict.fromkeys(OUT, 0)
        self._under_way = dict.fromkeys(OUT, 0)  # changes wanted and not on the cable yet

    # -- the controller's side -------------------------------------------------------------------

    def put(self, cycle: int, line: str, value: int) -> None:
        """Want a line at a value from a cycle on."""
        self.advance(cycle)
        if self._last_put[line] == value:
            return
        self._last_put[line] = value
        if self._settings.bank_of(line) is None:
            self._arrives(cycle, line, value)
        else:
            self._waiting.append(_Wanted(line, value, cycle))
            self._under_way[line] += 1

    def lane(self, line: str) -> list[Change]:
        """Return what the controller has seen of a line back, the first value at cycle 0."""
        if self._settings.bank_of(line) is None:
            return self.drives.lane(line)
        return self._seen[line]

    def latency(self, line: str) -> Latency | None:
        """Return how late a line came; None if it never changed on the cable."""
        late = [self.drives.ticks.us(cycles) for cycles in self._late.get(line, [])]
        return Latency(len(late), min(late), median(late), max(late)) if late else None

    def advance(self, cycle: int) -> None:
        """Let everything on the link happen that happens up to a cycle."""
        while (at := self._next()) <= cycle:
            self._watch(at)
            if self._coming:
                happens = self._coming.popleft()
                getattr(self, happens.what)(at, *happens.given)
            else:
                self._start(at)
        self._watch(cycle)
        self.drives.advance(cycle)

    def finish(self, cycle: int) -> None:
        """End the run at a cycle."""
        self.advance(cycle)
        self.drives.finish(cycle)

    # -- the link --------------------------------------------------------------------------------

    @property
    def next_event(self) -> int:
        """When something next happens on the link or in a drive."""
        drives = min((d.next_event for d in self.drives.drives.values()), default=NEVER)
        return min(self._next(), drives)

    def _next(self) -> int:
        """Return when the next thing happens on the link; NEVER on one that has died by then."""
        if self._coming:
            at = self._coming[0].cycle
        else:
            wanted = self._waiting[0].since + 1 if self._waiting else NEVER  # with all of that edge
            at = max(self._free, min(wanted, self._poll_at))
        return at if at < self._dies else NEVER

    def _start(self, cycle: int) -> None:
        """Start a transfer: a write if a change is waiting, else a read."""
        if self._waiting and self._waiting[0].since < cycle:
            self._write(cycle)
        else:
            self._read(cycle)

    def _write(self, cycle: int) -> None:
        """Send one change, or all that are waiting."""
        each = self._settings.queue == "each"
        sent = [self._waiting.popleft()] if each else list(self._waiting)
        if not each:
            self._waiting.clear()
        wanted = self._merged(cycle, sent)
        banks = sorted({self._bank(w.line) for w in wanted})
        if self._settings.write == "both":
            banks = list(range(len(self._settings.banks)))
        if not banks:
            return
        transfer = TwoWireTransfer.write(len(banks))
        for n, bank in enumerate(banks):
            at = cycle + self._cycles(transfer.data_byte(self._times, n))
            lines = [w for w in wanted if self._bank(w.line) == bank]
            self._coming.append(_Happens(at, "_arrive", (lines,)))
        self._occupy(cycle, transfer)

    def _merged(self, cycle: int, sent: list[_Wanted]) -> list[_Wanted]:
        """Return the changes with one a line; a line that came and went meanwhile is lost."""
        by_line: dict[str, list[_Wanted]] = {}
        for wanted in sent:
            by_line.setdefault(wanted.line, []).append(wanted)
        kept = []
        for line, changes in by_line.items():
            self.lost += [(cycle, line)] * (len(changes) // 2)
            if len(changes) % 2:
                kept.append(replace(changes[-1], changes=len(changes)))
            else:
                self._under_way[line] -= len(changes)
        return kept

    def _arrive(self, cycle: int, lines: list[_Wanted]) -> None:
        """Let a bank's lines change together: its byte is acknowledged."""
        for wanted in lines:
            self._under_way[wanted.line] -= wanted.changes
            self._late.setdefault(wanted.line, []).append(cycle - wanted.since)
            self._arrives(cycle, wanted.line, wanted.value)

    def _read(self, cycle: int) -> None:
        """Read every bank with inputs: sampled bank by bank, known when the byte has come."""
        transfer = self._settings.read_transfer()
        found: _Sampled = {}
        for n, bank in enumerate(self._settings.input_banks):
            sampled = cycle + self._cycles(transfer.sampled(self._times, n))
            known = cycle + self._cycles(transfer.data_byte(self._times, n))
            self._coming.append(_Happens(sampled, "_sample", (bank, found)))
            self._coming.append(_Happens(known, "_know", (bank, found)))
        self._coming = deque(sorted(self._coming, key=lambda happens: happens.cycle))
        self._poll_at = cycle + self.drives.ticks.of(self._settings.poll_us)
        self._occupy(cycle, transfer)

    def _sample(self, cycle: int, bank: int, found: _Sampled) -> None:
        """Note what the inputs of a bank are."""
        self.drives.advance(cycle)
        inputs = [line for line in self._settings.banks[bank] if line in BACK]
        found[bank] = {line: self.drives.lane(line)[-1] for line in inputs}

    def _know(self, cycle: int, bank: int, found: _Sampled) -> None:
        """Let the controller see what was sampled."""
        for line, (changed, value) in found[bank].items():
            if self._seen[line][-1][1] != value:
                self._late.setdefault(line, []).append(cycle - changed)
                self._seen[line].append((cycle, value))

    def _occupy(self, cycle: int, transfer: TwoWireTransfer) -> None:
        """Keep the bus for a transfer; its end is a sign of life."""
        self._free = cycle + self._cycles(transfer.occupies(self._times))
        ends = cycle + self._cycles(transfer.duration(self._times))
        self._coming.append(_Happens(ends, "_lives"))

    def _lives(self, cycle: int) -> None:
        self._alive_at = cycle

    def _bank(self, line: str) -> int:
        bank = self._settings.bank_of(line)
        assert bank is not None
        return bank

    def _cycles(self, ns: int) -> int:
        return self.drives.ticks.of(microseconds(ns))

    # -- the cable -------------------------------------------------------------------------------

    def _arrives(self, cycle: int, line: str, value: int) -> None:
        """Let a line reach the cable; the write gate passes the interlock first."""
        if line == "write_gate":
            self._gate_wanted = value
            why = self._why_closed(cycle) if value else ""
            if why:
                self.kept.append(Kept(cycle, why))
                return
        if line == "write_data" and self._held():
            return
        self.drives.put(cycle, line, value)

    def _held(self) -> bool:
        """Return whether the interlock keeps the gate closed, and write data with it."""
        return bool(self._gate_wanted and not self.drives.cable["write_gate"])

    def _why_closed(self, cycle: int) -> str:
        """Say why the interlock keeps the gate closed; empty if it does not, or there is none."""
        if self._settings.interlock is None:
            return ""
        under_way = [line for line, count in self._under_way.items() if count]
        if set(under_way) - {"write_gate"}:
            return f"a change of {', '.join(under_way)} is under way on the link"
        if self._runs_out() <= cycle:
            return "the link has fallen silent"
        return ""

    def _runs_out(self) -> int:
        """Return when the watchdog runs out; NEVER without one."""
        interlock = self._settings.interlock
        if interlock is None:
            return NEVER
        return self._alive_at + self.drives.ticks.of(interlock.watchdog_us)

    def _watch(self, cycle: int) -> None:
        """Shut the gate if the watchdog has run out by a cycle."""
        out = self._runs_out()
        if self._gate_wanted and out <= cycle and self.drives.cable["write_gate"]:
            at = max(out, self.drives.now)
            self.kept.append(Kept(at, "the link has fallen silent"))
            self.drives.put(at, "write_gate", 0)
