"""Runs the command on a broken input, in a process of its own with limits of time and memory."""

from __future__ import annotations

import json
import multiprocessing
import os
import resource
import shutil
import signal
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from malformed_inputs import HERE, STUBS, Variant

from refmodel.cli.main import main
from refmodel.ground import scratch
from testbenches.simulator import Session
from testbenches.toolchain import available, cache_folder

VERILATED = 63  # of so many variants one runs on the simulator that builds slowly
TIME = 300  # seconds for one command
MEMORY = 4 << 30  # bytes of address space, in each process
FILE = 200 << 20  # bytes of the longest file
PATIENCE = {"endless": 4, "": 240}  # seconds a simulator session gets, by how a core was broken
RECORDS = ("changes", "unknown", "reads", "moves")
PRELOADED = [  # what the commands import, so that a process forked from it starts at once
    *("pyslang", "rich.console", "malformed_run"),
    *(f"refmodel.cli.{name}" for name in ("run", "trace", "explain", "protect", "margin", "bind")),
    *(f"refmodel.report.{name}" for name in ("outdir", "terminal")),
    *("refmodel.protect.text", "refmodel.explain.trace", "refmodel.margin.table"),
    *("refmodel.margin.sweep", "refmodel.explain.story"),
    *("testbenches.suite", "testbenches.protect", "testbenches.drafting.draft"),
]


@dataclass(frozen=True)
class Ran:
    """What a command did: exit status (negative for a signal, None at the limit of time)."""

    status: int | None
    text: str  # both outputs
    result: dict[str, Any] | None = None  # result.json
    records: dict[str, bytes] = field(default_factory=dict)  # what the simulator recorded


@dataclass(frozen=True)
class Command:
    """The arguments, and the broken file among them."""

    arguments: list[str]
    file: Path


def simulator(variant: Variant) -> str:
    """Return what a variant runs on: the one that builds fast, and a few on the other."""
    few = variant.kind == "core" and variant.number % VERILATED == 2
    return "verilator" if few and "verilator" in available() else "icarus"


class Bench:
    """A folder with good cores and scenarios, in which one of the files is broken at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.cores = folder / "cores"
        shutil.copytree(STUBS, self.cores, ignore=shutil.ignore_patterns("__pycache__"))
        self.suite = folder / "suite"
        shutil.copytree(HERE / "suite", self.suite)
        self._share_the_library()
        self._forks = multiprocessing.get_context("forkserver")
        self._forks.set_forkserver_preload(PRELOADED)
        self._good: dict[tuple[Path, str, bool], Ran] = {}

    def _share_the_library(self) -> None:
        """Keep what is built here apart, but for the simulator's library: that takes a minute."""
        library = cache_folder() / "runtime"
        library.mkdir(parents=True, exist_ok=True)
        own = self.folder / "cache" / "cellstep" / "runtime"
        own.parent.mkdir(parents=True)
        own.symlink_to(library)

    def run(self, variant: Variant) -> tuple[Command, Ran]:
        """Run the command a variant is for."""
        work = self._folder_for(f"{variant.number:04}")
        command = self._command(variant, work)
        variant.write(command.file)
        patience = next(s for start, s in PATIENCE.items() if variant.how.startswith(start))
        return command, self._ran(command.arguments, work, patience)

    def good(self, variant: Variant) -> Ran:
        """Return what became of the good core with the small suite; each is run once."""
        key = (self._good_binding(variant), simulator(variant), variant.live)
        if key not in self._good:
            work = self._folder_for(f"good-{len(self._good)}")
            arguments = self._run_arguments(variant, key[0], self.suite, work)
            self._good[key] = self._ran(arguments, work, PATIENCE[""])
        return self._good[key]

    def _folder_for(self, name: str) -> Path:
        work = self.folder / name
        (work / "tmp").mkdir(parents=True)
        return work

    def _good_binding(self, variant: Variant) -> Path:
        """Return the good binding a variant's run is to be held against."""
        if variant.kind == "binding":
            return self.cores / variant.good.relative_to(STUBS)
        if variant.kind == "core":
            return self.cores / variant.good.parent.name / "binding.yaml"
        return self.cores / "reference" / "binding.yaml"

    def _command(self, variant: Variant, work: Path) -> Command:
        """Return the command that reads a variant's file."""
        made = {
            "binding": self._binding_command,
            "profile": self._profile_command,
            "scenario": self._scenario_command,
            "check": self._check_command,
            "core": self._core_command,
            "bind": self._bind_command,
        }
        return made[variant.kind](variant, work)

    def _binding_command(self, variant: Variant, work: Path) -> Command:
        file = self._good_binding(variant).with_name(f"{variant.number:04}.yaml")
        return Command(self._run_arguments(variant, file, self.suite, work), file)

    def _profile_command(self, variant: Variant, work: Path) -> Command:
        good = self._good_binding(variant)
        file = good.with_name(f"{variant.number:04}.yaml")
        if variant.turn % 9 == 4:
            return Command(["margin", str(file), "--points", "2", "--separator", "rephase"], file)
        binding = good.with_name(f"with-{file.name}")
        line = "profile: {}\n".format
        assert 1 == good.read_text().count(line("pal_dd"))
        binding.write_text(good.read_text().replace(line("pal_dd"), line(file.name)))
        return Command(self._run_arguments(variant, binding, self.suite, work), file)

    def _scenario_command(self, variant: Variant, work: Path) -> Command:
        file = work / "scenario.yaml"
        if variant.turn % 4 == 0:
            return Command(["trace", str(file)], file)
        if variant.turn % 4 == 1:
            return Command(["explain", str(file), "--around", "byte:1"], file)
        binding = self.cores / "reference" / "binding.yaml"
        return Command(self._run_arguments(variant, binding, file, work), file)

    def _check_command(self, variant: Variant, work: Path) -> Command:
        file = work / "check.yaml"
        binding = self.cores / "reference" / "binding.yaml"
        options = ["--host-speed", "normal", "--drive-speed", "0", "--sim", simulator(variant)]
        return Command(["protect", str(binding), "--check", str(file), *options], file)

    def _core_command(self, variant: Variant, work: Path) -> Command:
        file = self._core_to_break(variant, work)
        binding = file.with_name(self._good_binding(variant).name)
        return Command(self._run_arguments(variant, binding, self.suite, work), file)

    def _bind_command(self, variant: Variant, work: Path) -> Command:
        file = self._core_to_break(variant, work)
        return Command(["bind", *map(str, sorted(file.parent.glob("*.v")))], file)

    def _core_to_break(self, variant: Variant, work: Path) -> Path:
        """Copy a variant's core; return the source to break."""
        folder = work / "core"
        shutil.copytree(variant.good.parent, folder, ignore=shutil.ignore_patterns("__pycache__"))
        return folder / variant.good.name

    def _run_arguments(self, variant: Variant, binding: Path, suite: Path, work: Path) -> list[str]:
        options = ["--suite", str(suite), "--sim", simulator(variant), "--out", str(work / "out")]
        return ["run", str(binding), *options, *["--live"] * variant.live]

    def _ran(self, arguments: list[str], work: Path, patience: float) -> Ran:
        """Run a command in a fork of a process that has everything imported."""
        output = work / "output.txt"
        process = self._forks.Process(target=_child, args=(arguments, work, patience))
        process.start()
        process.join(TIME)
        status = process.exitcode
        for number in (signal.SIGTERM, signal.SIGKILL):
            if process.exitcode is None:
                os.kill(process.pid, number)  # SIGTERM ends the simulators first
                process.join(10)
        text = output.read_text(errors="replace")
        result = work / "out" / "result.json"
        told = json.loads(result.read_text()) if result.exists() else None
        records = {
            f"{path.parent.name}/{path.name}": path.read_bytes()
            for kind in RECORDS
            for path in (work / "tmp").glob(f"*/*/*.{kind}")
        }
        for path in (work / "tmp").glob("*/*/*.events"):
            with path.open("rb") as played:
                records[f"{path.parent.name}/{path.name}"] = played.readline()  # how many cycles
        shutil.rmtree(work / "tmp", ignore_errors=True)
        return Ran(status, text, told, records)


def _child(arguments: list[str], work: Path, patience: float) -> None:
    """Be the command: limits, outputs to a file, the simulator's records left where they are."""
    for limit, most in ((resource.RLIMIT_AS, MEMORY), (resource.RLIMIT_FSIZE, FILE)):
        resource.setrlimit(limit, (most, most))
    output = os.open(work / "output.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for descriptor in (1, 2):
        os.dup2(output, descriptor)
    os.environ["XDG_CACHE_HOME"] = str(work.parent / "cache")
    os.environ["TMPDIR"] = tempfile.tempdir = str(work / "tmp")
    os.cpu_count = lambda: 1  # one simulator plays the whole suite
    scratch.shutil = SimpleNamespace(rmtree=lambda *_, **__: None)  # type: ignore[attr-defined]
    whole = Session.run
    Session.run = lambda self, runs, timeout: whole(  # type: ignore[method-assign]
        self, runs, min(timeout, patience)
    )
    sys.argv = ["cellstep", *arguments]
    main()
