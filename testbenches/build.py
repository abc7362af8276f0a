"""Builds a harness with either simulator, once for all sessions that share its folder.

Verilator leaves the compiling to make, which takes a path with a space for two. So make is given
of nothing by a path: it finds in its own folder what it reads, and only passes paths on, quoted, to
the shell.
"""

from __future__ import annotations

import errno
import os
import re
import shlex
import shutil
import subprocess
from codecs import BOM_UTF8
from contextlib import suppress
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from cocotb_tools import config

from refmodel.ground.processors import processors
from testbenches.job import Job
from testbenches.offspring import limited_child
from testbenches.shelf import Made, NoPlaceError, Shelf, UnsettledError, refuse_full

TIMESCALE = "1ns/1ns"
CFLAGS = "-std=c++20 -O2"
ICARUS = ["-g2012", "-grelative-include"]
VERILATOR = [
    "--timing",
    "--relative-includes",
    "--no-MMD",  # make could not read a core's path with a space in it
    "-O3",
    "--x-initial", "unique",
    "--x-assign", "unique",
    "--no-assert-case",
    "-Wno-fatal",
    "-Wno-lint",
    "-CFLAGS", CFLAGS,
    "--timescale", TIMESCALE,
]  # fmt: skip
COVERAGE = ("--coverage-line", "--coverage-toggle")
WAVES = ("--trace-vcd",)
PUBLIC = (  # of the harness: what a session reads and sets; all else stays hidden, and fast
    "go",
    "finished",
    "ends_in",
    "recording",
    "live",
    "run_index",
    "cycle",
    "answer",
    "two_bus_cycles",
    "host_*",
    "window_*",
    "read_value*",
    "stuck",
    "ack_cycle*",
    "begun*",
    "mutant",
    "against",
    "tracing",
    "marked_cycle",
    "cycle_now",
)
ELSEWHERE = "link the folder under another name, and bind that"
NO_SPACE = b"No space left on device"  # as the tools of a build say it
KIT = "kit"  # in the folder of a build: a link to where Verilator's own files lie
PRELUDE = "prelude.h"
MAIN = "verilator.o"
PROGRAM = "sim.vvp"  # what Icarus builds
FILES_READ = "files-read.txt"  # where Icarus lists them
_VERILATOR_READ = re.compile(r'^S .*? "[^"]*" "(.*)"$', re.M)  # in what it keeps of its own run
HEADERS = '#include "verilated.h"\n#include "verilated_timing.h"\n#include "verilated_vpi.h"\n'


class BuildError(Exception):
    """A command of the build failed; its words are in the build log."""


def build(job: Job) -> Path:
    """Build the job's harness unless it is built; return the folder that `program` runs it from.

    Where the cache cannot be written, it is built in the job's own folder. Raises BuildError when a
    command fails or the sources change all the time, OSError on a full disk.
    """
    job.build_log.unlink(missing_ok=True)
    try:
        return _built(job)
    except NoPlaceError:
        return _built(replace(job, build_dir=job.folder / "build", runtime=job.folder / "runtime"))
    except UnsettledError:
        raise BuildError("the core's sources change while they are built; run again") from None


def _built(job: Job) -> Path:
    make = _icarus if job.simulator == "icarus" else _verilator

    def made(folder: Path) -> Made:
        for name, text in job.written.items():
            (folder / name).write_text(text, encoding="utf-8")
        try:
            return make(job, folder)
        except BuildError:
            refuse_full(folder)  # then the command is not to blame
            log = job.build_log  # a linker takes away what it had no room for
            if log.exists() and NO_SPACE in log.read_bytes():
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder)) from None
            raise

    return Shelf(job.build_dir).get(made, job.sources)


def program(job: Job, entry: Path) -> list[str]:
    """Return the command that runs what was built in a folder, before its plusargs."""
    if job.simulator == "icarus":
        library = str(config.lib_name_path("vpi", "icarus"))
        return ["vvp", "-n", "-m", library, str(entry / PROGRAM)]
    return [str(entry / job.toplevel)]


def _icarus(job: Job, folder: Path) -> Made:
    for source in job.sources:  # Icarus reads nothing of such a file, and does not say so
        with source.open("rb") as file:
            if file.read(len(BOM_UTF8)) == BOM_UTF8:
                raise BuildError(f"{source}:1: error: Icarus cannot read a byte order mark")
    (folder / "cmds.f").write_text(f"+timescale+{TIMESCALE}\n")
    options = [*ICARUS, "-s", job.toplevel, "-f", "cmds.f", f"-Mall={FILES_READ}", *_options(job)]
    _run(job, folder, ["iverilog", "-o", PROGRAM, *options, *_sources(job)])
    if not _is_whole(folder / PROGRAM):
        raise BuildError(f"{folder / PROGRAM}: Icarus has not written all of it")
    listed = (folder / FILES_READ).read_text(errors="surrogateescape").splitlines()
    return _made(job, folder, PROGRAM, listed)


def _is_whole(path: Path) -> bool:
    """Return whether a program of Icarus has all its lines: the last name the files it is of."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - (1 << 16)))
        head, found, tail = file.read().rpartition(b":file_names ")
    count, _, names = tail.partition(b";")
    return bool(found and head) and tail.endswith(b'";\n') and names.count(b'";\n') == int(count)


def _verilator(job: Job, folder: Path) -> Made:
    """Translate to C++, compile, and link with what no core changes."""
    for path in (*job.sources, *job.include_dirs):
        if _is_expanded(str(path)):
            raise BuildError(f"error: {path}: Verilator takes the $ for a variable's; {ELSEWHERE}")
    names = ["--top-module", job.toplevel, "--prefix", "Vtop", "-o", job.toplevel, "-Mdir", "."]
    main = shutil.copy(config.share_dir / "lib" / "verilator" / "verilator.cpp", folder)
    sources = [Path(main).name, _seen_by_python(job, folder), *_sources(job)]
    more = (*(COVERAGE if job.coverage else ()), *(WAVES if job.traced else ()))
    command = ["verilator", "-cc", "--exe", "--vpi", *names, *more]
    _run(job, folder, [*command, *VERILATOR, *_options(job), *sources])
    listed = _VERILATOR_READ.findall((folder / "Vtop__verFiles.dat").read_text(errors="replace"))
    classes = (folder / "Vtop_classes.mk").read_text()
    runtime = _runtime(job, folder, classes)
    objects = (_main(job, folder, runtime), *sorted(runtime.glob("verilated*.o")))
    libraries = (f"-Wl,-rpath,{config.libs_dir}", f"-L{config.libs_dir}", "-lcocotbvpi_verilator")
    arguments = ["VM_GLOBAL_FAST=", "VM_USER_CLASSES="]
    arguments.append(f"USER_LDFLAGS={_quoted(*objects, *libraries)}")
    if "VM_PARALLEL_BUILDS = 0" in classes:  # else it is large, and has such a header of its own
        with suppress(BuildError):  # some machines refuse to load a compiled header
            _make(job, folder, *arguments, f"OPT_FAST=-O2 {_quoted('-include', runtime / PRELUDE)}")
            return _made(job, folder, job.toplevel, listed)
    _make(job, folder, *arguments)
    return _made(job, folder, job.toplevel, listed)


def _sources(job: Job) -> list[str]:
    """Return the core's sources, and after them what is written beside the build."""
    return [*map(str, job.sources), *job.written]


def _made(job: Job, folder: Path, product: str, listed: list[str]) -> Made:
    """Return what a build leaves: of the files its tool has listed, those that are not its own."""
    own = [folder.resolve(), *map(Path, filter(None, [os.environ.get("VERILATOR_ROOT")]))]
    own += [root.resolve() for root in own]
    paths = dict.fromkeys(Path(os.path.normpath(folder / name)) for name in listed)
    read = [path for path in paths if not any(path.is_relative_to(root) for root in own)]
    folders = dict.fromkeys((*(source.parent for source in job.sources), *job.include_dirs))
    found = {path.name for path in {*read} - {*job.sources}}
    beside = (place / name for place in folders for name in sorted(found))
    return Made((product,), tuple(read), tuple(p for p in beside if not os.path.lexists(p)))


def _is_expanded(path: str) -> bool:
    """Return whether Verilator puts the value of a variable into a path, or drops its brackets."""
    named = re.findall(r"\$(\w+)", path)
    return any(name in os.environ for name in named) or bool(re.search(r"\$[({]", path))


def _quoted(*words: object) -> str:
    """Return words as make passes them on to the shell."""
    return shlex.join(map(str, words)).replace("$", "$$")


def _seen_by_python(job: Job, folder: Path) -> str:
    """Return the argument that makes signals public."""
    if job.all_public:
        return "--public-flat-rw"
    lines = [f'public_flat_rw -module "{job.toplevel}" -var "{name}"' for name in PUBLIC]
    (folder / "public.vlt").write_text("\n".join(("`verilator_config", *lines, "")))
    return "public.vlt"


def _runtime(job: Job, folder: Path, classes: str) -> Path:
    """Return the folder with what Verilator adds to every core, compiled once for all of them.

    That is the objects of its own library, and its headers: reading them takes longer than to
    compile a core.
    """
    listed = re.search(r"^VM_GLOBAL_FAST \+=((?: *\\\n *\w+)*)", classes, re.M)
    names = re.findall(r"\w+", listed[1]) if listed else []

    def made(part: Path) -> Made:
        (folder / PRELUDE).write_text(HEADERS)
        compiled = f"{PRELUDE}.fast.gch"
        objects = [f"{name}.o" for name in names]
        _make(job, folder, *objects, compiled, "OPT_FAST=-O2")
        for name in (*objects, PRELUDE):
            shutil.move(folder / name, part / name)
        shutil.move(folder / compiled, part / f"{PRELUDE}.gch")
        return Made((*objects, PRELUDE, f"{PRELUDE}.gch"))

    return Shelf(job.runtime / _key(names)).get(made)


def _main(job: Job, folder: Path, runtime: Path) -> Path:
    """Return cocotb's main function, compiled once for all models that look alike from outside."""
    looks = sha256((folder / "Vtop.h").read_bytes()).hexdigest()[:20]

    def made(part: Path) -> Made:
        _make(job, folder, MAIN)
        shutil.move(folder / MAIN, part / MAIN)
        return Made((MAIN,))

    return Shelf(job.runtime / f"main-{runtime.parent.name}-{looks}").get(made) / MAIN


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


def _make(job: Job, folder: Path, *arguments: str) -> None:
    _run(job, folder, ["make", "-f", "Vtop.mk", "CURDIR=.", f"-j{processors()}", *arguments])


def _run(job: Job, folder: Path, command: list[str]) -> None:
    """Run a command of the build in its folder; what it says goes to the build log."""
    with job.build_log.open("ab") as log:
        done = subprocess.run(
            command,
            cwd=folder,
            env={**os.environ, **_kit(folder), "LC_ALL": "C.UTF-8"},
            stdout=log,
            stderr=log,
            check=False,
            preexec_fn=limited_child,
        )
    if done.returncode:
        raise BuildError(f"{command[0]} failed")


def _kit(folder: Path) -> dict[str, str]:
    """Link to Verilator's own files, if the environment says where they lie; return what to set."""
    root = os.environ.get("VERILATOR_ROOT")
    if not root:
        return {}
    link = folder / KIT
    if not link.is_symlink():
        link.symlink_to(root, target_is_directory=True)
    found = {"VERILATOR_ROOT": KIT}
    if (link / "bin" / "verilator_bin").exists():  # the script around it does not quote its path
        found["VERILATOR_BIN"] = f"{KIT}/bin/verilator_bin"
    return found
