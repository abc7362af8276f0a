"""Every command that reports does so in full, in the verdict's line, or as JSON: one shared way."""

import importlib
import json
import os
import pty
import re
import subprocess
import sys

import pytest
import typer
from changed_core import STUBS
from command import cellstep
from formed import formed

from refmodel.cli.main import COMMANDS
from refmodel.cli.reference.pages import RESULTS

WRITE_ONLY = {"bind", "vectors", "lesson"}  # they make a file and report nothing
REPORTING = sorted(COMMANDS.keys() - WRITE_ONLY)
POLL = "quick/sync_poll"
REFERENCE = STUBS / "reference" / "binding.yaml"
QUICK = {  # what takes little time: its arguments, and a key of its JSON
    "doctor": ((), "simulators"),
    "link": (("seven_pins",), "signals"),
    "track": ((POLL,), None),
    "trace": ((POLL, "--from", "600", "--to", "700"), None),
    "explain": ((POLL, "--around", "sync:2"), "edges"),
    "protect": ((REFERENCE, "--check", "long_cells", "--rates", "1"), None),
}
SLOW = {
    "demo": ((), "runs"),
    "run": ((REFERENCE, "--suite", POLL, "--sim", "icarus"), "runs"),
    "hunt": ((REFERENCE, "--cases", "2", "--sim", "icarus", "--workers", "1"), None),
    "margin": (("pal_dd", "--separator", "counter", "--points", "3"), None),
    "mutate": ((REFERENCE, "--count", "4", "--suite", POLL, "--no-solver"), None),
    "prove": (("pal_dd",), None),
    "wire": ((STUBS / "wire" / "wire.yaml",), None),
}
FORMS = {
    name: RESULTS[form].form
    for name, form in {
        "demo": "result",
        "doctor": "doctor",
        "explain": "explain",
        "trace": "trace",
        "wire": "wires",
        "prove": "theorems",
        "run": "result",
        "hunt": "hunt",
        "link": "pins",
        "track": "track",
        "margin": "margin",
        "mutate": "mutants",
        "protect": "rates",
    }.items()
}
COLOUR = re.compile(r"\x1b\[[0-9;]*[349][0-7][0-9;]*m")


def parameters(name):
    """Return the options of a command, by what its function calls them."""
    entry = COMMANDS[name]
    module = importlib.import_module(f"refmodel.cli.{entry.module}")
    app = typer.Typer()
    app.command(name)(getattr(module, entry.function))
    return {p.name: p for p in typer.main.get_command(app).params}


@pytest.mark.parametrize("name", REPORTING)
def test_every_reporting_command_has_both_options(name):
    """--quiet and --json are there, and mean the same everywhere."""
    own = parameters(name)
    assert ["--quiet"] == own["quiet"].opts
    assert ["--json"] == own["as_json"].opts
    assert "Print the result as JSON, and nothing else." == own["as_json"].help
    assert "Print only the line of the verdict." == own["quiet"].help


@pytest.mark.parametrize("name", REPORTING)
def test_both_at_once_are_refused(name):
    """Two forms exclude each other, before anything else is looked at."""
    done = cellstep(name, "--quiet", "--json", *(("x",) if name not in ("demo", "doctor") else ()))
    assert (2, "") == (done.returncode, done.stdout)
    assert "--quiet: excludes --json" in done.stderr


def in_each_form(name, arguments, key):
    """Run a command in its three forms and hold them to one another."""
    full, line, data = (cellstep(name, *arguments, *o) for o in ((), ("--quiet",), ("--json",)))
    assert full.returncode == line.returncode == data.returncode, full.stderr + data.stderr
    told = json.loads(data.stdout)
    assert told
    assert key is None or key in told
    if name in FORMS:
        formed(FORMS[name], data.stdout)
    assert 1 <= len(line.stdout.splitlines()) <= 2
    assert len(full.stdout) > len(line.stdout) > 5 or full.stdout == line.stdout  # no fault of wire
    for done in (full, line, data):
        assert "\x1b" not in done.stdout + done.stderr


@pytest.mark.share(3)
@pytest.mark.parametrize("name", QUICK)
def test_forms_of_a_quick_command(name):
    """One line, JSON that is whole, or all of it, with one exit status and no escape codes."""
    in_each_form(name, *QUICK[name])


@pytest.mark.long
@pytest.mark.parametrize("name", SLOW)
def test_forms_of_a_slow_command(name):
    """So do the commands that run simulators or sweep."""
    in_each_form(name, *SLOW[name])


def on_a_terminal(*arguments, **environment):
    """Run the command with a terminal as its output; return all it sent there."""
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "refmodel.cli.main", *arguments]
    env = {**os.environ, "TERM": "xterm", **environment}
    with subprocess.Popen(words, stdout=theirs, stderr=theirs, env=env) as process:
        os.close(theirs)
        sent = b""
        while True:
            try:
                part = os.read(ours, 4096)
            except OSError:  # the other side is closed
                break
            sent += part
            if not part:
                break
        process.wait()
    os.close(ours)
    return sent.decode()


def test_no_color_takes_the_colours_away():
    """On a terminal there are colours; with NO_COLOR there are none."""
    assert COLOUR.search(on_a_terminal("doctor"))
    assert not COLOUR.search(on_a_terminal("doctor", NO_COLOR="1"))
