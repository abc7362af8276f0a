"""The suite `spec` plays the examples of SPEC.md into a core, each by its own name."""

import json
import shutil
from dataclasses import replace

import pytest
import yaml
from changed_core import STUBS
from command import cellstep
from spans import inputs_of

from hdl_stubs.parameters import parameters_of
from refmodel.block.registers import RegisterBlock
from refmodel.examples.page import shipped_examples
from refmodel.examples.play import Played, compare_row, profile_of
from refmodel.examples.scenario import TAIL, Target, scenario_of
from refmodel.ground.bus import BusShape
from refmodel.ground.depth import Depth, Inside
from refmodel.host.processor import Processor
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.examples import example_scenarios
from refmodel.world.scenario import Scenario
from refmodel.world.world import World
from testbenches.suite import Options, run_bindings
from testbenches.toolchain import available, simulators

PAL = load_profile("pal_dd")
EXAMPLES = shipped_examples()
ONE_BUS = ("level_follows_writes", "read_before_write", "reset_wins")
TARGETS = {
    "plain": Target(),
    "deep": Target(
        start=6,
        shape=BusShape(hold=2, idle=1, read_latency=1),
        depth=Depth(disk=2, reads=1, writes=3, levels={"dma_active": 1, "master_enable": 2}),
    ),
}
needs_simulator = pytest.mark.skipif(not available(), reason="needs a simulator")


def differences(example, target):
    """Play an example's scenario on the model; return where the block shows something else.

    The block begins in reset; what the example says of a reset is left to bits and accesses.
    """
    profile = replace_reset(profile_of(example))
    scenario = Scenario.model_validate(scenario_of(example, replace(target, profile=profile)))
    disk = Disk.of(scenario, profile, None, 1, target.start)
    program = scenario.program(1, profile)
    processor = Processor(program, disk.profile, target.shape, disk.start, machine=disk.machine)
    block, played = RegisterBlock(disk.profile), Played()
    inside = Inside(target.depth, disk.resets)
    first = disk.cycles - TAIL - target.depth.deepest - length(example) + 1
    rows = {first + edge: row for row, edge, _, _ in example.inputs()}
    for stimulus, _ in World(disk, processor, target.depth).spans():
        for edge, inputs in inputs_of(inside.take(stimulus), block):
            block.step(inputs)
            if edge in rows:
                compare_row(played, rows[edge], f"edge {edge - first}", block, profile)
    assert played.compared >= length(example)
    return played.differences


def replace_reset(profile):
    """Return a profile with the standard reset values."""
    return profile.model_copy(update={"reset": PAL.reset})


def length(example):
    """Return how many edges an example has."""
    return example.rows[-1].last - example.rows[0].first + 1


def resets(example):
    """Return whether reset is asserted in an example."""
    return any(inputs.reset for _, _, inputs, _ in example.inputs())


def own_values(example):
    """Return whether an example needs reset values of its own."""
    return bool(example.reset) and resets(example)


PLAYABLE = [e for n, e in EXAMPLES.items() if n not in ONE_BUS and not own_values(e)]


@pytest.mark.parametrize("example", PLAYABLE, ids=lambda e: e.name)
def test_bits_and_accesses_bring_about_the_example(example):
    """Preset by bits and accesses, the block shows what the page lists, in every cycle of it."""
    assert [] == differences(example, TARGETS["plain"])


@pytest.mark.parametrize("example", [e for e in PLAYABLE if not resets(e)], ids=lambda e: e.name)
def test_deep_core_meets_the_example(example):
    """Behind registers all comes as much earlier at the pins, and meets as on the page."""
    _, left_out = example_scenarios(f"spec/{example.name}", TARGETS["deep"])
    if left_out:
        assert "closer than the core's bus allows" in left_out[example.name]
    else:
        assert [] == differences(example, TARGETS["deep"])


@needs_simulator
@pytest.mark.parametrize("simulator", simulators())
def test_core_agrees_in_every_example_it_can_meet(simulator):
    """Each example is a run of its name; what the core cannot be made to meet is said, and why."""
    binding = STUBS / "reference" / "binding.yaml"
    (result,) = run_bindings([binding], "spec", Options(simulators=[simulator]))
    assert [*EXAMPLES] == sorted((o.scenario for o in result.outcomes), key=[*EXAMPLES].index)
    verdicts = {o.scenario: (o.verdict, o.note) for o in result.outcomes}
    assert ("agree", "") == verdicts["tie_set_wins"]
    told = "of policy ready_tie=clear_wins; the core is held to another"
    assert ("skipped", told) == verdicts["tie_clear_wins"]
    assert 35 < sum(verdict == "agree" for verdict, _ in verdicts.values())
    assert {"agree", "skipped"} == {verdict for verdict, _ in verdicts.values()}
    assert all(note for verdict, note in verdicts.values() if verdict == "skipped")


@pytest.mark.rest
@needs_simulator
def test_mismatch_has_the_name_of_the_example(core, tmp_path):
    """A core that resolves the tie the other way parts from the examples of the tie alone."""
    changed = core().bind(("READY_TIE: 0", "READY_TIE: 1"))
    done = cellstep("run", changed.binding, "--suite", "spec", "--out", tmp_path / "out")
    assert done.returncode == 1
    runs = json.loads((tmp_path / "out" / "result.json").read_text())["runs"]
    parted = {run["scenario"]: run for run in runs if run["verdict"] == "mismatch"}
    assert {"tie_set_wins", "cleared_at_the_edge"} == set(parted)
    assert "--suite spec/tie_set_wins" in parted["tie_set_wins"]["reproduce"]


def test_model_plays_an_example_by_its_name():
    """`trace` shows an example with its registers preset, as the page lists it."""
    done = cellstep("trace", "spec/tie_set_wins", "--from", "1100")
    *_, tie, read = done.stdout.splitlines()
    assert "bit 1, read" in tie
    assert ["00A1", "0", "1", "0", "0", "0", "A1"] == tie.split("read ")[1].split()[:7]
    assert ["00A1", "0", "0", "0", "0", "0", "A1"] == read.split("read ")[1].split()[:7]


def test_unknown_example_is_told():
    """A name that SPEC.md has not ends with 2 and a near one."""
    done = cellstep("run", STUBS / "reference" / "binding.yaml", "--suite", "spec/tie_set_win")
    assert done.returncode == 2
    assert "SPEC.md has no such example; did you mean 'tie_set_wins'?" in done.stderr


@pytest.mark.parametrize(
    ("target", "example", "told"),
    [
        ({"registers": frozenset({"status"})}, "transfer", "no such register bound"),
        ({"levels": frozenset()}, "sampled_at_the_edge", "no input of the core is bound to it"),
        ({"memory": False}, "slot_before_the_write", "needs memory slots; none are bound"),
        ({"reset": False}, "place_runs_on", "needs a reset; none is bound"),
        ({"bits": False}, "eighth_bit", "the core takes flux"),
        ({"placed": False}, "set_and_cleared", "the core ends them itself"),
        ({"shape": BusShape(status=(0xFF00, 0xFF))}, "set_and_cleared", "takes two cycles"),
        ({"shape": BusShape(hold=9)}, "armed_by_two_writes", "closer than the core's bus allows"),
        ({"depth": Depth(disk=1)}, "place_runs_on", "a reset ends what is on its way"),
    ],
)
def test_what_a_core_cannot_meet_is_told(target, example, told):
    """The reason says what of the core is in the way."""
    name = "armed_by_two_writes" if example == "transfer" else example
    _, left_out = example_scenarios(f"spec/{name}", Target(PAL, **target))
    assert told in left_out[name]


def settings_of(example):
    """Return what of a profile an example names."""
    named = (example.policy, example.profile, example.layout)
    return json.dumps([dict(sorted(part.items())) for part in named])


@needs_simulator
@pytest.mark.long
def test_every_example_is_played_into_a_core(tmp_path):
    """Bound with the profile that an example names, the reference core agrees in each of them."""
    groups = {}
    for example in PLAYABLE:
        if not example.layout:
            groups.setdefault(settings_of(example), []).append(example)
    agreed = set()
    for n, alike in enumerate(groups.values()):
        binding = bound_for(alike[0], tmp_path / str(n))
        (result,) = run_bindings([binding], "spec", Options(simulators=simulators()[:1]))
        assert "mismatch" != result.verdict
        agreed |= {o.scenario for o in result.outcomes if o.verdict == "agree"}
    assert {e.name for e in PLAYABLE if not e.layout} == agreed


def bound_for(example, folder):
    """Return the binding of a reference core that is what an example's profile says."""
    shutil.copytree(STUBS / "reference", folder)
    profile, path = profile_of(example), folder / "binding.yaml"
    words = f"parameter integer WORDS = {profile.fifo_words}"
    fifo = folder / "word_fifo.v"
    fifo.write_text(fifo.read_text().replace("parameter integer WORDS = 3", words))
    binding = yaml.safe_load(path.read_text())
    binding["core"]["parameters"] = {
        **parameters_of(profile.policies),
        "WRITE_BIT_CYCLES": profile.write_bit_cycles or int(profile.cycles_per_bit),
        "ARMING_WRITES": profile.arming_writes,
    }
    binding["profile"] = "p.yaml"
    (folder / "p.yaml").write_text(
        yaml.safe_dump(
            {
                "name": "p",
                "clock_hz": 7093790,
                "channel_bit_ns": 2000,
                "policies": profile.policies.model_dump(),
                **example.profile,
            }
        )
    )
    path.write_text(yaml.safe_dump(binding))
    return path
