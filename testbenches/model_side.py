"""What the model does in a run of a core, without the core: its cycles are those of the run."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from refmodel.ground.errors import UserError
from refmodel.world.disk import Disk
from refmodel.world.find import find_scenario
from refmodel.world.spans import Span, through
from testbenches.binding.load import load_binding
from testbenches.prepared import Preparation
from testbenches.suite import quiet


def model_side(
    binding_path: Path, scenario: str, policies: dict[str, str], seed: int
) -> tuple[Disk, Iterator[Span]]:
    """Return the disk of a run and the model's way through it: bus, reset and inputs as bound.

    Raises UserError for a core with a separator of its own: its channel bits are not the model's.
    """
    binding = load_binding(binding_path)
    if binding.pulse_cycles is not None:
        raise UserError(
            f"{binding_path}: the core has a separator of its own, so its run met other channel"
            " bits than the model alone; report.html shows them"
        )
    found = find_scenario(scenario)
    if found[1].drives is not None:
        raise UserError(
            f"{scenario}: of a run with drives only the span of its first mismatch is kept; the"
            f" model alone goes through all of it: `cellstep explain {scenario}`, or trace"
        )
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        side = Preparation(binding, Path(folder), seed, policies)
        (prepared,) = side.prepare([found], quiet)
    if prepared.skipped:
        raise UserError(f"{binding_path}: {scenario} is skipped: {prepared.skipped}")
    return prepared.disk, through(prepared.disk.profile, side.stimuli(prepared))
