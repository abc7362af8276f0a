"""A data separator inside a core: the input with its pulses, and what carries its channel bits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from testbenches.drafting.evidence import WINDOW, Leaf
from testbenches.drafting.names import words
from testbenches.drafting.netlist import Cat, Expr, Join, Net, NetBits, Netlist
from testbenches.hdl.port_forms import Port

READ_DATA = ({"read", "data"}, {"read", "strobe"}, {"disk", "read"}, {"bit"}, {"disk", "data"})


class OwnSeparator(NamedTuple):
    """The ports and inner names of a separator; empty where one is not clear."""

    flux: str
    strobe: str
    value: str


def own_separator(
    netlist: Netlist, leaves: list[Leaf], left: Iterable[Port]
) -> OwnSeparator | None:
    """Return the separator of a core whose channel bits are no inputs; None if it has none.

    `left` are the inputs that have no other role.
    """
    found = _channel_bit(netlist, leaves)
    if found is None:
        return None
    lines = [port.name for port in left if port.width == 1]
    named = [name for name in lines if any(kind <= set(words(name)) for kind in READ_DATA)]
    (flux,) = named if len(named) == 1 else lines if len(lines) == 1 else ("",)
    return OwnSeparator(flux, *found)


def _channel_bit(netlist: Netlist, leaves: list[Leaf]) -> tuple[str, str] | None:
    """Return the strobe and the value that are shifted into the window, if the core makes both."""
    users: dict[str, list[Leaf]] = {}
    for leaf in leaves:
        if isinstance(leaf.value, Net):
            users.setdefault(leaf.value.path, []).append(leaf)
    for leaf in leaves:
        value = _shifted_in(leaf)
        if value is None or value in netlist.inputs:
            continue
        for user in (leaf, *users.get(leaf.net, [])):
            made = [level.net for level in user.levels if level.net not in netlist.inputs]
            strobes = [net for net in made if user.drive.clocked and _registered(netlist, net)]
            if strobes:
                return _strobe(netlist, strobes[-1]), value
    return None


def _registered(netlist: Netlist, path: str) -> bool:
    """Say whether some of what decides a net comes from registers, and not from inputs alone."""
    return any(net.path not in netlist.inputs for net in netlist.reach(netlist.nets[path]))


def _strobe(netlist: Netlist, path: str) -> str:
    """Return the one part of `reset or strobe or write` that follows no input; else the whole."""
    own = [
        part.path
        for part in _either(netlist.definition(path))
        if isinstance(part, Net)
        and not any(net.path in netlist.inputs for net in netlist.reach(part))
    ]
    return own[0] if len(own) == 1 else path


def _either(meaning: Expr | None) -> Iterator[Expr]:
    """Yield the parts of an `or`, however it is put in brackets; nothing of anything else."""
    if isinstance(meaning, Join) and not meaning.all:
        for part in meaning.parts:
            yield from _either(part) if isinstance(part, Join) else (part,)


def _shifted_in(leaf: Leaf) -> str | None:
    """Return the net at the low end of a concatenation that keeps all of a window but a bit."""
    if not isinstance(leaf.value, Cat) or leaf.value.width != WINDOW or len(leaf.value.parts) != 2:
        return None
    kept, bit = leaf.value.parts
    whole = isinstance(kept, Net | NetBits) and kept.width == WINDOW - 1
    return bit.path if whole and isinstance(bit, Net) and bit.width == 1 else None
