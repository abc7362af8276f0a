"""The Makefile's own help."""

import re
import subprocess
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]


def test_help_lists_every_target():
    """`make help` lists every target of the Makefile, each with what it does."""
    makefile = (TOP / "Makefile").read_text()
    targets = re.search(r"^\.PHONY: (.*)$", makefile, re.M)[1].split()
    listed = subprocess.run(["make", "-s", "help"], cwd=TOP, capture_output=True, text=True).stdout
    assert [line.split()[1] for line in listed.splitlines()] == targets
    assert all(len(line.split()) > 3 for line in listed.splitlines())
