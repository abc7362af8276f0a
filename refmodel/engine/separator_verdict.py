"""What a core's separator makes of a run's pulses, beside the models, and whether that will do."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from refmodel.engine.separator_run import SeparatorRun
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.numbers import counted
from refmodel.ground.pulses import NO_BIT, NO_PULSES
from refmodel.ground.stimulus import Stimulus
from refmodel.separator.choose import NAMES, make_separator
from refmodel.separator.interface import Separator
from refmodel.separator.measure import (
    SETTLED,
    first_held,
    ones_of_moved,
    tally,
    windows_of_bits,
    wrong_bits,
)
from refmodel.separator.parameters import SeparatorPart

MAX_ERROR_RATE = 0.02  # errors per pulse, where the binding names no bound
NO_CYCLES = np.empty(0, np.int64)
FEW = 4 * SETTLED  # pulses: with fewer, not having locked on says nothing
DELIVERED = 2  # in the lane of channel bits: one is delivered, and bit 0 is its value


@dataclass(frozen=True)
class Recovered:
    """What a separator made of a run's pulses once it had locked on.

    `errors` are pulses in a wrong window, and slips, which count once each; `wrong_bits` channel
    bits that are not 1 for a pulse in their window and 0 for none. Where a pulse is moved, `lost`
    counts those without a 1, `doubled` the ones without a pulse. `lock_cycles` passed from the
    first pulse to the first of 16 in a row in their windows; None: never. `models` has the same of
    each model separator, of the same pulses.
    """

    bits: int
    pulses: int
    errors: int
    slips: int
    lock_cycles: int | None
    models: Mapping[str, Recovered] = field(default_factory=dict)
    wrong_bits: int = 0
    lost: int = 0
    doubled: int = 0

    @property
    def rate(self) -> float:
        """Errors per pulse."""
        return self.errors / self.pulses if self.pulses else 0.0


@dataclass(frozen=True)
class Bounds:
    """What a core's separator may get wrong: errors per pulse, and slips; None: not named."""

    max_error_rate: float | None = None
    max_slips: int | None = None

    def broken_by(self, found: Recovered) -> str:
        """Say which bound a separator does not keep; empty when it keeps all.

        What the best model separator gets wrong as well does not count: nothing else could be read.
        Where no rate is named, it is 2 % of the pulses, or twice the errors of the worst model
        separator if that is more. A separator that never locks on keeps no bound, unless no model
        locks on either, or the pulses are too few to tell.
        """
        if found.lock_cycles is None:
            return self._without_lock(found)
        most = self._most_errors(found)
        if found.errors > most:
            return (
                f"{counted(found.errors, 'error')} in"
                f" {counted(found.pulses, 'pulse')}, where {most} are allowed"
            )
        if found.wrong_bits > most:
            told = f"{counted(found.wrong_bits, 'channel bit')} of the wrong value"
            return f"{told} in {counted(found.pulses, 'pulse')}, where {most} are allowed"
        if said := _moved(found):
            return said
        slips = (self.max_slips or 0) + _least(found, "slips")
        if self.max_slips is not None and found.slips > slips:
            return (
                f"{counted(found.slips, 'slip')} in {counted(found.pulses, 'pulse')},"
                f" where {slips} are allowed"
            )
        return ""

    def _without_lock(self, found: Recovered) -> str:
        """Say of a separator that never locked on what it did, unless nothing could."""
        models_lock = any(model.lock_cycles is not None for model in found.models.values())
        if found.pulses < FEW or (found.models and not models_lock):
            return ""
        if not found.bits:
            return f"no channel bit in {counted(found.pulses, 'pulse')}"
        return f"never locks on in {counted(found.pulses, 'pulse')}"

    def _most_errors(self, found: Recovered) -> int:
        if self.max_error_rate is not None:
            return int(self.max_error_rate * found.pulses) + _least(found, "errors")
        worst = max((model.errors for model in found.models.values()), default=0)
        return max(int(MAX_ERROR_RATE * found.pulses), 2 * worst)


def _least(found: Recovered, name: str) -> int:
    """Return what the best model separator has of something; 0 without models."""
    return min((getattr(model, name) for model in found.models.values()), default=0)


def _moved(found: Recovered) -> str:
    """Say how many pulses gave no 1, or two; empty where the worst model has half as many.

    A pulse may come anywhere in its window: each is one 1, in that channel bit or the next.
    """
    lost, doubled = (
        (own, 2 * max((getattr(model, name) for model in found.models.values()), default=0))
        for name, own in (("lost", found.lost), ("doubled", found.doubled))
    )
    if lost[0] > lost[1]:
        return f"{counted(lost[0], 'pulse')} of {found.pulses} gave no 1 of their own"
    if doubled[0] > doubled[1]:
        return f"{counted(doubled[0], 'channel bit')} are 1 without a pulse of their own"
    return ""


class ModelTally:
    """Follows how one separator's channel bits fit the pulses they come from, span by span.

    A channel bit may come up to `late` edges after the pulse's own edge.
    """

    def __init__(self, late: int) -> None:
        self._late = late
        self._waiting = NO_PULSES
        self._bits = 0
        self._cycle: list[Cycles] = []
        self._window: list[Cycles] = []
        self._offset: list[Cycles] = []
        self._extra: list[Cycles] = []
        self._values: list[NDArray[np.uint8]] = []

    def judge(self, stimulus: Stimulus, bits: Cycles, values: NDArray[np.uint8]) -> None:
        """Note the channel bits of a span, and the offset of each pulse from the one it was."""
        pulses = self._waiting.then(stimulus.pulses)
        reached = stimulus.end - self._late
        self._waiting, pulses = pulses.between(reached, stimulus.end), pulses.between(0, reached)
        window = self._bits + windows_of_bits(bits, pulses.cycle, self._late)
        written = pulses.bit != NO_BIT
        self._cycle.append(pulses.cycle[written])
        self._window.append(window[written])
        self._offset.append((window - pulses.bit)[written])
        self._extra.append(window[~written])
        self._values.append(values)
        self._bits += len(bits)

    def recovered(self) -> Recovered:
        """Return what has become of the pulses so far."""
        parts = (self._cycle, self._offset, self._window, self._extra)
        cycle, offset, window, extra = (np.concatenate(part or [NO_CYCLES]) for part in parts)
        locked = first_held(offset)
        if locked is None:
            return Recovered(self._bits, len(offset), len(offset), 0, None)
        pulses, errors, slips = tally(offset[locked:])
        values, cycle, first = np.concatenate(self._values), cycle[locked:], cycle[0]
        window, offset = window[locked:], offset[locked:]
        wrong, late = wrong_bits(values, window, offset, extra)
        lost, more = ones_of_moved(values, late, cycle, window, offset, extra)
        lock = int(cycle[0] - first)
        return Recovered(self._bits, pulses, errors, slips, lock, {}, wrong, lost, more)


class ModelTallies:
    """Runs every model separator over the pulses a core gets, for figures to stand beside its own.

    A model that does not fit the length of a channel bit is left out. `width` is a pulse's length.
    """

    def __init__(self, separators: Mapping[str, Separator], latency: int, width: int) -> None:
        self._runs = {
            name: (SeparatorRun(separator, latency, width), ModelTally(latency))
            for name, separator in separators.items()
        }

    def judge(self, stimulus: Stimulus) -> None:
        """Run the models over one more span."""
        for run, found in self._runs.values():
            lane = run.lane(stimulus)
            shown = (lane.value & DELIVERED) != 0
            found.judge(stimulus, lane.cycle[shown], (lane.value[shown] & 1).astype(np.uint8))

    def recovered(self) -> dict[str, Recovered]:
        """Return what each made of the pulses so far."""
        return {name: found.recovered() for name, (_, found) in self._runs.items()}


def models_of(part: SeparatorPart, cycles_per_bit: Fraction) -> dict[str, Separator]:
    """Return every model separator with a profile's numbers that fits its channel bit."""
    found = {}
    for name in NAMES:
        with suppress(UserError):
            found[name] = make_separator(name, part, cycles_per_bit)
    return found
