"""Profiles: one kind of controller, its clock and its data separator, from YAML."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from pydantic import model_validator

from refmodel.block.settings import Settings
from refmodel.ground.errors import UserError, near
from refmodel.ground.yamlfile import load
from refmodel.separator.choose import NAMES, make_separator
from refmodel.separator.parameters import SeparatorPart

PROFILES = Path(str(resources.files("refmodel"))) / "profiles"


class Profile(Settings):
    """One kind of controller and clock: the block's settings, and its data separator's."""

    name: str
    about: str = ""
    separator: SeparatorPart = SeparatorPart()

    @model_validator(mode="after")
    def _bits_last(self) -> Profile:
        if self.cycles_per_bit < 1:
            raise ValueError(
                f"a channel bit of {self.channel_bit_ns} ns takes {float(self.cycles_per_bit):.3g}"
                f" of a cycle of {float(self.cycle_ns):.6g} ns; it must take 1 or more (B2)"
            )
        for name in NAMES:
            try:
                make_separator(name, self.separator, self.cycles_per_bit)
            except UserError as error:
                raise ValueError(str(error)) from None
        return self


def profile_names() -> list[str]:
    """Return the names of the profiles that ship with the model."""
    return sorted(path.stem for path in PROFILES.glob("*.yaml"))


def load_profile(name: str, folder: Path | None = None) -> Profile:
    """Load a shipped profile by name, or a file by path (relative to `folder`).

    Raises UserError when there is no such profile or the file is not a valid one.
    """
    if name in profile_names():
        return load(PROFILES / f"{name}.yaml").validate(Profile)
    path = Path(name) if folder is None else folder / name
    if path.suffix in (".yaml", ".yml"):
        return load(path).validate(Profile)
    raise UserError(f"profile '{name}': no such profile{near(name, profile_names())}")
