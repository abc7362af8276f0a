"""Each way a plain core can differ is told by a shipped suite, and agrees once its key is given.

A variant is the reference core with one thing done in another way: what its pins are registered
with, or what two things on one edge do.
"""

from typing import NamedTuple, get_args

import pytest
import yaml
from test_depth import LEVEL, LONG, form
from variants import variant

from hdl_stubs.parameters import PARAMETERS, parameters_of
from refmodel.block.settings import Policies
from testbenches.suite import Options, run_bindings
from testbenches.toolchain import available, simulators

pytestmark = pytest.mark.skipif(not available(), reason="needs a simulator")
SUITES = ("quick", "block", "aimed")
TEN = (
    *("same_edge_write", "start_acts", "fifo_forwarding", "sync_compare", "read_clears"),
    *("arming_counts", "length_loads", "matching_byte", "gates_stop", "writing_means"),
)
# With every write behind the first accepted, no other loads the length of a transfer that runs.
SEEN_WITH = {"length_loads": {"arming_counts": "afresh"}}
HOST = "    // host\n    wire read_status"


class Variant(NamedTuple):
    """What is changed in the core, and in its binding to say so; a scenario that tells it."""

    name: str
    core: dict[str, str]
    binding: dict[str, str]
    scenario: str


def registered(names, pins, inside):
    """Return what puts a register behind some pins of the core, `names` of so many bits."""
    regs = "".join(f"    reg [{bits - 1}:0] {name};\n" for name, bits in inside.items())
    held = ", ".join(inside)
    clocked = f"    always @(posedge clk) {{{held}}} <= rst ? 0 : {{{', '.join(names)}}};\n"
    return {HOST: f"{regs}{clocked}{HOST}", **pins}


DISK = registered(
    ["bit_stb", "bit_in"],
    {
        ".bit_stb(bit_stb), .bit_in(bit_in)": ".bit_stb(stb_1), .bit_in(bit_1)",
        ".bit_stb(bit_stb), .byte_next": ".bit_stb(stb_1), .byte_next",
        ".bit_stb(bit_stb), .match": ".bit_stb(stb_1), .match",
    },
    {"stb_1": 1, "bit_1": 1},
)
WRITES = registered(
    ["wr", "adr", "din"],
    {
        "= wr && adr == ADR_SYNC_WORD": "= wr_1 && adr_1 == ADR_SYNC_WORD",
        "= wr && adr == ADR_TRANSFER": "= wr_1 && adr_1 == ADR_TRANSFER",
        "= wr && adr == ADR_CONTROL": "= wr_1 && adr_1 == ADR_CONTROL",
        ".set(din[SET]), .named(din[": ".set(din_1[SET]), .named(din_1[",
        ".din(din), .sync_word": ".din(din_1), .sync_word",
        ".din(din), .gates": ".din(din_1), .gates",
    },
    {"wr_1": 1, "adr_1": 4, "din_1": 16},
)
LEVELS = "dma_active: xfer_on, writing: wr_on"
STRAIGHT = "{port: %s, path: straight}"
GATES = "master_enable: en_master, channel_enable: en_channel"
DEPTH = [
    Variant(
        "disk.latency: 1", DISK, {"value: bit_in": "value: bit_in, latency: 1"}, "quick/random"
    ),
    Variant(
        "bus.write_latency: 1",
        WRITES,
        {"read_latency: 0": "write_latency: 1"},
        "quick/sync_words",
    ),
    Variant(
        "inputs: path: straight",
        {
            "&& gates_on) || dma_outside": "&& gates_on) || xfer_on",
            "|| writing_outside": "|| wr_on",
        },
        {LEVELS: f"dma_active: {STRAIGHT % 'xfer_on'}, writing: {STRAIGHT % 'wr_on'}"},
        "quick/random",
    ),
    Variant(
        "gates: path: straight",
        {"&& gates_on) ||": "&& gates) ||"},
        {
            GATES: f"master_enable: {STRAIGHT % 'en_master'}, "
            f"channel_enable: {STRAIGHT % 'en_channel'}"
        },
        "aimed/gates",
    ),
    Variant(
        "lines.write_data: cycles: 3",
        form(LONG),
        {"write_data: data_out": "write_data: {signal: data_out, cycles: 3}"},
        "block/write_transfer",
    ),
    Variant(
        "lines.write_data: form: toggle",
        form(LEVEL),
        {"write_data: data_out": "write_data: {signal: data_out, form: toggle}"},
        "block/write_transfer",
    ),
]
CHOICES = [
    (policy, choice)
    for policy in TEN
    for choice in get_args(Policies.model_fields[policy].annotation)
    if choice != Policies.model_fields[policy].default
]


def bound_depth(folder, one, right):
    """Return the binding of a core of another depth, with the key that says so or without."""
    return variant(folder, one.core.items(), one.binding.items() if right else ())


def bound_policy(folder, policy, choice, right):
    """Return the binding of a core of another choice, held to it or to the default."""
    path = variant(folder)
    binding = yaml.safe_load(path.read_text())
    beside = SEEN_WITH.get(policy, {})
    binding["core"]["parameters"] = parameters_of(Policies(**beside, **{policy: choice}))
    binding["policies"] = beside | ({policy: choice} if right else {})
    path.write_text(yaml.safe_dump(binding))
    return path


def verdicts(path, suites, names):
    """Return what each suite comes to."""
    found = {}
    for suite in suites:
        (result,) = run_bindings([path], suite, Options(simulators=names))
        found[suite] = result.verdict
    return found


@pytest.mark.share(6)
@pytest.mark.parametrize("one", DEPTH, ids=lambda one: one.name)
def test_depth_is_told_and_stated(one, tmp_path):
    """A core of another depth differs in a shipped scenario, and agrees with its key."""
    wrong = bound_depth(tmp_path / "wrong", one, right=False)
    right = bound_depth(tmp_path / "right", one, right=True)
    first = simulators()[:1]
    assert {one.scenario: "mismatch"} == verdicts(wrong, [one.scenario], first)
    assert {one.scenario: "agree"} == verdicts(right, [one.scenario], first)


@pytest.mark.long
@pytest.mark.parametrize("one", DEPTH, ids=lambda one: one.name)
def test_depth_in_every_suite(one, tmp_path):
    """Without its key some suite mismatches; with it all agree on every simulator."""
    wrong = verdicts(bound_depth(tmp_path / "w", one, right=False), SUITES, simulators()[:1])
    right = verdicts(bound_depth(tmp_path / "r", one, right=True), SUITES, simulators())
    told(one.name, wrong, right)


@pytest.mark.long
@pytest.mark.parametrize(("policy", "choice"), CHOICES, ids="=".join)
def test_policy_in_every_suite(policy, choice, tmp_path):
    """Held to the default some suite mismatches; held to its own choice all agree everywhere."""
    path = bound_policy(tmp_path / "w", policy, choice, right=False)
    wrong = verdicts(path, SUITES, simulators()[:1])
    path = bound_policy(tmp_path / "r", policy, choice, right=True)
    told(f"{policy}={choice}", wrong, verdicts(path, SUITES, simulators()))


def told(name, wrong, right):
    """Print a row of the table, and hold it to what it must say."""
    cells = [wrong[suite] for suite in SUITES]
    print(f"\n{name:<32} {' '.join(f'{cell:<9}' for cell in cells)} {'/'.join({*right.values()})}")
    assert "mismatch" in cells
    assert {"agree"} == {*right.values()}


def test_table_has_all_ten():
    """Every policy on what meets on one edge, or on what the register says, is in the table."""
    assert {*TEN} == {policy for policy, _ in CHOICES}
    assert {*TEN} <= {*PARAMETERS}
