"""What a bench, its worker and the test in the simulator hand each other, as pickles in a folder.

Only the standard library is imported here: every session pays for what its processes import.
"""

from __future__ import annotations

import pickle
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

BUILD_FAILED, DISK_FULL = 3, 4  # the worker's exit status
LONGEST_LIVE = (1 << 31) - 2  # cycles: a live host counts in 31 bits, and the last one is never
TRIALS = "CELLSTEP_TRIALS"  # in the environment of a session on demand: the pipe to the bench
BENCH = "CELLSTEP_BENCH"  # in that of a session with snapshots: a pipe that ends with the bench


@dataclass(frozen=True)
class LiveHost:
    """A host program to run against the core itself: everything its processor is made from."""

    scenario: Any
    profile: Any
    shape: Any
    registers: list[str]
    start: int
    seed: int
    player: Any
    end: int  # accesses from this cycle on are not made
    lacking: Any  # what the core has not, and the program can do without
    machine: Any = None
    disk: Any = None  # whose later revolutions the bench lays out while the run lasts
    binding: Any = None
    drive_registers: Any = None  # of a core with the lines of a drive
    acknowledged: str = ""  # the core ends an access, which counts at its first or last edge


@dataclass(frozen=True)
class Run:
    """One run of a session: the event file's number, and a live host if there is one."""

    index: int
    recording: bool = True
    live: LiveHost | None = None


@dataclass(frozen=True)
class RunDone:
    """What the bench says of a run: cycles played, seconds of wall time, the live host's story.

    `skipped` says which register the live host's program found missing, `failed` what it did wrong.
    """

    index: int
    cycles: int
    seconds: float
    bus_cycles: list[Any] = field(default_factory=list)
    accesses: int = 0
    result: Any = None
    skipped: str = ""
    failed: str = ""
    written: list[Any] = field(default_factory=list)  # bursts, revolution by revolution
    stuck: int = 0  # as the harness says it, which see
    waiting: str = ""  # the access that was not answered at the end


@dataclass(frozen=True)
class Asked:
    """Runs to play in order, with one of the changes planted in the core if it has any.

    With a mutant other than 0 the runs end with the first whose records part from those of mutant
    0, soon behind the cycle in which they do unless they are to be played `to_end`.
    """

    runs: Sequence[Run]
    mutant: int | None = None
    to_end: bool = False


@dataclass(frozen=True)
class Traced:
    """Cycles of a run, `first` to `end` - 1, in which every signal is wanted; one is marked."""

    first: int
    end: int
    marked: int


@dataclass(frozen=True)
class Job:
    """What a worker gets: how to build, and where the session finds its runs."""

    simulator: str
    toplevel: str
    sources: tuple[Path, ...]
    include_dirs: tuple[Path, ...]
    defines: dict[str, Any]
    build_dir: Path
    runtime: Path  # where Verilator's own objects lie, for every build
    folder: Path
    seed: int
    number: int = 0
    written: dict[str, str] = field(default_factory=dict)  # sources made for it, by file name
    test_module: str = "testbenches.session_tests"
    all_public: bool = False  # every signal of the core within Python's reach: slower
    builds_only: bool = False  # nothing is run
    coverage: bool = False  # Verilator counts which lines of the source ran, and which bits changed
    traced: bool = False  # the simulator leaves snapshots of itself, and can write all signals
    place: Path | None = None  # the folder that relative names of a core's own files are in

    @property
    def file(self) -> Path:
        """Where the job lies for the worker and the test in the simulator."""
        return self.folder / f"job-{self.number}.pickle"

    @property
    def coverage_file(self) -> Path:
        """Where the simulator leaves its counts when it ends by itself."""
        return self.folder / f"coverage-{self.number}.dat"

    def waves_file(self, run: int) -> Path:
        """Where a snapshot of a run leaves the signals."""
        return self.folder / f"{run}.signals"

    def snapshots(self, run: int) -> Path:
        """Return the folder with a pipe to each snapshot of a run, by the cycle it is from."""
        return self.folder / f"snapshots-{self.number}" / str(run)

    @property
    def built(self) -> Path:
        """What is there once the build is done, and the simulator starts."""
        return self.folder / f"built-{self.number}"

    @property
    def results(self) -> Path:
        """Where the test leaves a `RunDone` for each finished run."""
        return self.folder / f"results-{self.number}.pickle"

    @property
    def report(self) -> Path:
        """What cocotb says of its tests."""
        return self.folder / f"results-{self.number}.xml"

    @property
    def log(self) -> Path:
        """The worker's and the simulator's output."""
        return self.folder / f"simulator-{self.number}.log"

    @property
    def build_log(self) -> Path:
        """What the build said: apart from that of others, who may build the same."""
        return self.folder / f"build-{self.number}.log"

    @property
    def _runs(self) -> Path:
        return self.folder / f"runs-{self.number}.pickle"

    def write(self, runs: Sequence[Run]) -> None:
        """Lay down the job, its runs apart: a live host needs the model, the worker does not."""
        for old in (self.results, self.report):
            old.unlink(missing_ok=True)
        self.file.write_bytes(pickle.dumps(self))
        self._runs.write_bytes(pickle.dumps(tuple(runs)))

    @staticmethod
    def read(path: str | Path) -> Job:
        """Return the job that lies in a file."""
        job: Job = pickle.loads(Path(path).read_bytes())
        return job

    def runs(self) -> tuple[Run, ...]:
        """Return the runs to play, in order."""
        runs: tuple[Run, ...] = pickle.loads(self._runs.read_bytes())
        return runs

    def leave(self, done: RunDone) -> None:
        """Leave what became of one more run, behind those before."""
        with self.results.open("ab") as file:
            file.write(pickle.dumps(done))

    def done(self) -> list[RunDone]:
        """Return what became of the runs that ended; one cut short as it was written is not."""
        found: list[RunDone] = []
        if self.results.exists():
            with self.results.open("rb") as file, suppress(EOFError, pickle.UnpicklingError):
                while True:
                    found.append(pickle.load(file))
        return found
