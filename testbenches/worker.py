"""The worker process: builds one harness, unless it is built, and becomes its simulator."""

from __future__ import annotations

import errno
import os
import sys
from contextlib import suppress
from importlib.machinery import PathFinder
from pathlib import Path

import find_libpython
from cocotb_tools import config

from testbenches.build import BuildError, build, program
from testbenches.job import BUILD_FAILED, DISK_FULL, Job
from testbenches.offspring import die_with_parent, limit_memory


def session(job: Job, entry: Path) -> tuple[list[str], dict[str, str]]:
    """Return the command of the simulation, and the environment in which cocotb starts the test.

    These are the settings of cocotb's manual, "Extending existing build flows". Its own runner
    does the same, but imports all of cocotb and pytest for it.
    """
    arguments = [f"+{job.toplevel}={job.folder}"]
    environment = {
        "GPI_USERS": f"{find_libpython.find_libpython()};{_entry_point()}",
        "PYGPI_PYTHON_BIN": sys.executable,
        "PYTHONPATH": os.pathsep.join(sys.path),
        "TOPLEVEL_LANG": "verilog",
        "COCOTB_TOPLEVEL": job.toplevel,
        "COCOTB_TEST_MODULES": job.test_module,
        "COCOTB_RANDOM_SEED": str(job.seed),
        "COCOTB_RESULTS_FILE": str(job.report),
        "COCOTB_REWRITE_ASSERTION_FILES": "",  # rewriting all it imports takes a second
        "CELLSTEP_JOB": str(job.file),
        "OPENBLAS_NUM_THREADS": "1",  # each thread's memory counts, and there is nothing to share
    }
    if job.simulator == "icarus":
        arguments += [] if job.traced else ["-none"]  # no waves
    else:
        arguments += ["+verilator+rand+reset+2", f"+verilator+seed+{job.seed % (1 << 31) + 1}"]
        environment["COCOTB_TRUST_INERTIAL_WRITES"] = "1"
        if job.coverage:
            arguments.append(f"+verilator+coverage+file+{job.coverage_file}")
    return [*program(job, entry), *arguments], environment


def _entry_point() -> str:
    """Return where the simulator enters Python: cocotb's own library, found without importing."""
    found = PathFinder.find_spec("cocotb.simulator", [str(config.base_cocotb_dir)])
    if found is None:
        raise BuildError("cocotb has no library for simulators")
    return f"{found.origin},initialize"


def main(path: str) -> None:
    """Do the job that lies in a file; end with BUILD_FAILED or DISK_FULL when it cannot."""
    die_with_parent()
    job = Job.read(path)
    try:
        entry = build(job)
        if job.builds_only:
            return
        command, settings = session(job, entry)
        job.built.touch()
    except BuildError as error:
        print(error)
        sys.exit(BUILD_FAILED)
    except OSError as error:
        print(f"{error.filename or job.build_dir}: {error.strerror or error}")
        sys.exit(DISK_FULL if error.errno in (errno.ENOSPC, errno.EDQUOT) else BUILD_FAILED)
    own = {k: v for k, v in os.environ.items() if not k.startswith(("COCOTB_", "GPI_"))}
    os.chdir(job.folder)
    with suppress(OSError):  # it may be gone by now
        os.chdir(job.place or job.folder)
    limit_memory()
    os.execvpe(command[0], command, {**own, **settings})


if __name__ == "__main__":
    main(sys.argv[1])
