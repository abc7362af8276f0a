"""What the source itself says about the roles of a core's ports, apart from their names."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from testbenches.drafting.names import Active
from testbenches.drafting.netlist import (
    Cat,
    Const,
    Expr,
    Join,
    Match,
    Net,
    NetBits,
    NetDriver,
    NetLevel,
    Netlist,
    nets_in,
    parts_of,
)

STRONG, FAIR, WEAK = 20, 8, 6
OWN_EDGE = "resets on its own edge"
MOST = 0.8  # of the assignments to registers
MANY_REGISTERS = 4  # a core with this many shows what they wait for
WINDOW = 16
SHIFTED = 7  # a shift register keeps at least this many bits


class Vote(NamedTuple):
    """A reason to give a port a role."""

    role: str
    port: str
    weight: int
    reason: str
    active: Active | None = None


@dataclass(frozen=True)
class Leaf:
    """One value one net may take, and the conditions under which it does."""

    net: str
    value: Expr
    drive: NetDriver
    conditions: tuple[NetLevel | Match, ...]

    @property
    def levels(self) -> list[NetLevel]:
        """The conditions on one-bit nets."""
        return [c for c in self.conditions if isinstance(c, NetLevel)]

    @property
    def matches(self) -> list[Match]:
        """The comparisons with a constant."""
        return [c for c in self.conditions if isinstance(c, Match)]


def leaves_of(netlist: Netlist) -> list[Leaf]:
    """Return every value every net may take."""
    return [
        Leaf(path, value, drive, tuple(netlist.holds(drive)))
        for path in netlist.drives
        for value, drive in netlist.leaves(path)
    ]


def votes(netlist: Netlist, leaves: list[Leaf]) -> Iterator[Vote]:
    """Yield every reason the source gives."""
    clock = _most(netlist.clocks + netlist.shared_edges)
    yield from _clock(netlist, clock)
    reset = list(_reset(netlist, leaves, clock))
    yield from reset
    known = {vote.port for vote in reset if vote.weight >= STRONG} | ({clock} if clock else set())
    enable = list(_enable(netlist, leaves, known))
    yield from _disk(netlist, leaves, known | {vote.port for vote in enable})
    yield from enable
    yield from _address(netlist, leaves)
    yield from _data(netlist, leaves)
    yield from _waiting(netlist, leaves)


def _most(counted: Counter[tuple[str, bool]]) -> str | None:
    return counted.most_common(1)[0][0][0] if counted else None


def _clock(netlist: Netlist, clock: str | None) -> Iterator[Vote]:
    if clock is not None:
        source = netlist.source(netlist.nets[clock]).path
        if source in netlist.inputs:
            yield Vote("clock", source, STRONG, "clocks the registers", "high")


def _reset(netlist: Netlist, leaves: list[Leaf], clock: str | None) -> Iterator[Vote]:
    """Yield the input that sets registers to constants, on an edge of its own or on the clock's."""
    for (net, rising), _ in netlist.shared_edges.items():
        if net != clock and net in netlist.inputs:
            yield Vote("reset", net, STRONG, OWN_EDGE, "high" if rising else "low")
    otherwise = {
        (leaf.net, NetLevel(level.net, not level.high))
        for leaf in leaves
        for level in leaf.levels
        if not isinstance(leaf.value, Const)
    }
    to_constant: dict[NetLevel, set[str]] = {}
    everywhere = {level for level, share in _shares(leaves) if share >= MOST}
    for leaf in leaves:
        if leaf.drive.clocked and isinstance(leaf.value, Const):
            for level in leaf.levels:
                only = not set(leaf.conditions) - everywhere - {level}
                alone = only or (leaf.net, level) in otherwise
                if alone and level.net in netlist.inputs:
                    to_constant.setdefault(level, set()).add(leaf.net)
    if to_constant:
        level = max(to_constant, key=lambda one: len(to_constant[one]))
        weight = STRONG if len(to_constant[level]) >= 3 else FAIR
        yield Vote("reset", level.net, weight, "sets registers to constants", _active(level))


def _active(level: NetLevel) -> Active:
    return "high" if level.high else "low"


def _enable(netlist: Netlist, leaves: list[Leaf], known: set[str]) -> Iterator[Vote]:
    """Yield an input without which hardly any register moves."""
    moving = [leaf for leaf in leaves if not _resets(leaf, known)]
    registers = {leaf.net for leaf in moving if leaf.drive.clocked}
    for level, share in _shares(moving):
        often = share >= MOST and len(registers) >= MANY_REGISTERS
        if often and level.net in netlist.inputs and level.net not in known:
            yield Vote("enable", level.net, STRONG, "every register waits for it", _active(level))
            return


def _shares(leaves: list[Leaf]) -> list[tuple[NetLevel, float]]:
    """Return in what share of the clocked assignments each level is needed, most first."""
    clocked = [leaf for leaf in leaves if leaf.drive.clocked]
    seen = Counter(level for leaf in clocked for level in set(leaf.levels))
    return [(level, count / len(clocked)) for level, count in seen.most_common()]


def _resets(leaf: Leaf, known: set[str]) -> bool:
    return isinstance(leaf.value, Const) and any(level.net in known for level in leaf.levels)


def _disk(netlist: Netlist, leaves: list[Leaf], known: set[str]) -> Iterator[Vote]:
    """Yield the input that is shifted into a register, and what it waits for."""
    users: dict[str, list[Leaf]] = {}
    for leaf in leaves:
        if isinstance(leaf.value, Net):
            users.setdefault(leaf.value.path, []).append(leaf)
    for leaf in leaves:
        value = _shifted_bit(netlist, leaf.value)
        if value is None or value.net in known:
            continue
        yield Vote("value", value.net, STRONG, "is shifted into a register", _active(value))
        for user in (leaf, *users.get(leaf.net, [])):
            strobe = _last_input(netlist, user, known | {value.net})
            if strobe is not None:
                reason = f"'{value.net}' is shifted in on it"
                yield Vote("strobe", strobe.net, STRONG, reason, _active(strobe))
                break


def _last_input(netlist: Netlist, leaf: Leaf, known: set[str]) -> NetLevel | None:
    """Return the innermost condition of a leaf that follows another input than those known."""
    direct = [level for level in leaf.levels if level.net in netlist.inputs]
    others = [level for level in leaf.levels if level.net not in netlist.inputs]
    for level in (*direct[::-1], *others[::-1]):
        origin = netlist.origin(netlist.nets[level.net])
        if origin is not None and origin.net not in known:
            return NetLevel(origin.net, origin.high == level.high)
    return None


def _shifted_bit(netlist: Netlist, value: Expr) -> NetLevel | None:
    """Return the input at one end of a concatenation that keeps most of a register."""
    if not isinstance(value, Cat) or len(value.parts) != 2:
        return None
    for bit, kept in (value.parts, value.parts[::-1]):
        long = isinstance(kept, Net | NetBits) and kept.width >= SHIFTED
        if bit.width == 1 and long:
            return netlist.origin(bit)
    return None


def _waiting(netlist: Netlist, leaves: list[Leaf]) -> Iterator[Vote]:
    """Yield an input that counts only together with a comparison of the window."""
    nets = [net for net in netlist.nets.values() if net.width == 1]
    together = [leaf.conditions for leaf in leaves]
    together += [tuple(netlist.conditions(net)) for net in nets]
    for conditions in together:
        if any(_compares(netlist, condition) for condition in conditions):
            for level in conditions:
                if isinstance(level, NetLevel) and level.net in netlist.inputs:
                    reason = "counts together with the comparison"
                    yield Vote("wait_for_sync", level.net, FAIR, reason, _active(level))
    for join in _joins(netlist):
        reached = [netlist.reach(part) for part in join.parts]
        compared = [_wide(netlist, nets) for nets in reached]
        for around, wide in zip(reached, compared, strict=True):
            few = [n.path for n in around if n.width == 1 and n.path in netlist.inputs]
            if not wide and max(compared) >= 2 and len(few) <= 2:
                for port in few:
                    yield Vote("wait_for_sync", port, WEAK, "is combined with the comparison")


def _wide(netlist: Netlist, nets: Iterable[Net]) -> int:
    """Return how many of the nets could be the window or sync_word."""
    return sum(net.width == WINDOW and net.path not in netlist.inputs for net in nets)


def _joins(netlist: Netlist) -> Iterator[Join]:
    """Yield every `and` in the core, each with all its parts."""
    for drives in netlist.drives.values():
        for drive in drives:
            for expr in (drive.value, *drive.guards):
                yield from (part for part in parts_of(expr) if isinstance(part, Join) and part.all)


def _compares(netlist: Netlist, condition: NetLevel | Match) -> bool:
    """Say whether a condition compares 16 bits with one another or with a constant."""
    if isinstance(condition, Match):
        return netlist.nets[condition.net].width == WINDOW and condition.net not in netlist.inputs
    meaning = netlist.definition(condition.net)
    wide = _wide(netlist, nets_in(meaning)) if meaning is not None else 0
    return condition.high and wide >= 2


def address_of(netlist: Netlist, leaves: list[Leaf]) -> str | None:
    """Return the input most often compared with constants."""
    seen = Counter(
        match.net
        for leaf in leaves
        for match in set(leaf.matches)
        if netlist.inputs.get(match.net, 0) > 1
    )
    return seen.most_common(1)[0][0] if seen else None


def _address(netlist: Netlist, leaves: list[Leaf]) -> Iterator[Vote]:
    address = address_of(netlist, leaves)
    if address is not None:
        yield Vote("address", address, STRONG, "is compared with constants")


def written(netlist: Netlist, leaf: Leaf, address: str | None) -> str | None:
    """Return the wide input a leaf stores, other than the address."""
    for net in nets_in(leaf.value):
        source = netlist.source(net).path
        if netlist.inputs.get(source, 0) >= 8 and source != address:
            return source
    return None


def _data(netlist: Netlist, leaves: list[Leaf]) -> Iterator[Vote]:
    """Yield the data ports, and the strobes that tell reads from writes."""
    address = address_of(netlist, leaves)
    reads: list[set[NetLevel]] = []
    writes: list[set[NetLevel]] = []
    kept: list[set[NetLevel]] = []  # data that a register takes whatever the address is
    for leaf in leaves:
        source = written(netlist, leaf, address)
        levels = {level for level in leaf.levels if level.net in netlist.inputs}
        if source is not None and levels:
            yield Vote("write_data", source, STRONG, "is stored under a condition")
            addressed = any(match.net == address for match in leaf.matches)
            (writes if addressed else kept).append(levels)
        elif any(match.net == address for match in leaf.matches):
            reads.append(levels)
    writes = writes or kept
    reads += list(_decoded(netlist, address, writes))
    yield from _strobes(reads, writes)
    for port, _ in read_ports(netlist, leaves, address):
        yield Vote("read_data", port, STRONG, "is chosen by the address")


def _decoded(
    netlist: Netlist, address: str | None, writes: list[set[NetLevel]]
) -> Iterator[set[NetLevel]]:
    """Yield the strobes in wires such as `rd && adr == 4`."""
    for path in netlist.drives:
        meaning = netlist.definition(path)
        found = list(netlist.conditions(meaning)) if meaning is not None else []
        if any(isinstance(c, Match) and c.net == address for c in found):
            levels = {c for c in found if isinstance(c, NetLevel) and c.net in netlist.inputs}
            if not any(levels <= write for write in writes):
                yield levels


def _strobes(reads: list[set[NetLevel]], writes: list[set[NetLevel]]) -> Iterator[Vote]:
    """Yield what reads and writes have in common (a select), and what tells them apart."""
    if not writes:
        return
    write = set.intersection(*writes)
    reads = [levels for levels in reads if levels and not write <= levels]
    read = set.intersection(*reads) if reads else set()
    line = {level for level in write if NetLevel(level.net, not level.high) in read}
    for level in line:
        reason = "tells a write from a read"
        yield Vote("line", level.net, STRONG, reason, _active(level))
    shared = write & read
    for level in shared:
        yield Vote("select", level.net, FAIR, "is needed to read and to write", _active(level))
    for level in write - shared - line:
        yield Vote("write", level.net, FAIR, "is needed to write", _active(level))
    for level in read - write:
        if NetLevel(level.net, not level.high) not in write:
            yield Vote("read", level.net, FAIR, "is needed to read", _active(level))


def read_ports(
    netlist: Netlist, leaves: list[Leaf], address: str | None
) -> Iterator[tuple[str, int]]:
    """Yield each wide output whose value the address chooses, and how many registers later."""
    chosen = {leaf.net for leaf in leaves if any(match.net == address for match in leaf.matches)}
    for port, width in netlist.outputs.items():
        if width >= 8:
            stages = [late for net, late in behind(netlist, leaves, port) if net in chosen]
            if stages:
                yield port, int(min(stages))


def behind(netlist: Netlist, leaves: list[Leaf], port: str) -> Iterator[tuple[str, int]]:
    """Yield the nets a port shows unchanged, itself first, each with the registers between."""
    seen = {port: max((leaf.drive.clocked for leaf in leaves if leaf.net == port), default=0)}
    for _ in range(3):
        for leaf in leaves:
            if leaf.net in seen and isinstance(leaf.value, Net):
                clocked = any(d.clocked for d in netlist.drives.get(leaf.value.path, []))
                seen.setdefault(leaf.value.path, seen[leaf.net] + clocked)
    yield from seen.items()
