"""A core's own two-wire controller on the bus, in a simulator: every edge against the table."""

from __future__ import annotations

import hashlib
import json
import subprocess
import tempfile
from dataclasses import dataclass
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined

from refmodel.drive.two_wire import BusTimes, times_of
from refmodel.drive.wire import Message, Sample, WireFault, check, decode, stretches
from refmodel.ground.errors import CannotRun
from testbenches.hdl.elaborate import Design
from testbenches.job import BUILD_FAILED, Job
from testbenches.simulator import Session, said
from testbenches.toolchain import cache_folder, need
from testbenches.wire_binding import WireBinding, render_values

Plan = dict[str, Any]  # as JSON carries it
RUN_SECONDS = 300
HARNESS = "cellstep_harness"
LONG_ENOUGH = 4  # transfers for each change of the outputs


@dataclass(frozen=True)
class Target:
    """How the expander behaves: what its pins are, whether it is deaf, how long it holds SCL."""

    pins: int = 0xA55A
    deaf: bool = False
    stretch_cycles: int = 0
    address: int | None = None  # None: where the core looks for it


@dataclass(frozen=True)
class WireRun:
    """What a run on one simulator showed."""

    simulator: str
    samples: list[Sample]
    faults: list[WireFault]
    messages: list[Message]
    wanted: list[int]  # outputs the core was given, in order
    outputs: list[int]  # outputs the expander came to drive, in order
    inputs: int  # what the core has of the expander's pins

    @property
    def problems(self) -> list[str]:
        """What does not agree, a line each; empty when all does."""
        lines = [fault.described for fault in self.faults]
        last = self.wanted[-1]
        if not self.messages:
            lines.append("the core made no transfer")
        elif not self.outputs or self.outputs[-1] != last:
            shown = f"{self.outputs[-1]:#06x}" if self.outputs else "nothing"
            lines.append(f"the expander drives {shown} at the end, the core was given {last:#06x}")
        return lines


class _WireSession(Session):
    """A simulator session of a harness that is not made from a block's binding."""

    def __init__(self, simulator: str) -> None:
        self.simulator = simulator
        self._process = None
        self._log = None
        self._bench = None  # it keeps no snapshots

    def play(self, job: Job) -> int:
        """Build and run the job; return the worker's exit status.

        Raises CannotRun when it has not ended after RUN_SECONDS.
        """
        self.start(job)
        try:
            return self.wait(RUN_SECONDS)
        except subprocess.TimeoutExpired:
            raise CannotRun(f"{self.simulator}: no end after {RUN_SECONDS} s") from None
        finally:
            self.stop()


def run_wire(
    binding: WireBinding,
    design: Design,
    sources: list[Path],
    simulator: str,
    target: Target | None = None,
) -> WireRun:
    """Give the core outputs to send, let an expander answer, and check every edge.

    Raises CannotRun when the core does not build, or the simulation does not end well.
    """
    target = target or Target()
    times = times_of(binding.speed)
    with tempfile.TemporaryDirectory(prefix="cellstep-", ignore_cleanup_errors=True) as folder:
        work = Path(folder)
        job = _job(binding, design, sources, simulator, work)
        plan = _plan(binding, times, target)
        (work / "plan.json").write_text(json.dumps(plan))
        job.write([])
        status = _WireSession(simulator).play(job)
        if not (work / "done").exists():
            why = "the core does not build" if status == BUILD_FAILED else "the simulation ended"
            raise CannotRun(f"{simulator}: {why}:\n{said(job)}")
        found = json.loads((work / "wire.json").read_text())
    return _result(binding, times, simulator, plan, found)


def _plan(binding: WireBinding, times: BusTimes, target: Target) -> Plan:
    """Return what is played: outputs one after another, each with time enough."""
    transfer_ns = 50 * times.period + 36 * float(binding.cycle_ns) * target.stretch_cycles
    apart = int(LONG_ENOUGH * transfer_ns / float(binding.cycle_ns)) + 1
    values = [0x0001, 0x8001, 0x80FF, 0x5A3C]
    return {
        "address": binding.address if target.address is None else target.address,
        "inputs": target.pins,
        "deaf": target.deaf,
        "stretch": target.stretch_cycles,
        "changes": [(binding.reset.cycles + 1 + n * apart, v) for n, v in enumerate(values)],
        "cycles": binding.reset.cycles + (len(values) + 1) * apart,
    }


def _result(
    binding: WireBinding,
    times: BusTimes,
    simulator: str,
    plan: dict[str, Any],
    found: dict[str, Any],
) -> WireRun:
    """Return the run's edges in nanoseconds, and what they say."""
    ns = float(binding.cycle_ns)
    edges = [(cycle * ns, seen) for cycle, seen in found["edges"]]
    samples = [Sample(0, 1, 1)]
    for at, seen in edges:
        sample = Sample(at, seen >> 1 & 1, seen & 1)
        if sample[1:] != samples[-1][1:]:
            samples.append(sample)
    last = next((n for n in range(len(samples) - 1, 0, -1) if _stops(samples, n)), len(samples))
    whole = samples[: last + 1]  # a transfer under way at the end is not judged
    faults = check(whole, times, plan["address"])
    pulls = [(at, seen >> 3 & 1) for at, seen in edges]
    turned = [now for before, now in pairwise(pulls) if before[1] != now[1]]
    faults += stretches(turned, whole, times)
    return WireRun(
        simulator,
        samples,
        sorted(faults, key=lambda fault: fault.ns),
        decode(whole),
        [value for _, value in plan["changes"]],
        [value for _, value in found["outputs"]],
        found["inputs"],
    )


def _stops(samples: list[Sample], n: int) -> bool:
    """Return whether sample `n` is a STOP."""
    before, now = samples[n - 1], samples[n]
    return bool(before.scl and now.scl and now.sda > before.sda)


def _job(
    binding: WireBinding, design: Design, sources: list[Path], simulator: str, work: Path
) -> Job:
    """Return what to build and run."""
    template = (resources.files("testbenches") / "wire.sv.j2").read_text()
    environment = Environment(undefined=StrictUndefined, keep_trailing_newline=True)
    source = environment.from_string(template).render(**render_values(binding, design))
    texts = [path.read_bytes() for path in dict.fromkeys((*sources, *design.files))]
    key = hashlib.sha256(repr((need(simulator).mark, source, sources, texts)).encode())
    cache = cache_folder()
    return Job(
        simulator,
        HARNESS,
        tuple(sources),
        (),
        dict(binding.core.defines),
        (cache / "builds" / key.hexdigest()[:20]).resolve(),
        (cache / "runtime").resolve(),
        work.resolve(),
        1,
        0,
        {"harness.sv": source},
        "testbenches.wire_tests",
    )
