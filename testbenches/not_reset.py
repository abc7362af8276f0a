"""Registers behind a field that no reset sets: unknown at first, or as the last run left them."""

from __future__ import annotations

from collections.abc import Iterable

from testbenches.binding.schema import Binding
from testbenches.drafting.netlist import NetLevel, Netlist, nets_in

MOST = 3  # named


def not_reset(netlist: Netlist, binding: Binding, nets: Iterable[str]) -> str:
    """Name those of some nets that are registers without a value in reset; empty if all have one.

    Nothing is said of a core in which the reset that is bound sets no register directly.
    """
    if not binding.reset.port:
        return ""
    level = NetLevel(binding.reset.port, binding.reset.active == "high")
    if not any(_is_reset(netlist, path, level) for path in netlist.drives):
        return ""
    clocked = dict.fromkeys(n for n in nets if any(d.clocked for d in netlist.drives.get(n, ())))
    always = {level.net, *filter(None, [binding.clock.enable])}
    names = [
        path
        for path in clocked
        if not _is_reset(netlist, path, level) and not _follows(netlist, path, always)
    ][:MOST]
    if not names:
        return ""
    one = len(names) == 1
    return (
        f"reset does not set {', '.join(names)}: unknown on icarus, any value on verilator, until"
        f" {'it is' if one else 'they are'} written"
    )


def _is_reset(netlist: Netlist, path: str, level: NetLevel) -> bool:
    """Return whether a register takes a value of its own while reset is on."""
    off = NetLevel(level.net, not level.high)
    for value, drive in netlist.leaves(path):
        held = netlist.holds(drive)
        if level in held:
            return True
        if any(net.path == level.net for net in netlist.reach(value)):
            return True  # `set && !rst`, or a next value that reset decides
        implied = any(off in netlist.conditions(guard, want=False) for guard in drive.guards)
        if implied and off not in held:
            return True  # `if (rst || clear)`
    return False


def _follows(netlist: Netlist, path: str, always: set[str]) -> bool:
    """Return whether a register takes what others have at each edge, so that it holds nothing.

    That may wait for nets that are `always` to be expected: no reset, an edge that counts.
    """
    for drive in netlist.drives[path]:
        waits_for = {net.path for guard in drive.guards for net in nets_in(guard)}
        if waits_for <= always and path not in {net.path for net in netlist.reach(drive.value)}:
            return True
    return False
