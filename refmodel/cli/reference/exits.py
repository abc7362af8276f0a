"""The page of exit statuses: the constants of the code, and what each command says of its own."""

from __future__ import annotations

import importlib
import inspect
import re

from refmodel.cli.main import COMMANDS, STOPPED
from refmodel.cli.reference.described import constants
from refmodel.ground import errors

INTRO = """\
# Exit status

What a command returns to the shell, to `make`, to CI and to `git bisect run`. `--help` of each
command says the same.

| status | means |
|---|---|
"""


def exit_page() -> str:
    """Return the page."""
    rows = [(getattr(errors, name), text) for name, text in constants(errors).items()]
    rows += [
        (status, f"The command was {text} (128 + signal).") for status, text in STOPPED.items()
    ]
    statuses = "".join(f"| {status} | {text} |\n" for status, text in rows)
    commands = "".join(f"| `cellstep {name}` | {said_by(name)} |\n" for name in COMMANDS)
    return f"{INTRO}{statuses}\n## By command\n\n| command | its statuses |\n|---|---|\n{commands}"


def said_by(command: str) -> str:
    """Return what a command's help says of its exit status; empty if it says nothing."""
    entry = COMMANDS[command]
    module = importlib.import_module(f"refmodel.cli.{entry.module}")
    text = " ".join(
        (inspect.getdoc(getattr(module, entry.function)) or "").split("\n\n")[-1].split()
    )
    found = re.search(r"Exit status: (.*)", text)
    return found[1] if found else ""
