"""Roles beyond the status register: transfers, output lines, acknowledge, data strobes.

Their ports are told apart by name among those that nothing else has claimed.
"""

from __future__ import annotations

from collections.abc import Iterator

from testbenches.drafting.guess import ENOUGH, Guess, Guesses
from testbenches.drafting.names import Active, is_low, words
from testbenches.drafting.netlist import (
    Cat,
    Const,
    Equal,
    Match,
    Net,
    NetBits,
    Netlist,
    nets_in,
    parts_of,
)
from testbenches.hdl.port_forms import Port

WORD = 16
LEAST_LENGTH = 10  # bits of a counter of words
_WEIGHTS: dict[str, dict[str, int]] = {
    "acknowledge": {"acknowledge": 10, "ready": 2, "wait": 3, "host": 2, "byte": -9, "sync": -9},
    "strobes.high": {"high": 6, "strobe": 3, "data": 2, "byte": 2, "select": 2, "write": -1},
    "strobes.low": {"low": 6, "strobe": 3, "data": 2, "byte": 2, "select": 2, "write": -1},
    "gates.master_enable": {"master": 8, "en": 2, "hold": 2, "dma": 1},
    "gates.channel_enable": {"channel": 8, "en": 2, "hold": 2, "dma": 1},
    "memory.slot": {"slot": 9, "grant": 8, "memory": 2, "dma": 1},
    "memory.request": {"request": 8, "memory": 3, "dma": 1},
    "memory.store": {"store": 8, "fetch": 8, "memory": 4, "write": 3, "dma": 1},
    "memory.data_out": {"memory": 6, "out": 3, "to": 3, "dma": 3, "write": 1, "data": 1},
    "memory.data_in": {"memory": 6, "in": 3, "from": 3, "dma": 3, "read": 1, "data": 1},
    "lines.write_gate": {"gate": 7, "write": 3, "out": 1, "disk": 2, "memory": -9},
    "lines.write_data": {"data": 4, "write": 3, "pulse": 5, "out": 2, "disk": 2, "memory": -9},
    "lines.sync_found": {"sync": 6, "found": 6, "interrupt": 3},
    "lines.transfer_done": {"done": 6, "dma": 4, "interrupt": 3, "byte": -9},
}
_SHAPE = {  # direction and width
    **dict.fromkeys(_WEIGHTS, ("output", 1)),
    **dict.fromkeys(("strobes.high", "strobes.low"), ("input", 1)),
    **dict.fromkeys(("gates.master_enable", "gates.channel_enable", "memory.slot"), ("input", 1)),
    "memory.data_out": ("output", WORD),
    "memory.data_in": ("input", WORD),
}
_OWN = {"done": "done", "finished": "done", "complete": "done", "pulse": "pulse", "gate": "gate"}
TOGETHER = (("strobes.high", "strobes.low"), ("memory.slot", "memory.request"))
NEGATIVE = {"hold", "fetch"}  # what it means is the opposite of the role
REGISTERS = {"transfer": {"dma"}, "control": {"control"}}


def guess_more(found: Guesses, netlist: Netlist) -> None:
    """Give the ports that are left the roles their names speak of."""
    taken = {guess.name for guess in found.roles.values()}
    taken |= {g.name for g in found.observe.values()}
    left = [port for port in found.ports.values() if port.name not in taken]
    scored = sorted(
        (
            (score, role, port.name)
            for port in left
            for role in _WEIGHTS
            if _SHAPE[role] == (port.direction, port.width or 0)
            and (score := _score(role, port)) >= ENOUGH
        ),
        key=lambda one: -one[0],
    )
    roles: dict[str, str] = {}
    for _, role, name in scored:
        if role not in roles and name not in roles.values():
            roles[role] = name
    for pair in TOGETHER:
        if not roles.keys() >= {*pair}:
            for role in [r for r in roles if r in pair or r.split(".")[0] == pair[0].split(".")[0]]:
                del roles[role]
    for role, name in roles.items():
        found.give(role, Guess(name, _active(role, name), "guess", "by its name"))
    _registers(found, netlist)


def _words(name: str) -> set[str]:
    """Return a name's words, with those told apart that are one to other roles."""
    raw = {part for part in name.lower().replace("_", " ").split() if part in _OWN}
    return {*words(name), *(_OWN[part] for part in raw)}


def _score(role: str, port: Port) -> int:
    return sum(_WEIGHTS[role].get(word, 0) for word in _words(port.name))


def _active(role: str, name: str) -> Active:
    opposite = bool(NEGATIVE & _words(name)) and role != "memory.request"
    return "low" if is_low(name) != opposite else "high"


def _registers(found: Guesses, netlist: Netlist) -> None:
    """Find transfer by its length, which counts; else both by the names of their addresses."""
    if "address" not in found.roles:
        return
    address = found.roles["address"].name
    for half, (at, reason) in _transfer(netlist, address).items():
        found.more["transfer", half] = (at, reason)
        found.addresses.written.pop(at, None)
    named = {m.value: m.text for m in _matches(netlist) if m.net == address and m.text}
    unknown = [register for register in REGISTERS if register not in {n for n, _ in found.more}]
    for register, meant in ((name, REGISTERS[name]) for name in unknown):
        for at, text in sorted(named.items()):
            spoken = set(words(text))
            if spoken & meant and not spoken & {"status", "sync"}:
                half = next((h for h in ("high", "low") if h in spoken), "word")
                found.more[register, half] = (at, f"its name says so ({text})")
                found.addresses.written.pop(at, None)


def _transfer(netlist: Netlist, address: str) -> dict[str, tuple[int, str]]:
    """Return where transfer is written: a register that counts takes its length from there.

    By half, or as a word: an address, and the reason. On a bus of bytes the high one waits in a
    register of its own.
    """
    loads = [
        (path, held.value, value)
        for path in netlist.drives
        for value, drive in netlist.leaves(path)
        for held in netlist.holds(drive)
        if isinstance(held, Match) and held.net == address
    ]
    for path, at, value in loads:
        made_of = {net.path for net in nets_in(value)}
        if path in made_of or netlist.nets[path].width < LEAST_LENGTH or not _counts(netlist, path):
            continue
        reason = f"'{path}' counts from what is written there"
        high = next((other for net, other, _ in loads if net in made_of and other != at), None)
        if high is None:
            return {"word": (at, reason)}
        return {"high": (high, "it waits for the low byte"), "low": (at, reason)}
    return {}


def _counts(netlist: Netlist, path: str) -> bool:
    """Return whether a register takes a value made of its own."""
    return any(
        path in {net.path for net in nets_in(value)} and not isinstance(value, Net | NetBits | Cat)
        for value, _ in netlist.leaves(path)
    )


def _matches(netlist: Netlist) -> Iterator[Match]:
    """Yield every comparison of a net with a constant that has a name."""
    drives = (drive for drives in netlist.drives.values() for drive in drives)
    exprs = (expr for drive in drives for expr in (drive.value, *drive.guards))
    for part in (part for expr in exprs for part in parts_of(expr)):
        if isinstance(part, Equal):
            for net, constant in ((part.left, part.right), (part.right, part.left)):
                if isinstance(net, Net) and isinstance(constant, Const):
                    yield Match(netlist.source(net).path, constant.value, constant.text)


WHAT_TO_LOOK_FOR = {  # key: how to see in the source that the core needs it
    "bus.acknowledge": "an output that ends each access: {port: ack, active: low}",
    "bus.data": "one data port for both directions, an inout: {port: d, drives: SIGNAL}",
    "bus.strobes": "a strobe for each byte of a word: {high: uds, low: lds}",
    "bus.hold": "strobes that last several cycles; then also `acts` (which of them counts) and "
    "`idle` (a pause, where the core looks for the edge of its strobe)",
    "bus.byte_order": "the high byte on the low lines: swapped",
    "clock.enable": "an enable without which no register moves; then enable_every or enable_ratio",
    "disk.flux": "read data instead of channel bits, for a core with a separator of its own",
    "reset.leaves": "registers that reset does not touch: [sync_word, window, data]",
    "inputs.held": "wait_for_sync as a constant, in a core without control: {wait_for_sync: 1}",
    "memory": "slots and words of transfers; or written_at, where the host writes each word",
    "lines": "write_gate, write_data (with `cycles` or `form: toggle`), sync_found, transfer_done",
    "gates": "outside enables of a transfer: master_enable, channel_enable",
}
