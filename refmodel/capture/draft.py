"""A map proposed from a recording: from the names of its signals, and from what they do."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import islice

import numpy as np

from refmodel.capture.waves import Recording, Signal, SignalChanges
from refmodel.ground.errors import UserError

PIECES = 2  # of the recording that are looked at
TODO = "TODO"
WORDS = {  # what a role's signals are called: common practice, no source
    "clock": r"(?:^|_)(?:clk|clock|ck)(?:$|_)",
    "enable": r"(?:clk|clock)_?en|(?:^|_)ce(?:$|_)",
    "reset": r"(?:^|_)n?(?:rst|reset)",
    "strobe": r"(?:bit|flux|data|dsk|disk)_?(?:stb|strobe|en|valid|clk)|(?:^|_)stb$|bit_n$",
    "value": r"(?:bit|disk|dsk)_?(?:in|d|data|val|value)$|^bit$",
    "flux": r"(?:rd|read)_?(?:data|pulse|flux)|flux|rddata|rdata_n",
    "index": r"index|(?:^|_)idx",
    "address": r"^a?(?:dr|ddr|ddress)|addr|(?:^|_)adr|place",
    "read": r"^(?:rd|re|read)(?:_n|n)?$|read_?(?:en|stb|strobe)|(?:^|_)rd$",
    "write": r"^(?:wr|we|write)(?:_n|n)?$|write_?(?:en|stb|strobe)|(?:^|_)wr$",
    "write_data": r"^(?:din|d_in|wdata|write_data|data_in|wr_data)",
    "read_data": r"^(?:dout|d_out|rdata|read_data|data_out|rd_data)",
    "status": r"status|(?:^|_)stat(?:$|_)",
    "dma_active": r"dma|xfer_on|transfer_on|xfer_active",
    "writing": r"^wr_on|writing|to_disk",
    "wait_for_sync": r"^ws$|wait_?(?:for_?)?sync|waiting",
}
WIDE = ("address", "write_data", "read_data", "status")
LAYOUT = (
    ("clock", (("signal", "clock"), ("enable", "enable"))),
    ("reset", (("signal", "reset"),)),
    ("disk", tuple((n, n) for n in ("strobe", "value", "flux", "index"))),
    ("bus", tuple((n, n) for n in ("address", "read", "write", "write_data", "read_data"))),
    ("inputs", tuple((n, n) for n in ("dma_active", "writing", "wait_for_sync"))),
    ("observe", (("status", "status"),)),
)


@dataclass(frozen=True)
class Habit:
    """What a signal does: how often it changes, how regularly, and for how long it is up."""

    changes: int
    period_ns: float
    regular: bool
    up: float  # part of the time


@dataclass(frozen=True)
class RoleGuess:
    """A signal proposed for a role, whether it is active low, and why."""

    name: str
    low: bool
    why: str


def draft_map(recording: Recording) -> str:
    """Return a map as text, each line with the reason for it; what is not found is TODO.

    Raises UserError for a recording in which nothing changes.
    """
    habits = _habits(recording)
    guesses = _guesses(recording, habits)
    lines = [
        "# Drafted from the names of the signals and from what they do. Read each line.",
        "profile: pal_dd  # or ntsc_dd, round_hd, or your own file",
    ]
    for part, keys in LAYOUT:
        found = [(key, guesses.get(role)) for key, role in keys]
        if part in ("inputs",) and not any(guess for _, guess in found):
            continue
        lines.append(f"{part}:")
        lines += [_line(part, key, guess) for key, guess in found if guess or _needed(part, key)]
        if part == "bus":
            lines.append("  registers: {status: 0x0}  # TODO: the addresses")
    return "\n".join(lines) + "\n"


def _needed(part: str, key: str) -> bool:
    """Tell whether a key is written even when nothing was found for it."""
    return (part, key) in {
        ("clock", "signal"), ("disk", "strobe"), ("disk", "value"), ("bus", "read"),
        ("observe", "status"),
    }  # fmt: skip


def _line(part: str, key: str, guess: RoleGuess | None) -> str:
    if guess is None:
        return f"  {key}: {TODO}"
    value = guess.name if re.fullmatch(r"[\w.$]+", guess.name) else f'"{guess.name}"'
    if guess.low and part != "observe" and key not in WIDE:
        pair = f"{{signal: {value}, active: low}}" if part != "reset" else value
        more = "\n  active: low" if part == "reset" else ""
        return f"  {key}: {pair}  # {guess.why}{more}"
    return f"  {key}: {value}  # {guess.why}"


def _habits(recording: Recording) -> dict[str, Habit]:
    """Return what each signal does at the start of the recording."""
    held: dict[str, SignalChanges] = {}
    for piece in islice(recording.pieces(list(recording.signals)), PIECES):
        for name, changes in piece.changes.items():
            held[name] = held[name].then(changes) if name in held else changes
    habits = {name: _habit(changes) for name, changes in held.items()}
    if not any(habit.changes > 1 for habit in habits.values()):
        raise UserError(f"{recording.name}: nothing in it changes; there is no map to propose")
    return habits


def _habit(changes: SignalChanges) -> Habit:
    """Return what a signal's changes look like."""
    if len(changes.ns) < 3:
        up = float(np.mean(changes.value != 0)) if len(changes.ns) else 0.0
        return Habit(len(changes.ns), 0.0, False, up)
    rises = changes.ns[(changes.value & np.uint64(1)) != 0]
    spacing = np.diff(rises) if len(rises) > 2 else np.diff(changes.ns)
    period = float(np.median(spacing))
    near = np.abs(spacing - period) < 0.1 * period
    length = np.diff(changes.ns)
    high = (changes.value[:-1] & np.uint64(1)) != 0
    up = float(length[high].sum() / length.sum()) if length.sum() else 0.0
    return Habit(len(changes.ns), period, bool(near.mean() > 0.9), up)


def _guesses(recording: Recording, habits: dict[str, Habit]) -> dict[str, RoleGuess]:
    """Return the best signal for each role; none plays two."""
    taken: set[str] = set()
    found: dict[str, RoleGuess] = {}
    for role in WORDS:
        guess = _best(role, recording, habits, taken)
        if guess is not None:
            found[role] = guess
            taken.add(guess.name)
    if "clock" not in found:
        fastest = max(
            (n for n, h in habits.items() if h.regular and _one_bit(recording.signals[n])),
            key=lambda n: habits[n].changes,
            default=None,
        )
        if fastest is not None:
            why = f"changes most often and regularly, every {habits[fastest].period_ns:.4g} ns"
            found["clock"] = RoleGuess(fastest, False, why)
    return found


def _one_bit(signal: Signal) -> bool:
    return signal.width <= 1 and signal.kind == "wire"


def _best(
    role: str, recording: Recording, habits: dict[str, Habit], taken: set[str]
) -> RoleGuess | None:
    """Return the signal whose name fits a role best: the shortest path, and one that changes."""
    fitting = [
        name
        for name, signal in recording.signals.items()
        if name not in taken
        and (signal.width != 1 if role in WIDE else _one_bit(signal))
        and re.search(WORDS[role], _leaf(name))
    ]
    if not fitting:
        return None
    best = min(fitting, key=lambda n: (n.count("."), _still(habits.get(n)), len(n), n))
    habit = habits.get(best)
    return RoleGuess(best, _active_low(role, best, habit), _why(role, habit, len(fitting)))


def _leaf(name: str) -> str:
    return name.rpartition(".")[2].lower()


def _still(habit: Habit | None) -> bool:
    return habit is None or habit.changes < 2


def _active_low(role: str, name: str, habit: Habit | None) -> bool:
    """Tell whether a signal is active low: by its name, or as it is up most of the time."""
    if role in WIDE or role in ("clock", "value", "dma_active", "writing", "wait_for_sync"):
        return False
    if _leaf(name).endswith(("_n", "_b", "_l")) or _leaf(name).startswith("n_"):
        return True
    return habit is not None and habit.changes > 2 and habit.up > 0.8


def _why(role: str, habit: Habit | None, fitting: int) -> str:
    """Say why a signal was taken for a role."""
    said = "by its name" if fitting == 1 else f"by its name; {fitting} fit, this is the outermost"
    if habit is None or habit.changes < 2:
        return f"{said}; it does not change here"
    if role in ("clock", "strobe", "flux", "index") and habit.period_ns:
        kind = "regularly" if habit.regular else "mostly"
        return f"{said}; rises {kind} every {habit.period_ns:.4g} ns"
    return said
