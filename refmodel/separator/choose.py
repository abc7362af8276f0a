"""Makes the separators of a profile."""

from __future__ import annotations

from fractions import Fraction

from refmodel.ground.errors import UserError, near
from refmodel.separator.counter import Counter, Counts
from refmodel.separator.interface import Separator, lock_limits, nominal_period
from refmodel.separator.parameters import CounterPart, SecondOrderPart, SeparatorPart
from refmodel.separator.rephase import Rephase
from refmodel.separator.second_order import GAIN_BITS, Gains, SecondOrder

NAMES = (Rephase.name, Counter.name, SecondOrder.name)


def make_separator(name: str, part: SeparatorPart, cycles_per_bit: Fraction) -> Separator:
    """Return the separator `name` with a profile's numbers, in reset.

    Raises UserError for an unknown name, or numbers that do not fit the length of a channel bit.
    """
    if name == Rephase.name:
        return Rephase(cycles_per_bit, part.rephase.fraction_bits)
    if name == Counter.name:
        return Counter(cycles_per_bit, counts_of(part.counter, cycles_per_bit))
    if name == SecondOrder.name:
        return SecondOrder(cycles_per_bit, gains_of(part.second_order, cycles_per_bit))
    raise UserError(f"separator '{name}': no such separator{near(name, NAMES)}")


def counts_of(part: CounterPart, cycles_per_bit: Fraction) -> Counts:
    """Return the numbers of `counter` as hardware holds them; raise UserError for too wide ones."""
    nominal = nominal_period(cycles_per_bit, part.fraction_bits)
    for key in ("phase_step", "dead_zone"):
        if 4 * getattr(part, key) > nominal:
            raise UserError(
                f"separator.counter.{key}: {getattr(part, key)} should be at most a quarter"
                f" of the window, which is {nominal} at {part.fraction_bits} fraction_bits"
            )
    return Counts(
        part.fraction_bits,
        part.phase_step,
        part.dead_zone,
        part.period_step,
        part.votes,
        *lock_limits(cycles_per_bit, part.fraction_bits, part.lock_range_percent),
    )


def gains_of(part: SecondOrderPart, cycles_per_bit: Fraction) -> Gains:
    """Return the numbers of `second_order` as hardware holds them."""
    return Gains(
        part.fraction_bits,
        int(part.kp * (1 << GAIN_BITS)),
        int(part.ki * (1 << GAIN_BITS)),
        *lock_limits(cycles_per_bit, part.fraction_bits, part.lock_range_percent),
        part.coast_bits,
        part.coast == "nominal",
    )
