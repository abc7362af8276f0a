"""How lines go through a serial port expander, as a file says it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, model_validator
from pydantic import Field as Key

from refmodel.drive.cable import BACK, OUT
from refmodel.drive.two_wire import TIMES, TwoWireTransfer, times_of
from refmodel.ground.errors import UserError, near
from refmodel.ground.yamlfile import Schema

BANKS, BITS = 2, 8
MOST_US = 60_000_000


def _of_the_table(hz: int) -> int:
    try:
        times_of(hz)
    except UserError as error:
        raise ValueError(str(error)) from None
    return hz


Speed = Annotated[int, AfterValidator(_of_the_table)]  # of a two-wire bus, in Hz


class Interlock(Schema):
    """Hardware between controller and cable that keeps the write gate closed.

    It lets the gate open only when no change of another line is under way on the link, and closes
    it when the link has fallen silent. A gate it kept closed stays closed until the controller lets
    go of it.
    """

    watchdog_us: float = Key(2000, gt=0, le=MOST_US)
    """The gate closes after this long without a transfer."""


class LinkSettings(Schema):
    """A two-bank port expander on a two-wire bus: which lines go through it, and how."""

    speed: Speed = 400_000
    """The speed of the two wires in Hz: 100000, 400000 or 1000000."""
    banks: list[list[str]] = Key(min_length=1, max_length=BANKS)
    """The lines of each bank, outputs and inputs, at most 8; the other lines have pins."""
    queue: Literal["each", "latest"] = "latest"
    """`each` sends every change as its own transfer; `latest` sends the state of the lines when a
    transfer starts, and loses pulses shorter than the wait."""
    write: Literal["changed", "both"] = "changed"
    """Which banks a transfer sends: those that changed, or always both."""
    read: Literal["with_register", "without_register"] = "with_register"
    """Whether a read first names the register."""
    poll_us: Annotated[float, Key(ge=0, le=MOST_US)] = 0
    """From one read of the inputs to the next; 0 for as often as the bus allows."""
    dies_at_us: Annotated[float, Key(ge=0, le=MOST_US)] | None = None
    """When the link stops, counted from the start of the run."""
    interlock: Interlock | None = None
    """Hardware that keeps the write gate closed."""

    @model_validator(mode="after")
    def _lines_fit(self) -> LinkSettings:
        names = [name for bank in self.banks for name in bank]
        for name in names:
            if name not in (*OUT, *BACK):
                raise ValueError(
                    f"banks: '{name}' is not a line of a drive{near(name, (*OUT, *BACK))}"
                )
            if names.count(name) > 1:
                raise ValueError(f"banks: '{name}' is listed twice")
        for n, bank in enumerate(self.banks):
            if len(bank) > BITS:
                raise ValueError(f"banks: bank {n} has {len(bank)} lines; a bank has {BITS} pins")
        if self.interlock is not None and not self.input_banks:
            raise ValueError(
                "interlock: its watchdog lives on transfers that go on, and nothing is read through"
                " the link; put a line back, such as track_zero, into a bank"
            )
        if self.interlock is not None and self.poll_us >= self.interlock.watchdog_us:
            raise ValueError(
                f"interlock: a watchdog of {self.interlock.watchdog_us:g} us runs out between reads"
                f" {self.poll_us:g} us apart; give it more"
            )
        return self

    def bank_of(self, line: str) -> int | None:
        """Return the bank a line is in; None for one on a pin."""
        return next((n for n, bank in enumerate(self.banks) if line in bank), None)

    @property
    def input_banks(self) -> list[int]:
        """The banks that hold inputs."""
        return [n for n, bank in enumerate(self.banks) if set(bank) & set(BACK)]

    @property
    def output_banks(self) -> list[int]:
        """The banks that hold outputs."""
        return [n for n, bank in enumerate(self.banks) if set(bank) & set(OUT)]

    def read_transfer(self) -> TwoWireTransfer:
        """Return the transfer that reads every bank with inputs."""
        return TwoWireTransfer.read(len(self.input_banks), self.read == "with_register")


SPEEDS = tuple(TIMES)
