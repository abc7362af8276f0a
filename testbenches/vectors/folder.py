"""Writes a scenario's vectors: lists for $readmemh, tables, a bench in Verilog and one in VHDL."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any

import numpy as np

import hdl_stubs
from refmodel.ground.errors import InputError, UserError, cannot_write
from refmodel.world.find import find_scenario
from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import Binding
from testbenches.harness import render, wiring
from testbenches.prepared import Preparation
from testbenches.suite import quiet
from testbenches.vectors.table import Heading, busy_edges, write_table
from testbenches.vectors.values import (
    VectorChanges,
    Vectors,
    refuse_acknowledge,
    refuse_skipped,
    vectors_of,
)
from testbenches.vectors.vhdl import vhdl_wiring

Write = Callable[[IO[str]], None]
BENCH = "vectors_bench"
MOST_EDGES = 2_000_000  # rows of edges.csv: about 200 MB


@dataclass(frozen=True)
class VectorsOrder:
    """What vectors are wanted of; a binding's own parameters are set where it is the user's."""

    scenario: str
    seed: int
    policies: dict[str, str]
    profile: str | None = None  # in place of the binding's
    own_core: bool = True


def shipped_ports() -> Path:
    """Return the binding whose ports the benches have when no core is named."""
    return Path(hdl_stubs.__file__).parent / "reference" / "binding.yaml"


def write_vectors(binding: Binding, order: VectorsOrder, folder: Path) -> list[str]:
    """Write a scenario's vectors for a core to a new folder; return the files' names.

    Raises UserError for a folder that exists, and for a scenario the core cannot take part in.
    """
    if folder.exists():
        raise UserError(f"--out {folder}: exists already; give the name of a new folder")
    if order.profile is not None:
        binding = binding.model_copy(update={"profile": _given_profile(order.profile)})
    refuse_acknowledge(binding)
    if binding.drive is not None:
        message = "vectors have no lines of a drive; give a binding without them"
        raise InputError([binding.document.problem(("drive",), message)])
    path, scenario = find_scenario(order.scenario)
    with tempfile.TemporaryDirectory(prefix="cellstep-") as work:
        side = Preparation(binding, Path(work), order.seed, order.policies)
        (prepared,) = side.prepare([(path, scenario)], quiet)
        refuse_skipped(prepared)
        vectors = vectors_of(side, prepared)
    profile = prepared.disk.profile
    heading = Heading(scenario.name, profile.name, order.seed, int(profile.clock_hz))
    ports = side.ports if order.own_core else replace(side.ports, parameters={})
    return _written(folder, _files(binding, ports, side, vectors, heading))


def _given_profile(name: str) -> str:
    """Return a profile's name, or its file's path from here: the binding's is from its folder."""
    return str(Path(name).absolute()) if Path(name).suffix in (".yaml", ".yml") else name


def _written(folder: Path, files: Iterable[tuple[str, Write]]) -> list[str]:
    """Write files beside the folder and rename it when all are whole; return their names."""
    names = []
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        new = Path(tempfile.mkdtemp(prefix=".new-", dir=folder.parent))
    except OSError as error:
        raise cannot_write("--out", folder, error) from None
    try:
        for name, write in files:
            with (new / name).open("w", encoding="ascii", newline="\n") as file:
                write(file)
            names.append(name)
        new.chmod(0o777 & ~_umask())
        new.rename(folder)
    finally:
        shutil.rmtree(new, ignore_errors=True)
    return names


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _files(
    binding: Binding, ports: CorePorts, side: Preparation, vectors: Vectors, heading: Heading
) -> Iterator[tuple[str, Write]]:
    """Yield the name of each file and what writes it."""
    drive = side.harness.drive
    width = max(1, sum(w.width for w in binding.recorded))
    yield "drive.hex", _list(_changes(vectors.drive, drive.width))
    yield "shown.hex", _list(_changes(vectors.shown, width))
    values = _values(binding, ports, side, vectors, heading)
    if values["reads"]:
        yield "reads.hex", _list(_read_rows(vectors, values["bus"]["read_width"]))
    if binding.memory is not None:
        yield "memory.hex", _list(f"{word:04x}" for word in vectors.memory.tolist())
    if values["moves"]:
        yield "moves.hex", _list(_move_rows(vectors))
    yield f"{BENCH}.v", _text(render("vectors/bench.v.j2", values))
    if values["vhdl"]:
        vhdl = values | vhdl_wiring(binding, ports, values, vectors)
        yield f"{BENCH}.vhd", _text(render("vectors/bench.vhd.j2", vhdl))
    layout = side.profile.status
    busy = "an edge on which something happens"
    yield (
        "changes.csv",
        lambda file: write_table(file, vectors, layout, heading, busy_edges(vectors), busy),
    )
    if vectors.cycles <= MOST_EDGES:
        edges = np.arange(vectors.cycles, dtype=np.int64)
        yield (
            "edges.csv",
            lambda file: write_table(file, vectors, layout, heading, edges, "an edge"),
        )
    yield "README.txt", _text(render("vectors/README.txt.j2", values))


def _values(
    binding: Binding, ports: CorePorts, side: Preparation, vectors: Vectors, heading: Heading
) -> dict[str, Any]:
    """Return what the benches' templates are filled with."""
    values = wiring(binding, ports, side.harness.drive)
    values["observed"] = _observed(binding, values["observed"])
    own = binding.bus
    readable = own is not None and (own.read_data is not None or own.data is not None)
    return values | {
        "bench": BENCH,
        "scenario": heading.scenario,
        "heading": heading,
        "v": vectors,
        "width": values["observed_width"],
        "reads": len(vectors.reads.cycle) if readable else 0,
        "moves": None if vectors.moves is None else len(vectors.moves),
        "sources": [str(path) for path in ports.sources],
        "include_dirs": [str(path) for path in ports.include_dirs],
        "defines": binding.core.defines,
        "vhdl": _in_vhdl(binding, values),
        "per_edge": vectors.cycles <= MOST_EDGES,
    }


def _in_vhdl(binding: Binding, values: dict[str, Any]) -> bool:
    """Return whether the bench in VHDL can play a core: one of status alone, on a plain clock."""
    bus = values["bus"]
    odd_bus = bus and (bus["shared"] or bus["asynchronous"] or bus["read"] != "read_lines")
    late = values["late_reset"] or values["straight"] or values["late_gates"]
    own_clock = values["irregular"] or binding.clock.divide > 1
    beside = binding.memory is not None or bool(binding.channel_bit_observed)
    return not (odd_bus or late or own_clock or beside)


def _observed(binding: Binding, expressions: list[str]) -> list[str]:
    """Return the observed expressions; a channel bit's value counts while its strobe is on."""
    if not binding.channel_bit_observed:
        return expressions
    *others, strobe, value = expressions
    return [*others, strobe, f"({strobe} & {value})"]


def _changes(changes: VectorChanges, width: int) -> Iterator[str]:
    """Yield cycle and word as one number in hex, the word below the upper 32 bits."""
    for cycle, word in zip(changes.cycle.tolist(), changes.word.tolist(), strict=True):
        yield f"{cycle << width | word:0{(width + 35) // 4}x}"


def _read_rows(vectors: Vectors, width: int) -> Iterator[str]:
    reads = vectors.reads
    rows = zip(reads.cycle.tolist(), reads.mask.tolist(), reads.value.tolist(), strict=True)
    for cycle, mask, value in rows:
        yield f"{(cycle << width | mask) << width | value:0{(32 + 2 * width + 3) // 4}x}"


def _move_rows(vectors: Vectors) -> Iterator[str]:
    moves = vectors.moves
    assert moves is not None, "written only where words move"
    columns = (moves.cycle, moves.store, moves.place, moves.word)
    for cycle, store, place, word in zip(*(c.tolist() for c in columns), strict=True):
        yield f"{((cycle << 1 | store) << 32 | place) << 16 | word:021x}"


def _list(rows: Iterable[str]) -> Write:
    return lambda file: file.writelines(f"{row}\n" for row in rows)


def _text(text: str) -> Write:
    def put(file: IO[str]) -> None:
        file.write(text)

    return put
