"""Runs a command of cellstep in this process."""

import contextlib
import io

import pytest
import typer

from refmodel.cli.main import app
from refmodel.errors import UserError


def invoke(*arguments, fails=False):
    """Return what the command prints, or with `fails` the message of its UserError."""
    out = io.StringIO()
    expected = pytest.raises(UserError) if fails else contextlib.nullcontext()
    with contextlib.redirect_stdout(out), expected as caught:
        typer.main.get_command(app)([*map(str, arguments)], standalone_mode=False)
    return str(caught.value) if fails else out.getvalue()
