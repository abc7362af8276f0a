"""Separators that a capture of pulses may have passed: the designs, and numbers of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

from pydantic import ValidationError

from refmodel.ground.errors import UserError
from refmodel.profile import Profile
from refmodel.separator.choose import NAMES, make_separator
from refmodel.separator.parameters import SeparatorPart

USE = "separator.use"
# Those tried of each design, beside the profile's own.
NUMBERS: dict[str, dict[str, tuple[str, ...]]] = {
    "rephase": {"fraction_bits": ("0", "2", "4", "8")},
    "counter": {
        "phase_step": ("8", "16", "24", "32"),
        "dead_zone": ("0", "4", "8", "16"),
        "period_step": ("1", "2", "4"),
        "votes": ("1", "2", "4"),
    },
    "second_order": {
        "kp": ("1/2", "1/4", "1/8", "1/16"),
        "ki": ("1/8", "1/16", "1/32", "1/64", "1/128", "1/256"),
        "coast": ("hold", "nominal"),
    },
}


def separator_questions(base: SeparatorPart) -> dict[str, tuple[str, ...]]:
    """Return the questions about a separator, the profile's own answer first."""
    found = {USE: tuple(dict.fromkeys((base.use, *NAMES)))}
    own = separator_answers(base)
    for design, numbers in NUMBERS.items():
        for name, values in numbers.items():
            key = f"separator.{design}.{name}"
            found[key] = tuple(dict.fromkeys((own[key], *values)))
    return found


def separator_answers(base: SeparatorPart) -> dict[str, str]:
    """Return what a profile answers."""
    found = {USE: str(base.use)}
    for design, numbers in NUMBERS.items():
        for name in numbers:
            found[f"separator.{design}.{name}"] = str(getattr(getattr(base, design), name))
    return found


def with_separator(base: Profile, answers: Mapping[str, str]) -> Profile:
    """Return a profile with other answers; raise UserError for numbers that do not go together."""
    data = base.separator.model_dump()
    for key, value in answers.items():
        _, design, *name = key.split(".")
        if name:
            data[design][name[0]] = int(value) if value.isdecimal() else value
        else:
            data["use"] = value
    try:
        part = SeparatorPart.model_validate(data)
    except ValidationError as error:
        raise UserError(str(error)) from None
    make_separator(part.use, part, base.cycles_per_bit)
    return base.model_copy(update={"separator": part})


def candidates(base: Profile) -> Iterator[dict[str, str]]:
    """Yield the separators that are tried: the profile's own first, then near ones of each."""
    asked = separator_questions(base.separator)
    for design in asked[USE]:
        names = [name for name in asked if name.startswith(f"separator.{design}.")]
        for values in product(*(asked[name] for name in names)):
            answers = {USE: design, **dict(zip(names, values, strict=True))}
            try:
                with_separator(base, answers)
            except UserError:
                continue
            yield answers
