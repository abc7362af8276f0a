"""One drive: motor, index, head, and what of it a selected drive shows, event by event.

All drives of a bus see all lines; a drive steps, writes and answers only while it is selected. It
turns on during steps. Times are in cycles; nothing here runs per cycle.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from refmodel.drive.cable import Cable
from refmodel.drive.profile import DriveProfile
from refmodel.drive.rotation import Rotation
from refmodel.drive.rules import Monitor
from refmodel.drive.ticks import LONG_AGO, NEVER, Ticks
from refmodel.media.seeded import random_bytes


class Shows(StrEnum):
    """What comes off the head."""

    DATA = "data"
    NOTHING = "nothing"  # no drive selected, no disk, or it does not turn
    SPINNING_UP = "spinning_up"
    SETTLING = "settling"
    WRITING = "writing"
    SEVERAL = "several"  # pulses of two drives on one line


@dataclass(frozen=True)
class Inserted:
    """A disk in the drive, and whether its write-protect tab lets nothing be written."""

    protected: bool = False


class Mechanism:
    """One drive of a bus: `take` is told of each line that changes, `tick` of its own events."""

    def __init__(
        self,
        number: int,
        profile: DriveProfile,
        ticks: Ticks,
        seed: int = 0,
        disk: Inserted | None = None,
        cylinder: int = 0,
        angle: float = 0.0,
    ) -> None:
        self.number, self.profile, self._seed = number, profile, seed
        self.disk, self.cylinder = disk, cylinder
        of = ticks.of
        motor, step = profile.motor, profile.step
        self.turn = float(ticks.exactly(profile.turn_us))
        self.rotation = Rotation(
            self.turn, of(motor.spin_up_us.use), of(motor.spin_down_us.use), angle
        )
        self._width, self._jitter = of(profile.index.width_us.use), of(profile.index.jitter_us.use)
        self._move = of(step.period_us.use) + of(step.settle_us.use)
        self._side_settle = of(profile.side_settle_us.use)
        self._density_settle = of(profile.density_settle_us.use)
        self.changed = True  # the disk-change latch: set until a step finds a disk
        self.index = 0
        self.motor_on_at = LONG_AGO
        self.stepped, self.stepped_inwards = LONG_AGO, 0
        self._settles = self._step_rose = LONG_AGO
        self._index_falls, self._last_turn = NEVER, 0
        self._turn, self._index_rises = 0, NEVER
        self._offs: dict[int, int] = {}  # of the index pulses so far
        self.next_event = NEVER

    def keep_turning(self) -> None:
        """Be at full speed from the start, as if the motor had been on for long."""
        self.rotation.run(0)
        self._plan(0)

    # -- what it shows ---------------------------------------------------------------------------

    def back(self, cycle: int) -> tuple[int, ...]:
        """Return index, track_zero, change, protect and ready, as it shows them when selected."""
        protect = self.disk is not None and self.disk.protected
        ready = self.disk is not None and cycle >= self.rotation.at_speed_from()
        zero = self.cylinder == 0
        return self.index, int(zero), int(self.changed), int(protect), int(ready)

    def shows(self, cycle: int) -> Shows:
        """Return what comes off its head while no other drive is selected."""
        turns = self.rotation.on or self.rotation.speed(cycle) > 0
        if self.disk is None or not turns:
            return Shows.NOTHING
        if cycle < self.rotation.at_speed_from():
            return Shows.SPINNING_UP
        return Shows.SETTLING if cycle < self._settles else Shows.DATA

    # -- lines -----------------------------------------------------------------------------------

    def selects(self, cycle: int, cable: Cable) -> None:
        """Be selected: a motor that is latched on select takes the motor line as it is now."""
        if self.profile.motor.turned_on_by == "latched_on_select":
            self.motor(cycle, cable["motor"])

    def motor_line(self, cycle: int, value: int) -> None:
        """Follow the motor line, unless it is taken on select alone."""
        if self.profile.motor.turned_on_by == "line":
            self.motor(cycle, value)

    def motor(self, cycle: int, on: int) -> None:
        """Turn the motor on or off."""
        if self.rotation.on != bool(on):
            self.rotation.drive(cycle, bool(on))
            self.motor_on_at = cycle if on else LONG_AGO
            self._plan(cycle)

    def side_or_density(self, cycle: int, line: str) -> None:
        """Let the read amplifier settle after another side or density."""
        settle = self._side_settle if line == "side" else self._density_settle
        self._settles = max(self._settles, cycle + settle)
        self._plan(cycle)

    def step_edge(self, cycle: int, value: int, cable: Cable, watch: Monitor) -> None:
        """Take an edge of the step line while selected."""
        step = self.profile.step
        wide = True
        if value:
            self._step_rose = cycle
        else:
            passed = cycle - self._step_rose
            wide = watch.at_least("step_width", cycle, self.number, passed, step.pulse_us.use)
        if bool(value) == (step.acts_on == "leading") and wide:
            self._step(cycle, cable, watch)

    def _step(self, cycle: int, cable: Cable, watch: Monitor) -> None:
        """Let a step act: ignored while writing, lost when it comes too early."""
        step, inwards = self.profile.step, cable["direction"]
        if cable["write_gate"]:
            watch.broken(
                "step_while_writing", cycle, self.number, 0, self.profile.write.hold_us.use
            )
            return
        passed = cycle - cable.since["direction"]
        watch.at_least("direction_setup", cycle, self.number, passed, step.direction_setup_us.use)
        if self.disk is not None:
            self.changed = False
        back = inwards != self.stepped_inwards
        rule, least = ("step_reversal", step.reversal_us) if back else ("step_rate", step.period_us)
        if not watch.at_least(rule, cycle, self.number, cycle - self.stepped, least.use):
            return
        self.stepped, self.stepped_inwards = cycle, inwards
        self._settles = max(self._settles, cycle + self._move)
        self._plan(cycle)
        aim = self.cylinder + (1 if inwards else -1)
        if not 0 <= aim < self.profile.cylinders:
            last = 0 if aim < 0 else self.profile.cylinders - 1
            watch.broken("step_beyond", cycle, self.number, aim, last)
            return
        self.cylinder = aim

    # -- the disk --------------------------------------------------------------------------------

    def insert(self, cycle: int, disk: Inserted | None) -> None:
        """Put a disk in, or take it out (None); the change latch notes the removal."""
        if disk is None:
            self.changed = True
        self.disk = disk
        self.index = 0
        self._index_falls = NEVER
        self._plan(cycle)

    # -- its own events --------------------------------------------------------------------------

    def tick(self, cycle: int) -> None:
        """Let its own event of this cycle happen."""
        if cycle == self._index_falls:
            self.index, self._index_falls = 0, NEVER
        elif cycle == self._index_rises:
            self.index, self._index_falls = 1, cycle + self._width
            self._last_turn = self._turn
        self._plan(cycle)

    def _plan(self, cycle: int) -> None:
        """Work out when its next own event comes."""
        if self.disk is None:
            self._index_rises = NEVER
        else:
            self._turn = self._last_turn + 1
            self._index_rises = self._pulse_of(self._turn)
            if self._index_rises <= cycle:
                self._turn = self.rotation.next_turn(cycle)
                self._index_rises = max(self._pulse_of(self._turn), cycle + 1)
        coming = (self._index_rises, self._index_falls, self._settles)
        ready = self.rotation.at_speed_from()
        self.next_event = min((c for c in (*coming, ready) if c > cycle), default=NEVER)

    def _pulse_of(self, turn: int) -> int:
        """Return when the index pulse of a whole turn begins; NEVER if the disk stops before."""
        at = self.rotation.reaches(turn)
        return NEVER if at >= NEVER else at + self._off(turn)

    def _off(self, turn: int) -> int:
        """Return how far from its place the index pulse of a turn comes, in cycles."""
        if not self._jitter:
            return 0
        if turn not in self._offs:
            drawn = random_bytes(4, self._seed, self.number, turn)
            self._offs[turn] = int.from_bytes(drawn, "little") % (2 * self._jitter + 1)
        return self._offs[turn] - self._jitter
