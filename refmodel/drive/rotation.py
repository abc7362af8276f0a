"""How far the disk has turned: a motor that comes to speed and runs down evenly.

That the speed rises in a straight line is common practice, no source.
"""

from __future__ import annotations

from math import ceil, floor, sqrt

import numpy as np

from refmodel.drive.ticks import NEVER
from refmodel.ground.lane import Cycles

AT_SPEED = 0.985  # of the nominal speed: the 1.5 % a drive's speed may be off


class Rotation:
    """A disk's angle in turns over time in cycles.

    `turn` is the length of a revolution at full speed, `up` and `down` how long the motor takes
    from rest to full speed and back, all in cycles. It stands at angle `angle` at first.
    """

    def __init__(self, turn: float, up: float, down: float, angle: float = 0.0) -> None:
        self.turn, self._up, self._down = turn, max(up, 1.0), max(down, 1.0)
        self._at, self._angle = 0, angle
        self._speed, self._aim = 0.0, 0.0  # of full speed

    def drive(self, cycle: int, on: bool) -> None:
        """Turn the motor on or off at a cycle."""
        angle, speed = self.angle(cycle), self.speed(cycle)
        self._at, self._angle, self._speed, self._aim = cycle, angle, speed, float(on)

    def run(self, cycle: int) -> None:
        """Be at full speed from `cycle` on, as if the motor had been on for long."""
        self._at, self._angle, self._speed, self._aim = cycle, self.angle(cycle), 1.0, 1.0

    @property
    def on(self) -> bool:
        """Whether the motor is on."""
        return self._aim > 0

    def speed(self, cycle: int) -> float:
        """Return the speed as a part of full speed."""
        return self._speed + self._slope * min(cycle - self._at, self._ramp)

    def angle(self, cycle: int) -> float:
        """Return the turns made up to a cycle."""
        passed = cycle - self._at
        ramp = min(passed, self._ramp)
        turned = (self._speed + self._slope * ramp / 2) * ramp + self._aim * (passed - ramp)
        return self._angle + turned / self.turn

    def reaches(self, angle: float) -> int:
        """Return the first cycle in which that many turns are made; NEVER if it runs down before.

        The angle must not lie behind the motor's last change.
        """
        far = (angle - self._angle) * self.turn  # in cycles of full speed
        in_ramp = (self._speed + self._slope * self._ramp / 2) * self._ramp
        if far > in_ramp:
            left = self._ramp + (far - in_ramp) / self._aim if self._aim else NEVER
            return NEVER if left >= NEVER else self._at + ceil(left)
        if not self._slope:
            return self._at + ceil(far / self._speed) if self._speed else NEVER
        root = sqrt(max(self._speed**2 + 2 * self._slope * far, 0.0))
        return self._at + ceil((root - self._speed) / self._slope)

    def arrivals(self, parts: int, first: int, end: int) -> tuple[Cycles, Cycles]:
        """Return the parts of a turn that end at edges `first` .. `end - 1`, and those edges.

        A turn has `parts` of them, counted on through all turns. The disk must be at full speed.
        """
        since = self._at + self._ramp
        angle = self.angle(int(since) + 1) - (int(since) + 1 - since) / self.turn
        low, high = (int(self.angle(cycle) * parts) for cycle in (first, end))
        counted = np.arange(max(low - 2, 0), high + 2, dtype=np.int64)
        ends = since + ((counted + 1) / parts - angle) * self.turn
        cycles = np.ceil(ends).astype(np.int64)
        inside = (cycles >= first) & (cycles < end)
        return counted[inside], cycles[inside]

    def next_turn(self, cycle: int) -> int:
        """Return the whole turn that comes after a cycle."""
        turn = floor(self.angle(cycle)) + 1
        return turn + 1 if self.reaches(turn) <= cycle else turn

    def at_speed_from(self) -> int:
        """Return the cycle from which the disk is at speed; NEVER while the motor is off."""
        if not self._aim:
            return NEVER
        if self._speed >= AT_SPEED:
            return self._at
        return self._at + ceil((AT_SPEED - self._speed) / self._slope)

    @property
    def _slope(self) -> float:
        if self._aim > self._speed:
            return 1 / self._up
        return -1 / self._down if self._aim < self._speed else 0.0

    @property
    def _ramp(self) -> float:
        """Length of the ramp from the motor's last change on, in cycles."""
        return (self._aim - self._speed) / self._slope if self._slope else 0.0
