"""Runs a command of cellstep in this process."""

import sys

import typer

from refmodel.cli.main import app
from refmodel.errors import UserError


def invoke(*arguments, fails=False):
    """Return what the command prints, or with `fails` the message of its UserError."""
    import contextlib
    import io

    out = io.StringIO()
    try:
        with contextlib.redirect_stdout(out):
            typer.main.get_command(app)([*map(str, arguments)], standalone_mode=False)
    except UserError as error:
        assert fails, error
        return str(error)
    assert not fails, "no error"
    sys.stdout.flush()
    return out.getvalue()
