"""A netlist cut at a net: what drives the net is left out, and a new input takes its place."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain

from refmodel.ground.errors import CannotRun
from testbenches.hdl.smt import Bit, bits_named
from testbenches.hdl.synth import Module


def cut(module: Module, inputs: Mapping[str, str]) -> None:
    """Cut a netlist at nets of one bit each; `inputs` has the net by the name of the new input.

    Raises CannotRun for a net that nothing drives, or that is an input of the whole.
    """
    first = 1 + max(b for b in _all_bits(module) if isinstance(b, int))
    fresh: dict[Bit, Bit] = {}
    for number, (name, net) in enumerate(inputs.items(), first):
        (bit,) = bits_named(module, net)
        if bit in fresh or bit not in _driven(module):
            raise CannotRun(f"'{net}': no signal of its own that the core drives")
        fresh[bit] = number
        module["ports"][name] = {"direction": "input", "bits": [number]}
    for net in module["netnames"].values():
        net["bits"] = [fresh.get(bit, bit) for bit in net["bits"]]
    for port in module["ports"].values():
        port["bits"] = [fresh.get(bit, bit) for bit in port["bits"]]
    for cell in module["cells"].values():
        for pin, bits in cell["connections"].items():
            if cell["port_directions"][pin] == "input":
                cell["connections"][pin] = [fresh.get(bit, bit) for bit in bits]


def _all_bits(module: Module) -> chain[Bit]:
    """Return every bit of every cell and port."""
    pins = (bits for cell in module["cells"].values() for bits in cell["connections"].values())
    return chain(*pins, *(port["bits"] for port in module["ports"].values()))


def _driven(module: Module) -> set[Bit]:
    """Return the bits that cells drive."""
    return {
        bit
        for cell in module["cells"].values()
        for pin, bits in cell["connections"].items()
        if cell["port_directions"][pin] == "output"
        for bit in bits
    }
