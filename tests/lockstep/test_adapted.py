"""Scenarios adapt to a core without control, or without a port for wait_for_sync."""

import shutil

import pytest
import yaml
from replaced import replace_in

from hdl_stubs.defects import REFERENCE, apply, load_defects
from refmodel.ground.errors import InputError
from refmodel.profile import PROFILES
from testbenches.binding.load import load_binding

DEFECTS = {defect.name: defect for defect in load_defects()}
NO_CONTROL = (", control: 0xE", "")
NO_PORT = (", wait_for_sync: ws}", "}\ntie: {ws: 0}")
STRAP = (", wait_for_sync: ws}", ", held: {wait_for_sync: 1}}\ntie: {ws: 1}")
OF_THE_PATH = [
    ("does_not_wait_for_sync", "read_transfer"),
    ("written_bits_reversed", "write_transfer"),
    ("gate_a_bit_short", "write_transfer"),
]


@pytest.fixture
def variant(tmp_path):
    """Return a function that copies the reference core, with a defect, and changes its binding."""

    def make(*changes, defect=""):
        folder = tmp_path / f"core{len(list(tmp_path.iterdir()))}"
        if defect:
            apply(DEFECTS[defect], REFERENCE, folder)
        else:
            shutil.copytree(REFERENCE, folder)
        replace_in(folder / "binding.yaml", *changes)
        return folder / "binding.yaml"

    return make


@pytest.mark.long
def test_block_without_control_is_played_whole(outcomes, variant):
    """With wait_for_sync on a port all scenarios but the one about control move words."""
    found = outcomes(variant(NO_CONTROL), "block", revolutions=1)
    assert {o.verdict for o in found} == {"agree"}
    moved = {o.scenario for o in found if o.moves}
    assert moved == {o.scenario for o in found} - {"control"}
    level = {o.scenario: o.stirred["input wait_for_sync"] for o in found}
    assert level["control"] > 1
    assert level["read_transfer"] == 1  # the program sets the bit once


@pytest.mark.share(2)
@pytest.mark.parametrize("live", [False, True])
def test_level_follows_what_is_written_to_control(outcomes, variant, live):
    """Replayed and live, the port goes up where the program sets the bit."""
    (found,) = outcomes(variant(NO_CONTROL), "block/read_transfer", live)
    assert (found.verdict, found.moves) == ("agree", 200)
    assert found.stirred["input wait_for_sync"] == 1


@pytest.mark.share(3)
@pytest.mark.parametrize(("defect", "scenario"), OF_THE_PATH)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_defect_of_the_path_shows_without_control(outcomes, variant, defect, scenario):
    """A defect of reading, writing or the FIFO is found in a core that has no control."""
    binding = variant(NO_CONTROL, defect=defect)
    (found,) = outcomes(binding, f"block/{scenario}", revolutions=1)
    assert found.verdict == "mismatch"


def test_strap_is_held(outcomes, variant):
    """A core whose wait_for_sync is a constant agrees where the binding says which."""
    binding = variant(NO_CONTROL, STRAP)
    (found,) = outcomes(binding, "block/read_transfer")
    assert (found.verdict, found.moves) == ("agree", 200)
    replace_in(binding, ("held: {wait_for_sync: 1}", "held: {wait_for_sync: 0}"))
    shutil.move(binding, binding.with_name("zero.yaml"))
    (found,) = outcomes(binding.with_name("zero.yaml"), "block/read_transfer")
    assert found.verdict == "mismatch"


@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_level_without_a_port_is_written_to_control(outcomes, variant):
    """Where control alone has the bit, a core that never realigns differs in a quick scenario."""
    suite = "quick/random"
    (found,) = outcomes(variant(NO_PORT), suite)
    assert (found.verdict, found.stirred["register control"] > 0) == ("agree", True)
    (found,) = outcomes(variant(NO_PORT, defect="never_realigns"), suite)
    assert found.verdict == "mismatch"


@pytest.mark.long
@pytest.mark.parametrize("simulator", ["verilator"], indirect=True)
def test_status_alone_is_aimed_at(outcomes, variant):
    """Programs that stir everything do without a transfer, others are skipped with the reason."""
    binding = variant(
        (", transfer: 0xC, control: 0xE", ""), (memory_line(), "tie: {slot: 0, mem_in: 0}")
    )
    found = {o.scenario: o for o in outcomes(binding, "aimed", revolutions=1)}
    skipped = {n for n, o in found.items() if o.verdict == "skipped"}
    assert skipped >= {"lengths", "words"}
    assert not skipped & {"bytes", "matches", "dense", "dense_resets", "gates", "few_slots"}
    assert {found[name].note for name in skipped} == {"the core has no register 'transfer'"}
    assert {o.verdict for n, o in found.items() if n not in skipped} == {"agree"}
    assert found["bytes"].reads > 1000


def memory_line():
    """Return the line of the reference core's binding that binds memory."""
    lines = (REFERENCE / "binding.yaml").read_text().splitlines()
    return next(line for line in lines if line.startswith("memory:"))


@pytest.mark.share(3)
@pytest.mark.parametrize(
    ("there", "reset", "layout"),
    [
        (0b00001, 0, {"top_bit_framing": "none", "slow_bits": None, "precompensation": None}),
        (0b00011, 1, {"top_bit_framing": "none", "precompensation": "none"}),
        (0b11110, 1, {"wait_for_sync": None}),
    ],
)
def test_bits_that_control_lacks(outcomes, variant, there, reset, layout):
    """A control register of some bits agrees, and differs from one that has them all."""
    binding = variant(("profile: pal_dd", "profile: part.yaml"))
    replace_in(
        binding.parent / "control_register.v",
        ("control | named : control & ~named", "control | named & M : control & ~(named & M)"),
        ("localparam NEW = 0;", f"localparam NEW = 0;\n    localparam [4:0] M = 5'd{there};"),
        ("rst ? 5'd0", f"rst ? 5'd{reset}"),
    )
    profile = yaml.safe_load((PROFILES / "pal_dd.yaml").read_text())
    part = profile | {"control_layout": layout, "reset": {"control": reset}}
    (binding.parent / "part.yaml").write_text(yaml.safe_dump(part))
    assert {o.verdict for o in outcomes(binding, "block/control", revolutions=1)} == {"agree"}
    (binding.parent / "part.yaml").write_text(yaml.safe_dump(profile))
    binding.rename(binding.with_name("whole.yaml"))
    (found,) = outcomes(binding.with_name("whole.yaml"), "block/control", revolutions=1)
    assert found.verdict == "mismatch"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ([(", wait_for_sync: ws}", ", wait_for_sync: ws, held: {wait_for_sync: 1}}")], "not both"),
        ([STRAP], "control moves it; if reset leaves it on, say so in the profile: reset.control"),
        ([NO_CONTROL, ("wait_for_sync: ws", "held: {wait_for_sync: 2}")], "held"),
        ([NO_CONTROL, ("wait_for_sync: ws", "held: {writing: 1}")], "held"),
    ],
)
def test_held_level_that_moves_is_refused(variant, changes, message):
    """A level is held, or it moves, and only wait_for_sync can be held."""
    with pytest.raises(InputError, match=message):
        load_binding(variant(*changes))
