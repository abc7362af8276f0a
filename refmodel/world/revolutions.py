"""A captured track: its flux cut into revolutions, read by a separator, laid over each other."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.numbers import counted
from refmodel.media.flux_list import FluxList
from refmodel.media.mfm import Bits
from refmodel.media.overlay import NOWHERE, Overlay, lay_over
from refmodel.media.plausible import check_flux
from refmodel.media.seeded import Floats
from refmodel.separator import leap
from refmodel.separator.choose import make_separator
from refmodel.separator.parameters import SeparatorPart

MISSED = 1.5  # a revolution so many times as long as the others lacks an index pulse
SHORT = 0.75  # and one so short has an index pulse too many
LEAST_PULSES = 16


@dataclass(frozen=True, eq=False)
class Revolution:
    """One turn of a captured disk: times in ns from its index pulse.

    `pulse_ns` are its flux pulses; channel bit k has the value `bits[k]` and its window's middle at
    `middle_ns[k]`.
    """

    number: int
    length_ns: float
    pulse_ns: Floats
    bits: Bits
    middle_ns: Floats


@dataclass(frozen=True, eq=False)
class Turns:
    """A captured track: its whole revolutions, over each other; `notes` say what was left out."""

    revolutions: tuple[Revolution, ...]
    overlay: Overlay
    notes: tuple[str, ...] = ()

    def pulse_bits(self, turn: int) -> Cycles:
        """Return of each pulse of a revolution the channel bit of the first it is, or NOWHERE."""
        revolution, at = self.revolutions[turn], self.overlay.at[turn]
        own = np.searchsorted(revolution.middle_ns, revolution.pulse_ns)
        own -= (own == len(revolution.bits)) | _nearer_before(revolution, own)
        back = np.full(len(revolution.bits), NOWHERE, np.int64)
        here = np.flatnonzero(at != NOWHERE)
        back[at[here]] = here
        return np.where(revolution.bits[own] == 1, back[own], NOWHERE)


def turns_of(
    flux: FluxList,
    bit_ns: float,
    part: SeparatorPart | None = None,
    cycle_ns: Fraction = Fraction(1),
) -> Turns:
    """Cut a capture at its index pulses, read every revolution, and lay all over the first.

    A channel bit is nominally `bit_ns` long; the separator's clock has its edges `cycle_ns` apart,
    one of them at the first index pulse, as in a run. Without index pulses all of it is one
    revolution; a piece before the first or behind the last, and one an index pulse is missing in,
    is left out. Raises UserError for too few pulses, and for times that no disk can have.
    """
    if len(flux.ns) < LEAST_PULSES:
        raise UserError(
            f"only {counted(len(flux.ns), 'pulse')}: too few to read, {LEAST_PULSES} at least"
        )
    check_flux(flux, bit_ns)
    end_ns = max([float(flux.ns[-1]), *flux.index_ns[-1:].tolist()])
    first = float(flux.index_ns[0]) if len(flux.index_ns) else 0.0
    clock = float(cycle_ns)
    cycles_per_bit = Fraction(bit_ns) / cycle_ns
    edges_seen = (flux.ns - first) / clock
    lead = max(0, int(np.ceil(-edges_seen[0])))  # cycles of the capture before the index
    bits, place = separated(
        edges_seen + lead, cycles_per_bit, part or SeparatorPart(), (end_ns - first) / clock + lead
    )
    middle = (place - lead) * clock + first
    edges, notes = _edges(flux)
    found: list[Revolution] = []
    for number, (begin, end) in enumerate(edges, 1):
        pulses = slice(*np.searchsorted(flux.ns, (begin, end)))
        inside = slice(*np.searchsorted(middle, (begin, end)))
        if pulses.stop - pulses.start < LEAST_PULSES:
            notes.append(f"revolution {number} has hardly any pulse and is left out")
            continue
        found.append(
            Revolution(
                number, end - begin, flux.ns[pulses] - begin, bits[inside], middle[inside] - begin
            )
        )
    if not found:
        raise UserError("no whole revolution: " + "; ".join(notes))
    return Turns(tuple(found), lay_over([r.bits for r in found]), tuple(notes))


def separated(
    pulses: Floats, cycles_per_bit: Fraction, part: SeparatorPart, end: float
) -> tuple[Bits, Floats]:
    """Return the channel bits a separator makes of pulses, and the middle of each one's window.

    All times are in cycles of its clock. They go on until `end`, or all that a silence of 64
    channel bits behind the last pulse holds.

    The separator is the profile's `use`, and has seen the first pulses once before, so that it is
    in step from the first on.
    """
    separator = make_separator(part.use, part, cycles_per_bit)
    bit = float(cycles_per_bit)
    seen = np.ceil(pulses).astype(np.int64)
    seen = seen[np.diff(seen, prepend=-1) > 0]
    warm = seen[: min(len(seen), 400)]
    ahead = int(warm[-1] - seen[0]) + 2 * round(bit)  # as if the first followed on them
    leap.run(separator, warm, int(warm[-1]) + 1)
    stop = min(end, int(seen[-1]) + 64 * bit) + bit
    read = leap.run(separator, seen + ahead, ahead + int(stop))
    middle = read.cycle - ahead - read.period / (2 * read.one)
    keep = middle > -bit
    return read.bit[keep], middle[keep]


def _edges(flux: FluxList) -> tuple[list[tuple[float, float]], list[str]]:
    """Return where revolutions begin and end, and what is to be said of it."""
    index = flux.index_ns[flux.index_ns <= flux.ns[-1] + 1e6]
    if len(index) < 2:
        said = (
            f"{counted(len(index), 'index pulse')}: all of the capture is taken as one revolution"
        )
        return [(float(flux.ns[0]), float(flux.ns[-1]) + 1)], [said]
    length = np.diff(index)
    usual = float(np.median(length))
    edges, notes = [], []
    for n, (begin, one) in enumerate(zip(index[:-1].tolist(), length.tolist(), strict=True), 1):
        if one > MISSED * usual:
            notes.append(
                f"revolution {n} is {one / usual:.2f} times as long as the others: an index pulse"
                " is missing, it is left out"
            )
        elif one < SHORT * usual:
            notes.append(
                f"revolution {n} is {one / usual:.2f} times as long as the others: an index pulse"
                " too many, it is left out"
            )
        else:
            edges.append((begin, begin + one))
    return edges, notes


def _nearer_before(revolution: Revolution, own: Cycles) -> np.ndarray:
    """Tell of each pulse whether the window before the one found is the nearer one."""
    middle, pulse = revolution.middle_ns, revolution.pulse_ns
    inside = np.clip(own, 1, len(middle) - 1)
    return np.asarray((own > 0) & (pulse - middle[inside - 1] < middle[inside] - pulse))
