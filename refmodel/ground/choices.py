"""Choices given as `NAME=VALUE`, on a command line or as an option of pytest."""

from __future__ import annotations

from refmodel.ground.errors import UserError


def chosen_policies(given: list[str] | None) -> dict[str, str]:
    """Return the policies of `--policy NAME=VALUE`; raise UserError for another form."""
    chosen = {}
    for text in given or []:
        name, equals, value = text.partition("=")
        if not (name and equals and value):
            raise UserError(f"--policy {text}: should be NAME=VALUE, e.g. ready_tie=clear_wins")
        chosen[name] = value
    return chosen
