"""The command, as a user runs it: in a process of its own, or in this one, which is quicker."""

import contextlib
import io
import os
import signal
import subprocess
import sys
from unittest.mock import patch

from refmodel.cli.main import main
from refmodel.ground.signals import STOPS

COMMAND = [sys.executable, "-m", "refmodel.cli.main"]


def apart(*arguments, cwd=None, env=None, **rest):
    """Run the command in a process of its own; its output is text, and never a traceback."""
    done = subprocess.run(
        [*COMMAND, *map(str, arguments)],
        cwd=cwd,
        env={**os.environ, **(env or {})},
        text=True,
        timeout=300,
        check=False,
        **(rest or {"capture_output": True}),
    )
    assert "Traceback" not in (done.stderr or "")
    return done


def cellstep(*arguments, cwd=None, env=None):
    """Run the command's main function here, with arguments, folder and output of its own."""
    command = ["cellstep", *map(str, arguments)]
    out, err = io.StringIO(), io.StringIO()
    with contextlib.ExitStack() as here:
        here.enter_context(_signals())
        here.enter_context(patch.dict(os.environ, env or {}))
        here.enter_context(patch.object(sys, "argv", command))
        here.enter_context(contextlib.chdir(cwd or "."))
        here.enter_context(contextlib.redirect_stdout(out))
        here.enter_context(contextlib.redirect_stderr(err))
        try:
            main()
        except SystemExit as stop:
            status = stop.code
    return subprocess.CompletedProcess(command, status, out.getvalue(), err.getvalue())


@contextlib.contextmanager
def _signals():
    """Put back what the command does with signals."""
    before = {n: signal.getsignal(n) for n in (*STOPS, signal.SIGPIPE)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
