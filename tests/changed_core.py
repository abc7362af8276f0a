"""A shipped core, copied, changed and run: what tests of a verdict are made of."""

import json
import shutil
from importlib import resources
from pathlib import Path

from command import apart, cellstep
from status_alone import status_alone

STUBS = Path(str(resources.files("hdl_stubs")))


class Core:
    """A copy of a shipped core with its binding, to change and to run."""

    def __init__(self, folder, name, binding):
        for shipped in (name, "reference"):
            if not (folder / shipped).exists():
                ignored = shutil.ignore_patterns("__pycache__")
                shutil.copytree(STUBS / shipped, folder / shipped, ignore=ignored)
        self.folder = folder / name
        self.binding = self.folder / binding
        self.out = folder / "out"

    def change(self, file, *pairs):
        """Replace texts of a file, each of which must be there."""
        path = self.folder / file
        text = path.read_text()
        for old, new in pairs:
            assert old in text, f"{file} has no {old!r}"
            text = text.replace(old, new)
        path.write_text(text)
        return self

    def bind(self, *pairs):
        """Replace texts of the binding."""
        return self.change(self.binding.name, *pairs)

    def add(self, *lines):
        """Add keys at the end of the binding."""
        self.binding.write_text("\n".join((self.binding.read_text(), *lines, "")))
        return self

    def status_alone(self):
        """Leave the core's own transfers out of the binding."""
        self.binding = status_alone(self.binding)
        return self

    def words(self, *options, suite="quick/random", sim="icarus"):
        """Return the arguments of the command."""
        return ("run", self.binding, "--suite", suite, "--sim", sim, "--out", self.out, *options)

    def run(self, *options, **how):
        """Run the command in this process; return what it did."""
        return cellstep(*self.words(*options, **how))

    def run_apart(self, *options, env=None, **how):
        """Run the command in a process of its own."""
        return apart(*self.words(*options, **how), env=env)

    @property
    def result(self):
        """What result.json holds."""
        return json.loads((self.out / "result.json").read_text())
