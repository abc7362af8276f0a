"""What a core's netlist answers by looking: its reset, registers on the way, shared data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from refmodel.ground.errors import CannotRun
from refmodel.ground.word import WORD_BITS
from testbenches.drafting.decoded import Decoded
from testbenches.drafting.guess import Guess, Guesses
from testbenches.drafting.names import Active
from testbenches.hdl.flat import FlatCore
from testbenches.hdl.synth import NetSource, flat_module

LOOKED = "sure: the netlist shows it"
STROBES = ("read", "select", "write", "line")
LEVELS = ("dma_active", "writing", "wait_for_sync")


@dataclass
class Looks:
    """The keys a netlist answers, each with its value; `why_not` says why there is no netlist."""

    keys: dict[str, str | int] = field(default_factory=dict)
    why_not: str = ""

    def line(self, key: str, indent: str = "  ") -> list[str]:
        """Return the line of a key, if it is known."""
        if key not in self.keys:
            return []
        return [f"{indent}{key.rsplit('.', 1)[-1]}: {self.keys[key]}  # {LOOKED}"]


def flat_core(source: NetSource, top: str) -> FlatCore | str:
    """Return a core's netlist, or why there is none."""
    try:
        return FlatCore(flat_module(source, top))
    except CannotRun as error:
        return str(error)


def look(core: FlatCore | str, found: Guesses) -> Looks:
    """Return what a core's netlist says of the roles that have been found; correct those."""
    if isinstance(core, str):
        return Looks(why_not=core)
    looks = Looks()
    _clock_and_reset(core, found, looks.keys)
    _disk(core, found, looks.keys)
    _shared_data(core, found, looks.keys)
    _bus(core, found, looks.keys)
    _levels(core, found, looks.keys)
    waiting = found.roles.get("wait_for_sync")
    if core.has_registers and waiting is not None and not core.is_kept(waiting.name):
        del found.roles["wait_for_sync"]
        found.left_over[waiting.name] = (0, "it leads to no register")
    _addresses(core, found)
    _read_data(core, found, looks.keys)
    return looks


def _clock_and_reset(core: FlatCore, found: Guesses, keys: dict[str, str | int]) -> None:
    strobes = {found.roles[role].name for role in STROBES if role in found.roles}
    clocks = [(one, n) for one, n in core.clocks().most_common() if one[0] not in strobes]
    if clocks:
        _clock(core, found, [name for (name, _), _ in clocks], keys)
        rising = next(up for (name, up), _ in clocks if name == found.roles["clock"].name)
        if not rising:
            keys["clock.edge"] = "falling"
    divided = core.own_divider()
    if divided is not None:
        found.give("clock", Guess(divided[0], "high", "sure", "clocks the divider"))
        keys["clock.divide"] = divided[1]
    reset = core.asynchronous_reset()
    if reset is not None:
        active: Active = "high" if reset[1] else "low"
        known = found.roles.get("reset")
        if known is None or (known.name, known.active) != (reset[0], active):
            found.give("reset", Guess(reset[0], active, "sure", "resets registers without a clock"))
        keys["reset.kind"] = "asynchronous"


def _clock(core: FlatCore, found: Guesses, clocks: list[str], keys: dict[str, str | int]) -> None:
    """Find the clock, and of two the slower one: the one at which channel bits are taken."""
    known = found.roles.get("clock")
    value = found.roles.get("value")
    slow = core.clock_behind(value.name) if value is not None else None
    others = [name for name in clocks if name != slow]
    if slow is not None and others:
        keys["clock.slow"] = slow
        found.give("slow", Guess(slow, "high", "sure", "clocks what takes the channel bits"))
        if known is None or known.name != others[0]:
            found.give("clock", Guess(others[0], "high", "sure", "clocks the other registers"))
    elif known is None or known.name not in clocks:
        found.give("clock", Guess(clocks[0], "high", "sure", "clocks the registers"))


def _disk(core: FlatCore, found: Guesses, keys: dict[str, str | int]) -> None:
    late = _fewest(core, found, ("strobe", "value"))
    if late:
        keys["disk.latency"] = late


def _fewest(core: FlatCore, found: Guesses, roles: Sequence[str]) -> int:
    """Return how many registers the inputs of these roles pass at least before they count."""
    ports = [found.roles[role].name for role in roles if role in found.roles]
    return min((core.copies(core.bits(port)[0]) for port in ports), default=0)


def _shared_data(core: FlatCore, found: Guesses, keys: dict[str, str | int]) -> None:
    for port in found.ports.values():
        wide = port.direction == "inout" and port.width in (8, 16)
        level = core.shared_data(port.name) if wide else None
        if level is None:
            continue
        name = core.name_of(level.bit)
        keys["bus.data.port"] = port.name
        if name is not None:
            keys["bus.data.drives"] = name if level.high else f"{{signal: {name}, active: low}}"


def _bus(core: FlatCore, found: Guesses, keys: dict[str, str | int]) -> None:
    late = _fewest(core, found, STROBES)
    if late:
        keys["bus.latency"] = late
    strobes = [found.roles[role].name for role in STROBES if role in found.roles]
    if any(core.looks_for_an_edge(name) for name in strobes):
        keys["bus.idle"] = 1
    if "address" not in found.roles:
        return
    address = found.roles["address"].name
    width = found.ports[address].width or 0
    used = core.used(address)
    if used not in (0, (1 << width) - 1):
        keys["bus.decoded"] = f"{used:#x}"
    if late > 1 and not core.copies(core.bits(address)[0]):
        keys["bus.asynchronous"] = "true"


def _levels(core: FlatCore, found: Guesses, keys: dict[str, str | int]) -> None:
    """Look at how far the levels are from what is observed of them, or from status if nothing is.

    What stands between that and the port a read returns it at is no depth of the level.
    """
    ports = {
        bit
        for port in found.ports.values()
        if port.direction == "output" and port.width == 16
        for bit in core.bits(port.name)
    }
    for role in LEVELS[:2]:
        if role not in found.roles:
            continue
        seen = found.observe.get(role, found.observe.get("status"))
        shown = set(core.net(seen.name)) if seen is not None else ports
        edges = core.distance(core.bits(found.roles[role].name)[0], shown or ports)
        if edges == 0:
            keys[f"inputs.{role}.path"] = "straight"
        elif edges is not None and edges > 1:
            keys[f"inputs.{role}.latency"] = edges - 1


def _addresses(core: FlatCore, found: Guesses) -> None:
    """Find the addresses that the source alone did not say."""
    if "address" not in found.roles:
        return
    decoded, where = Decoded(core, found.roles["address"].name), found.addresses
    ready = _ready_bit(core, found)
    clears = decoded.clearing(ready) if ready is not None else None
    halves = {at: half for half, (at, _) in where.status.items()}
    if clears in halves:
        where.clears_on = (halves[clears], LOOKED)
    elif not where.status and clears is not None:
        where.status["word"] = (clears, "a read there clears byte_ready")
    if not where.sync_word:
        address = decoded.storing()
        if address is not None:
            where.sync_word["word"] = (address, "the word compared with the window is stored there")


def _read_data(core: FlatCore, found: Guesses, keys: dict[str, str | int]) -> None:
    """Look at where byte_ready comes out when it is read, and how many registers later."""
    ready, shared = _ready_bit(core, found), keys.get("bus.data.port")
    port = found.roles["read_data"].name if "read_data" in found.roles else shared
    if ready is None or port is None or found.ports[str(port)].width != WORD_BITS:
        return
    bits, start = core.bits(str(port)), core.origin(ready).bit
    late = {at: core.distance(start, {bits[at]}) for at in (15, 7)}
    if late[15] is None and late[7] is not None:
        keys["bus.byte_order"] = "swapped"
        found.addresses.read_latency = late[7]
    elif late[15] is not None and found.addresses.read_latency is None:
        found.addresses.read_latency = late[15]


def _ready_bit(core: FlatCore, found: Guesses) -> int | str | None:
    """Return the bit that shows byte_ready, if one is observed."""
    shown, flag = found.observe.get("status"), found.observe.get("byte_ready")
    if shown is not None:
        return next(iter(core.net(shown.name)[15:16]), None)
    return next(iter(core.net(flag.name)[:1]), None) if flag is not None else None
