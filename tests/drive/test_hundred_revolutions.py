"""100 revolutions with four drives take no more memory than ten, in Python and in the simulator.

`pytest -s` shows the figures. Memory is read off Linux's /proc while the run lasts.
"""

import contextlib
import json
import os
import re
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest
from command import COMMAND

from hdl_stubs.defects import HERE

CORE = HERE / "drive" / "binding.yaml"
MEGABYTE = 1024  # kB, as /proc counts
SLACK = 30  # MB by which the peak of a longer run may lie above that of a shorter one
MOST = 300  # MB, of Python
SCENARIO = """\
name: four_drives
about: A host reads nine sectors from each of four drives in turn, over and over.
track: {{layout: iso}}
revolutions: {revolutions}
drives:
  units:
    - {{select: 0, turning: true}}
    - {{select: 1, profile: mm130, turning: true, angle: 0.3}}
    - {{select: 2, profile: mm200, turning: true, angle: 0.6}}
    - {{select: 3, turning: true, angle: 0.8, protected: true}}
host: {{program: read_drives, params: {{sectors: 9, drives: {drives}}}}}
"""


def scenario(folder, revolutions):
    """Lay down a scenario whose host is busy to the end; return its file."""
    path = folder / f"{revolutions}.yaml"
    drives = [0, 1, 2, 3] * revolutions
    path.write_text(SCENARIO.format(revolutions=revolutions, drives=drives))
    return path


def peaks(process):
    """Wait for a process; return the peak in MB of any Python and any simulator it has started.

    Raises AssertionError when it fails.
    """
    peak = Counter()
    while process.poll() is None:
        for folder in Path("/proc").glob("[0-9]*"):
            with contextlib.suppress(OSError, TypeError):
                status = (folder / "status").read_text()
                if os.getpgid(int(folder.name)) == process.pid or _ours(folder, process.pid):
                    name = re.search(r"^Name:\s*(.*)", status)[1]
                    kind = "python" if name.startswith(("python", "cellstep")) else "simulator"
                    size = int(re.search(r"VmHWM:\s*(\d+)", status)[1]) // MEGABYTE
                    peak[kind] = max(peak[kind], size) if name != "make" else peak[kind]
        time.sleep(0.1)
    return peak


def _ours(folder, above):
    """Return whether a process was started by another one, at whatever distance."""
    while folder.name not in ("0", "1"):
        if int(folder.name) == above:
            return True
        parent = re.search(r"PPid:\s*(\d+)", (folder / "status").read_text())[1]
        folder = folder.with_name(parent)
    return False


def measured(path, simulator):
    """Run a scenario; return its result and the peaks of memory."""
    words = ["run", str(CORE), "--suite", str(path), "--sim", simulator, "--json"]
    with path.with_suffix(f".{simulator}").open("w") as output:
        process = subprocess.Popen([*COMMAND, *words], stdout=output, start_new_session=True)
        peak = peaks(process)
    found = json.loads(path.with_suffix(f".{simulator}").read_text())
    assert process.returncode == 0, found["verdict"]
    return found, peak


@pytest.mark.long
@pytest.mark.both
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_memory_does_not_grow_with_revolutions(simulator, tmp_path):
    """The peak at 100 revolutions lies little above that at ten: no revolution is held."""
    few, many = scenario(tmp_path, 10), scenario(tmp_path, 100)
    measured(scenario(tmp_path, 1), simulator)  # so that neither of the two below builds
    short, low = measured(few, simulator)
    long, high = measured(many, simulator)
    print(f"\n{simulator}: 10 revolutions {dict(low)} MB, 100 revolutions {dict(high)} MB")
    print(f"{long['cycles_compared']} cycles and {long['reads_compared']} reads compared")
    assert long["cycles_compared"] > 9 * short["cycles_compared"] > 100_000_000
    assert long["reads_compared"] > 9 * short["reads_compared"]
    assert high["python"] < MOST
    for kind in ("python", "simulator"):
        assert 1 < high[kind] < low[kind] + SLACK
