"""Eight settings of each of two cores: what a fit finds, and what its next captures decide.

`pytest -s` shows the tables.
"""

import pytest
from recorded import PAL, WHOLE_MAP, dumped, mapped, plain_bench
from test_fit import PLAIN_ADDRESS, PLAIN_MAP, plain_core

from hdl_stubs.parameters import parameters_of
from refmodel.capture.fit import CONTRADICTED, NOT_EXERCISED, fit
from refmodel.capture.next_capture import LONGEST, what_next
from refmodel.capture.opened import open_capture
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog"),
]
WORDS = SCENARIOS / "quick" / "sync_words.yaml"
SETTINGS = [
    {},
    {"sync_view": "registered", "same_edge_write": "new"},
    {"realign": "always", "ready_tie": "clear_wins", "sync_compare": "at_bits"},
    {"realign": "never", "read_clears": "edge_after", "gates_stop": "slots"},
    {"dma_active_means": "running", "zero_length": "ignored", "fifo_forwarding": "read"},
    {"writing_means": "gate_open", "write_tail_lost_bits": "3", "fifo_forwarding": "both"},
    {"matching_byte": "dropped", "start_acts": "same_edge", "realign": "always"},
    {"writing_means": "requested", "arming_counts": "afresh", "length_loads": "accepted"},
]
PLAIN = [(depth, tie, view) for depth in (1, 2) for tie in ("set_wins", "clear_wins")
         for view in ("live", "registered")]  # fmt: skip


ROUNDS = 3


def silent(_message):
    """Say nothing."""


def fitted_twice(first, capture, text, folder, true, title):
    """Fit a capture, then with those it asks for; print each round, and hold it to the truth.

    Return the answers of the last round, and what it says no scenario decides.
    """
    given = mapped(folder, text)
    dumps, rounds = [first], []
    for _ in range(ROUNDS):
        found = fit([open_capture(dump, given) for dump in dumps], silent)
        rounds.append(found)
        assert found.holds
        opened = open_capture(first, given)
        plan = what_next(found, opened.map, opened.profile, silent)
        named = dict.fromkeys(n.path for n in plan.chosen)
        new = [path for path in named if path.stem not in {d.stem for d in dumps}]
        if not new or len(rounds) == ROUNDS:
            break
        dumps += [capture(path) for path in new]
    print(f"\n{title}: first {WORDS.stem}, then {', '.join(d.stem for d in dumps[1:])}")
    later = [{q.name: q for q in one.questions} for one in rounds]
    for name in later[0]:
        if not name.startswith("layout."):
            rows = "".join(f"{told(one[name]):34}" for one in later)
            print(f"  {name:22}{true.get(name, '0'):18}{rows}")
    for one in rounds:
        for question in one.questions:
            value = true.get(question.name)
            verdict = {v.value: v.verdict for v in question.values}.get(value)
            assert value is None or verdict != CONTRADICTED, question
            assert value is None or not question.decided or question.answer == value
    return later[-1], " ".join(plan.beyond)


def told(question):
    """Say what becomes of a question."""
    left = [v.value for v in question.values if v.verdict != CONTRADICTED]
    if question.decided:
        return f"{question.answer} found"
    if question.values[0].verdict == NOT_EXERCISED:
        return "not exercised"
    return " or ".join(left)


@pytest.mark.parametrize("number", range(len(SETTINGS)))
def test_every_setting_of_the_reference_core_is_recovered(number, tmp_path):
    """Every policy and depth is found once the captures it asks for are there."""
    setting = SETTINGS[number]
    profile = PAL.with_policies(setting)
    parameters = parameters_of(profile.policies)

    def capture(path):
        dump = dumped(tmp_path, path, LONGEST, profile=profile, words=True, **parameters)
        return dump.rename(tmp_path / f"{path.stem}.vcd")

    true = {name: str(value) for name, value in profile.policies.model_dump().items()}
    true |= dict.fromkeys(("disk.latency", "bus.latency", "bus.write_latency"), "0")
    true |= {"arming_writes": "2", "inputs.latency": "0", "latency.status": "0"}
    later, beyond = fitted_twice(
        capture(WORDS), capture, WHOLE_MAP, tmp_path, true, f"reference core, {setting}"
    )
    alike = set(NEVER_TOLD) | ({"matching_byte"} if setting.get("realign") == "never" else set())
    left = {name for name in true if not later[name].decided}
    assert left <= alike
    assert all(name in beyond for name in left)


NEVER_TOLD = ("length_loads",)  # by a controller of which each write with enable set is accepted


@pytest.mark.parametrize("number", range(len(PLAIN)))
def test_every_setting_of_a_plain_core_is_recovered(number, tmp_path):
    """Depths and policies of eight variants of a core of another style, without transfers.

    What no capture of it can tell apart is left, and said to be beyond any scenario.
    """
    depth, tie, view = PLAIN[number]
    core = plain_core(tmp_path, depth, tie, view)
    profile = PAL.with_policies({"realign": "never"})

    def capture(path):
        dump = dumped(
            tmp_path, path, LONGEST, core, profile, bench=plain_bench(), address=PLAIN_ADDRESS
        )
        return dump.rename(tmp_path / f"{path.stem}.vcd")

    true = {"ready_tie": tie, "sync_view": view, "realign": "never", "read_clears": "at_edge"}
    true |= dict.fromkeys(("disk.latency", "bus.latency", "inputs.latency"), str(depth))
    true |= {"bus.write_latency": "0", "latency.status": "0"}
    title = f"plain core, {depth} deep, {tie}, {view}"
    later, beyond = fitted_twice(capture(WORDS), capture, PLAIN_MAP, tmp_path, true, title)
    assert {name for name in true if not later[name].decided} == {"realign"}
    assert told(later["realign"]) == ALIKE
    assert f"realign ({ALIKE})" in beyond
    assert "inputs.wait_for_sync" in beyond


ALIKE = "when_waiting or never"  # of a core that nothing tells to wait
