"""The `cellstep` command: its subcommands, and the one place where errors become messages."""

from __future__ import annotations

import contextlib
import errno
import importlib
import io
import os
import signal
import sys
import tempfile
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from types import FrameType
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup

from refmodel import __version__
from refmodel.ground.errors import EXIT_AGREE, EXIT_BAD_INPUT, EXIT_CANNOT_RUN, UserError
from refmodel.ground.signals import STOPS

DEBUG = "CELLSTEP_DEBUG"  # set to 1, it lets tracebacks through
LONGEST = 300  # characters of one line of a message
STOPPED = {129: "hung up", 130: "interrupted", 131: "stopped", 143: "terminated"}


@dataclass(frozen=True)
class Entry:
    """Where a subcommand is, and what the list of subcommands says of it."""

    module: str
    function: str
    help: str


TASKS = {  # how `--help` groups the commands
    "Hold a core to the model": ("demo", "bind", "run", "protect", "margin", "wire", "vectors"),
    "Find what the suites miss": ("hunt", "mutate", "prove", "history"),
    "Real hardware": ("check", "fit", "track", "link"),
    "Understand the register": ("trace", "explain", "lesson"),
    "This machine": ("doctor",),
}
COMMANDS = {
    "demo": Entry("demo", "demo_command", "Compare a good core, then one with a defect."),
    "bind": Entry("bind", "bind_command", "Draft a binding from a core's source."),
    "run": Entry("run", "run_command", "Compare cores with the model, cycle by cycle."),
    "protect": Entry(
        "protect", "protect_command", "Would the core pass the timing checks of protected disks?"
    ),
    "margin": Entry("margin", "margin_command", "Measure what a data separator tolerates."),
    "wire": Entry("wire", "wire_command", "Check a core's two-wire controller, edge by edge."),
    "vectors": Entry(
        "vectors", "vectors_command", "Write a scenario as files for any simulator's bench."
    ),
    "hunt": Entry("hunt", "hunt_command", "Search for mismatches with random cases."),
    "mutate": Entry("mutate", "mutate_command", "Plant changes in a core: which would be missed?"),
    "prove": Entry("prove", "prove_command", "Prove a core equal to the model for all inputs."),
    "history": Entry("history", "history_command", "Show recorded runs, and the first bad one."),
    "check": Entry("check", "check_command", "Compare a capture with the model."),
    "fit": Entry("fit", "fit_command", "Find which policies a captured controller follows."),
    "track": Entry("track", "track_command", "Show what is on a track."),
    "link": Entry("link", "link_command", "Plan pins: which signals may use a serial link."),
    "trace": Entry("trace", "trace_command", "Show what status must read, and why."),
    "explain": Entry("explain", "explain_command", "Explain one moment, with a diagram."),
    "lesson": Entry("lesson", "lesson_command", "Write lessons about the register."),
    "doctor": Entry("doctor", "doctor_command", "Look for what is missing on this machine."),
}


class Later(TyperCommand):
    """A subcommand whose module is imported when it is used, so that `cellstep --help` is fast."""

    def __init__(self, name: str, entry: Entry) -> None:
        super().__init__(name, help=entry.help)
        self._entry = entry

    def make_context(self, *args: Any, **extra: Any) -> Any:  # noqa: ANN401 - typer's own types
        """Hand over to the real command."""
        module = importlib.import_module(f"refmodel.cli.{self._entry.module}")
        real = typer.Typer(add_completion=False, rich_markup_mode=None)
        real.command(self.name)(getattr(module, self._entry.function))
        return typer.main.get_command(real).make_context(*args, **extra)


class Commands(TyperGroup):
    """The subcommands of `COMMANDS`, in that order, none of them imported yet."""

    def __init__(self, **settings: Any) -> None:  # noqa: ANN401
        super().__init__(**settings)
        self.commands = {name: Later(name, entry) for name, entry in COMMANDS.items()}

    def list_commands(self, ctx: object) -> list[str]:
        """Return the names, not sorted."""
        del ctx
        return list(self.commands)

    def format_commands(self, ctx: object, formatter: Any) -> None:  # noqa: ANN401
        """Write the commands, grouped by what they are for."""
        del ctx
        width = max(map(len, COMMANDS))
        for task, names in TASKS.items():
            with formatter.section(task):
                formatter.write_dl([(n.ljust(width), COMMANDS[n].help) for n in names])


app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"cellstep {__version__}")
        raise typer.Exit


@app.callback()
def cellstep(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Hold a floppy-disk controller core against a model of its registers, cycle by cycle.

    Begin with: cellstep demo
    """
    del version


def main() -> NoReturn:
    """Run the command; whatever stops it leaves one message and an exit status, no traceback."""
    for number in STOPS:
        if number != signal.SIGHUP or signal.getsignal(number) != signal.SIG_IGN:  # else: nohup
            signal.signal(number, _stop)
    warnings.showwarning = _note
    _open_closed()
    if sys.stdout is sys.__stdout__:
        sys.stdout = _piped(sys.stdout)
    status = EXIT_AGREE
    try:
        if "TMPDIR" in os.environ:  # a simulator knows this place only, Python others if it is bad
            os.environ["TMPDIR"] = tempfile.gettempdir()
        _refuse_empty(sys.argv[1:])
        app(prog_name="cellstep")
    except SystemExit as stop:
        status = stop.code if isinstance(stop.code, int) else EXIT_BAD_INPUT
        if status in STOPPED:
            _complain(f"cellstep: {STOPPED[status]}")
    except Exception as error:
        status = _report(error)
    sys.exit(_flushed(status))


def _note(message: Warning | str, category: type[Warning], *where: object, **more: object) -> None:
    """Print a warning meant for the user as one line; others are for who works on the code."""
    del where, more
    if issubclass(category, UserWarning) or "CELLSTEP_DEBUG" in os.environ:
        _complain(f"note: {message}")


def _refuse_empty(arguments: Sequence[str]) -> None:
    """Raise UserError for an argument of no text: as a path it would be the current folder."""
    for before, argument in zip(("", *arguments), arguments, strict=False):
        option = argument[:-1] if argument.endswith("=") else before
        if not argument or (argument.startswith("--") and argument.endswith("=")):
            where = option if option.startswith("--") else f"an argument after '{before}'"
            raise UserError(f"{where}: is empty; is a variable of the shell not set?")


def _open_closed() -> None:
    """Let what goes to a closed stream go nowhere: the exit status tells the verdict."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115


class _Piped(io.FileIO):
    """Standard output: a reader that goes away ends the process without a word, as a signal.

    Only there: of a broken pipe to a simulator or a worker there is something to say.
    """

    def write(self, data: Any, /) -> Any:  # noqa: ANN401 - what it is in the base class
        """Write, or end like any program whose reader has gone: `cellstep trace ... | head`."""
        try:
            return super().write(data)
        except BrokenPipeError:
            signal.signal(signal.SIGPIPE, signal.SIG_DFL)
            signal.raise_signal(signal.SIGPIPE)
            raise


def _piped(stdout: Any) -> io.TextIOWrapper:  # noqa: ANN401 - what a test may put there
    """Return standard output as a stream that does so."""
    raw = _Piped(stdout.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        stdout.encoding,
        stdout.errors,
        line_buffering=stdout.line_buffering,
        write_through=stdout.write_through,
    )


def _stop(number: int, frame: FrameType | None) -> NoReturn:
    """Leave through every `finally`: the simulators are ended and the work files removed."""
    del frame
    signal.signal(number, signal.SIG_IGN)
    raise SystemExit(128 + number)


def _report(error: Exception) -> int:
    """Say what went wrong in the user's terms; return the exit status."""
    if os.environ.get(DEBUG) == "1":
        raise error
    if isinstance(error, UserError):
        _complain(str(error))  # a file's place at the start of the line, for editors
        return error.exit_status
    if isinstance(error, MemoryError):
        _complain("cellstep: memory ran out; give a smaller file, or more memory")
        return EXIT_BAD_INPUT
    if isinstance(error, RuntimeError) and "Symlink loop from" in str(error):  # of Path.resolve
        _complain(f"cellstep: {str(error).partition('from ')[2]}: a link to itself cannot be read")
        return EXIT_BAD_INPUT
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        full = error.errno == errno.ENOSPC
        said = "disk full" if full else error.strerror or error
        if isinstance(error, PermissionError):
            said = f"{said}; check the permissions of the file and of its folders"
        _complain(f"cellstep: {where}{said}")
        return EXIT_BAD_INPUT
    _complain(f"cellstep: internal error, {type(error).__name__}: {error}\n{DEBUG}=1 shows where")
    return EXIT_CANNOT_RUN


def _readable(message: str) -> str:
    """Return a message without what the user's own texts may do to a terminal."""
    lines = [
        "".join(c if c.isprintable() else repr(c)[1:-1] for c in line)
        for line in message.split("\n")
    ]
    half = LONGEST // 2
    return "\n".join(
        line if len(line) <= LONGEST else f"{line[:half]} ... {line[-half:]}" for line in lines
    )


def _flushed(status: int) -> int:
    """Write out what is still to be printed; return the exit status then."""
    try:
        sys.stdout.flush()
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return status if status == EXIT_BAD_INPUT else _report(error)  # once is enough
    return status


def _complain(message: str) -> None:
    """Print a message on stderr; with no stderr to print to, there is no one to tell."""
    with contextlib.suppress(OSError):
        print(_readable(message), file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
