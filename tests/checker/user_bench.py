"""Runs a cocotb bench of a user's around a core, on either simulator, as any runner would."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

from testbenches.job import Job
from testbenches.toolchain import cache_folder, simulator_environment

HERE = Path(__file__).parent
ROOT = HERE.parent.parent


def run_bench(simulator, folder, sources, module, top="disk_regs", **settings):
    """Build the sources and run the tests of a module; return the failures' texts by test.

    An empty text is a test that passed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    job = Job(
        simulator,
        top,
        tuple(Path(s).resolve() for s in sources),
        (),
        {},
        folder,
        (cache_folder() / "runtime").resolve(),
        folder,
        1,
        test_module=module,
        all_public=True,
    )
    job.write([])
    path = os.pathsep.join([str(HERE), str(ROOT), os.environ.get("PYTHONPATH", "")])
    environment = {**os.environ, **simulator_environment(simulator), "PYTHONPATH": path}
    environment |= {name: str(value) for name, value in settings.items()}
    done = subprocess.run(
        [sys.executable, "-m", "testbenches.worker", str(job.file)],
        env=environment,
        check=False,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert job.report.exists(), done.stdout + done.stderr + _log(job)
    cases = ElementTree.parse(job.report).getroot().iter("testcase")
    return {case.get("name"): "".join(_failure(case)) for case in cases}, done.stdout


def _log(job):
    return job.build_log.read_text() if job.build_log.exists() else ""


def _failure(case):
    for part in (*case.iter("failure"), *case.iter("error")):
        yield (part.get("message") or part.get("error_msg") or "") + (part.text or "")


def copied(source, target, **changes):
    """Copy a core's folder, with changes of its binding's text."""
    shutil.copytree(source, target)
    binding = target / "binding.yaml"
    text = binding.read_text()
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    binding.write_text(text)
    return target
