"""Puts a generated input where the command reads it, and calls the command on it."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from command import COMMAND
from generated_cases import HERE, SCHEMAS, SIMULATED, STUBS, Case, command_line
from warm import Ran, Warm

from refmodel.drive.plan_file import PLANS
from refmodel.profile import PROFILES
from testbenches.toolchain import available, cache_folder

VERILATED = 40  # of so many cases in a simulator one runs on that which builds slowly
APART = 50  # of so many cases one is a process from the start, not a fork of a warm one
LIVE = 7  # of so many cases in a simulator one runs its host program live
IGNORED = shutil.ignore_patterns("__pycache__")


class Workshop:
    """A folder with good files; a case is one of them broken. `short` runs few in a simulator."""

    def __init__(self, folder: Path, short: bool) -> None:
        self.folder = folder
        self.short = short
        self.cores = folder / "cores"
        shutil.copytree(STUBS, self.cores, ignore=IGNORED)
        self.suite = folder / "suite"
        shutil.copytree(HERE / "suite", self.suite)
        library = cache_folder() / "runtime"  # compiling it anew takes a minute
        library.mkdir(parents=True, exist_ok=True)
        own = folder / "cache" / "cellstep" / "runtime"
        own.parent.mkdir(parents=True)
        own.symlink_to(library)
        self.environment = {"XDG_CACHE_HOME": str(folder / "cache")}
        self.warm = Warm(self.environment)
        self.dump = self._dumped()

    def close(self) -> None:
        """End the server."""
        self.warm.close()

    def run(self, case: Case) -> tuple[list[str], Ran]:
        """Call the command a case is for; return its words and what it did."""
        work = self.work(f"{case.number:04}")
        if case.kind == "words":
            words = command_line(case)
            self._lay_out(work)
        else:
            words, file, good = getattr(self, f"_{case.kind}")(case, work)
            file.write_bytes(case.content(good.read_text()))
        if case.number % APART == 1:
            return words, self._apart(words, work)
        return words, self.warm.call(words, work, work / "tmp")

    def work(self, name: str) -> Path:
        """Return a new folder to work in."""
        work = self.folder / name
        (work / "tmp").mkdir(parents=True)
        return work

    def simulator(self, case: Case) -> str:
        """Return what a case runs on, if it runs; empty if it is not to run in a simulator."""
        if self.short and (case.turn % SIMULATED != 0 or case.how.startswith("endless")):
            return ""
        slow = not self.short and case.number % VERILATED == 2
        return "verilator" if slow and "verilator" in available() else "icarus"

    def _apart(self, words: list[str], work: Path) -> Ran:
        """Call the command as a shell does."""
        environment = os.environ | self.environment | {"TMPDIR": str(work / "tmp")}
        done = subprocess.run(
            [*COMMAND, *words],
            cwd=work,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=300,
            check=False,
        )
        return Ran(done.returncode, done.stdout.decode(errors="replace"))

    def _dumped(self) -> str:
        """Return what a simulator dumps of the reference core in a bench it did not make."""
        work = self.work("dump")
        bench = self.vectors(self.suite / "tiny.yaml", self._reference, work)
        text = bench.read_text().rpartition("endmodule")
        dump = (
            'initial begin $dumpfile("dump.vcd"); $dumpvars(2, vectors_bench); #30000 $finish; end'
        )
        bench.write_text(f"{text[0]}{dump}\n{text[1]}{text[2]}")
        played(bench, sorted((self.cores / "reference").glob("*.v")))
        return (bench.parent / "dump.vcd").read_text()

    @property
    def _reference(self) -> Path:
        return self.cores / "reference" / "binding.yaml"

    def vectors(self, scenario: Path, binding: Path, work: Path) -> Path:
        """Return the bench that `cellstep vectors` writes, which may not be there."""
        words = ["vectors", str(scenario), "--binding", str(binding), "--out", "vectors"]
        self.warm.call(words, work, work / "tmp")
        return work / "vectors" / "vectors_bench.v"

    def _lay_out(self, work: Path) -> None:
        """Put a good file of each kind where the command lines name it."""
        shutil.copytree(self.cores / "reference", work, ignore=IGNORED, dirs_exist_ok=True)
        shutil.copytree(self.cores / "reference", work / "reference", ignore=IGNORED)
        shutil.copy(self.suite / "tiny.yaml", work / "scenario.yaml")
        shutil.copy(PROFILES / "pal_dd.yaml", work / "profile.yaml")
        shutil.copy(PLANS / "seven_pins.yaml", work / "plan.yaml")
        shutil.copy(HERE / "map.yml", work / "map.yaml")
        shutil.copy(HERE / "flux.txt", work)
        (work / "dump.vcd").write_text(self.dump)

    def _run(self, case: Case, binding: Path, suite: Path, other: list[str]) -> list[str]:
        """Return the words of a run, or of another command where no simulator is to start."""
        simulator = self.simulator(case)
        if not simulator:
            return other
        live = ["--live"] * (case.number % LIVE == 0)
        return [
            "run",
            str(binding),
            "--suite",
            str(suite),
            "--sim",
            simulator,
            "--out",
            "out",
            *live,
        ]

    def _vectors(self, binding: Path) -> list[str]:
        scenario = self.suite / "tiny.yaml"
        return ["vectors", str(scenario), "--binding", str(binding), "--out", "vectors"]

    def _binding(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        good = self.cores / case.good.relative_to(STUBS)
        file = good.with_name(f"{work.name}.yaml")
        return self._run(case, file, self.suite, self._vectors(file)), file, case.good

    def _profile(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        file = work / "profile.yaml"
        scenario = str(self.suite / "tiny.yaml")
        binding = self.cores / "reference" / f"with-{work.name}.yaml"
        text = (self.cores / "reference" / "binding.yaml").read_text()
        binding.write_text(text.replace("profile: pal_dd", f"profile: {file}"))
        ways = (
            ["trace", scenario, "--profile", str(file)],
            ["explain", scenario, "--around", "byte:2", "--profile", str(file)],
            ["margin", str(file), "--points", "2", "--separator", "rephase"],
            self._run(case, binding, self.suite, ["trace", scenario, "--profile", str(file)]),
        )
        return ways[case.turn % 4 - (self.short and case.turn % 4 == 2)], file, case.good

    def _scenario(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        file = work / "scenario.yaml"
        ways = (
            ["trace", str(file)],
            ["explain", str(file), "--around", "byte:1"],
            ["vectors", str(file), "--binding", str(self._reference), "--out", "vectors"],
            self._run(case, self._reference, file, ["track", str(file)]),
        )
        return ways[case.rng.randrange(4)], file, case.good

    def _check(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        file = work / "check.yaml"
        words = ["protect", str(self._reference), "--check", str(file), "--drive-speed", "0"]
        simulator = self.simulator(case)
        words += [
            "--host-speed",
            "normal",
            *(["--sim", simulator] if simulator else ["--rates", "1"]),
        ]
        return words, file, case.good

    def _map(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        (work / "dump.vcd").write_text(self.dump)
        command = "fit" if case.turn % 5 == 4 and not self.short else "check"
        return [command, "dump.vcd", "--map", "map.yaml"], work / "map.yaml", case.good

    def _capture(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        shutil.copy(HERE / "map.yml", work / "map.yaml")
        good = work / "good.vcd"
        good.write_text(self.dump)
        options = ["--draft"] if case.turn % 3 == 2 else ["--map", "map.yaml"]
        return ["check", "dump.vcd", *options], work / "dump.vcd", good

    def _plan(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        return ["link", "plan.yaml", *["--json"] * (case.turn % 2)], work / "plan.yaml", case.good

    def _flux(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        return ["track", "flux.txt", "--rate", "24000000"], work / "flux.txt", case.good

    def _wire(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        folder = work / "wire"
        shutil.copytree(case.good.parent, folder, ignore=IGNORED)
        return ["wire", "wire/wire.yaml", "--sim", "icarus"], folder / "wire.yaml", case.good

    def _verilog(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        folder = work / "core"
        shutil.copytree(case.good.parent, folder, ignore=IGNORED)
        binding = folder / "binding.yaml"
        bind = ["bind", *map(str, sorted(folder.glob("*.v")))]
        other = bind if case.rng.random() < 0.5 else self._vectors(binding)
        return self._run(case, binding, self.suite, other), folder / case.good.name, case.good

    def _vhdl(self, case: Case, work: Path) -> tuple[list[str], Path, Path]:
        folder = work / "core"
        shutil.copytree(case.good.parent, folder, ignore=IGNORED)
        bind = ["bind", *map(str, sorted(folder.glob("*.vhd")))]
        words = self._run(case, folder / "binding.yaml", self.suite, bind)
        return words, folder / case.good.name, case.good

    def plainly(self, words: list[str], case: Case) -> str:
        """Return what a bench without this project's harness says of a run's core: PASS, FAIL, ?.

        The vectors of the run's first scenario are played in Icarus on its own.
        """
        work = self.work(f"{case.number:04}-plain")
        binding, suite = Path(words[1]), Path(words[3])
        has_transfers = (binding.parent / "word_fifo.v").exists()
        tiny = suite / ("tiny_block.yaml" if has_transfers else "tiny.yaml")
        scenario = tiny if suite.is_dir() else suite
        bench = self.vectors(scenario, binding, work)
        sources = sorted(binding.parent.glob("*.v"))
        return played(bench, sources) if bench.exists() and sources else "?"


def played(bench: Path, sources: list[Path]) -> str:
    """Return the word a bench ends with on a core, `?` where it does not run to its end."""
    build = ["iverilog", "-g2012", "-s", "vectors_bench", "-o", "bench.vvp", bench.name]
    try:
        for command in ([*build, *map(str, sources)], ["vvp", "-n", "bench.vvp"]):
            done = subprocess.run(
                command, cwd=bench.parent, capture_output=True, timeout=60, check=True
            )
    except subprocess.SubprocessError:
        return "?"
    return next((word for word in ("FAIL", "PASS") if word.encode() in done.stdout), "?")


def told_in(case: Case) -> tuple[str, ...]:
    """Return the names of files of which a message about a case has one in it."""
    if case.kind not in SCHEMAS:
        return ("",)
    names = {"binding": (f"{case.number:04}.yaml",), "map": ("map.yaml", "dump.vcd")}
    return names.get(case.kind, (f"{case.kind}.yaml",))
