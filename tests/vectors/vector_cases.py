"""Shared by the tests of vectors: a core's files, and how its bench is built and run outside."""

import os
import subprocess
from pathlib import Path

import hdl_stubs
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.toolchain import simulator_environment
from testbenches.vectors.folder import BENCH, VectorsOrder, write_vectors

STUBS = Path(hdl_stubs.__file__).parent


def written(binding, scenario, folder, **policies):
    """Write the vectors of a scenario for a core; return the folder and the core's files."""
    core = load_binding(binding)
    write_vectors(core, VectorsOrder(scenario, 1, policies), folder)
    return folder, preflight(core).sources


def said(simulator, folder, sources):
    """Build the Verilog bench with a simulator, run it, and return what it prints.

    Nothing of Cellstep takes part, and no Python: PYTHONHOME would stop any that started.
    """
    bench = [str(folder / f"{BENCH}.v"), *map(str, sources)]
    if simulator == "icarus":
        build = ["iverilog", "-g2005", "-o", "bench", "-s", BENCH, *bench]
        run = ["vvp", "-n", "bench"]
    else:
        options = ["-Wno-fatal", "-Wno-lint", "--top-module", BENCH, "-CFLAGS", "-O0"]
        build = ["verilator", "--binary", "--timing", *options, *bench]
        run = [f"obj_dir/V{BENCH}"]
    environment = {**os.environ, **simulator_environment(simulator)}
    environment["MAKEFLAGS"] = environment.get("MAKEFLAGS", "") + " CFG_CXXFLAGS_COROUTINES="
    subprocess.run(build, cwd=folder, env=environment, check=True, capture_output=True)
    alone = {**environment, "PYTHONHOME": "/nowhere"}
    done = subprocess.run(run, cwd=folder, env=alone, check=True, capture_output=True, text=True)
    return done.stdout
