"""Profiles: one kind of controller, its clock and its data separator, from YAML."""

from __future__ import annotations

from fractions import Fraction
from importlib import resources
from pathlib import Path
from typing import Literal

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.block.settings import Settings
from refmodel.ground.errors import InputError, UserError, near
from refmodel.ground.yamlfile import Document, Schema, load
from refmodel.separator.choose import NAMES, make_separator
from refmodel.separator.interface import Separator
from refmodel.separator.parameters import SeparatorPart

SHORTEST_PULSE_NS, LONGEST_PULSE_NS = 150, 1100
PROFILES = Path(str(resources.files("refmodel"))) / "profiles"


class WritePulse(Schema):
    """How the machine's block shows a written 1 to the drive, unless a binding says otherwise.

    Drives take pulses of 150 to 1 100 ns (from memory, common practice).
    """

    form: Literal["pulse", "toggle"] = "pulse"
    """`toggle`: the line changes its level for each 1."""
    ns: float | None = Key(None, ge=SHORTEST_PULSE_NS, le=LONGEST_PULSE_NS)
    """The length of a pulse in nanoseconds, taken as the nearest whole cycles."""

    @model_validator(mode="after")
    def _is_one_of_both(self) -> WritePulse:
        if self.form == "toggle" and self.ns is not None:
            raise ValueError(
                f"ns {self.ns:g} is the length of a pulse, and a toggling line has none"
            )
        if self.form == "pulse" and self.ns is None:
            raise ValueError("a pulse needs ns, how long it is, e.g. 400")
        return self

    def cycles(self, cycle_ns: Fraction) -> int:
        """Return how many cycles it lasts, 1 for a line that toggles."""
        return 1 if self.ns is None else max(1, round(self.ns / float(cycle_ns)))


class Profile(Settings):
    """One kind of controller and clock: the block's settings, and its data separator's."""

    name: str
    """The profile's name."""
    about: str = ""
    """A sentence about it."""
    separator: SeparatorPart = SeparatorPart()
    """The data separators and their numbers."""
    write_pulse: WritePulse | None = None
    """How the drive sees a written 1; without it as a pulse of one cycle."""

    @model_validator(mode="after")
    def _bits_last(self) -> Profile:
        if self.cycles_per_bit < 1:
            raise ValueError(
                f"a channel bit of {self.channel_bit_ns} ns takes {float(self.cycles_per_bit):.3g}"
                f" of a cycle of {float(self.cycle_ns):.6g} ns; it must take 1 or more (B2)"
            )
        pulse = self.write_pulse.cycles(self.cycle_ns) if self.write_pulse else 1
        if pulse >= self.cycles_per_written_bit:
            raise ValueError(
                f"write_pulse.ns: {pulse} cycles are not shorter than a written channel bit of"
                f" {self.cycles_per_written_bit}; two ones in a row would be one pulse"
            )
        for name in NAMES:
            try:
                self.make_separator(name)
            except UserError as error:
                raise ValueError(str(error)) from None
        return self

    @property
    def separator_clock_hz(self) -> Fraction:
        """The clock of the data separator: its own, or the block's."""
        return self.separator.clock_hz or self.clock_hz

    @property
    def separator_cycles_per_bit(self) -> Fraction:
        """Cycles of the separator's clock in one nominal channel bit."""
        return self.separator_clock_hz * self.channel_bit_ns / 1_000_000_000

    @property
    def separator_cycle_ns(self) -> Fraction:
        """Length of a cycle of the separator's clock in nanoseconds."""
        return 1_000_000_000 / self.separator_clock_hz

    def make_separator(self, name: str, slow_bits: bool = False) -> Separator:
        """Return the separator `name` on its own clock, in reset; UserError for an unknown one.

        With `slow_bits` its channel bits are twice as long, if it follows control.slow_bits.
        """
        times = 2 if slow_bits and self.separator.follows_slow_bits else 1
        return make_separator(name, self.separator, times * self.separator_cycles_per_bit)

    def on_one_clock(self) -> Profile:
        """Return the profile with its separator on the block's clock."""
        return self.model_copy(
            update={"separator": self.separator.model_copy(update={"clock_hz": None})}
        )


def profile_names() -> list[str]:
    """Return the names of the profiles that ship with the model."""
    return sorted(path.stem for path in PROFILES.glob("*.yaml"))


def load_profile(name: str, folder: Path | None = None) -> Profile:
    """Load a shipped profile by name, or a file by path (relative to `folder`).

    Raises UserError when there is no such profile or the file is not a valid one.
    """
    if name in profile_names():
        return _loaded(PROFILES / f"{name}.yaml")
    path = Path(name) if folder is None else folder / name
    if path.suffix in (".yaml", ".yml"):
        return _loaded(path)
    raise UserError(f"profile '{name}': no such profile{near(name, profile_names())}")


def profile_named_in(document: Document, name: str) -> Profile:
    """Load the profile that a file's key `profile` names; its faults are that key's.

    Raises InputError, at the key or in the profile's own file.
    """
    try:
        return load_profile(name, document.path.parent)
    except InputError:
        raise
    except UserError as error:
        raise InputError([document.problem(("profile",), str(error))]) from None


def _loaded(path: Path) -> Profile:
    """Return the profile of a file; InputError for a separator slower than its block, too."""
    document = load(path)
    profile = document.validate(Profile)
    if profile.separator_clock_hz < profile.clock_hz:
        message = (
            f"'{profile.separator.clock_hz}' Hz is below the block's {profile.clock_hz} Hz; a"
            " separator runs at the block's clock or a faster one"
        )
        raise InputError([document.problem(("separator", "clock_hz"), message)])
    return profile
