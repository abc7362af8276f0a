"""Mends the Verilog that GHDL 2.0 writes, whose five faults change or break a design.

Later versions write what is right; nothing here then finds anything to do.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from refmodel.ground.errors import CannotRun

_PLACE = re.compile(r"/\* (?P<place>.+:\d+:\d+)  \*/")
_TEXT = re.compile(r'"([01xzXZ]+)"')
_CASE = re.compile(r"^ *case \((?P<select>\w+)\)\n(?P<arms>.*?)^ *endcase\n", re.M | re.S)
_ARM = re.compile(r"^ *(?P<choice>\S+): (?P<target>\w+) <= (?P<value>.*);$", re.M)
_SELECTED = re.compile(r"with (\w+) select (\w+) <=\n((?:.*,\n)*) *(?P<value>.*) when others;")
_SHIFT = re.compile(r"(= \$signed\(\w+\)) >> ")
_CONSTANT = re.compile(
    r"""["'](?P<bits>[01XZxz-]+)["']|"""
    r"""\((?P<left>\d+) downto 0 => '(?P<bit>[01XZxz])'\)"""
)
_DIVISION = re.compile(r"= ([\w']+) ([/%]) ([\w']+); // s(div|rem|mod)$", re.M)
_CHOICE = re.compile(r"^ *(\w+) <= (.+) when (.+) else (.+);$", re.M)
_ABSOLUTE = re.compile(r"^ *(\w+) <= std_logic_vector\(abs \$signed\((\w+)\)\);$", re.M)


def mended(verilog: str, netlist: Callable[[], str]) -> str:
    """Return the Verilog with GHDL's faults put right; `netlist` gives the same design as VHDL.

    A constant wider than 32 bits is written as text, which Verilog takes for characters. `case`
    loses its last branch, which only the VHDL has. Signed numbers are shifted right and divided as
    if they had no sign.
    `abs` and the lesser or greater of two signed numbers are written in VHDL.
    Raises CannotRun where the branch is not to be found.
    """
    verilog = _ABSOLUTE.sub(r"  assign \1 = $signed(\2) < 0 ? -\2 : \2;", verilog)
    verilog = _CHOICE.sub(r"  assign \1 = \3 ? \2 : \4;", verilog)
    verilog = _DIVISION.sub(_signed_division, verilog)
    verilog = _SHIFT.sub(r"\1 >>> ", verilog)
    if any("default:" not in case["arms"] for case in _CASE.finditer(verilog)):
        verilog = _with_last_branches(verilog, netlist())
    return _TEXT.sub(lambda found: f"{len(found[1])}'b{found[1]}", verilog)


def _signed_division(found: re.Match[str]) -> str:
    """Return `= a op b;` for signed operands; the result of mod has the sign of the divisor."""
    divisor = f"$signed({found[3]})"
    plain = f"$signed({found[1]}) {found[2]} {divisor}"
    if found[4] != "mod":
        return f"= {plain};"
    return f"= {plain} == 0 || ({plain} < 0) == ({divisor} < 0) ? {plain} : {plain} + {divisor};"


def _with_last_branches(verilog: str, netlist: str) -> str:
    """Return the Verilog with the last branch of each `case` as the VHDL has it.

    Both are written from one netlist, module by module in the same order, with the same names.
    """
    modules = re.split(r"^(?=module )", verilog, flags=re.M)
    bodies = re.split(r"^(?=architecture )", netlist, flags=re.M)
    if len(modules) != len(bodies):
        raise _cannot_mend(f"{len(modules) - 1} modules against {len(bodies) - 1}")
    return "".join(
        _with_branches_of(module, body) for module, body in zip(modules, bodies, strict=True)
    )


def _with_branches_of(module: str, body: str) -> str:
    """Return one module with the last branches its VHDL has."""
    last = {(found[1], found[2]): found["value"] for found in _SELECTED.finditer(body)}

    def complete(case: re.Match[str]) -> str:
        arms = list(_ARM.finditer(case["arms"]))
        value = last.get((case["select"], arms[0]["target"])) if arms else None
        if value is None or len(arms) != len(case["arms"].splitlines()):
            raise _cannot_mend(f"cannot read 'case ({case['select']})'")
        kept = "".join(
            f"      {arm['choice']}: {arm['target']} = {arm['value']};\n" for arm in arms
        )
        otherwise = f"      default: {arms[0]['target']} = {_in_verilog(value, module)};\n"
        return f"    case ({case['select']})\n{kept}{otherwise}    endcase\n"

    return _CASE.sub(complete, module)


def _in_verilog(value: str, module: str) -> str:
    """Return a name or a constant of the VHDL netlist as the Verilog module has it."""
    constant = _CONSTANT.fullmatch(value)
    if constant and constant["bit"]:
        return f"{{{int(constant['left']) + 1}{{1'b{constant['bit']}}}}}"
    if constant:
        bits = constant["bits"].replace("-", "x")
        return f"{len(bits)}'b{bits}"
    for name in (value, value.removeprefix("wrap_")):  # an input goes by another name in the VHDL
        if re.search(rf"\b{re.escape(name)}\b", module):
            return name
    raise _cannot_mend(f"cannot read '{value}'")


def place_before(verilog: str, line: int) -> str:
    """Return the `file:line:column` of the VHDL that a line (from 1) of the Verilog comes from."""
    places = list(_PLACE.finditer("\n".join(verilog.splitlines()[:line])))
    return places[-1]["place"] if places else ""


def _cannot_mend(reason: str) -> CannotRun:
    return CannotRun(f"this version of GHDL drops branches of 'case', and {reason}; use GHDL 3")
