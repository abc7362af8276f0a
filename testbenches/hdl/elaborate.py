"""The core as its source says it is: ports, widths and hierarchical names, from pyslang."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from refmodel.ground.content import content_of
from refmodel.ground.errors import CannotRun, near
from refmodel.ground.signals import held
from testbenches.hdl.guard import guarded
from testbenches.hdl.includes import hints, refuse_odd_paths, shown_path
from testbenches.hdl.loops import combinational_loop
from testbenches.hdl.port_forms import PLAIN_NAME, Port, ports_of

if TYPE_CHECKING:
    import pyslang
    from pyslang import ast

SHOWN_FAULTS = 20
OWN_MACROS = ("__ICARUS__", "VERILATOR")
LARGEST = 1 << 28  # bytes of a source
_INDEX = r"\d{1,9}"
_INDEXED = rf"({PLAIN_NAME.pattern})((?:\[{_INDEX}\])*)"
_SELECT = re.compile(r"\[(\d+)(?::(\d+))?\]")
_NUMBER = re.compile(r"[-+]?\d[\d_]*(\.\d+)?|\d*'s?[bodhBODH][\da-fA-F_xzXZ?]+")
_HIERARCHICAL = re.compile(rf"{_INDEXED}(?:\.{_INDEXED})*(?:\[{_INDEX}:{_INDEX}\])?")


class UnknownTopError(Exception):
    """There is no module of that name, or no single top; `known` are the modules there are.

    `places` has where each of several tops stands, as file:line.
    """

    def __init__(self, known: Iterable[str], places: Mapping[str, str] | None = None) -> None:
        self.known = tuple(sorted(known))
        self.places = places or {}


class NameFaultError(Exception):
    """A hierarchical name names nothing that can be observed; `str()` says why."""


@dataclass(frozen=True)
class Design:
    """The elaborated core."""

    top: ast.InstanceSymbol
    ports: dict[str, Port]
    parameters: tuple[str, ...]
    files: tuple[Path, ...]  # sources and what they include
    _alive: tuple[object, ...] = field(repr=False)  # what the symbols' memory belongs to

    def place_of(self, location: Any) -> tuple[Path, int] | None:  # noqa: ANN401 - pyslang's own
        """Return file and line of a place; None for one that stands in no file."""
        sources: Any = self._alive[1]
        if location is None:
            return None
        at = sources.getFullyExpandedLoc(location)
        path = Path(str(sources.getFullPath(at.buffer)))
        return (path.absolute(), sources.getLineNumber(at)) if path.is_file() else None

    def width_of(self, name: str) -> int:
        """Return the width of a hierarchical name below the core, such as `u0.flags[3]`.

        Raises NameFaultError for a name that does not resolve to a vector.
        """
        from pyslang import ast

        if not _HIERARCHICAL.fullmatch(name):
            raise NameFaultError("is not a name such as u0.ready or u0.flags[7:0]")
        *scopes, leaf = name.split(".")
        scope: Any = self.top.body
        for n, step in enumerate(scopes):
            signal = scope.find(step.split("[", 1)[0])
            if getattr(getattr(signal, "type", None), "isStruct", False):
                return _width_of_member(signal.type, step, [*scopes[n + 1 :], leaf])
            scope = _step(scope, step, scopes[:n])
        base, selects = leaf.split("[", 1)[0], _SELECT.findall(leaf)
        found = _find(scope, base, scopes)
        if found.kind not in (ast.SymbolKind.Net, ast.SymbolKind.Variable):
            raise NameFaultError(f"'{base}' is not a signal")
        return _width_after(found.type, selects)


def _width_of_member(struct: Any, name: str, steps: Sequence[str]) -> int:  # noqa: ANN401
    """Return the width of a member of a structure, or of a member of that."""
    for step in steps:
        canonical = struct.canonicalType
        members = canonical if canonical.isStruct else ()
        fields = {member.name: member.type for member in members if member.name}
        base = step.split("[", 1)[0]
        if base not in fields:
            raise NameFaultError(f"there is no '{base}' in {name}{near(base, fields)}")
        struct, name = fields[base], f"{name}.{base}"
    return _width_after(struct, _SELECT.findall(steps[-1]))


def _step(scope: Any, step: str, above: Sequence[str]) -> Any:  # noqa: ANN401 - pyslang's scopes
    """Return the instance body or block named `step` (index included) in `scope`."""
    base, index = step.split("[", 1)[0], "[" in step
    found = _find(scope, base, above)
    if index:
        found = scope.lookupName(step)
        if found is None:
            raise NameFaultError(f"there is no {'.'.join((*above, step))}")
    inner = getattr(found, "body", found)
    if not getattr(inner, "isScope", False):
        raise NameFaultError(f"'{'.'.join((*above, step))}' is a signal; nothing is below it")
    return inner


def _find(scope: Any, name: str, above: Sequence[str]) -> Any:  # noqa: ANN401
    """Return the symbol `name` of `scope` itself, or raise NameFaultError with the nearest name."""
    found = scope.find(name)
    if found is None:
        where = f" in {'.'.join(above)}" if above else " in the core"
        names = {symbol.name for symbol in scope if symbol.name}
        raise NameFaultError(f"there is no '{name}'{where}{near(name, names)}")
    return found


def _width_after(vector: Any, selects: Iterable[tuple[str, str]]) -> int:  # noqa: ANN401
    """Return the width left of a type after its selects, each (left, right or nothing)."""
    count = 1
    for left, right in selects:
        if count > 1 or vector.isScalar or not vector.hasFixedRange:
            raise NameFaultError("bits can be taken of a vector only")
        bounds = vector.fixedRange
        for index in filter(None, (left, right)):
            if not bounds.lower <= int(index) <= bounds.upper:
                raise NameFaultError(f"[{index}] is outside [{bounds.left}:{bounds.right}]")
        if right and int(left) != int(right) and (int(left) > int(right)) != bounds.isDescending:
            raise NameFaultError(f"[{left}:{right}] runs against [{bounds.left}:{bounds.right}]")
        count = abs(int(left) - int(right)) + 1 if right else 1
        if not (vector.isUnpackedArray or vector.isPackedArray):
            return count  # bits of a structure or an integer
        if right and vector.isUnpackedArray:
            raise NameFaultError("is a range of a memory; choose one element")
        vector = vector.arrayElementType
    if not vector.isIntegral:
        raise NameFaultError("is not a vector; choose an element or a bit")
    return count * int(vector.bitWidth)


def elaborate(
    files: Sequence[Path],
    top: str | None,
    include_dirs: Sequence[Path] = (),
    defines: Mapping[str, str | int | None] | None = None,
    parameters: Mapping[str, str | int] | None = None,
) -> Design:
    """Parse and elaborate the core; `top` None takes the only module no other one instantiates.

    Raises CannotRun with the source's file, line and column for code that does not compile,
    UnknownTopError when there is no such module, or no single one to take, and UserError for a
    path that no tool can be given.
    """
    with held():  # a stop half-way through would abort the process
        import pyslang  # noqa: F401

    refuse_odd_paths((*files, *include_dirs))
    defines, parameters = defines or {}, parameters or {}

    def read() -> tuple[ast.Compilation, ast.InstanceSymbol, pyslang.SourceManager]:
        found = _checked(files, top, include_dirs, defines, parameters)
        for macro in _macros_of_simulators(found[2]):  # what only a simulator sees must compile
            _checked(files, top, include_dirs, {**defines, macro: 1}, parameters)
        return found

    guarded(read, [shown_path(path) for path in files])
    compilation, instance, sources = read()
    return Design(
        instance,
        {port.name: port for port in ports_of(instance)},
        tuple(p.name for p in instance.body.parameters if not p.isLocalParam),
        tuple(_files_read(sources)),
        (compilation, sources),
    )


def _checked(
    files: Sequence[Path],
    top: str | None,
    include_dirs: Sequence[Path],
    defines: Mapping[str, str | int | None],
    parameters: Mapping[str, str | int],
) -> tuple[ast.Compilation, ast.InstanceSymbol, pyslang.SourceManager]:
    """Return the compilation of the files with these macros, and its top; raise its faults."""
    import pyslang

    sources = pyslang.SourceManager()
    for folder in include_dirs:
        sources.addUserDirectories(str(folder))
    compilation = _compilation(files, sources, top, defines, parameters)
    _raise_faults(compilation.getParseDiagnostics(), sources)
    _refuse_second_modules(compilation, sources)
    instance = _instance(compilation, top, sources)
    _raise_faults(compilation.getSemanticDiagnostics(), sources)
    _refuse_driven_inputs(compilation, instance, sources)
    _refuse_loop(instance, sources)
    return compilation, instance, sources


def _refuse_loop(instance: ast.InstanceSymbol, sources: pyslang.SourceManager) -> None:
    """Raise CannotRun for logic that feeds itself, with each of its signals where it is driven."""
    found = combinational_loop(instance.body)
    names = [name.partition(".")[2] or name for _, name in found]
    way = " -> ".join([*names, *names[:1]])
    _raise([(place, f"a combinational loop: {way}") for place, _ in found], sources)


def _macros_of_simulators(sources: pyslang.SourceManager) -> list[str]:
    """Return which macros that a simulator defines by itself the files speak of."""
    texts = [content_of(shown_path(path), LARGEST) for path in _files_read(sources)]
    return [macro for macro in OWN_MACROS if any(macro.encode() in text for text in texts)]


def _refuse_second_modules(compilation: ast.Compilation, sources: pyslang.SourceManager) -> None:
    """Raise CannotRun for a module whose name another one has: each tool takes one of them."""
    first: dict[str, Any] = {}
    faults = []
    for tree in compilation.getSyntaxTrees():
        for member in getattr(tree.root, "members", ()):
            named = getattr(getattr(member, "header", None), "name", None)
            if named is None:
                continue
            if named.valueText in first:
                place = _place(first[named.valueText], sources)
                message = f"a second module '{named.valueText}'; the first is at {place}"
                faults.append((named.location, message))
            first.setdefault(named.valueText, named.location)
    _raise(faults, sources)


def _files_read(sources: pyslang.SourceManager) -> Iterator[Path]:
    """Yield every file the core is made of, what it includes among them."""
    for buffer in sources.getAllBuffers():
        path = Path(str(sources.getFullPath(buffer)))
        if path.is_file():
            yield path


def _compilation(
    files: Sequence[Path],
    sources: pyslang.SourceManager,
    top: str | None,
    defines: Mapping[str, str | int | None],
    parameters: Mapping[str, str | int],
) -> ast.Compilation:
    """Return the compilation of the files as one unit: a macro holds in the files after it."""
    import pyslang
    from pyslang import ast, parsing, syntax

    preprocessor = parsing.PreprocessorOptions()
    preprocessor.predefines = [
        name if value is None else f"{name}={value}" for name, value in defines.items()
    ]
    bag = pyslang.Bag([preprocessor])
    options = ast.CompilationOptions()
    options.flags = (
        ast.CompilationFlags.AllowUseBeforeDeclare | ast.CompilationFlags.DisableInstanceCaching
    )
    options.paramOverrides = [f"{name}={verilog_literal(v)}" for name, v in parameters.items()]
    options.topModules = {top} if top else set()
    nanosecond = pyslang.TimeScaleValue(
        pyslang.TimeUnit.Nanoseconds, pyslang.TimeScaleMagnitude.One
    )
    options.defaultTimeScale = pyslang.TimeScale(nanosecond, nanosecond)  # as the simulators have
    compilation = ast.Compilation(pyslang.Bag([options]))
    compilation.addSyntaxTree(syntax.SyntaxTree.fromFiles([str(f) for f in files], sources, bag))
    return compilation


def verilog_literal(value: int | str) -> str:
    """Return a parameter's value as Verilog: a number as it stands, other text quoted."""
    if isinstance(value, int) and abs(value) >= 1 << 31:  # more than a number without a size holds
        return f"{'-' * (value < 0)}64'd{abs(value)}"
    if isinstance(value, int) or _NUMBER.fullmatch(value):
        return str(value)
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _raise_faults(diagnostics: Iterable[Any], sources: pyslang.SourceManager) -> None:
    """Raise CannotRun with the errors among the diagnostics, each at the user's file and line."""
    import pyslang

    engine = pyslang.DiagnosticEngine(sources)
    refused = pyslang.Diags.RangeSelectReversed  # a warning here, and no simulator takes it
    found = [d for d in diagnostics if d.isError() or d.code == refused]
    _raise([(d.location, engine.formatMessage(d)) for d in found], sources)


def _raise(faults: Sequence[tuple[Any, str]], sources: pyslang.SourceManager) -> None:
    """Raise CannotRun if there are faults, each a location in the sources and a message."""
    messages = [f"{_place(location, sources)}: {message}" for location, message in faults]
    if messages:
        more = len(messages) - SHOWN_FAULTS
        shown = messages[:SHOWN_FAULTS] + ([f"and {more} more"] if more > 0 else [])
        shown += hints(shown, [*_files_read(sources)])
        raise CannotRun("\n".join(["the core does not compile:", *shown]))


def _place(location: Any, sources: pyslang.SourceManager) -> str:  # noqa: ANN401
    """Return the user's file, line and column; of what a macro holds, where that is used."""
    at = sources.getFullyExpandedLoc(location)
    file = shown_path(Path(str(sources.getFullPath(at.buffer))))
    return f"{file}:{sources.getLineNumber(at)}:{sources.getColumnNumber(at)}"


def _refuse_driven_inputs(
    compilation: ast.Compilation, instance: ast.InstanceSymbol, sources: pyslang.SourceManager
) -> None:
    """Raise CannotRun for each place where the core drives one of its own inputs.

    A simulator would name the harness, which drives them too.
    """
    from pyslang import analysis, ast

    drivers = analysis.AnalysisManager()
    compilation.freeze()
    drivers.analyze(compilation)
    compilation.unfreeze()
    faults = []
    for port in instance.body.portList:
        symbol = getattr(port, "internalSymbol", None)
        if symbol is None or port.direction != ast.ArgumentDirection.In:
            continue
        for driver in drivers.getDrivers(symbol):
            may_read = driver.containingSymbol.kind == ast.SymbolKind.Instance  # as an inout
            if driver.isUnidirectionalPort if may_read else not driver.isInputPort:
                message = f"drives '{port.name}', an input of the core"
                faults.append((driver.sourceRange.start, message))
    _raise(faults, sources)


def _instance(
    compilation: ast.Compilation, top: str | None, sources: pyslang.SourceManager
) -> ast.InstanceSymbol:
    """Return the top instance, or raise UnknownTopError."""
    from pyslang import ast

    instances: list[ast.InstanceSymbol] = list(compilation.getRoot().topInstances)
    if top is None:
        if len(instances) != 1:
            places = {i.name: _place(i.body.definition.location, sources) for i in instances}
            raise UnknownTopError(places, places)
        return instances[0]
    definitions: list[Any] = compilation.getDefinitions()
    modules = {d.name for d in definitions if d.definitionKind == ast.DefinitionKind.Module}
    if top not in modules:
        raise UnknownTopError(modules)
    return instances[0]
