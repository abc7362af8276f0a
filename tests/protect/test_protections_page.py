"""The examples of PROTECTIONS.md are run, and its lists are those of the code."""

import os
import re
from importlib import resources

import pytest
from protect_cases import PAL, judged

from refmodel.host.catalogue import FILES, use_programs
from refmodel.host.layout_programs import LAYOUT_PROGRAMS
from refmodel.host.other_recordings import OTHER_RECORDINGS
from refmodel.host.protection_programs import PROTECTION_PROGRAMS
from refmodel.protect.cases import DRIVE_SPEEDS, HOST_SPEEDS, cases
from refmodel.protect.check import find_checks, load_check

PAGE = (resources.files("refmodel") / "PROTECTIONS.md").read_text()
CHECKS = re.findall(r"```yaml\n(.*?)```", PAGE, re.S)
(PROGRAM,) = re.findall(r"```python\n(.*?)```", PAGE, re.S)


@pytest.fixture
def own_program(tmp_path, monkeypatch):
    """Take the page's program as --programs does."""
    monkeypatch.setenv(FILES, os.environ.get(FILES, ""))
    path = tmp_path / "sync_distances.py"
    path.write_text(PROGRAM)
    use_programs(path)


@pytest.mark.parametrize("number", range(len(CHECKS)))
@pytest.mark.usefixtures("own_program")
def test_example_judges_right(number, tmp_path):
    """Each check of the page accepts its original and refuses its copy on every host and drive."""
    path = tmp_path / "own.yaml"
    path.write_text(CHECKS[number])
    for case in cases([load_check(path)], [1], list(HOST_SPEEDS), DRIVE_SPEEDS):
        assert judged(case, PAL).verdict == case.wanted, case.name


def test_program_is_short():
    """The generator of the example stays within 20 lines."""
    assert len(PROGRAM.strip().splitlines()) <= 20


def test_every_check_and_program_is_named():
    """The page names each check that ships and each program for checks."""
    programs = {**PROTECTION_PROGRAMS, **LAYOUT_PROGRAMS, **OTHER_RECORDINGS}
    missing = [n for n in programs if f"`{n}`" not in PAGE]
    missing += [c.name for c in find_checks([]) if f"`{c.name}`" not in PAGE]
    assert missing == []
