"""A module around a core whose ports cannot be bound as they are, ready to be filed and named."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from testbenches.hdl.elaborate import Design
from testbenches.hdl.port_forms import Port


def wrapper(design: Design, widths: Mapping[str, int], split: Collection[str] = ()) -> str:
    """Return Verilog text that gives a core plain ports, some of them with other `widths`.

    Arrays of vectors become one vector, the first element highest; of a data port that is too wide
    the lowest bits are taken. The packed structs in `split` become a port for each part. What no
    vector can carry is left for the user, with a comment.
    """
    top = design.top.name
    ports = [
        plain
        for port in design.ports.values()
        for plain in (_split(port) if port.name in split else [_plain(port, widths)])
    ]
    heads = ",\n".join(
        f"      {direction} wire {_range(w)}{name}" for name, direction, w in ports if w
    )
    inner = "".join(
        f"      {line}\n" for port in design.ports.values() for line in _wires(port, widths)
    )
    joined = ", ".join(
        f".{p.name}({_parts(p) if p.name in split else _joined(p, widths)})"
        for p in design.ports.values()
    )
    return (
        f"\n    module {top}_plain (\n{heads}\n    );\n"
        f"{inner}      {top} core ({joined});\n    endmodule"
        f"\n  in a file of core.sources, with core.top: {top}_plain"
    )


def _range(width: int) -> str:
    return f"[{width - 1}:0] " if width > 1 else ""


def _plain(port: Port, widths: Mapping[str, int]) -> tuple[str, str, int]:
    """Return a port of the wrapper: name, direction, width; 0 for what no vector can carry."""
    elements = port.elements or (0, 0)
    return port.name, port.direction, widths.get(port.name, port.width or elements[0] * elements[1])


def _split(port: Port) -> list[tuple[str, str, int]]:
    """Return the wrapper's ports for the parts of a packed struct."""
    return [(f"{port.name}_{part}", port.direction, width) for part, width in port.parts]


def _parts(port: Port) -> str:
    """Return the parts of a packed struct, joined as it has them."""
    return f"{{{', '.join(f'{port.name}_{part}' for part, _ in port.parts)}}}"


def _wires(port: Port, widths: Mapping[str, int]) -> Iterator[str]:
    """Yield what stands between a port of the wrapper and that of the core."""
    if port.name in widths and port.direction == "output":
        yield f"wire {_range(port.width or 1)}all_{port.name};"
        yield f"assign {port.name} = all_{port.name}[{widths[port.name] - 1}:0];"
    elif port.elements is not None:
        count, width = port.elements
        every = ", ".join(f"all_{port.name}[{n}]" for n in range(count))
        ends = (port.name, f"{{{every}}}")
        to, of = ends if port.direction == "output" else ends[::-1]
        yield f"wire {_range(width)}all_{port.name} [0:{count - 1}];"
        yield f"assign {to} = {of};"
    elif port.width is None:
        yield f"// {port.name} is not a vector: connect it here to what your design has for it"


def _joined(port: Port, widths: Mapping[str, int]) -> str:
    """Return what is connected to a port of the core."""
    if port.elements is not None or (port.name in widths and port.direction == "output"):
        return f"all_{port.name}"
    return port.name if port.width is not None else ""
