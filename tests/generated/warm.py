"""A server that has the command's modules imported and forks itself for each call of the command.

So a call is a process of its own, with its own exit status, memory and time, and starts at once.
Runs as a script: a call a line on standard input, as JSON, and what became of it on standard
output.
"""

from __future__ import annotations

import ctypes
import json
import multiprocessing.process
import os
import resource
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

LARGEST = 4 << 30  # bytes of addresses, of a call that only reads
LONGEST_FILE = 200 << 20  # bytes
REACHED = 99  # exit status of a call that would have started another program
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
            *("fit", "link", "track", "lesson", "wire", "hunt", "mutate", "prove", "history"),
            *("demo", "doctor"),
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

    def call(
        self, words: list[str], folder: Path, temporary: Path, only_reads: bool = False
    ) -> Ran:
        """Call the command in a folder, with a folder of its own for temporary files.

        With `only_reads` the call ends with REACHED where it would start another program, and is
        refused a file that nobody may read, as any user but root is.
        """
        output = temporary.with_name(f"{temporary.name}-output.txt")
        asked = {"words": words, "cwd": str(folder), "out": str(output), "tmp": str(temporary)}
        asked["only_reads"] = only_reads
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
    importlib.import_module("testbenches.toolchain").available()  # asks programs, and keeps it
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
    if asked["only_reads"]:
        resource.setrlimit(resource.RLIMIT_AS, (LARGEST, LARGEST))
        _start_nothing()
        _be_refused()
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


def _start_nothing() -> None:
    """End this call where it would start a process."""

    def reached(*_: object, **__: object) -> None:
        raise SystemExit(REACHED)

    subprocess.Popen.__init__ = reached  # type: ignore[method-assign]
    multiprocessing.process.BaseProcess.start = reached  # type: ignore[method-assign]


def _be_refused() -> None:
    """Give up what lets root read and write any file; others have no such right."""
    if os.geteuid() or sys.platform != "linux":
        return
    libc = ctypes.CDLL(None, use_errno=True)
    head = (ctypes.c_uint32 * 2)(0x20080522, 0)  # the form that linux/capability.h calls 3
    sets = (ctypes.c_uint32 * 6)()  # effective, permitted and inheritable, twice 32 bits
    if libc.capget(head, sets) == 0:
        for n in range(3):
            sets[n] &= ~0b110  # CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH
        libc.capset(head, sets)


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
