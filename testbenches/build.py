"""Builds a harness with either simulator, once for all sessions that share its folder.

Verilator leaves the compiling to make, which takes a path with a space for two. So make is told
of nothing by a path: it finds in its own folder what it reads, and only passes paths on, quoted, to
the shell.
"""

from __future__ import annotations

import fcntl
import os
import re
import shlex
import shutil
import subprocess
from codecs import BOM_UTF8
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path

from cocotb_tools import config

from refmodel.ground.processors import processors
from testbenches.job import Job

TIMESCALE = "1ns/1ns"
CFLAGS = "-std=c++20 -O2"
ICARUS = ["-g2012", "-grelative-include"]
VERILATOR = [
    "--timing",
    "--relative-includes",
    "--no-MMD",  # make could not read a core's path with a space in it
    "--no-skip-identical",
    "-O3",
    "--x-initial", "unique",
    "--x-assign", "unique",
    "--no-assert-case",
    "-Wno-fatal",
    "-Wno-lint",
    "-CFLAGS", CFLAGS,
    "--timescale", TIMESCALE,
]  # fmt: skip
PUBLIC = (  # of the harness: what a session reads and sets; all else stays hidden, and fast
    "go",
    "finished",
    "recording",
    "live",
    "run_index",
    "cycle",
    "answer",
    "two_beats",
    "host_*",
    "read_value*",
)
KIT = "kit"  # in the folder of a build: a link to where Verilator's own files lie
PRELUDE = "prelude.h"
HEADERS = '#include "verilated.h"\n#include "verilated_timing.h"\n#include "verilated_vpi.h"\n'


class BuildError(Exception):
    """A command of the build failed; its words are in the build log."""


def build(job: Job) -> None:
    """Build the job's harness unless it is built; raise BuildError when that fails."""
    done = job.build_dir / "built"
    with _alone(job.build_dir / "lock"):
        if done.exists():
            return
        job.build_log.unlink(missing_ok=True)
        (_icarus if job.simulator == "icarus" else _verilator)(job)
        done.touch()


def program(job: Job) -> list[str]:
    """Return the command that runs the built harness, before its plusargs."""
    if job.simulator == "icarus":
        library = str(config.lib_name_path("vpi", "icarus"))
        return ["vvp", "-m", library, str(job.build_dir / "sim.vvp")]
    return [str(job.build_dir / job.toplevel)]


def _icarus(job: Job) -> None:
    for source in job.sources:  # Icarus reads nothing of such a file, and does not say so
        with source.open("rb") as file:
            if file.read(len(BOM_UTF8)) == BOM_UTF8:
                raise BuildError(f"{source}:1: error: Icarus cannot read a byte order mark")
    settings = job.build_dir / "cmds.f"
    settings.write_text(f"+timescale+{TIMESCALE}\n")
    options = [*ICARUS, "-s", job.toplevel, "-f", str(settings), *_options(job)]
    _run(job, ["iverilog", "-o", "sim.vvp", *options, *map(str, job.sources)])


def _verilator(job: Job) -> None:
    """Translate to C++, compile, and link with what no core changes."""
    names = ["--top-module", job.toplevel, "--prefix", "Vtop", "-o", job.toplevel, "-Mdir", "."]
    main = shutil.copy(config.share_dir / "lib" / "verilator" / "verilator.cpp", job.build_dir)
    sources = [Path(main).name, _seen_by_python(job), *map(str, job.sources)]
    command = ["verilator", "-cc", "--exe", "--vpi", *names]
    _run(job, [*command, *VERILATOR, *_options(job), *sources])
    classes = (job.build_dir / "Vtop_classes.mk").read_text()
    runtime = _runtime(job, classes)
    objects = (_main(job, runtime), *sorted(runtime.glob("verilated*.o")))
    libraries = (f"-Wl,-rpath,{config.libs_dir}", f"-L{config.libs_dir}", "-lcocotbvpi_verilator")
    arguments = ["VM_GLOBAL_FAST=", "VM_USER_CLASSES="]
    arguments.append(f"USER_LDFLAGS={_quoted(*objects, *libraries)}")
    if "VM_PARALLEL_BUILDS = 0" in classes:  # else it is large, and has such a header of its own
        with suppress(BuildError):  # some machines refuse to load a compiled header
            _make(job, *arguments, f"OPT_FAST=-O2 {_quoted('-include', runtime / PRELUDE)}")
            return
    _make(job, *arguments)


def _quoted(*words: object) -> str:
    """Return words as make passes them on to the shell."""
    return shlex.join(map(str, words)).replace("$", "$$")


def _seen_by_python(job: Job) -> str:
    """Return the argument that makes signals public."""
    if job.all_public:
        return "--public-flat-rw"
    lines = [f'public_flat_rw -module "{job.toplevel}" -var "{name}"' for name in PUBLIC]
    (job.build_dir / "public.vlt").write_text("\n".join(("`verilator_config", *lines, "")))
    return "public.vlt"


def _runtime(job: Job, classes: str) -> Path:
    """Return the folder with what Verilator adds to every core, compiled once for all of them.

    That is the objects of its own library, and its headers: reading them takes longer than to
    compile a core.
    """
    listed = re.search(r"^VM_GLOBAL_FAST \+=((?: *\\\n *\w+)*)", classes, re.M)
    names = re.findall(r"\w+", listed[1]) if listed else []
    folder = job.runtime / _key(names)
    with _alone(folder.with_suffix(".lock")):
        if folder.exists():
            return folder
        part = folder.with_suffix(".part")
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir()
        (job.build_dir / PRELUDE).write_text(HEADERS)
        compiled = f"{PRELUDE}.fast.gch"
        made = [f"{name}.o" for name in names]
        _make(job, *made, compiled, "OPT_FAST=-O2")
        for name in (*made, PRELUDE):
            shutil.move(job.build_dir / name, part / name)
        shutil.move(job.build_dir / compiled, part / f"{PRELUDE}.gch")
        part.rename(folder)
    return folder


def _main(job: Job, runtime: Path) -> Path:
    """Return cocotb's main function, compiled once for all models that look alike from outside."""
    looks = sha256((job.build_dir / "Vtop.h").read_bytes()).hexdigest()[:20]
    main = runtime / f"main-{looks}.o"
    with _alone(main.with_suffix(".lock")):
        if not main.exists():
            _make(job, "verilator.o")
            part = main.with_suffix(".part")
            shutil.move(job.build_dir / "verilator.o", part)
            part.rename(main)
    return main


def _key(names: list[str]) -> str:
    """Return a short name for everything that makes one runtime differ from another."""
    programs = [Path(shutil.which(name) or name).resolve() for name in ("verilator", "c++")]
    seen = [(str(path), path.stat().st_mtime_ns) for path in programs]
    flags = [CFLAGS, *map(os.environ.get, ("CPPFLAGS", "CXXFLAGS"))]
    return sha256(repr((names, seen, flags, HEADERS)).encode()).hexdigest()[:20]


def _options(job: Job) -> list[str]:
    """Return the defines and include folders, as both simulators take them."""
    defines = [f"-D{name}={1 if v is None else v}" for name, v in job.defines.items()]
    return [*defines, *(f"-I{folder}" for folder in job.include_dirs)]


def _make(job: Job, *arguments: str) -> None:
    _run(job, ["make", "-f", "Vtop.mk", "CURDIR=.", f"-j{processors()}", *arguments])


def _run(job: Job, command: list[str]) -> None:
    """Run a command of the build in its folder; what it says goes to the build log."""
    with job.build_log.open("ab") as log:
        done = subprocess.run(
            command,
            cwd=job.build_dir,
            env={**os.environ, **_kit(job)},
            stdout=log,
            stderr=log,
            check=False,
        )
    if done.returncode:
        raise BuildError(f"{command[0]} failed")


def _kit(job: Job) -> dict[str, str]:
    """Link to Verilator's own files, if the environment says where they lie; return what to set."""
    root = os.environ.get("VERILATOR_ROOT")
    if not root:
        return {}
    link = job.build_dir / KIT
    if not link.is_symlink():
        link.symlink_to(root, target_is_directory=True)
    found = {"VERILATOR_ROOT": KIT}
    if (link / "bin" / "verilator_bin").exists():  # the script around it does not quote its path
        found["VERILATOR_BIN"] = f"{KIT}/bin/verilator_bin"
    return found


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Hold a lock: one process at a time."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
