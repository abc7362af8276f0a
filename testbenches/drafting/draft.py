"""Drafts a binding from a core's source, with a comment on each guess."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from refmodel.ground.errors import UserError, near
from refmodel.profile import profile_names
from testbenches.drafting.draft_more import (
    bus_extras,
    more_registers,
    more_sections,
    what_to_look_for,
)
from testbenches.drafting.evidence import OWN_EDGE
from testbenches.drafting.guess import WIDTHS, Guesses, guess
from testbenches.drafting.guess_more import guess_more
from testbenches.drafting.looks import Looks, flat_core, look
from testbenches.drafting.names import is_low
from testbenches.drafting.read_netlist import read_netlist
from testbenches.drafting.yaml_text import item as _item
from testbenches.drafting.yaml_text import scalar as _text
from testbenches.drafting.yaml_text import signal as _signal
from testbenches.hdl.compile_order import packages_first
from testbenches.hdl.elaborate import Design, UnknownTopError, elaborate
from testbenches.hdl.file_lists import expanded, is_list
from testbenches.hdl.synth import NetSource
from testbenches.hdl.vhdl import is_vhdl, translate
from testbenches.toolchain import cache_folder

MOST_TOPS = 8  # that are named where several could be the top
_TODO = {  # role: what the missing port is
    "clock": "the clock",
    "reset": "the reset",
    "strobe": "is 1 on an edge that takes a channel bit",
    "value": "the channel bit",
    "address": "the register address",
    "read": "the read strobe",
    "select": "selects the core; `write` then tells the direction",
    "write": "the write strobe",
    "write_data": "the data a write stores",
    "read_data": "the data a read returns",
    "dma_active": "only if the core takes it from the rest of the design",
    "writing": "only if the core takes it from the rest of the design",
    "wait_for_sync": "only if the core takes it from the rest of the design",
}


def draft(
    sources: Sequence[Path],
    top: str | None = None,
    folder: Path | None = None,
    include_dirs: Sequence[Path] = (),
    defines: Mapping[str, str | int | None] | None = None,
) -> str:
    """Return the text of a binding for a core; `folder` is where it will be kept (default: here).

    Each guess has a comment: sure, likely or guess, and why. What could not be guessed is a
    commented line to fill in. Folders and file lists stand in the binding as they are, for what is
    in them may change. Raises UserError for a missing file or an unclear top, CannotRun with the
    source's file and line for code that does not compile.
    """
    for path in sources:
        if not path.exists():
            raise UserError(f"{path}: no such file")
        if not (path.is_file() or path.is_dir()):
            raise UserError(f"{path}: is not a plain file")
    named, listed = sources, expanded(sources)
    top = top or listed.top
    folders = [*include_dirs, *listed.include_dirs]
    macros = {**listed.defines, **(defines or {})}
    sources = listed.sources
    try:
        sources_read = _in_verilog(sources, top)
        design = elaborate(sources_read, top, folders, macros)
    except UnknownTopError as error:
        raise UserError(_unclear_top(top, error, named)) from None
    home = (folder or Path()).absolute()
    kept = named if any(map(is_list, named)) else packages_first(sources)
    places = [os.path.relpath(path.absolute(), home) for path in kept]
    includes = [os.path.relpath(path.absolute(), home) for path in include_dirs]
    netlist = read_netlist(design)
    found = guess(design, netlist)
    source = NetSource(sources_read, folders, macros)
    looks = look(flat_core(source, design.top.name), found)
    guess_more(found, netlist)
    lines = _lines(design, found, looks, _core(design, places, includes, defines or {}))
    return "\n".join(lines) + "\n"


def _in_verilog(sources: Sequence[Path], top: str | None) -> Sequence[Path]:
    """Return the sources, those in VHDL as the Verilog they are turned into."""
    vhdl = [path for path in sources if is_vhdl(path)]
    if not vhdl:
        return sources
    if len(vhdl) < len(sources):
        raise UserError("VHDL and Verilog in one core; give a core that is all of one language")
    if top is None:
        raise UserError("a core in VHDL needs --top NAME, its top entity")
    return [translate(vhdl, top, cache_folder() / "vhdl")]


def _unclear_top(top: str | None, error: UnknownTopError, named: Sequence[Path]) -> str:
    known = error.known
    first = ", ".join(map(str, named[:3])) + (", ..." if len(named) > 3 else "")
    if top is not None:
        return f"--top {top}: no such module in {first}{near(top, known)}"
    if not known:
        return f"{first}: the sources hold no module; is it Verilog?"
    tops = [f"{name} ({error.places[name]})" for name in known[:MOST_TOPS]]
    tops += [f"{len(known) - MOST_TOPS} more"] if len(known) > MOST_TOPS else []
    return f"several modules could be the top: {', '.join(tops)}; choose one with --top NAME"


def _lines(design: Design, found: Guesses, looks: Looks, core: Iterator[str]) -> Iterator[str]:
    """Yield the whole file, a section at a time."""
    yield f"# Drafted from the source of {design.top.name}. Check every line before you trust it:"
    yield "# `sure`: source and name both say so; `likely`: one of them does; `guess`: weak."
    yield from core
    yield ""
    yield f"profile: pal_dd  # TODO your clock and channel-bit time: {', '.join(profile_names())}"
    yield from _clock(found, looks)
    yield from _reset(found, looks)
    yield from _disk(found, looks)
    yield from _bus(found, looks)
    yield from _inputs(found, looks)
    yield from more_sections(found)
    yield from _tie(found)
    yield from _observe(found)
    yield "latency: {status: 0}  # cycles by which the core's status may lag behind the model's"
    yield from what_to_look_for(found, looks)


def _core(
    design: Design, places: list[str], includes: list[str], defines: Mapping[str, object]
) -> Iterator[str]:
    yield "core:"
    yield f"  top: {_text(design.top.name)}"
    yield f"  sources: [{', '.join(map(_item, places))}]"
    if includes:
        yield f"  include_dirs: [{', '.join(map(_item, includes))}]"
    if defines:
        named = (f"{n}: {'' if v is None else _item(str(v))}" for n, v in defines.items())
        yield f"  defines: {{{', '.join(named)}}}"
    if design.parameters:
        yield f"  # parameters: {{...}}  # of: {', '.join(design.parameters)}"


def _clock(found: Guesses, looks: Looks) -> Iterator[str]:
    yield "clock:"
    yield _plain(found, "clock", "port")
    yield from (*looks.line("clock.edge"), *looks.line("clock.divide"))
    if "clock.slow" in looks.keys:
        yield from looks.line("clock.slow")
        yield "  enable_every: 4  # TODO edges of the port in one of the slow clock"
    enable = found.roles.get("enable")
    if enable is not None:
        yield f"  enable: {_text(enable.name)}  # {enable.comment}"
        if enable.active == "low":
            yield "  enable_active: low"
        yield "  enable_every: 1  # TODO clock periods in one cycle of the profile's clock"


def _reset(found: Guesses, looks: Looks) -> Iterator[str]:
    yield "reset:"
    yield _plain(found, "reset", "port")
    if "reset" in found.roles:
        yield f"  active: {found.roles['reset'].active}"
    yield from looks.line("reset.kind")
    if looks.why_not and "reset" in found.roles and OWN_EDGE in found.roles["reset"].reason:
        yield "  kind: asynchronous  # likely: registers wait for an edge of it"
    yield "  cycles: 4"


def _disk(found: Guesses, looks: Looks) -> Iterator[str]:
    yield "disk:"
    if found.separator is not None and found.separator.flux:
        flux = found.separator.flux
        yield f"  flux: {_text(flux)}  # likely: the core makes its channel bits itself"
        if is_low(flux):
            yield "  active: low  # guess: by its name"
        return
    yield from (_role(found, "strobe"), _role(found, "value"))
    yield from looks.line("disk.latency")
    if not found.roles.keys() & {"strobe", "value"}:
        yield "  # A core with a data separator of its own takes pulses instead:"
        yield "  # flux: PORT  # the read-data line; then also `active: low` and"
        yield "  # observe.channel_bit: {strobe: SIGNAL, value: SIGNAL}, its separator's output"


def _bus(found: Guesses, looks: Looks) -> Iterator[str]:
    """Yield the bus; none for a core without an address, read data or wide input."""
    bus_roles = {"address", "read_data", "write_data"} & set(found.roles)
    if not bus_roles | set(found.unused("write_data")) and "bus.data.port" not in looks.keys:
        yield "# bus:  # no address and no read data found: only what is observed is compared"
        return
    yield "bus:"
    yield _plain(found, "address")
    yield from looks.line("bus.decoded")
    if "read" not in found.roles and {"line", "select"} & set(found.roles):
        yield _role(found, "select")
        yield _role(found, "line" if "line" in found.roles else "write", "write")
    else:
        yield _role(found, "read")
        if "select" in found.roles:
            yield _role(found, "select")
        yield _role(found, "write")
    if "bus.data.port" in looks.keys:
        yield "  data:"
        yield from (*looks.line("bus.data.port", "    "), *looks.line("bus.data.drives", "    "))
    else:
        yield _plain(found, "write_data")
        yield _plain(found, "read_data")
    yield from bus_extras(found, looks)
    yield from (*looks.line("bus.asynchronous"), *looks.line("bus.latency"))
    known = found.addresses.status or found.addresses.sync_word
    yield "  registers:" if known else "  registers: {}  # TODO at least one of these:"
    yield from _registers(found)
    yield from _others(found)
    late = found.addresses.read_latency
    if late is None:
        yield "  read_latency: 0  # TODO registers between status and the port read"
    else:
        why = "read data comes out of a register" if late else "read data is not registered"
        yield f"  read_latency: {late}  # likely: {why}"


def _others(found: Guesses) -> Iterator[str]:
    """Yield the addresses that are written beside those of the registers, if one of these is known.

    The bench writes to all addresses but those.
    """
    others = found.addresses.written
    named = ", ".join(f"{where:#x} {name}".strip() for where, name in others.items())
    if others:
        yield f"    # also written: {named}; `transfer` or `control`, if you test those"
    if found.addresses.sync_word:
        why = "is written there" if others else "no other address is written"
        places = ", ".join(f"{where:#x}" for where in others)
        yield f"  others: [{places}]  # likely: {why}; the bench writes to all but these"


def _registers(found: Guesses) -> Iterator[str]:
    """Yield the addresses of the registers, as the source names or decodes them."""
    clears, why = found.addresses.clears_on
    for register in ("status", "sync_word"):
        where = dict(getattr(found.addresses, register))
        if "word" in where:
            address, reason = where["word"]
            yield f"    {register}: {address:#x}  # likely: {reason}"
        elif {"high", "low"} <= set(where):
            yield f"    {register}:"
            for half in ("high", "low"):
                address, reason = where[half]
                yield f"      {half}: {address:#x}  # likely: {reason}"
            if register == "status":
                yield f"      clears_on: {clears}  # {why}"
        else:
            form = "{high: ADDRESS, low: ADDRESS}" if _byte_wide(found) else "ADDRESS"
            yield f"    # {register}: {form}  # TODO the source does not say where it is"
    yield from more_registers(found)


def _inputs(found: Guesses, looks: Looks) -> Iterator[str]:
    names = ("dma_active", "writing", "wait_for_sync")
    yield "inputs:" if any(name in found.roles for name in names) else "inputs: {}"
    for name in names:
        if name not in found.roles:
            yield _missing(found, name, name)
        elif kept := [*looks.line(f"inputs.{name}.path"), *looks.line(f"inputs.{name}.latency")]:
            shown = found.roles[name]
            yield f"  {name}:"
            yield f"    port: {_text(shown.name)}  # {shown.comment}"
            yield from ["    active: low"] * (shown.active == "low")
            yield from (f"  {line}" for line in kept)
        else:
            yield _role(found, name)


def _tie(found: Guesses) -> Iterator[str]:
    ties = {**found.always_on, **found.left_over}
    if ties:
        yield "tie:"
        for name, (value, reason) in ties.items():
            yield f"  {_text(name)}: {value}  # guess: {reason}"


def _observe(found: Guesses) -> Iterator[str]:
    if "status" in found.observe:
        status = found.observe["status"]
        yield "observe:"
        yield f"  status: {_text(status.name)}  # {status.comment}"
    elif found.observe:
        yield "observe:"
        yield "  fields:"
        for name, shown in found.observe.items():
            yield f"    {name}: {_signal(shown, 'signal')}  # {shown.comment}"
    else:
        yield "# observe: {status: NAME}  # TODO a port or name inside that shows status unread"
    if found.separator is not None:
        bit = found.separator
        yield from [] if found.observe else ["observe:"]
        yield f"  channel_bit: {{strobe: {_text(bit.strobe)}, value: {_text(bit.value)}}}" + (
            "  # likely: it is shifted into the window"
        )


def _role(found: Guesses, role: str, key: str = "") -> str:
    """Return the line of a role whose signal has an active level."""
    if role not in found.roles:
        return _missing(found, role, key or role)
    shown = found.roles[role]
    return f"  {key or role}: {_signal(shown, 'port')}  # {shown.comment}"


def _plain(found: Guesses, role: str, key: str = "") -> str:
    """Return the line of a role that is a bare port name."""
    if role not in found.roles:
        return _missing(found, role, key or role)
    shown = found.roles[role]
    return f"  {key or role}: {_text(shown.name)}  # {shown.comment}"


def _missing(found: Guesses, role: str, key: str) -> str:
    return f"  # {key}: PORT  # TODO {_TODO[role]}{_candidates(found, role)}"


def _candidates(found: Guesses, role: str) -> str:
    """Return the ports that could still be it, as the end of a comment."""
    direction, least, greatest = WIDTHS[role]
    left = found.unused(role)
    if left:
        return f"; could be: {', '.join(left)}"
    bits = f"{least} bit" if greatest == 1 else f"{least} to {greatest} bits"
    return f"; no {direction} of {bits} is left"


def _byte_wide(found: Guesses) -> bool:
    data = found.roles.get("read_data") or found.roles.get("write_data")
    return data is not None and found.ports[data.name].width == 8
