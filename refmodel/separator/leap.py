"""The fast form of every separator: from pulse to pulse in one leap, exactly as `step` would.

Only the correction of each pulse is sequential, and is the design's own `correct`; when the
windows between two pulses end is then found for all of them at once.
"""

from __future__ import annotations

import numpy as np

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.separated import SeparatedBits
from refmodel.separator.interface import Followed, Separator


def run(separator: Separator, pulses: Cycles, end: int) -> SeparatedBits:
    """Step up to edge `end - 1` with a pulse at each edge in `pulses`; return the bits delivered.

    Goes on from where the separator is. Raises UserError for pulses out of order, at edges already
    stepped, or at `end` or later.
    """
    return _Leaps(separator, pulses, end).bits()


def follow(separator: Separator, pulses: Cycles) -> Followed:
    """Step up to the last pulse; return how each was followed, windows counted from this call on.

    Raises UserError as `run` does.
    """
    end = int(pulses[-1]) + 1 if len(pulses) else separator.cycle + 1
    return _Leaps(separator, pulses, end).followed()


class _Leaps:
    """The edges between which the separator is undisturbed, and its state after each.

    The first is the one it was at before, the others are pulses and the edges it begins to coast
    at; the last stretch ends at edge `end - 1`.
    """

    def __init__(self, separator: Separator, pulses: Cycles, end: int) -> None:
        _check(separator, pulses, end)
        self._separator = separator
        self._end = end
        self._cycle: list[int] = []
        self._phase: list[int] = []
        self._period: list[int] = []
        self._seen, self._pulse_phase = separator.seen, separator.pulse_phase
        self._coasts: list[int] = []  # which edges are no pulses
        self._note()
        if len(pulses):
            self._pulse(int(pulses[0]))
            self._all_pulses(pulses.tolist())
        self._idle_until(end - 1)

    def _all_pulses(self, pulses: list[int]) -> None:
        """Take the pulses after the first. One plain loop: the speed of the model is its own."""
        separator, correct = self._separator, self._separator.correct
        one, most = separator.one, separator.coast_bits
        note_cycle, note_phase = self._cycle.append, self._phase.append
        note_period = self._period.append
        at, phase, period, error = pulses[0], separator.phase, separator.period, None
        for cycle in pulses[1:]:
            error = phase + (cycle - at) * one
            windows = (2 * error + period) // (2 * period)
            if 0 <= windows <= most:
                error -= windows * period
                phase = correct(error)
                period = separator.period
                note_cycle(cycle)
                note_phase(phase)
                note_period(period)
            else:
                separator.cycle, separator.phase = at, phase
                separator.seen, separator.idle = 1, 0
                self._pulse(cycle)
                phase, period, error = separator.phase, separator.period, separator.pulse_phase
            at = cycle
        separator.cycle, separator.phase = at, phase
        separator.seen, separator.idle = 1, 0
        if error is not None:
            separator.pulse_phase = error

    def _pulse(self, cycle: int) -> None:
        """Advance to a pulse from any state, and take it."""
        separator = self._separator
        self._idle_until(cycle)
        separator.phase = separator.take_pulse(separator.phase)
        self._note()

    def _note(self) -> None:
        self._cycle.append(self._separator.cycle)
        self._phase.append(self._separator.phase)
        self._period.append(self._separator.period)

    def _idle_until(self, cycle: int) -> None:
        """Advance to edge `cycle` without a pulse, through the edge at which coasting begins."""
        separator = self._separator
        windows = self._windows_until(cycle)
        until_coast = separator.coast_bits - separator.idle + separator.seen
        if separator.idle < separator.coast_bits and windows >= until_coast:
            self._advance(self._end_of_window(until_coast), until_coast)
            separator.coast()
            self._coasts.append(len(self._cycle))
            self._note()
            windows = self._windows_until(cycle)
        self._advance(cycle, windows)

    def _windows_until(self, cycle: int) -> int:
        """Return how many windows end at edges up to `cycle`."""
        separator = self._separator
        ahead = separator.phase + (cycle - separator.cycle) * separator.one
        return max(0, (2 * ahead + separator.period) // (2 * separator.period))

    def _end_of_window(self, count: int) -> int:
        """Return the edge at which the window `count` from here on ends, 1 being this one."""
        separator = self._separator
        to_go = separator.period * (2 * count - 1) - 2 * separator.phase
        return separator.cycle + -(-to_go // (2 * separator.one))

    def _advance(self, cycle: int, windows: int) -> None:
        """Put the separator at edge `cycle`; `windows` windows end on the way."""
        separator = self._separator
        separator.phase += (cycle - separator.cycle) * separator.one - windows * separator.period
        separator.cycle = cycle
        if windows:
            idle = separator.idle + windows - separator.seen
            separator.idle = min(idle, separator.coast_bits)
            separator.seen = 0

    def followed(self) -> Followed:
        """Return how each pulse was followed."""
        windows, error = self._stretches()
        pulse = self._is_pulse()[1:]
        return Followed(
            np.cumsum(windows)[:-1][pulse], error[:-1][pulse], np.array(self._period[1:])[pulse]
        )

    def bits(self) -> SeparatedBits:
        """Return the channel bits of all windows that ended."""
        windows, error = self._stretches()
        seen = self._is_pulse()
        seen[0] = self._seen
        pulse_phase = np.concatenate(([self._pulse_phase], error[:-1]))
        of = np.repeat(np.arange(len(windows)), windows)
        number = np.arange(len(of)) - np.repeat(np.cumsum(windows) - windows, windows)
        cycle, phase, period = (np.array(x)[of] for x in (self._cycle, self._phase, self._period))
        to_go = period * (2 * number + 1) - 2 * phase
        bit = seen[of] & (number == 0)
        return SeparatedBits(
            cycle - (-to_go // (2 * self._separator.one)),
            bit.astype(np.uint8),
            np.where(bit, pulse_phase[of], 0),
            period,
            self._separator.one,
        )

    def _stretches(self) -> tuple[Cycles, Cycles]:
        """Return how many windows end in each stretch, and the phase at its end."""
        period = np.array(self._period)
        length = np.diff(self._cycle, append=self._end - 1)
        ahead = np.array(self._phase) + length * self._separator.one
        windows = np.maximum(0, (2 * ahead + period) // (2 * period))
        return windows, ahead - windows * period

    def _is_pulse(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Tell which edges are pulses; the first one is none."""
        pulse = np.ones(len(self._cycle), bool)
        pulse[[0, *self._coasts]] = False
        return pulse


def _check(separator: Separator, pulses: Cycles, end: int) -> None:
    """Raise UserError unless the pulses ascend from the next edge on and lie before `end`."""
    if end <= separator.cycle:
        raise UserError(
            f"separator: it is at cycle {separator.cycle} already; it cannot run to cycle {end - 1}"
        )
    back = np.flatnonzero(np.diff(pulses) <= 0)
    if len(back):
        at = int(back[0]) + 1
        raise UserError(
            f"separator: pulse {at} at cycle {pulses[at]} is not after pulse {at - 1} at cycle"
            f" {pulses[at - 1]}; pulses must be in order, one an edge"
        )
    if len(pulses) and not separator.cycle < pulses[0] <= pulses[-1] < end:
        raise UserError(
            f"separator: pulses from cycle {pulses[0]} to {pulses[-1]} do not lie in cycles"
            f" {separator.cycle + 1} .. {end - 1}"
        )
