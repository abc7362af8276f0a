"""Which port plays which role: the source's evidence and the names, weighed against each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from refmodel.block.fields import STATUS_FIELDS, STATUS_WIDTH
from testbenches.drafting.evidence import FAIR, MANY_REGISTERS, STRONG, Leaf, Vote, leaves_of, votes
from testbenches.drafting.guess_registers import Addresses, Status, addresses_of, status_of
from testbenches.drafting.names import Active, is_low, line_active, next_suffixes, score, words
from testbenches.drafting.netlist import Expr, Net, NetBits, Netlist, Not, nets_in
from testbenches.drafting.own_separator import OwnSeparator, own_separator
from testbenches.drafting.read_netlist import read_netlist
from testbenches.hdl.elaborate import Design
from testbenches.hdl.port_forms import Port

ONE_BIT_ROLES = (
    "clock", "reset", "enable", "strobe", "value", "line", "read", "write", "select",
    "dma_active", "writing", "wait_for_sync",
)  # fmt: skip
WIDTHS = {  # role: direction, least and greatest width
    **dict.fromkeys(ONE_BIT_ROLES, ("input", 1, 1)),
    "address": ("input", 1, 32),
    "write_data": ("input", 8, STATUS_WIDTH),
    "read_data": ("output", 8, STATUS_WIDTH),
    "status": ("output", STATUS_WIDTH, STATUS_WIDTH),
}
ENOUGH = 5  # a name or a reason below this says nothing
CLEAR_NAME = 7
PORT_SHOWS = 1  # what a field's name is worth more on a port of the core
_FIELD_WORDS = {
    "byte_ready": {"ready": 6, "byte": 2},
    "dma_active": {"dma": 6, "active": 2},
    "writing": {"writing": 8, "write": 3, "active": 3},
    "sync_equal": {"equal": 6, "sync": 2},
    "data": {"last": 5, "data": 4, "byte": 3},
}


@dataclass(frozen=True, slots=True)
class Guess:
    """A port or name for a role, how sure it is (sure, likely, guess) and why."""

    name: str
    active: Active
    confidence: str
    reason: str

    @property
    def comment(self) -> str:
        """Return what the draft says beside it."""
        return f"{self.confidence}: {self.reason}"


@dataclass
class Guesses:
    """Everything a draft says. What is not in here could not be guessed."""

    ports: dict[str, Port]
    roles: dict[str, Guess] = field(default_factory=dict)
    always_on: dict[str, tuple[int, str]] = field(default_factory=dict)  # port: value, reason
    left_over: dict[str, tuple[int, str]] = field(default_factory=dict)
    observe: dict[str, Guess] = field(default_factory=dict)  # `status`, or fields
    addresses: Addresses = field(default_factory=Addresses)
    separator: OwnSeparator | None = None
    # of transfer and control by register and half: address, reason
    more: dict[tuple[str, str], tuple[int, str]] = field(default_factory=dict)

    def give(self, role: str, guess: Guess) -> None:
        """Give a port a role, whatever it had before."""
        for other in [name for name, one in self.roles.items() if one.name == guess.name]:
            del self.roles[other]
        for ties in (self.always_on, self.left_over):
            ties.pop(guess.name, None)
        self.roles[role] = guess

    def unused(self, role: str) -> list[str]:
        """Return the ports that could still play a role."""
        taken = {guess.name for guess in self.roles.values()} | set(self.always_on)
        taken |= {self.separator.flux} if self.separator is not None else set()
        least = 2 if role == "address" else 1  # one line is an address only if its name says so
        return [
            p.name
            for p in self.ports.values()
            if fits(p, role) and (p.width or 0) >= least and p.name not in taken
        ]


def guess(design: Design, netlist: Netlist | None = None) -> Guesses:
    """Guess the role of every port of a core."""
    netlist = netlist or read_netlist(design)
    leaves = leaves_of(netlist)
    status = status_of(netlist, leaves)
    found = Guesses(design.ports, addresses=addresses_of(netlist, leaves, status))
    every = list(votes(netlist, leaves))
    if found.addresses.read_data is not None:
        why = "shows the status word, later"
        every.append(Vote("read_data", found.addresses.read_data, STRONG, why))
    every += _shown(netlist, status, {vote.port for vote in every if vote.role == "reset"})
    found.roles = _assigned(design.ports.values(), _strongest(every), _contradicted(leaves, every))
    read = _read_nets(netlist)
    found.always_on = dict(_selects(found, every))
    found.observe = _observed(found, netlist, status)
    found.left_over = dict(_left_over(found, read))
    _separate(found, netlist, leaves, read)
    return found


def _separate(found: Guesses, netlist: Netlist, leaves: list[Leaf], read: set[str]) -> None:
    """Look for a separator in a core that has no strobe and value on ports."""
    alone = [role for role in ("strobe", "value") if role in found.roles]  # by its name
    if len(alone) == 2:
        return
    names = [*found.left_over, *(found.roles[role].name for role in alone)]
    left = [found.ports[name] for name in names if name in read]
    found.separator = own_separator(netlist, leaves, left)
    if found.separator is None:
        return
    found.left_over.pop(found.separator.flux, None)
    for role in alone:
        if found.roles[role].name == found.separator.flux:
            del found.roles[role]


def fits(port: Port, role: str) -> bool:
    """Say whether a port has the direction and the width of a role."""
    direction, least, greatest = WIDTHS[role]
    return port.direction == direction and least <= (port.width or 0) <= greatest


def _shown(netlist: Netlist, status: Status | None, resets: set[str]) -> Iterator[Vote]:
    """Yield the port that shows status, and the inputs it shows as dma_active and writing."""
    if status is None:
        return
    if status.word in netlist.outputs:
        yield Vote("status", status.word, STRONG, "flags and data stand in it as status has them")
    flags = [f.name for f in STATUS_FIELDS if f.width == 1]
    for field_name, flag in zip(flags, status.flags, strict=True):
        shown = netlist.origin(flag, resets)
        if field_name in WIDTHS and shown is not None:
            active: Active = "high" if shown.high else "low"
            yield Vote(field_name, shown.net, STRONG, f"status shows it as {field_name}", active)


def _contradicted(leaves: list[Leaf], every: list[Vote]) -> tuple[str, ...]:
    """Return the roles no port has, whatever its name: an enable that no register waits for."""
    registers = {leaf.net for leaf in leaves if leaf.drive.clocked}
    enabled = any(vote.role == "enable" for vote in every)
    return ("enable",) if len(registers) >= MANY_REGISTERS and not enabled else ()


def _strongest(every: Iterable[Vote]) -> dict[tuple[str, str], Vote]:
    best: dict[tuple[str, str], Vote] = {}
    for vote in every:
        key = (vote.role, vote.port)
        if key not in best or vote.weight > best[key].weight:
            best[key] = vote
    return best


def _assigned(
    ports: Iterable[Port], best: dict[tuple[str, str], Vote], without: tuple[str, ...] = ()
) -> dict[str, Guess]:
    """Give each role the port that fits it best, the clearest ones first."""
    scored = sorted(
        (
            (_total(role, port.name, best), role, port.name)
            for port in ports
            for role in WIDTHS
            if role not in without and fits(port, role)
        ),
        key=lambda one: -one[0],
    )
    roles: dict[str, Guess] = {}
    taken: set[str] = set()
    for total, role, name in scored:
        if total >= ENOUGH and role not in roles and name not in taken:
            roles[role] = _guess(role, name, best.get((role, name)))
            taken.add(name)
    if "line" in roles and "read" not in without:  # it tells the direction: no strobes beside it
        return _assigned(ports, best, (*without, "read", "write"))
    return roles


def _total(role: str, name: str, best: dict[tuple[str, str], Vote]) -> int:
    vote = best.get((role, name))
    return score(role, name) + (vote.weight if vote else 0)


def _guess(role: str, name: str, vote: Vote | None) -> Guess:
    """Say how sure a role is: of evidence and name, two are sure and one is likely."""
    by_name = score(role, name)
    if vote is None:
        active = line_active(name) if role == "line" else "low" if is_low(name) else "high"
        confidence = "likely" if by_name >= CLEAR_NAME else "guess"
        return Guess(name, active, confidence, "by its name")
    active = vote.active or ("low" if is_low(name) else "high")
    if by_name >= ENOUGH:
        return Guess(name, active, "sure", f"{vote.reason}, and its name says so")
    return Guess(name, active, "likely" if vote.weight > FAIR else "guess", vote.reason)


def _read_nets(netlist: Netlist) -> set[str]:
    """Return every net that drives another one or decides about it."""
    exprs = [e for drives in netlist.drives.values() for d in drives for e in (d.value, *d.guards)]
    return {net.path for expr in exprs for net in nets_in(expr)}


def _selects(found: Guesses, every: list[Vote]) -> Iterator[tuple[str, tuple[int, str]]]:
    """Yield a value for a second select: always on."""
    taken = {guess.name for guess in found.roles.values()}
    for vote in every:
        if vote.role == "select" and vote.port not in taken:
            yield vote.port, (int(vote.active == "high"), vote.reason)


def _left_over(found: Guesses, read: set[str]) -> Iterator[tuple[str, tuple[int, str]]]:
    """Yield a value for every input without a role: the one it has when it is not active."""
    taken = {guess.name for guess in found.roles.values()} | set(found.always_on)
    for port in found.ports.values():
        if port.direction == "input" and port.width and port.name not in taken:
            idle = (1 << port.width) - 1 if is_low(port.name) else 0
            named = set(words(port.name))
            if port.name not in read:
                yield port.name, (idle, "nothing in the core reads it")
            elif port.width == 1 and "en" in named and "debug" not in named:
                yield port.name, (1 - idle, "an enable, left on; if it gates transfers, see gates")
            else:
                yield port.name, (idle, "no role found for it")


def _observed(found: Guesses, netlist: Netlist, status: Status | None) -> dict[str, Guess]:
    """Return what shows status without side effects: a port, a word inside, or the fields."""
    if "status" in found.roles:
        return {"status": found.roles["status"]}
    if status is not None and status.word is not None:
        return {"status": Guess(status.word, "high", "likely", "flags and data stand in it")}
    shown: dict[str, Guess] = {}
    if status is not None:
        flags = [f.name for f in STATUS_FIELDS if f.width == 1]
        data = status.data or found.addresses.low_value
        for name, expr in (("data", data), *zip(flags, status.seen, strict=True)):
            shown.update(_visible(name, expr, netlist))
        for name, expr in zip(flags, status.flags, strict=True):
            shown.update(_visible(name, expr, netlist))
    for name in _FIELD_WORDS:
        if name not in shown:
            shown.update(_named(name, found, netlist))
    return {f.name: shown[f.name] for f in STATUS_FIELDS if f.name in shown}


def _visible(field_name: str, expr: Expr | None, netlist: Netlist) -> dict[str, Guess]:
    """Return the core's own net a field is read from, if it has a name."""
    active: Active = "high"
    if isinstance(expr, Not):
        expr, active = expr.of, "low"
    net = expr.of if isinstance(expr, NetBits) else expr
    if not isinstance(net, Net) or net.path in netlist.inputs:
        return {}
    name = net.path
    if isinstance(expr, NetBits):
        if name not in netlist.from_zero:
            return {}
        above = f"{expr.lsb + expr.width - 1}:" if expr.width > 1 else ""
        name += f"[{above}{expr.lsb}]"
    return {field_name: Guess(name, active, "likely", "a read returns it in this place")}


def _named(field_name: str, found: Guesses, netlist: Netlist) -> dict[str, Guess]:
    """Return the net inside the core whose name fits a field best, no register's next value."""
    following = next_suffixes(path.rsplit(".", 1)[-1] for path in netlist.nets)
    width = next(f.width for f in STATUS_FIELDS if f.name == field_name)
    taken = {guess.name for guess in found.roles.values()} | set(netlist.inputs)
    weights = _FIELD_WORDS[field_name]
    scored = [
        (
            sum(weights.get(w, 0) for w in set(words(path.rsplit(".", 1)[-1])))
            + PORT_SHOWS * (path in netlist.outputs),
            -path.count("."),
            path,
        )
        for path, net in netlist.nets.items()
        if net.width == width and path not in taken
        if path.rpartition("_")[2].lower() not in following
    ]
    best = max(scored, default=(0, 0, ""))
    if best[0] < ENOUGH:
        return {}
    active: Active = "low" if is_low(best[2].rsplit(".", 1)[-1]) else "high"
    return {field_name: Guess(best[2], active, "guess", "by its name")}
