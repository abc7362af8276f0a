"""Which recorded signal plays which role: by its name, and by what it does."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice

import numpy as np

from refmodel.capture.draft_bus import pulses
from refmodel.capture.waves import Recording, Signal, SignalChanges, uneven
from refmodel.ground.errors import UserError

PIECES = 2  # of the recording that are looked at
WORDS = {  # what a role's signals are called: common practice, no source
    "clock": r"(?:^|_)(?:clk|clock|ck)(?:$|_)",
    "enable": r"(?:clk|clock)_?en|(?:^|_)ce(?:$|_)",
    "reset": r"(?:^|_)n?(?:rst|reset)",
    "strobe": r"(?:bit|flux|data|dsk|disk)_?(?:stb|strobe|en|valid|clk)|(?:^|_)stb$|bit_n$",
    "value": r"(?:bit|disk|dsk)_?(?:in|d|data|val|value)$|^bit$",
    "flux": r"(?:rd|read)_?(?:data|pulse|flux)|flux|rddata|rdata_n",
    "index": r"index|(?:^|_)idx",
    "select": r"^n?(?:cs|sel|select|chip_?sel(?:ect)?)(?:_?n)?$",
    "acknowledge": r"(?:^|_)n?ack(?:nowledge)?(?:_?n)?$",
    "high": r"^n?(?:uds|uds_n|high_stb|high_strobe|be_?1|be_h)(?:_?n)?$",
    "low": r"^n?(?:lds|lds_n|low_stb|low_strobe|be_?0|be_l)(?:_?n)?$",
    "slot": r"(?:^|_)slot(?:$|_)|grant",
    "request": r"(?:^|_)(?:mem_?)?(?:req|request|ask)$",
    "store": r"^mem_?(?:we|wr|write)(?:_?n)?$|(?:^|_)store(?:$|_)",
    "data_out": r"^(?:mem_?(?:out|dout|wdata|data_?out)|to_?mem)",
    "data_in": r"^(?:mem_?(?:in|din|rdata|data_?in)|from_?mem)",
    "write_gate": r"(?:^|_)(?:w|write_?)?gate(?:_out|_n)*$",
    "sync_found": r"(?:irq|int|pulse)_?sync|sync_?(?:found|irq|int)",
    "transfer_done": r"(?:irq|int|pulse|transfer|xfer)_?done|done_?(?:irq|int)|(?:^|_)done$",
    "master_enable": r"(?:^|_)(?:en(?:able)?_?(?:master|all)|master_?en(?:able)?)(?:$|_)",
    "channel_enable": r"(?:^|_)(?:en(?:able)?_?chan(?:nel)?|chan(?:nel)?_?en(?:able)?)(?:$|_)",
    "address": r"^a(?:ddress)?$|addr|(?:^|_)adr|place",
    "read": r"^(?:rd|re|read)(?:_n|n)?$|read_?(?:en|stb|strobe)|(?:^|_)rd$",
    "direction": r"^(?:rnw|r_nw|rw|r_w|wnr|w_nr)$",
    "write": r"^(?:wr|we|write)(?:_n|n)?$|write_?(?:en|stb|strobe)|(?:^|_)wr$",
    "write_data": r"^(?:din|d_in|wdata|write_data|data_in|wr_data)",
    "read_data": r"^(?:dout|d_out|rdata|read_data|data_out|rd_data)",
    "data": r"^(?:d|data|dq|dbus|data_?bus)$",
    "drives": r"^(?:oe|d_?oe|data_?oe|drive|drives|driving)(?:_?n)?$",
    "written": r"^(?:wd|w_?data|write_?data|wr_?data|data_out|write_?pulse)(?:_out|_n)*$",
    "byte_ready": r"byte_?(?:ready|rdy)|^rdy$",
    "sync_equal": r"sync_?(?:eq(?:ual)?|match)|word_?eq(?:ual)?",
    "byte": r"^(?:byte|last_?byte|data_?byte|byte_?data)$",
    "status": r"status|(?:^|_)stat(?:$|_)",
    "dma_active": r"dma|xfer_on|transfer_on|xfer_active",
    "writing": r"^wr_on|writing|to_disk",
    "wait_for_sync": r"^ws$|wait_?(?:for_?)?sync|waiting",
}
WIDE = ("address", "write_data", "read_data", "status", "data", "data_in", "data_out", "byte")
LEVELS = ("dma_active", "writing", "wait_for_sync", "master_enable", "channel_enable")


@dataclass(frozen=True)
class Habit:
    """What a signal does: how often it changes, how regularly, and for how long it is up."""

    changes: int
    period_ns: float
    regular: bool
    up: float  # part of the time
    most: int = 1  # the highest value


@dataclass(frozen=True)
class RoleGuess:
    """A signal proposed for a role, whether it is active low, and why."""

    name: str
    low: bool
    why: str


@dataclass(frozen=True)
class Look:
    """What the start of a recording shows, by signal; and the best signal for each role."""

    changes: Mapping[str, SignalChanges]
    habits: Mapping[str, Habit]
    guesses: Mapping[str, RoleGuess]

    def name(self, role: str) -> str | None:
        """Return the signal that plays a role, if one does."""
        guess = self.guesses.get(role)
        return None if guess is None else guess.name


def look_at(recording: Recording) -> Look:
    """Look at the start of a recording; raise UserError when nothing in it changes."""
    changes = _changes(recording)
    habits = {name: _habit(held) for name, held in changes.items()}
    if not any(habit.changes > 1 for habit in habits.values()):
        raise UserError(f"{recording.name}: nothing in it changes; there is no map to propose")
    return Look(changes, habits, _guesses(recording, habits))


def spacings(look: Look) -> tuple[float, float] | None:
    """Return the least and the most a sampled clock's edges are apart; None for an even clock."""
    clock = look.name("clock")
    if clock is None or clock not in look.changes:
        return None
    return uneven(np.diff(pulses(look.changes[clock], False)[0]), twice=True)


def _changes(recording: Recording) -> dict[str, SignalChanges]:
    """Return the changes of each signal at the start of the recording."""
    held: dict[str, SignalChanges] = {}
    for piece in islice(recording.pieces(list(recording.signals)), PIECES):
        for name, changes in piece.changes.items():
            held[name] = held[name].then(changes) if name in held else changes
    return held


def _habit(changes: SignalChanges) -> Habit:
    """Return what a signal's changes look like."""
    if len(changes.ns) < 3:
        up = float(np.mean(changes.value != 0)) if len(changes.ns) else 0.0
        return Habit(len(changes.ns), 0.0, False, up, _most(changes))
    rises = changes.ns[(changes.value & np.uint64(1)) != 0]
    spacing = np.diff(rises) if len(rises) > 2 else np.diff(changes.ns)
    period = float(np.median(spacing))
    near = np.abs(spacing - period) < 0.1 * period
    length = np.diff(changes.ns)
    high = (changes.value[:-1] & np.uint64(1)) != 0
    up = float(length[high].sum() / length.sum()) if length.sum() else 0.0
    return Habit(len(changes.ns), period, bool(near.mean() > 0.9), up, _most(changes))


def _most(changes: SignalChanges) -> int:
    return int(changes.value.max()) if len(changes.value) else 0


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


def _wide_enough(role: str, signal: Signal, habit: Habit | None) -> bool:
    """Tell whether a signal may be as wide as a role takes; of a table the values tell."""
    if signal.width == 0 and habit is not None and habit.changes > 1:
        return (habit.most > 1) == (role in WIDE)
    return signal.width != 1 if role in WIDE else _one_bit(signal)


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
        and _wide_enough(role, signal, habits.get(name))
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
    if role in WIDE or role in ("clock", "value", *LEVELS):
        return False
    if role == "direction":
        return not _leaf(name).startswith("w")
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
