"""How late a signal comes through the link, in the worst case and typically, by where it stands."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import inf

from refmodel.drive.plan_file import PlanLink, PlanSignal
from refmodel.drive.two_wire import CLOCKS_PER_BYTE, TwoWireTransfer, microseconds, times_of

Microseconds = Fraction
PIN = Microseconds(0)


@dataclass(frozen=True)
class Shape:
    """What stands on the expander: outputs, and over how many banks each way is spread."""

    outputs: int
    output_banks: int
    input_banks: int


@dataclass(frozen=True)
class LinkTimes:
    """The times of a link of one shape, in microseconds.

    A write takes every bank with outputs, a read every bank with inputs. A change waits for the
    transfer under way, then for its byte. Between two reads there is one write, or one an output
    where each change is sent by itself.
    """

    link: PlanLink
    shape: Shape

    @property
    def write(self) -> TwoWireTransfer:
        """The longest write."""
        return TwoWireTransfer.write(max(1, self.shape.output_banks))

    @property
    def read(self) -> TwoWireTransfer:
        """The read of all inputs."""
        return TwoWireTransfer.read(
            max(1, self.shape.input_banks), self.link.read == "with_register"
        )

    def occupied(self, transfer: TwoWireTransfer) -> Microseconds:
        """Return how long a transfer keeps the bus."""
        return microseconds(transfer.occupies(times_of(self.link.speed)))

    @property
    def shortest_pulse(self) -> Microseconds:
        """The shortest pulse an output can make: its bank written again in the same transfer."""
        times = times_of(self.link.speed)
        return microseconds(2 * CLOCKS_PER_BYTE * times.period)

    @property
    def between_reads(self) -> Microseconds:
        """The longest time between two samples of an input."""
        every = max(Fraction(str(self.link.poll_us)), self.occupied(self.read))
        return every + self._writes * self.occupied(self.write)

    @property
    def _writes(self) -> int:
        """Writes that may come between two reads."""
        if not self.shape.outputs:
            return 0
        return self.shape.outputs if self.link.queue == "each" else 1

    def worst(self, signal: PlanSignal, place: int) -> Microseconds:
        """Return the longest latency of a signal in the first (0) or second byte of its way."""
        times = times_of(self.link.speed)
        if signal.direction == "in":
            byte = self.read.data_byte(times, place) - self.read.sampled(times, place)
            return self.between_reads + microseconds(byte)
        queued = self._writes - 1
        byte = self.write.data_byte(times, place)
        return self._under_way + queued * self.occupied(self.write) + microseconds(byte)

    @property
    def _under_way(self) -> Microseconds:
        """The longest transfer an output may have to wait for."""
        reads = [self.occupied(self.read)] if self.shape.input_banks else []
        return max([self.occupied(self.write), *reads])

    def hold(self, signal: PlanSignal) -> Microseconds:
        """Return how long a pulse on the link must be held so that none is lost; 0 if any passes.

        With `latest` it must be up until the transfer under way has ended.
        """
        pulse = signal.shortest_pulse_us
        if pulse is None or signal.direction == "in" or self.link.queue == "each":
            return Fraction(0)
        return self._under_way if Fraction(str(pulse)) < self._under_way else Fraction(0)

    def typical(self, signal: PlanSignal, place: int) -> Microseconds:
        """Return the mean latency of a change by itself: half a read, as often as one is under way.

        An input waits half the time between two reads.
        """
        times = times_of(self.link.speed)
        every = max(Fraction(str(self.link.poll_us)), self.occupied(self.read))
        if signal.direction == "in":
            byte = self.read.data_byte(times, place) - self.read.sampled(times, place)
            return every / 2 + microseconds(byte)
        wait = Fraction(0)
        if self.shape.input_banks:
            wait = self.occupied(self.read) ** 2 / (2 * every)
        return wait + microseconds(TwoWireTransfer.write(1).data_byte(times, 0))

    def why_not(self, signal: PlanSignal, place: int) -> str:
        """Say why a signal cannot go through the link at a place; empty if it can."""
        pulse = signal.shortest_pulse_us
        if pulse is None or (signal.direction == "out" and signal.may_stretch):
            pulse = inf
        if signal.direction == "out" and pulse < self.shortest_pulse:
            return (
                f"its pulse of {pulse:g} us is shorter than {float(self.shortest_pulse):g} us,"
                " the shortest an expander makes"
            )
        if signal.direction == "in" and pulse < self.between_reads:
            return (
                f"its pulse of {pulse:g} us may fall between two reads,"
                f" {float(self.between_reads):g} us apart"
            )
        worst = self.worst(signal, place)
        if worst > Fraction(str(signal.deadline_us)):
            return (
                f"it would come up to {float(worst):g} us late, {signal.deadline_us:g} are allowed"
            )
        return ""
