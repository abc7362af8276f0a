"""Runs a harness in a simulator: a process of its own, which builds it and plays the runs.

The parent stays free of the simulator's environment and survives whatever the core does.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from itertools import zip_longest
from pathlib import Path
from typing import IO

from cocotb_tools.check_results import get_results

from refmodel.ground.errors import CannotRun
from testbenches.binding.ports import CorePorts
from testbenches.build import PUBLIC
from testbenches.harness import Harness
from testbenches.job import BUILD_FAILED, DISK_FULL, Job, Run, RunDone, Traced
from testbenches.offspring import RUN_MEMORY
from testbenches.pulse import Pulse
from testbenches.toolchain import cache_folder, need, simulator_environment
from testbenches.traced import Bench, signals_of

RECORDS = ("changes", "unknown", "reads", "moves")  # as their lengths stand in a run's last words
SHOWN_LINES = 12  # of a simulator's own message
TELLING = re.compile(r"error|fatal|\*\*\*|\.s?vh?:\d+|\$finish|\$stop", re.I)
NOISE = re.compile(  # what is always said
    r" INFO |vpi_iterate|explicit timescale|-Wtimescale|: timescale\.$|harness\.sv.*\$readmemh"
)
COCOTB = re.compile(r"^ {40}| cocotb\.")  # what it says of a simulation that ended too early
OWN_WORDS = re.compile(  # of cocotb and Verilator
    r"^ *\*\*|^ {40}|^- (?!.*: )|Verilator: |Verilog \$finish|S i m u l|%Error|%Warning"
)
MOST_PRINTED = 200  # lines
ICARUS_FAULT = re.compile(r"^(?:ERROR|FATAL): (?P<place>[^:]+:\d+):(?P<text>.*)$")
NO_FILE = re.compile(  # of each simulator, for $readmemh and $readmemb
    r"^ERROR: (?P<at>[^:]+:\d+): \$readmem[hb]: Unable to open (?P<file>.+) for reading"
    r"|^%Warning: (?P<read>.+):0: \$readmem file not found"
)
VERILATOR_FAULT = re.compile(
    r"%(?:Error|Fatal): (?P<place>[^:]+:\d+): Assertion failed in [^:]+: (?P<text>.*)$"
)
OUT_OF_MEMORY = re.compile(r"bad_alloc|out of memory|cannot allocate|MemoryError", re.I)
STOPPED_AT = re.compile(r"%Error: (\S.*:\d+): Verilog \$stop")
ENDS, MOST_ENDS = re.compile(r"\$(?:finish|stop|exit)\b"), 4
LONGEST_LINE = 200  # characters
LAST_WORDS = 10  # seconds to read what is left in a pipe
LOOK = 0.5  # seconds between two looks at a simulator
BUILDING = 1800.0  # seconds that no build takes
STUCK, STUCK_LIVE = 5.0, 20.0  # seconds of its work without time; a host program takes some too
LONGEST_LOG = 1 << 20  # bytes of an output that are kept: a core can print without end


class Session:
    """One simulator and one core: builds what is not built yet and plays every run."""

    def __init__(
        self,
        simulator: str,
        harness: Harness,
        ports: CorePorts,
        folder: Path,
        seed: int,
        number: int = 0,
        coverage: bool = False,
        traced: bool = False,
    ) -> None:
        self.simulator = simulator
        self._harness = harness
        self._ports = ports
        self._folder = folder
        self._seed = seed
        self._number = number
        self._coverage = coverage
        self._traced = traced
        self._bench: Bench | None = None  # while there may be snapshots
        self._process: subprocess.Popen[bytes] | None = None
        self._log: threading.Thread | None = None

    def run(self, runs: list[Run], timeout: float) -> list[RunDone]:
        """Play the runs in order and return what became of them.

        Raises CannotRun when the core does not build, ends the simulation itself, or takes more
        than `timeout` seconds, its build apart: how long that takes says how busy the machine is.
        """
        job = self.job()
        job.built.unlink(missing_ok=True)
        job.write(runs)
        self.let_go()
        if self._traced:
            self._start_with_snapshots(job)
        else:
            self.start(job)
        try:
            status = self._wait_moving(job, runs, timeout)
        except subprocess.TimeoutExpired:
            self.stop()
            raise self._without_end(job, timeout) from None
        except BaseException:
            self.stop()
            raise
        return self._results(job, runs, status)

    def start(
        self, job: Job, pass_fds: Sequence[int] = (), settings: Mapping[str, str] | None = None
    ) -> subprocess.Popen[bytes]:
        """Start the worker; what a stopped simulator leaves goes with the job's folder.

        Of what it prints the first LONGEST_LOG bytes are kept.
        """
        self._process = subprocess.Popen(
            [sys.executable, "-m", "testbenches.worker", str(job.file)],
            env={
                **os.environ,
                **simulator_environment(self.simulator),
                "TMPDIR": str(job.folder),
                **(settings or {}),
            },
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            pass_fds=pass_fds,
        )
        output = self._process.stdout
        log = threading.Thread(target=_keep_beginning, args=(output, job.log), daemon=True)
        log.start()
        self._log = log
        return self._process

    def _start_with_snapshots(self, job: Job) -> None:
        """Start the worker so that its snapshots outlive it, until `let_go`."""
        shutil.rmtree(job.snapshots(0).parent, ignore_errors=True)
        self._bench = bench = Bench()
        try:
            self.start(job, (bench.simulators_end,), bench.settings)
        finally:
            bench.started()

    def signals(self, run: int, wanted: Traced) -> bytes | None:
        """Return a VCD of all signals of a run that was played with snapshots; None if it cannot.

        The last one before the cycles wanted goes on from where it was made.
        """
        return signals_of(self.job(), run, wanted) if self._bench is not None else None

    def let_go(self) -> None:
        """End the snapshots of the runs that were played, also one that is under way."""
        if self._bench is None or self._process is None:
            return
        self._bench.close()
        self._bench = None
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)

    def wait(self, timeout: float | None = None) -> int:
        """Wait for the worker's end, and for the last it printed; return its exit status.

        Raises subprocess.TimeoutExpired when it has not ended after `timeout` seconds.
        """
        assert self._process is not None, "not started"
        status = self._process.wait(timeout)
        if self._log is not None:
            self._log.join(LAST_WORDS)
        return status

    def printed(self) -> list[str]:
        """Return the first lines the core itself printed."""
        log = self._folder / f"simulator-{self._number}.log"
        lines = (line for line in _lines(log) if line.strip() and not NOISE.search(line))
        return [line for line in lines if not OWN_WORDS.search(line)][:MOST_PRINTED]

    def _wait_moving(self, job: Job, runs: list[Run], timeout: float) -> int:
        """Wait for the worker's end while simulated time moves; return its exit status.

        Raises subprocess.TimeoutExpired `timeout` seconds after the build, CannotRun when the
        simulator has worked for STUCK seconds and no time has passed in the simulation.
        """
        process = self._process
        assert process is not None, "not started"
        stuck = STUCK_LIVE if any(run.live for run in runs) else STUCK
        pulse = Pulse(process.pid, [job.folder / f"{run.index}.alive" for run in runs])
        end, built = time.monotonic() + BUILDING, False
        while process.poll() is None:
            if not built and job.built.exists():
                end, built = time.monotonic() + timeout, True
            if time.monotonic() > end:
                raise subprocess.TimeoutExpired(process.args, timeout)
            if pulse.stands_still(stuck):
                self.stop()
                raise self._standing_still(job, stuck)
            with suppress(subprocess.TimeoutExpired):
                process.wait(LOOK)
        return self.wait()

    def stop(self) -> None:
        """End the worker and everything it started."""
        if self._process is not None and self._process.poll() is None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self.wait()
        self.let_go()

    def job(self) -> Job:
        """Describe the work."""
        self._folder.mkdir(parents=True, exist_ok=True)
        core = self._harness.binding.core
        tool = need(self.simulator)
        cache = cache_folder()
        built = (tool.mark, PUBLIC, self._harness.source, core.defines)
        counting = ("coverage",) * self._coverage
        waves = ("waves",) * self._traced
        key = _digest(*built, *counting, *waves, *_contents(self._ports))
        return Job(
            self.simulator,
            self._harness.name,
            tuple(source.resolve() for source in self._ports.sources),
            tuple(folder.resolve() for folder in self._ports.include_dirs),
            dict(core.defines),
            (cache / "builds" / key).resolve(),
            (cache / "runtime").resolve(),
            self._folder.resolve(),
            self._seed,
            self._number,
            {"harness.sv": self._harness.source},
            coverage=self._coverage,
            traced=self._traced,
            place=self._harness.binding.folder.absolute(),
        )

    def _standing_still(self, job: Job, seconds: float) -> CannotRun:
        """Return the error of a simulator that works and does not let time pass."""
        what = f"simulated time has not moved for {seconds:.0f} s; "
        what += "does the core loop without a delay, or through logic without a register?"
        return CannotRun(f"{self.simulator}: {what}{self._flood(job)}")

    def _flood(self, job: Job) -> str:
        """Return what a core printed that prints without end, empty for another."""
        if not job.log.exists() or job.log.stat().st_size < LONGEST_LOG:
            return ""
        line = _lines(job.log)[-2:][0][:LONGEST_LINE]
        return f" It printed more than {LONGEST_LOG >> 20} MB, such as:\n  {line}"

    def _without_end(self, job: Job, timeout: float) -> CannotRun:
        """Return the error of a simulator that had to be stopped."""
        if not job.built.exists():
            return CannotRun(f"{self.simulator}: the build has no end after {BUILDING:.0f} s")
        what = f"no end after {timeout:.0f} s; does the core loop without letting time pass?"
        return CannotRun(f"{self.simulator}: {what}{self._flood(job)}")

    def _results(self, job: Job, runs: list[Run], status: int) -> list[RunDone]:
        """Return the finished runs; raise CannotRun unless there is one for each."""
        if status == DISK_FULL:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(job.build_dir))
        if status == BUILD_FAILED:
            raise CannotRun(f"{self.simulator}: the core does not build:\n{said(job)}")
        done = job.done()
        if faults := own_faults(job):
            shown = "\n".join(f"  {fault}" for fault in faults[:SHOWN_LINES])
            raise CannotRun(
                f"{self.simulator}: a check of the core's own failed, or a file it reads is not "
                f"there, so its outputs were not compared:\n{shown}"
            )
        if len(done) < len(runs) and any(map(OUT_OF_MEMORY.search, _lines(job.log))):
            raise CannotRun(
                f"{self.simulator}: the simulation takes more than {RUN_MEMORY >> 30} GiB of "
                "memory; does the core declare a large array, or loop without a delay?"
            )
        if len(done) < len(runs):
            raise CannotRun(
                f"{self.simulator}: the simulation ended by itself after {len(done)} of "
                f"{len(runs)} runs; does the core call $finish or $stop?\n"
                f"{said(job, COCOTB).rstrip() or ends_called(job.sources)}".rstrip()
            )
        ran, failed = get_results(job.report)
        if status or failed or not ran:
            raise CannotRun(f"{self.simulator}: the simulator failed:\n{said(job)}")
        for run in done:
            if not (run.skipped or run.failed) and (record := cut_short(job.folder, run.index)):
                raise CannotRun(f"{self.simulator}: {record}: the simulator's record is cut short")
        return done


def cut_short(folder: Path, index: int) -> str:
    """Return the name of a run's record that is not as long as the harness wrote it, if any."""
    alive = folder / f"{index}.alive"
    _, *lengths = alive.read_text().split(" ") if alive.exists() else [""]
    moves = (folder / f"{index}.moves").exists() or len(lengths) > 3
    records = [folder / f"{index}.{kind}" for kind in RECORDS[: 3 + moves]]
    for record, length in zip_longest(records, lengths):
        if length is None or not record.exists() or str(record.stat().st_size) != length:
            return str(record.name)
    return ""


def _contents(ports: CorePorts) -> list[bytes]:
    """Return the text of every file preflight has read, and in which order the sources come.

    What else a simulator reads, the build asks it itself.
    """
    names = [str(source) for source in ports.sources]
    folders = [str(folder) for folder in ports.include_dirs]
    files = dict.fromkeys((*ports.sources, *ports.files))
    return [repr((names, folders)).encode(), *(path.read_bytes() for path in files)]


def _digest(*parts: object) -> str:
    """Return a short name for everything that makes one build differ from another."""
    digest = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else repr(part).encode()
        digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()[:20]


def ends_called(sources: Sequence[Path]) -> str:
    """Return the lines of files that call what ends a simulation: one simulator does not say it."""
    found = []
    for source in sources:
        for number, line in enumerate(source.read_text(errors="replace").splitlines(), 1):
            if called := ENDS.search(line.partition("//")[0]):
                found.append(f"  {source}:{number}: {called[0]}")
    return "\n".join(found[:MOST_ENDS])


def said(job: Job, besides: re.Pattern[str] = NOISE) -> str:
    """Return the lines of the log that say what went wrong, with the user's file and line.

    What `besides` finds is left out as well.
    """
    lines = [*_lines(job.build_log), *_lines(job.log)]
    lines = [line for line in lines if not (NOISE.search(line) or besides.search(line))]
    telling = [line for line in lines if TELLING.search(line)]
    return "\n".join(f"  {line}" for line in (telling or lines)[:SHOWN_LINES])


def own_faults(job: Job) -> list[str]:
    """Return each check of the core's own that failed: an assertion, $error or $fatal, and where.

    One simulator goes on after it and the other ends, so the log tells, not the exit status.
    """
    found: dict[str, None] = {}
    lines = _lines(job.log)
    for n, line in enumerate(lines):
        if fault := NO_FILE.match(line):
            at = f"{fault['at']}: " if fault["at"] else ""
            file = fault["file"] or fault["read"]
            found[f"{at}{file}: no such file; $readmem looks in the binding's folder"] = None
        elif fault := ICARUS_FAULT.match(line):
            said = fault["text"].strip() or "assertion failed"
            found[f"{fault['place']}: {said}"] = None
        elif fault := VERILATOR_FAULT.search(line):
            stopped = STOPPED_AT.search(lines[n + 1]) if n + 1 < len(lines) else None
            place = stopped[1] if stopped else fault["place"]
            found[f"{place}: {fault['text'].strip()}"] = None
    return list(found)


def _keep_beginning(pipe: IO[bytes], log: Path) -> None:
    """Write what comes out of a pipe to a log until it is full; read on to the pipe's end."""
    with suppress(OSError), pipe, log.open("wb") as file:  # a full disk is reported elsewhere
        left = LONGEST_LOG
        while printed := os.read(pipe.fileno(), 1 << 16):
            left -= file.write(printed[:left])


def _lines(log: Path) -> list[str]:
    """Return the first lines of a log, none if there is no log."""
    if not log.exists():
        return []
    with log.open("rb") as file:
        return file.read(LONGEST_LOG).decode(errors="replace").splitlines()
