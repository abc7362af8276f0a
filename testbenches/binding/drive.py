"""Roles of a core that has the lines of a drive: out to the drive, and back from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.drive.cable import BACK
from refmodel.drive.register import LINES
from refmodel.ground.errors import near
from refmodel.ground.yamlfile import Schema
from refmodel.host.addresses import Natural
from testbenches.binding.roles import Driven, ObservedSignal, Pin, Watched


class DriveRegisters(Schema):
    """Where the lines are written and read on the bus, one address each."""

    lines: Natural
    """The address at which the lines to the drive are written."""
    status: Natural
    """The address at which the lines back are read."""
    bits: dict[str, int] = Key({})
    """The bits of lines to the drive; without it in the order of the keys, `select_0` at bit 0."""
    status_bits: dict[str, int] = Key({})
    """The bits of lines from the drive; without it in the order of the keys, `index` at bit 0."""

    @model_validator(mode="after")
    def _bits_fit(self) -> DriveRegisters:
        for key, given, known in (
            ("bits", self.bits, LINES),
            ("status_bits", self.status_bits, BACK),
        ):
            for name, bit in given.items():
                if name not in known:
                    raise ValueError(f"{key}: no line '{name}'{near(name, known)}")
                if not 0 <= bit <= 15:
                    raise ValueError(f"{key}: '{bit}' is not a bit of a word, 0 to 15")
            places = list(_places(given, known).values())
            twice = [bit for bit in places if places.count(bit) > 1]
            if twice:
                raise ValueError(f"{key}: two lines are at bit {twice[0]}; name every line's bit")
        return self

    def written(self, word: int) -> int:
        """Return what the core's register takes for the lines of a word."""
        places = _places(self.bits, LINES)
        return sum((word >> n & 1) << places[line] for n, line in enumerate(LINES))

    def read(self, word: int) -> int:
        """Return the lines back for what the core's register reads."""
        places = _places(self.status_bits, BACK)
        return sum((word >> places[line] & 1) << n for n, line in enumerate(BACK))


def _places(given: Mapping[str, int], known: tuple[str, ...]) -> dict[str, int]:
    """Return the bit of every line: as given, else in the usual order."""
    return {line: given.get(line, n) for n, line in enumerate(known)}


class DriveRoles(Schema):
    """The ports of a core that lead to a drive, and come from it.

    A line is asserted where its port is at its active level.
    """

    select_0: ObservedSignal | None = None
    """Selects drive 0; bit 0 of the register of lines."""
    select_1: ObservedSignal | None = None
    """Selects drive 1."""
    select_2: ObservedSignal | None = None
    """Selects drive 2."""
    select_3: ObservedSignal | None = None
    """Selects drive 3."""
    motor: ObservedSignal | None = None
    """Turns the motor on."""
    step: ObservedSignal | None = None
    """Steps the head."""
    direction: ObservedSignal | None = None
    """On: steps go to higher tracks."""
    side: ObservedSignal | None = None
    """On: the other side, head 1."""
    density: ObservedSignal | None = None
    """The density line."""
    index: Pin | None = None
    """From the drive: the index pulse; bit 0 of the register with the lines from the drive."""
    track_zero: Pin | None = None
    """From the drive: the head is on track 0."""
    change: Pin | None = None
    """From the drive: the disk was changed."""
    protect: Pin | None = None
    """From the drive: the disk is write-protected."""
    ready: Pin | None = None
    """From the drive: a disk is in and at speed."""
    registers: DriveRegisters
    """Where the host writes and reads the lines."""

    def driven(self) -> Iterator[Driven]:
        """Yield the inputs of the core: the lines back."""
        for name in BACK:
            signal = getattr(self, name)
            if signal is not None:
                yield Driven(("drive", name), signal.port, signal.active)

    def watched(self) -> Iterator[Watched]:
        """Yield the outputs of the core: the lines to the drive."""
        for name in LINES:
            shown = getattr(self, name)
            if shown is not None:
                yield Watched(name, shown.signal, 1, shown.active, ("drive", name))
