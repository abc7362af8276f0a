"""Plays an example of SPEC.md through the register block and lists where the two differ."""

from __future__ import annotations

from dataclasses import dataclass, field

from refmodel.block.fields import STATUS_WIDTH
from refmodel.block.registers import RegisterBlock
from refmodel.block.transfer import Move
from refmodel.examples.page import INSIDE, OUTPUTS, Example, Row
from refmodel.profile import Profile


@dataclass
class Played:
    """How many values were compared, and each that differs as a line of text."""

    compared: int = 0
    differences: list[str] = field(default_factory=list)

    def compare(self, place: str, expected: str, actual: str) -> None:
        """Compare two values, both written as SPEC.md writes them."""
        self.compared += 1
        if expected != actual:
            self.differences.append(f"{place}: SPEC.md has {expected}, the model {actual}")


def profile_of(example: Example, **policies: str) -> Profile:
    """Return the profile an example runs with, some policies changed."""
    return Profile.model_validate(
        {
            "name": "spec",
            "clock_hz": 7093790,
            "channel_bit_ns": 2000,
            "reset": example.reset,
            "layout": example.layout,
            "policies": {**example.policy, **policies},
            **example.profile,
        }
    )


def play(
    example: Example,
    block_class: type[RegisterBlock] = RegisterBlock,
    profile: Profile | None = None,
    **policies: str,
) -> Played:
    """Step a block through an example; compare every column in every cycle, and every read.

    It is of the example's own profile, some policies changed, or of the one given.
    """
    profile = profile or profile_of(example, **policies)
    block, played = block_class(profile), Played()
    for row, edge, inputs, read in example.inputs():
        place = f"SPEC.md:{row.line}: {example.name}: cycle {edge}"
        if read is not None:
            played.compare(f"{place}: read", read, written(block.status, STATUS_WIDTH))
        block.step(inputs)
        compare_row(played, row, place, block, profile)
    return played


def compare_row(
    played: Played, row: Row, place: str, block: RegisterBlock, profile: Profile
) -> None:
    """Compare every column of a row with what a block shows."""
    for column, expected in row.shown.items():
        played.compare(f"{place}: {column}", expected, _shown(block, profile, column))


def _shown(block: RegisterBlock, profile: Profile, column: str) -> str:
    if column in INSIDE:
        kept, width = INSIDE[column]
        return written(kept(block.state), width)
    if column in OUTPUTS:
        return written(getattr(block, column), 1)
    if column == "memory":
        return moved(block.moved)
    if column == "status":
        return written(block.status, STATUS_WIDTH)
    place = profile.status[column]
    return written(place.of(block.status), place.width)


def written(value: int, width: int) -> str:
    """Return a value as SPEC.md writes it: words and bytes in hexadecimal, less in decimal."""
    return f"0x{value:0{width // 4}X}" if width >= 8 else str(value)


def moved(move: Move | None) -> str:
    """Return what a slot moved as SPEC.md writes it."""
    if not move:
        return "-"
    return f"{'stores' if move.store else 'fetches'} {written(move.word, 16)} at {move.place}"
