"""The sections of a drafted binding beyond the status register, and what to look for yourself."""

from __future__ import annotations

from collections.abc import Iterator

from testbenches.drafting.guess import Guesses
from testbenches.drafting.guess_more import REGISTERS, WHAT_TO_LOOK_FOR
from testbenches.drafting.looks import Looks
from testbenches.drafting.yaml_text import scalar, signal

SECTIONS = {  # section: its keys, and how a signal is named there
    "gates": {"master_enable": "port", "channel_enable": "port"},
    "memory": {
        "slot": "port",
        "request": "signal",
        "store": "signal",
        "data_out": "",
        "data_in": "",
    },
    "lines": {
        "write_gate": "signal",
        "write_data": "signal",
        "sync_found": "signal",
        "transfer_done": "signal",
    },
}


def more_sections(found: Guesses) -> Iterator[str]:
    """Yield gates, memory and lines, those of them that have been found."""
    for section, keys in SECTIONS.items():
        known = {key: found.roles.get(f"{section}.{key}") for key in keys}
        if any(known.values()):
            yield f"{section}:"
        for key, form in keys.items():
            shown = known[key]
            if shown is not None:
                text = signal(shown, form) if form else scalar(shown.name)
                yield f"  {key}: {text}  # {shown.comment}"
            elif section == "memory" and any(known.values()):
                yield f"  # {key}: PORT  # TODO a memory needs it, too{_one_way(key)}"


def _one_way(key: str) -> str:
    """Say when a core has no such signal of its memory."""
    other = {"data_in": "stores words", "data_out": "takes words", "store": "moves words one way"}
    return f", unless the core only {other[key]}" if key in other else ""


def bus_extras(found: Guesses, looks: Looks) -> Iterator[str]:
    """Yield the order of the bytes, the acknowledge and the data strobes."""
    yield from looks.line("bus.byte_order")
    if "bus.idle" in looks.keys:
        yield from looks.line("bus.idle")
        yield "  # hold: CYCLES  # TODO it looks for an edge of its strobe: how long is that held"
    if "acknowledge" in found.roles:
        shown = found.roles["acknowledge"]
        active = ", active: low" if shown.active == "low" else ""
        text = f"{{port: {scalar(shown.name)}{active}, timeout: 256}}"
        yield f"  acknowledge: {text}  # {shown.comment}"
        yield "  acts: last  # guess: an access counts at the edge that ends it; else first"
    if "strobes.high" in found.roles:
        yield "  strobes:"
        for half in ("high", "low"):
            shown = found.roles[f"strobes.{half}"]
            yield f"    {half}: {signal(shown, 'port')}  # {shown.comment}"


def more_registers(found: Guesses) -> Iterator[str]:
    """Yield the addresses of transfer and control."""
    for register in REGISTERS:
        where = {half: found.more[register, half] for one, half in found.more if one == register}
        if "word" in where:
            yield f"    {register}: {where['word'][0]:#x}  # guess: {where['word'][1]}"
        elif {"high", "low"} <= where.keys():
            yield f"    {register}:"
            yield from (f"      {h}: {where[h][0]:#x}  # guess: {where[h][1]}" for h in where)


def what_to_look_for(found: Guesses, looks: Looks) -> Iterator[str]:
    """Yield what the draft leaves out, and how to see in the source that the core needs it."""
    known = {key.rsplit(".", 1)[0] for key in looks.keys} | looks.keys.keys()
    known |= {part for role in found.roles for part in (role, role.split(".")[0])}
    known |= {f"bus.{name}" for name in ("acknowledge", "strobes") if name in known}
    known |= {"disk.flux"} if found.separator is not None and found.separator.flux else set()
    known |= {"clock.enable"} & {f"clock.{name}" for name in found.roles}
    yield ""
    if looks.why_not:
        reason = looks.why_not.splitlines()[0]
        yield f"# Not looked at as a netlist, so depth and kinds of reset are open: {reason}"
    yield "# Not found in the source. Check whether your core has any of these:"
    for key, meaning in WHAT_TO_LOOK_FOR.items():
        if key not in known:
            yield f"#   {key}: {meaning}"
