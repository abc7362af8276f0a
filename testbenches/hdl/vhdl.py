"""Turns a core in VHDL into Verilog with GHDL's synthesis, so that one harness serves both."""

from __future__ import annotations

import functools
import hashlib
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from refmodel.ground.errors import CannotRun
from refmodel.ground.signals import held
from testbenches.hdl.elaborate import SHOWN_FAULTS, UnknownTopError
from testbenches.hdl.ghdl_verilog import mended, place_before
from testbenches.hdl.includes import shown_path
from testbenches.shelf import Made, NoPlaceError, Shelf, UnsettledError
from testbenches.toolchain import how_to_get

WRITTEN = re.compile(  # keywords that GHDL writes itself
    r"input|output|wire|reg|signed|assign|always|posedge|negedge|begin|end|if|else"
)
SUFFIXES = (".vhd", ".vhdl")
STANDARDS = ("08", "93")  # tried in this order: some old sources use words that 2008 reserves
TIMEOUT = 120  # seconds
_MESSAGE = re.compile(r"^(?P<file>.+?):(?P<line>\d+):(?P<column>\d+):(?P<text>.*)$", re.M)
_ENTITY = re.compile(r"^\s*entity\s+(\w+)\s+is\b", re.I | re.M)
_NO_GENERIC = re.compile(r'no generic "(\w+)" for -g')
_MISREAD = ("is not bound", "choice with meta-value is ignored")  # warnings of a changed design


class UnknownGenericError(Exception):
    """The top entity has no such generic; `name` is in lower case."""

    def __init__(self, name: str) -> None:
        self.name = name


def is_vhdl(path: Path) -> bool:
    """Return whether a source is VHDL, by its name."""
    return path.suffix.lower() in SUFFIXES


def translate(
    sources: Sequence[Path],
    top: str,
    out_dir: Path,
    parameters: Mapping[str, int | str] | None = None,
) -> Path:
    """Return the Verilog of the entity `top` with these generics: one file, made if not yet there.

    The order of the sources does not matter. Ports keep their names, signals get theirs in lower
    case; generics are gone. The file's name says what it was made from.
    Raises CannotRun (exit 125) with the file, line and column of the VHDL for what GHDL refuses or
    would change, or when there is no GHDL; UnknownTopError and UnknownGenericError.
    """
    program = shutil.which("ghdl")
    if program is None:
        raise CannotRun(
            f"{shown_path(sources[0])}: VHDL needs GHDL, which is not installed: "
            f"{how_to_get('ghdl')}"
        )
    files = [path.absolute() for path in sources]
    design = [*(f"-g{name}={value}" for name, value in (parameters or {}).items())]
    name = f"{top}.v"

    def made(folder: Path) -> Made:
        verilog = _Translation(program, files, top, design).verilog()
        (folder / name).write_text(verilog, encoding="utf-8")
        return Made((name,), tuple(files))

    key = _digest(program, files, top, design)
    elsewhere = Path(tempfile.gettempdir()) / f"cellstep-of-{os.geteuid()}"
    for place in (out_dir.absolute(), elsewhere):
        with suppress(NoPlaceError):
            try:
                return Shelf(place / key).get(made, files) / name
            except UnsettledError:
                raise CannotRun(
                    "the core's sources change while they are read; run again"
                ) from None
    raise CannotRun(f"{out_dir}: cannot be written, so there is no place for the core in Verilog")


class _Translation:
    """One design to translate."""

    def __init__(self, program: str, files: list[Path], top: str, generics: list[str]) -> None:
        self._program = program
        self._files = files
        self._top = top
        self._generics = generics

    def verilog(self) -> str:
        """Return the design as Verilog that says what the VHDL says."""
        standard, text = self._first_accepted()
        verilog = mended(text, lambda: self._said("vhdl", standard).stdout)
        _check(verilog)
        return verilog

    def _first_accepted(self) -> tuple[str, str]:
        """Return the first standard that takes the sources, and the Verilog GHDL writes."""
        refused = None
        for standard in STANDARDS:
            done = self._said("verilog", standard)
            if done.returncode == 0 and not _misread(done.stderr):
                return standard, done.stdout
            refused = refused or done
        assert refused is not None, "there is a standard"
        raise self._refusal(refused.stderr)

    def _said(self, form: str, standard: str) -> subprocess.CompletedProcess[str]:
        """Run GHDL's synthesis; `form` is what it writes."""
        command = [self._program, "--synth", f"--std={standard}", "-fsynopsys", f"--out={form}"]
        command += [*self._generics, *map(str, self._files), "-e", self._top]
        with tempfile.TemporaryDirectory() as folder:
            try:
                return subprocess.run(
                    command,
                    capture_output=True,
                    text=True,
                    errors="replace",
                    timeout=TIMEOUT,
                    check=False,
                    cwd=folder,
                    stdin=subprocess.DEVNULL,
                )
            except subprocess.TimeoutExpired:
                raise CannotRun(f"GHDL: no end after {TIMEOUT} s") from None

    def _refusal(self, said: str) -> Exception:
        """Return the error that says what GHDL said, at the user's file and line."""
        if unknown := _NO_GENERIC.search(said):
            return UnknownGenericError(unknown[1])
        if "cannot find entity" in said:
            return UnknownTopError(_entities(self._files))
        faults = [_place_shown(m) for m in _MESSAGE.finditer(said) if _is_fault(m["text"])]
        if not faults:
            faults = [line for line in said.splitlines() if line.strip(" *")][:SHOWN_FAULTS]
            if "GHDL Bug" in said and self._generics:
                faults.insert(0, f"does each generic take its value? {' '.join(self._generics)}")
        return _cannot_compile(faults)


def _digest(program: str, files: Iterable[Path], top: str, design: list[str]) -> str:
    """Return a short name for what is translated, and with what; the shelf knows the texts."""
    names = [str(path) for path in files]
    return hashlib.sha256(repr((_version(program), top, design, names)).encode()).hexdigest()[:16]


@functools.cache
def _version(program: str) -> str:
    """Return what GHDL says of itself, and this file's own text: a mend changes the result."""
    done = subprocess.run([program, "--version"], capture_output=True, text=True, check=False)
    mend = Path(__file__).with_name("ghdl_verilog.py").read_text(encoding="utf-8")
    return done.stdout + mend


def _entities(files: Iterable[Path]) -> set[str]:
    """Return the names of the entities the sources declare."""
    texts = (path.read_text(encoding="utf-8", errors="replace") for path in files)
    return {name for text in texts for name in _ENTITY.findall(text)}


def _misread(said: str) -> bool:
    """Return whether GHDL warns of something that makes the result another design."""
    return any(warning in said for warning in _MISREAD)


def _is_fault(text: str) -> bool:
    """Return whether a message is an error, or a warning as bad as one."""
    if text.startswith("note:") or text.lstrip().startswith("("):
        return False
    return not text.startswith("warning:") or _misread(text)


def _place_shown(message: re.Match[str]) -> str:
    """Return a message with its path as the user would write it."""
    text = message["text"].removeprefix("error:").removeprefix("warning:").strip()
    path = shown_path(Path(message["file"]))
    return f"{path}:{message['line']}:{message['column']}: {text}"


def _check(verilog: str) -> None:
    """Raise CannotRun, at the VHDL's file and line, for a statement that is not valid Verilog."""
    with held():  # a stop half-way through would abort the process
        import pyslang
        from pyslang import syntax

    tree = syntax.SyntaxTree.fromText(verilog)
    sources = tree.sourceManager
    engine = pyslang.DiagnosticEngine(sources)
    errors = [found for found in tree.diagnostics if found.isError()]
    if errors:
        lines = [sources.getLineNumber(found.location) for found in errors]
        messages = [engine.formatMessage(found) for found in errors]
        raise _cannot_compile([_no_verilog(verilog, *f) for f in zip(lines, messages, strict=True)])


def _no_verilog(verilog: str, line: int, message: str) -> str:
    """Return what is wrong with a line of the translation, at its place in the VHDL if known."""
    written = verilog.splitlines()[line - 1].strip()
    file, _, at = place_before(verilog, line).partition(":")
    place = f"{shown_path(Path(file))}:{at}: " if file else ""
    names = [word for word in re.findall(r"[A-Za-z]\w*", written) if not WRITTEN.fullmatch(word)]
    keyword = next((name for name in names if _is_keyword(name)), None)
    if keyword is not None:
        why = f"'{keyword}' is a keyword of SystemVerilog; give it another name in the VHDL"
    else:
        why = f"which is not valid Verilog: {message}"
    return f"{place}GHDL translates this to '{written}': {why}"


def _is_keyword(word: str) -> bool:
    """Return whether a word cannot be a name in SystemVerilog."""
    from pyslang import syntax

    tree = syntax.SyntaxTree.fromText(f"module m; wire {word}; endmodule")
    return any(found.isError() for found in tree.diagnostics)


def _cannot_compile(faults: list[str]) -> CannotRun:
    more = len(faults) - SHOWN_FAULTS
    shown = faults[:SHOWN_FAULTS] + ([f"and {more} more"] if more > 0 else [])
    return CannotRun("\n".join(["the core does not compile:", *shown]))
