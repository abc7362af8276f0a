"""The command itself: help, version, and errors that are messages."""

import os
import signal
import subprocess
import sys

import pytest
from command import COMMAND, apart, cellstep

from refmodel import __version__
from refmodel.cli.main import COMMANDS, TASKS
from refmodel.world.find import suite_names

HEAVY = ("cocotb", "pyslang", "hypothesis", "numpy", "rich.console")


def test_version():
    """--version prints the version."""
    done = apart("--version")
    assert (0, f"cellstep {__version__}\n") == (done.returncode, done.stdout)


def test_help_lists_the_commands():
    """The help has a line for each command, grouped by task, in the order a user meets them."""
    done = cellstep("--help")
    lines = done.stdout.partition("Show this message and exit.")[2].splitlines()
    assert list(TASKS) == [line.rstrip(":") for line in lines if line and line[0] != " "]
    listed = [line.split()[0] for line in lines if line.startswith("  ")]
    assert list(COMMANDS) == listed == [name for names in TASKS.values() for name in names]
    assert ["demo", "bind", "run"] == listed[:3]
    assert 0 == done.returncode


def test_no_command_shows_the_help():
    """The bare command shows its help and is an error."""
    done = cellstep()
    assert 2 == done.returncode
    assert "Hold a core to the model:" in done.stdout + done.stderr


@pytest.mark.parametrize(
    ("typed", "offered"),
    [("cellstep pro", {"protect", "prove"}), ("cellstep run --su", {"--suite"})],
)
def test_shell_completes_commands_and_options(typed, offered):
    """The shell is offered the commands, and the options of the command that was typed."""
    words = {"COMP_WORDS": typed, "COMP_CWORD": str(len(typed.split()) - 1)}
    asked = {**os.environ, "_CELLSTEP_COMPLETE": "complete_bash", **words}
    done = subprocess.run(COMMAND, env=asked, capture_output=True, text=True, check=False)
    assert offered == set(done.stdout.split())


def test_help_is_fast():
    """The help imports nothing heavy."""
    code = (
        "import sys, refmodel.cli.main as m\n"
        "try: m.app(['--help'])\n"
        f"except SystemExit: print([n for n in {HEAVY} if n in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "[]" == said.stdout.splitlines()[-1]


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_an_example(command):
    """The help of a command shows an example and what its exit status means."""
    done = cellstep(command, "--help")
    assert 0 == done.returncode
    assert f"Example: cellstep {command}" in done.stdout
    assert "Exit status: " in done.stdout


def test_help_names_the_suites():
    """The help of `run` names every suite that ships."""
    said = cellstep("run", "--help").stdout
    assert [] == [name for name in suite_names() if name not in said]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["rum"], "Did you mean 'run'?"),
        (["run"], "Missing argument 'BINDING'"),
        (["run", "b.yaml", "--sim", "fast"], "'fast' is not one of 'icarus'"),
        (["run", "b.yaml", "--policy", "ready_tie"], "--policy ready_tie: should be NAME=VALUE"),
        (["run", "b.yaml", "--seed", "-1"], "--seed -1: should be 0 or more"),
        (["trace", "status/random", "--policy", "readytie=x"], "did you mean 'ready_tie'?"),
        (["trace", "status/random", "--profile", "pal_de"], "did you mean 'pal_dd'?"),
        (["trace", "status/random", "--from", "9", "--to", "8"], "--from 9 is after --to 8"),
    ],
)
def test_bad_arguments(arguments, said):
    """A wrong argument is an error that names it."""
    done = cellstep(*arguments)
    assert 2 == done.returncode
    assert said in done.stderr


BROKEN = """\
import refmodel.explain.trace as trace, refmodel.cli.main as main
def broken(*_): raise RuntimeError("a bug")
trace.model_trace = broken
import sys; sys.argv = ["cellstep", "trace", "status/random"]
main.main()
"""


def test_bug_is_no_traceback(monkeypatch):
    """A fault of our own is reported with how to see more, and ends with a status bisect skips."""
    monkeypatch.delenv("CELLSTEP_DEBUG", raising=False)
    done = subprocess.run(
        [sys.executable, "-c", BROKEN], capture_output=True, text=True, check=False
    )
    assert 125 == done.returncode
    assert ["cellstep: internal error, RuntimeError: a bug", "CELLSTEP_DEBUG=1 shows where"] == (
        done.stderr.splitlines()
    )


def test_debug_shows_the_traceback(monkeypatch):
    """With CELLSTEP_DEBUG=1 the traceback is shown."""
    monkeypatch.setenv("CELLSTEP_DEBUG", "1")
    done = subprocess.run(
        [sys.executable, "-c", BROKEN], capture_output=True, text=True, check=False
    )
    assert "Traceback" in done.stderr
    assert 1 == done.returncode


def test_full_disk():
    """Output that does not fit on the disk is an error that says so."""
    with open("/dev/full", "w") as full:
        done = apart("trace", "status/random", stdout=full, stderr=subprocess.PIPE)
    assert 2 == done.returncode
    assert "cellstep: disk full" == done.stderr.splitlines()[-1]


def test_reader_that_goes_away():
    """`cellstep trace ... | head -1` ends without a word."""
    process = subprocess.Popen(
        [*COMMAND, "trace", "status/random", "--from", "0", "--to", "200000"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline().startswith("    cycle")
    process.stdout.close()
    assert 1 == len(process.stderr.read().splitlines())  # the line that says what is shown
    assert -signal.SIGPIPE == process.wait(60)
