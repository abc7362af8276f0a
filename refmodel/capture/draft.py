"""A map proposed from a recording: from the names of its signals, and from what they do."""

from __future__ import annotations

import re
from collections.abc import Iterator

from refmodel.capture.draft_bus import BusRoles, lasting, registers_of
from refmodel.capture.draft_roles import LEVELS, WIDE, Look, RoleGuess, look_at, spacings
from refmodel.capture.waves import Recording
from refmodel.ground.numbers import counted

TODO = "TODO"
LAYOUT: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (  # key and role, part by part
    ("clock", (("signal", "clock"), ("enable", "enable"))),
    ("reset", (("signal", "reset"),)),
    ("disk", tuple((n, n) for n in ("strobe", "value", "flux", "index"))),
    (
        "bus",
        (
            *((n, n) for n in ("address", "read", "select")),
            ("write", "direction"),
            *((n, n) for n in ("write", "write_data", "read_data", "acknowledge")),
        ),
    ),
    ("inputs", tuple((n, n) for n in LEVELS)),
    ("memory", tuple((n, n) for n in ("slot", "request", "store", "data_out", "data_in"))),
    (
        "lines",
        (
            ("write_gate", "write_gate"),
            ("write_data", "written"),
            ("sync_found", "sync_found"),
            ("transfer_done", "transfer_done"),
        ),
    ),
    ("observe", (("status", "status"),)),
)
PULSES = ("written", "sync_found", "transfer_done")
FIELDS = (("byte_ready", "byte_ready"), ("sync_equal", "sync_equal"), ("data", "byte"))
NEEDED = {
    ("clock", "clock"), ("disk", "strobe"), ("disk", "value"), ("bus", "read"),
    ("observe", "status"),
}  # fmt: skip
LONGEST = 64  # cycles of a pulse; a line that is up for longer changes its level instead


def draft_map(recording: Recording) -> str:
    """Return a map as text, each line with the reason for it; what is not found is TODO.

    Raises UserError for a recording in which nothing changes.
    """
    look = look_at(recording)
    lines = [
        "# Drafted from the names of the signals and from what they do. Read each line.",
        "profile: pal_dd  # or ntsc_dd, round_hd, or your own file",
    ]
    for part, keys in LAYOUT:
        body = list(_part(part, keys, look))
        if part == "clock":
            body += _sampled(look)
        if part == "bus":
            body += _bus(look, recording)
        lines += [f"{part}:", *body] if body else []
    return "\n".join(lines) + "\n"


def _part(part: str, keys: tuple[tuple[str, str], ...], look: Look) -> Iterator[str]:
    """Yield the lines of a part of the map."""
    guesses = look.guesses
    roles = [(key, role) for key, role in keys if role not in _left_out(look)]
    if part == "memory" and not all(role in guesses for _, role in roles):
        return
    if part == "observe" and "status" not in guesses:
        fields = [(name, guesses[role]) for name, role in FIELDS if role in guesses]
        if fields:
            yield "  fields:"
            yield from (f"  {_line(name, guess)}" for name, guess in fields)
            return
    for key, role in roles:
        guess = guesses.get(role)
        if guess is not None:
            yield _reset(guess) if part == "reset" else _line(key, guess, _form(role, look))
        elif (part, role) in NEEDED:
            yield f"  {key}: {TODO}"


def _left_out(look: Look) -> set[str]:
    """Return the roles of a bus of another form than the one that is found."""
    if "select" in look.guesses and "direction" in look.guesses:
        return {"read", "write"}
    return {"select", "direction"}


def _line(key: str, guess: RoleGuess, more: str = "") -> str:
    """Return the line of a key."""
    low = ", active: low" if guess.low and key not in WIDE else ""
    value = f"{{signal: {_quoted(guess)}{low}{more}}}" if low or more else _quoted(guess)
    return f"  {key}: {value}  # {guess.why}"


def _quoted(guess: RoleGuess) -> str:
    return guess.name if re.fullmatch(r"[\w.$]+", guess.name) else f'"{guess.name}"'


def _reset(guess: RoleGuess) -> str:
    low = "\n  active: low" if guess.low else ""
    return f"  signal: {_quoted(guess)}  # {guess.why}{low}"


def _form(role: str, look: Look) -> str:
    """Return the keys that say how a line pulses."""
    if role not in PULSES:
        return ""
    guess = look.guesses[role]
    cycles = lasting(guess.name, guess.low, look.name("clock"), look.changes)
    if cycles > LONGEST:
        return ", form: toggle"
    return f", cycles: {cycles}" if cycles > 1 else ""


def _sampled(look: Look) -> Iterator[str]:
    """Yield the keys of a capture that has a clock of its own."""
    apart = spacings(look)
    if apart is not None:
        low, high = apart
        yield f"  sampled: true  # its edges are {low:.4g} to {high:.4g} ns apart: it was sampled"
        yield "  settle_ns: 30  # TODO: how long after an edge your signals still change"
        yield f"  jitter_ns: 1  # {TODO}: by how much a sample may be early or late"


def _bus(look: Look, recording: Recording) -> Iterator[str]:
    """Yield the keys of the bus that are more than one signal, and where its registers are."""
    guesses = look.guesses
    if "data" in guesses and not {"read_data", "write_data"} & set(guesses):
        drives = f", drives: {_quoted(guesses['drives'])}" if "drives" in guesses else ""
        yield f"  data: {{signal: {_quoted(guesses['data'])}{drives}}}  # {guesses['data'].why}"
    if {"high", "low"} <= set(guesses):
        yield "  strobes:"
        yield from (f"  {_line(name, guesses[name])}" for name in ("high", "low"))
    strobe = guesses.get("select" if "read" in _left_out(look) else "read")
    if strobe is None:
        yield f"  registers: {{status: 0x0}}  # {TODO}: the addresses"
        return
    up = lasting(strobe.name, strobe.low, look.name("clock"), look.changes)
    if up > 1:
        yield (
            f"  acts: first  # {strobe.name} is up for {counted(up, 'cycle')}; held:"
            " each is an access"
        )
    found = registers_of(_roles(look), look.changes, _byte_wide(look, recording))
    yield f"  registers: {found.text}  # {found.why}"


def _roles(look: Look) -> BusRoles:
    """Return the signals of the bus."""
    data = look.name("data")
    select = "read" in _left_out(look)
    return BusRoles(
        look.name("clock"),
        look.name("address"),
        look.name("select") if select else look.name("read"),
        look.name("select") if select else look.name("write"),
        look.name("read_data") or data,
        look.name("write_data") or data,
        frozenset(guess.name for guess in look.guesses.values() if guess.low),
        look.name("direction") if select else None,
    )


def _byte_wide(look: Look, recording: Recording) -> bool:
    name = look.name("read_data") or look.name("data")
    return name is not None and recording.signals[name].width == 8
