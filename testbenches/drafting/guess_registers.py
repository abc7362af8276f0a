"""Where a core's source puts its status word together, and at which addresses it is reached."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from refmodel.block.fields import STATUS_FIELDS, STATUS_WIDTH
from testbenches.drafting.evidence import Leaf, address_of, behind, read_ports, written
from testbenches.drafting.names import words
from testbenches.drafting.netlist import (
    Cat,
    Const,
    Equal,
    Expr,
    Net,
    NetBits,
    Netlist,
)

MADE_UP = re.compile(r"n\d+(_[a-z]+)?")  # as GHDL numbers what has no name


class Status(NamedTuple):
    """Where the status word is put together: its flags from the top, data, and the whole word.

    `word` is the net that holds all 16 bits, if there is one; a byte-wide core has only flags.
    `seen` are the same flags as parts of the value they stand in.
    """

    flags: tuple[Expr, ...]
    seen: tuple[Expr, ...]
    data: Expr | None
    word: str | None


def status_of(netlist: Netlist, leaves: list[Leaf]) -> Status | None:
    """Return where flags, unused zeros and data stand together as status has them (B8)."""
    candidates = _candidates(netlist, leaves)
    words_first = sorted(candidates, key=lambda one: (-one[0].width, _is_made_up(one[1])))
    for value, net in words_first:
        bits = netlist.bits(value)
        if len(bits) in (STATUS_WIDTH, 8) and _has_flags(bits[:8]):
            data = None if len(bits) == 8 else _as_net(bits[-8:])
            places = _flag_places()
            seen = _plain_bits(value)
            word = _named_as(net, leaves)
            return Status(
                tuple(bits[n] for n in places), tuple(seen[n] for n in places), data, word
            )
    return None


def _is_made_up(net: str | None) -> bool:
    """Return whether a net has no name of the source's, but one that a translator gave it."""
    return net is None or MADE_UP.fullmatch(net.rpartition(".")[2]) is not None


def _named_as(net: str | None, leaves: list[Leaf]) -> str | None:
    """Return the net of the source that holds the same as one with a made-up name, if any does."""
    if net is None or not _is_made_up(net):
        return net
    same = (
        leaf.net
        for leaf in leaves
        if isinstance(leaf.value, Net) and leaf.value.path == net and not leaf.conditions
    )
    return next((name for name in same if not _is_made_up(name)), net)


def _candidates(netlist: Netlist, leaves: list[Leaf]) -> Iterator[tuple[Expr, str | None]]:
    """Yield every net of status's width, and every concatenation of 16 or 8 bits in a value."""
    for path, net in netlist.nets.items():
        if net.width == STATUS_WIDTH and path not in netlist.inputs:
            yield net, path
    for leaf in leaves:
        if isinstance(leaf.value, Cat) and leaf.value.width in (STATUS_WIDTH, 8):
            whole = leaf.value.width == STATUS_WIDTH == leaf.drive.width and not leaf.conditions
            yield leaf.value, leaf.net if whole else None


def _plain_bits(value: Expr) -> list[Expr]:
    """Return a value's bits, the highest first, as bits of the nets it names itself."""
    parts = value.parts if isinstance(value, Cat) else (value,)
    return [
        part if part.width == 1 or not isinstance(part, Net) else NetBits(part, n, 1)
        for part in parts
        for n in reversed(range(part.width))
    ]


def _flag_places() -> list[int]:
    """Return where the one-bit fields stand, counted from the highest bit."""
    return [STATUS_WIDTH - 1 - f.lsb for f in STATUS_FIELDS if f.width == 1]


def _has_flags(bits: list[Expr]) -> bool:
    """Say whether the upper byte has zeros where status has no field, and only there."""
    places = _flag_places()
    return all((n in places) != isinstance(bit, Const) for n, bit in enumerate(bits))


def _as_net(bits: list[Expr]) -> Expr | None:
    """Return the net of which these are all the bits, or the part of one."""
    first = bits[0]
    if not isinstance(first, NetBits):
        return None
    lowest = first.lsb - len(bits) + 1
    if bits != [NetBits(first.of, n, 1) for n in range(first.lsb, lowest - 1, -1)]:
        return None
    return first.of if first.of.width == len(bits) else NetBits(first.of, lowest, len(bits))


@dataclass
class Addresses:
    """Where the registers are: `word`, or `high` and `low`, each with the reason."""

    status: dict[str, tuple[int, str]] = field(default_factory=dict)
    sync_word: dict[str, tuple[int, str]] = field(default_factory=dict)
    clears_on: tuple[str, str] = ("high", "guess: byte_ready is there")
    read_latency: int | None = None  # registers between the value and the port; None: no port found
    read_data: str | None = None  # a port that shows nothing but status, whatever the address
    low_value: Expr | None = None  # what a read of the low byte of status returns
    written: dict[int, str] = field(default_factory=dict)  # other addresses, and their names


class Site(NamedTuple):
    """A place where the address is compared: what happens there."""

    address: int
    text: str  # the constant's name in the source
    leaf: Leaf

    @property
    def names(self) -> set[str]:
        """The words of every name at this place."""
        named = [self.text, self.leaf.net.rsplit(".", 1)[-1]]
        if isinstance(self.leaf.value, Net):
            named.append(self.leaf.value.path.rsplit(".", 1)[-1])
        return {word for name in named for word in words(name)}


def addresses_of(netlist: Netlist, leaves: list[Leaf], status: Status | None) -> Addresses:
    """Return where the source says status is read and sync_word is written."""
    found = Addresses()
    address = address_of(netlist, leaves)
    if address is None:
        return found
    sites = [
        Site(match.value, match.text, leaf)
        for leaf in leaves
        for match in dict.fromkeys(leaf.matches)
        if match.net == address
    ]
    stores = [site for site in sites if written(netlist, site.leaf, address)]
    found.sync_word = _Registers(netlist, leaves).sync_word(stores)
    known = {where for where, _ in found.sync_word.values()}
    found.written = {site.address: site.text for site in stores if site.address not in known}
    shown = set()
    for port, latency in read_ports(netlist, leaves, address):
        found.read_latency = latency
        shown |= {net for net, _ in behind(netlist, leaves, port)}
    reads = [site for site in sites if site.leaf.net in shown]
    _find_status(netlist, found, reads, status)
    if found.read_latency is None and status is not None:
        _find_lone_status(netlist, leaves, found, sites, status)
    return found


MARK = 0x4489  # the usual sync word: MFM's A1 with a missing clock


class _Registers:
    """What the source does with its registers: compares them, and sets them to constants."""

    def __init__(self, netlist: Netlist, leaves: list[Leaf]) -> None:
        self._compared = {
            net.path
            for drives in netlist.drives.values()
            for drive in drives
            for net in _compared(drive.value)
        }
        self._constants: dict[str, set[int]] = {}
        self._behind: dict[str, set[str]] = {}  # net: the nets that take its value
        for leaf in leaves:
            if isinstance(leaf.value, Const):
                self._constants.setdefault(leaf.net, set()).add(leaf.value.value)
            elif isinstance(leaf.value, Net):
                self._behind.setdefault(leaf.value.path, set()).add(leaf.net)

    def sync_word(self, stores: list[Site]) -> dict[str, tuple[int, str]]:
        """Return the addresses of the register that is compared with the window."""
        likeness = [self._likeness(site) for site in stores]
        best = max(likeness, default=0)
        found: dict[str, tuple[int, str]] = {}
        for site, like in zip(stores, likeness, strict=True):
            if like == best:
                named = f" ({site.text})" if site.text else ""
                reason = f"'{site.leaf.net}' is written there{named}"
                found.setdefault(self._half(site), (site.address, reason))
        return found

    def _likeness(self, site: Site) -> int:
        """Return how much a written register looks like sync_word."""
        preset = self._presets(site.leaf.net) & {MARK, MARK >> 8, MARK & 0xFF}
        compared = site.leaf.net in self._compared
        return 4 * bool(site.names & {"sync"}) + 3 * bool(preset) + 2 * compared

    def _presets(self, net: str) -> set[int]:
        """Return the constants a net, or the register right behind it, is set to."""
        nets = {net} | self._behind.get(net, set())
        return {value for one in nets for value in self._constants.get(one, set())}

    def _half(self, site: Site) -> str:
        """Return which part of a 16-bit register a write at this place reaches."""
        if site.leaf.drive.width == STATUS_WIDTH:
            return "word"
        if site.leaf.drive.lsb == 8:
            return "high"
        high = "high" in site.names or MARK >> 8 in self._presets(site.leaf.net)
        return "high" if high else "low"


def _compared(expr: Expr) -> tuple[Net, ...]:
    """Return the wide nets an expression compares with each other."""
    if isinstance(expr, Equal) and isinstance(expr.left, Net) and isinstance(expr.right, Net):
        return (expr.left, expr.right)
    return ()


def _find_status(
    netlist: Netlist, found: Addresses, reads: list[Site], status: Status | None
) -> None:
    """Find where the status word, or its two bytes, are read."""
    left: list[Site] = []
    for site in reads:
        part = _part_of_status(netlist, site.leaf.value, status)
        if part is not None:
            found.status.setdefault(part, (site.address, "the flags are read there"))
            if part == "low":
                found.low_value = site.leaf.value
        elif "status" in site.names:
            named = "word" if site.leaf.drive.width == STATUS_WIDTH else _named_half(site)
            text = f" ({site.text})" if site.text else ""
            found.status.setdefault(named, (site.address, f"its name says so{text}"))
            if named == "low":
                found.low_value = site.leaf.value
        elif site.address not in {address for address, _ in found.sync_word.values()}:
            left.append(site)
    high = found.status.get("high")
    left = [site for site in left if high and site.address != high[0]]
    if "low" not in found.status and len(left) == 1:
        found.status["low"] = (left[0].address, "it is the only other byte that is read")
        found.low_value = left[0].leaf.value


def _find_lone_status(
    netlist: Netlist, leaves: list[Leaf], found: Addresses, sites: list[Site], status: Status
) -> None:
    """Find a port that shows the status word at every address, and the address that clears."""
    for port, width in netlist.outputs.items():
        stages = dict(behind(netlist, leaves, port)).get(status.word or "", 0)
        if width == STATUS_WIDTH and stages:
            found.read_data, found.read_latency = port, stages
    ready = status.flags[0]
    clears = {
        site.address
        for site in sites
        if isinstance(ready, Net) and site.leaf.net == ready.path and site.leaf.value == Const(0, 1)
    }
    if len(clears) == 1:
        found.status.setdefault("word", (clears.pop(), "a read there clears byte_ready"))


def _named_half(site: Site) -> str:
    return "high" if "high" in site.names else "low"


def _part_of_status(netlist: Netlist, value: Expr, status: Status | None) -> str | None:
    """Return which part of status a value that is read is."""
    if status is None:
        return None
    bits = netlist.bits(value)
    flags = tuple(bits[n] for n in _flag_places()) if len(bits) >= 8 else ()
    if flags == status.flags:
        return "word" if len(bits) == STATUS_WIDTH else "high"
    is_data = len(bits) == 8 and status.data is not None and bits == netlist.bits(status.data)
    return "low" if is_data else None
