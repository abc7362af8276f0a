"""The Containerfile: its instructions and what they name. Nothing is built here.

Checked are the form of the instructions, that each file they copy is there, that the image's
default command is a target of the Makefile, and, where hadolint is installed, its rules.
"""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
FILE = TOP / "Containerfile"
KNOWN = {"ARG", "FROM", "ENV", "RUN", "WORKDIR", "COPY", "CMD"}  # Containerfile(5), those used here


def instructions(text):
    """Return pairs of an instruction and what follows it; a backslash at an end joins lines."""
    plain = "".join(line for line in text.splitlines(True) if not line.lstrip().startswith("#"))
    return [line.split(maxsplit=1) for line in plain.replace("\\\n", " ").splitlines() if line]


FOUND = instructions(FILE.read_text())


def given(name):
    """Return what follows each instruction of a name."""
    return [rest for instruction, rest in FOUND if instruction == name]


def test_the_instructions_are_those_of_a_container_file():
    """Only known instructions; a base that an argument names, and one command at the end."""
    assert {name for name, _ in FOUND} == KNOWN
    assert [name for name, _ in FOUND][:2] == ["ARG", "FROM"]
    assert given("FROM") == ["${BASE}"]
    assert re.fullmatch(r"BASE=[\w.]+(/[\w.-]+)+:3\.11-slim-bookworm", given("ARG")[0])
    assert FOUND[-1][0] == "CMD"
    assert len(given("CMD")) == 1


def test_its_commands_are_targets_of_the_makefile():
    """`make setup` while it is built, `make test` when it is run."""
    targets = re.findall(r"^(\w+):", (TOP / "Makefile").read_text(), re.M)
    called = re.findall(r"(?:^|&& )make (\w+)", " && ".join(given("RUN")))
    assert called == ["setup"]
    assert json.loads(given("CMD")[0]) == ["make", "test"]
    assert {"setup", "test"} <= {*targets}


def test_what_is_copied_is_there_and_what_is_large_is_not():
    """The whole tree is copied but for what .containerignore names: all that git leaves, too."""
    assert given("COPY") == [". ."]
    ignored = (TOP / ".containerignore").read_text().splitlines()
    for line in (TOP / ".gitignore").read_text().splitlines():
        name = line.strip("/")
        assert {name, f"**/{name}"} & {*ignored}, name


def hadolint():
    """Return the path of hadolint, beside this Python or on PATH; None if it is not there."""
    beside = Path(sys.executable).with_name("hadolint")
    return str(beside) if beside.exists() else shutil.which("hadolint")


@pytest.mark.skipif(hadolint() is None, reason="hadolint has no wheel for this machine")
def test_hadolint_finds_nothing():
    """None of its rules speaks against the file; a file without a tag for its base is refused."""
    done = subprocess.run([hadolint(), "-"], input=FILE.read_text(), capture_output=True, text=True)
    assert (0, "") == (done.returncode, done.stdout)
    bad = subprocess.run([hadolint(), "-"], input="FROM debian\n", capture_output=True, text=True)
    assert bad.returncode == 1
