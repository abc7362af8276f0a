"""The worker process: builds one harness, unless it is built already, and runs one session."""

from __future__ import annotations

import fcntl
import os
import sys
from pathlib import Path

from cocotb_tools.check_results import get_results
from cocotb_tools.runner import Icarus, Runner, Verilator

from testbenches.job import BUILD_FAILED, Job

ICARUS = ["-g2012"]
VERILATOR = [
    "--timing",
    "-O3",
    "--x-initial", "unique",
    "--x-assign", "unique",
    "--no-assert-case",
    "-Wno-fatal",
    "-Wno-lint",
    "-CFLAGS", "-std=c++20 -O2",
]  # fmt: skip
PUBLIC = (  # of the harness: what a session reads and sets
    "go",
    "finished",
    "recording",
    "live",
    "run_index",
    "cycle",
    "answer",
    "request",
    "two_beats",
    "host_*",
    "read_value*",
)


class FastVerilator(Verilator):
    """cocotb's runner, with only the harness's controls made public: the core runs faster."""

    def _build_command(self) -> list[list[str]]:
        commands = super()._build_command()
        return [[arg for arg in command if arg != "--public-flat-rw"] for command in commands]


def build(job: Job, runner: Runner) -> None:
    """Build the harness into the job's build folder, once for all who share the folder."""
    done = job.build_dir / "built"
    with (job.build_dir / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if done.exists():
            return
        sources: list[Path] = list(job.sources)
        if job.simulator == "verilator" and not job.all_public:
            public = job.build_dir / "public.vlt"
            lines = [f'public_flat_rw -module "{job.toplevel}" -var "{name}"' for name in PUBLIC]
            public.write_text("\n".join(("`verilator_config", *lines, "")))
            sources.insert(0, public)
        runner.build(
            sources=sources,
            includes=list(job.include_dirs),
            defines={k: 1 if v is None else v for k, v in job.defines.items()},
            hdl_toplevel=job.toplevel,
            build_args=ICARUS if job.simulator == "icarus" else VERILATOR,
            build_dir=job.build_dir,
            always=True,
            timescale=("1ns", "1ns"),
            log_file=job.build_dir / "build.log",
        )
        done.touch()


def play(job: Job, runner: Runner) -> int:
    """Run the session; return how many of its tests failed."""
    runner.build_dir = job.build_dir
    arguments = [f"+cellstep_dir={job.folder}"]
    if job.simulator == "verilator":
        arguments += ["+verilator+rand+reset+2", f"+verilator+seed+{job.seed % (1 << 31) + 1}"]
    results = runner.test(
        hdl_toplevel=job.toplevel,
        hdl_toplevel_lang="verilog",
        test_module=job.test_module,
        build_dir=job.build_dir,
        test_dir=job.folder,
        results_xml=str(job.folder / f"results-{job.number}.xml"),
        plusargs=arguments,
        seed=job.seed,
    )
    ran, failed = get_results(results)
    return failed if ran else 1


def main(path: str) -> int:
    """Do the job that lies in a file; return the exit status the parent expects."""
    job = Job.read(path)
    for name in [n for n in os.environ if n.startswith("COCOTB_") or n == "GPI_EXTRA"]:
        del os.environ[name]
    os.environ["CELLSTEP_JOB"] = path
    os.environ["COCOTB_REWRITE_ASSERTION_FILES"] = ""  # rewriting all it imports takes a second
    public = Verilator if job.all_public else FastVerilator
    runner = Icarus() if job.simulator == "icarus" else public()
    try:
        build(job, runner)
    except (RuntimeError, SystemExit) as error:
        print(error)
        return BUILD_FAILED
    return 1 if play(job, runner) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
