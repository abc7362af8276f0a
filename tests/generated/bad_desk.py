"""A folder with one good file of each kind that a command reads, under the names of the slots."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import yaml
from generated_cases import HERE, STUBS
from generated_run import IGNORED, played

from hdl_stubs.defects import REFERENCE
from refmodel.capture.opened import open_recording
from refmodel.drive.plan_file import PLANS
from refmodel.media.flux_list import read_flux
from refmodel.profile import PROFILES
from refmodel.protect.check import CHECKS
from refmodel.report.history import History

Call = Callable[..., object]
PROGRAMS = '''\
"""A host program of a user."""

from refmodel.host.program import Read


def own(count=10):
    """Read status some times."""
    for _ in range(count):
        yield Read("status", cost=32)
'''
SAMPLES = (  # what an analyser would have recorded of the dump: its names without their scope
    *("rst", "bit_stb", "bit_in", "adr", "rd", "wr", "din", "dout", "xfer_on", "wr_on", "ws"),
    "status",
)
CAPTURED = "name: captured\ntrack: {layout: capture, file: flux.txt}\n"
IMAGE = "name: image\ntrack: {layout: image, file: disk.img, sectors: 2, size: 512}\n"
OWN_PROGRAM = "name: own\ntrack: {layout: random, bits: 560}\nhost: {program: own}\n"


def lay_desk(desk: Path, bench: Path, call: Call) -> None:
    """Fill a new folder; `bench` is a vectors bench for the reference core, `call` the command."""
    for name in ("reference", "flux", "wire", "vhdl"):
        shutil.copytree(STUBS / name, desk / name, ignore=IGNORED)
    shutil.copytree(HERE / "suite", desk / "suite")
    for name in ("turning.yaml", "separated.yaml", "log.txt", "log_map.yml", "logged.txt"):
        shutil.copy(HERE / name, desk)
    for source, name in (
        (HERE / "suite" / "tiny.yaml", "scenario.yaml"),
        (PROFILES / "pal_dd.yaml", "profile.yaml"),
        (PLANS / "seven_pins.yaml", "plan.yaml"),
        (CHECKS / "01-long_cells.yaml", "check.yaml"),
        (HERE / "map.yml", "map.yaml"),
        (HERE / "flux.txt", "flux.txt"),
    ):
        shutil.copy(source, desk / name)
    _write_texts(desk)
    _write_lists(desk)
    _write_flux(desk)
    _dump(desk, bench)
    _write_samples(desk)
    _write_history(desk / "runs.sqlite")
    words = ["run", "reference/binding.yaml", "--suite", "scenario.yaml", "--sim", "icarus"]
    call([*words, "--out", "results"], desk)


def _write_texts(desk: Path) -> None:
    (desk / "programs.py").write_text(PROGRAMS)
    (desk / "captured.yaml").write_text(CAPTURED)
    (desk / "image.yaml").write_text(IMAGE)
    (desk / "own.yaml").write_text(OWN_PROGRAM)
    (desk / "disk.img").write_bytes(bytes(range(256)) * 4)
    for name, text in (
        ("reference/own.yaml", (REFERENCE / "binding.yaml").read_text()),
        ("own_map.yaml", (HERE / "map.yml").read_text()),
    ):
        path = "../profile.yaml" if "/" in name else "profile.yaml"
        (desk / name).write_text(text.replace("profile: pal_dd", f"profile: {path}"))


def _write_lists(desk: Path) -> None:
    """Write lists of the reference core's files, as other tools keep them."""
    names = [f"reference/{path.name}" for path in sorted((desk / "reference").glob("*.v"))]
    (desk / "files.f").write_text("+incdir+reference\n+define+BUILT=1\n" + "\n".join(names) + "\n")
    files = [{"name": name, "file_type": "verilogSource"} for name in names]
    metadata = {"version": "0.2.1", "name": "x", "toplevel": "disk_regs", "files": files}
    (desk / "core.eda.yml").write_text(yaml.safe_dump(metadata, sort_keys=False))


def _write_flux(desk: Path) -> None:
    """Write the captured flux as arrays and as a table, too."""
    flux = read_flux(desk / "flux.txt")
    np.save(desk / "flux.npy", flux.ns)
    np.savez(desk / "flux.npz", times=flux.ns, index=flux.index_ns)


def _dump(desk: Path, bench: Path) -> None:
    """Have a bench that Cellstep only wrote dump what the reference core does, in two forms."""
    head, end, tail = bench.read_text().rpartition("endmodule")
    dump = "initial begin $dumpfile({}); $dumpvars(2, vectors_bench); #30000 $finish; end"
    bench.write_text(f"{head}{dump.format(chr(34) + 'dump.vcd' + chr(34))}\n{end}{tail}")
    played(bench, sorted(REFERENCE.glob("*.v")))
    shutil.copy(bench.parent / "dump.vcd", desk)
    text = bench.read_text().replace("dump.vcd", "dump.fst")
    bench.write_text(text)
    build = ["iverilog", "-g2012", "-s", "vectors_bench", "-o", "bench.vvp", bench.name]
    here = {"cwd": bench.parent, "check": True, "stdout": subprocess.DEVNULL}
    subprocess.run([*build, *map(str, sorted(REFERENCE.glob("*.v")))], **here)
    subprocess.run(["vvp", "-n", "bench.vvp", "-fst"], **here)
    shutil.copy(bench.parent / "dump.fst", desk)


def _write_samples(desk: Path) -> None:
    """Write the dump as a table with a row a change, and its map."""
    signals = ["dut.clk", *(f"dut.{name}" for name in SAMPLES)]
    recording = open_recording(desk / "dump.vcd")
    known = {s: next(n for n in recording.signals if n.endswith(s)) for s in signals}
    changes: dict[float, dict[str, int]] = {}
    for piece in recording.pieces(list(known.values())):
        for short, name in known.items():
            found = piece.changes.get(name)
            for time, value, _ in zip(*found, strict=True) if found else ():
                changes.setdefault(float(time), {})[short] = int(value)
    lines = [",".join(["time", *(s.removeprefix("dut.") for s in signals)])]
    for time in sorted(changes):
        cells = (changes[time].get(short) for short in signals)
        lines.append(",".join([f"{time:g}", *("" if c is None else str(c) for c in cells)]))
    (desk / "samples.csv").write_text("\n".join(lines) + "\n")
    text = (HERE / "map.yml").read_text().replace("dut.", "")
    (desk / "samples.yaml").write_text(text)


def _write_history(path: Path) -> None:
    history = History(path, lambda _: None)
    run = history.begin("run", "reference/binding.yaml", "icarus", 1)
    history.add(run, 2, 1000, {"byte and read": 3})
    history.end(run, "agree", 1.0, summary="agree")
    history.close()


def tree(folder: Path) -> dict[str, object]:
    """Return what a folder holds, by name: kinds of things and contents of files."""
    return {
        str(path.relative_to(folder)): _held(path)
        for path in sorted(folder.rglob("*"))
        if not any(part.startswith("tmp") for part in path.relative_to(folder).parts[:1])
    }


def _held(path: Path) -> object:
    if path.is_symlink():
        return f"link to {path.readlink()}"
    if path.is_dir():
        return "folder"
    return path.stat().st_mode if not path.stat().st_mode & 0o400 else hash(path.read_bytes())


def as_json(text: str) -> object:
    """Return a file of JSON, or of JSON lines, as data."""
    lines = text.splitlines()
    return json.loads(text) if text.startswith("{\n") else [json.loads(line) for line in lines]
