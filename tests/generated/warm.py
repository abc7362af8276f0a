"""A server that has the command's modules imported and forks itself for each call of the command.

So a call is a process of its own, with its own exit status, memory and time, and starts at once.
Runs as a script: a call a line on standard input, as JSON, and what became of it on standard
output.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

LONGEST_FILE = 200 << 20  # bytes
PATIENCE = 150  # seconds of the clock on the wall; a busy machine takes longer than its processor
PRELOADED = (
    *("pyslang", "rich.console", "refmodel.report.terminal", "refmodel.report.outdir"),
    *("refmodel.protect.text", "refmodel.explain.trace", "refmodel.explain.story"),
    *("refmodel.margin.table", "refmodel.margin.sweep", "refmodel.capture.check"),
    *("testbenches.suite", "testbenches.protect", "testbenches.drafting.draft"),
    *("testbenches.vectors.folder", "refmodel.drive.plan_report", "refmodel.capture.fit"),
    *(
        f"refmodel.cli.{name}"
        for name in (
            *("main", "run", "trace", "explain", "protect", "margin", "bind", "vectors", "check"),
            *("fit", "link", "track", "lesson", "wire"),
        )
    ),
)


@dataclass(frozen=True)
class Ran:
    """What a call did: exit status (negative for a signal, None at the end of patience)."""

    status: int | None
    text: str  # both outputs
    seconds: float = 0.0  # of the processor, all its processes together
    memory: int = 0  # bytes resident at most, in any of its processes


class Warm:
    """The server, seen by a test; `close` ends it."""

    def __init__(self, environment: dict[str, str]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=os.environ | environment,
            text=True,
        )

    def call(self, words: list[str], folder: Path, temporary: Path) -> Ran:
        """Call the command in a folder, with a folder of its own for temporary files."""
        output = temporary / "output.txt"
        asked = {"words": words, "cwd": str(folder), "out": str(output), "tmp": str(temporary)}
        pipe_in, pipe_out = self._process.stdin, self._process.stdout
        assert pipe_in is not None
        assert pipe_out is not None
        print(json.dumps(asked), file=pipe_in, flush=True)
        told = json.loads(pipe_out.readline())
        return Ran(told["status"], output.read_text(errors="replace"), *told["took"])

    def close(self) -> None:
        """End the server."""
        self._process.communicate()


def serve() -> None:
    """Answer calls until there are no more."""
    import importlib

    for name in PRELOADED:
        importlib.import_module(name)
    for line in sys.stdin:
        asked = json.loads(line)
        process = os.fork()
        if process == 0:
            _become(asked)
        print(json.dumps(_ended(process)), flush=True)


def _become(asked: dict[str, object]) -> None:
    """Be the command; never return."""
    from refmodel.cli.main import main

    os.setsid()
    output = os.open(str(asked["out"]), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for descriptor in (1, 2):
        os.dup2(output, descriptor)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    resource.setrlimit(resource.RLIMIT_FSIZE, (LONGEST_FILE, LONGEST_FILE))
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    os.environ["TMPDIR"] = str(asked["tmp"])
    os.chdir(str(asked["cwd"]))
    sys.argv = ["cellstep", *asked["words"]]  # type: ignore[misc]
    status: object = 70
    try:
        main()
    except SystemExit as stop:
        status = stop.code
    except BaseException:
        import traceback

        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status if isinstance(status, int) else 70)


def _ended(process: int) -> dict[str, object]:
    """Wait for a call; return its status, and what time and memory it took."""
    end, killed, ended = time.monotonic() + PATIENCE, False, 0
    while not ended:
        ended, status, used = os.wait4(process, os.WNOHANG)
        if not ended and not killed and time.monotonic() > end:
            os.killpg(process, signal.SIGKILL)
            killed = True
        if not ended:
            time.sleep(0.003)
    took = (used.ru_utime + used.ru_stime, used.ru_maxrss << 10)
    return {"status": None if killed else os.waitstatus_to_exitcode(status), "took": took}


if __name__ == "__main__":
    serve()
