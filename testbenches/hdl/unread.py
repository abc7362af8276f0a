"""Which inputs of a core nothing within it reads: what it shows then hangs on other things."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pyslang import ast

VALUES = ("NamedValueExpression", "HierarchicalValueExpression")


def unread_inputs(top: ast.InstanceSymbol) -> tuple[str, ...]:
    """Return the input ports that no expression within the core names, in order."""
    read: set[str] = set()

    def look(node: Any) -> None:  # noqa: ANN401 - pyslang has many types of nodes
        if type(node).__name__ in VALUES:
            read.add(node.symbol.hierarchicalPath)
        elif type(node).__name__ == "InstanceSymbol":
            for connection in node.portConnections:
                if connection.expression is not None:
                    connection.expression.visit(look)

    top.visit(look)
    inputs = (p for p in top.body.portList if getattr(p.direction, "name", "") == "In")
    return tuple(p.name for p in inputs if f"{top.name}.{p.name}" not in read)
