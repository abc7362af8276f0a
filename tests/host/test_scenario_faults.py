"""What a scenario file cannot mean is reported at its line, before anything runs."""

import pytest

from refmodel.explain.trace import model_trace
from refmodel.ground.errors import UserError
from refmodel.host.processor import Processor
from refmodel.profile import load_profile
from refmodel.world.load import load_scenario

WORDS = "track: {layout: words, words: [0x4489, 0x9254]}\n"
HOST = "host: {program: rewrite_sync_word, params: "


def refusal(tmp_path, text):
    """Return the message that refuses a scenario, its folder left out."""
    path = tmp_path / "s.yaml"
    path.write_text(f"name: mine\n{text}")
    with pytest.raises(UserError) as error:
        load_scenario(path)
    return str(error.value).replace(f"{tmp_path}/", "")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            f"{WORDS}{HOST}{{sync_words: 7}}}}\n",
            "s.yaml:3:45: host.params.sync_words: '7' should be a list",
        ),
        (
            f"{WORDS}{HOST}{{sync_words: [1, x], every: 1.5}}}}\n",
            "s.yaml:3:61: host.params.sync_words.1: 'x' should be a whole number\n"
            "s.yaml:3:65: host.params.every: '1.5' should be a whole number",
        ),
        (
            f"{WORDS}{HOST}{{sync_words: [65536]}}}}\n",
            "s.yaml:3:58: host.params.sync_words.0: '65536' should be less than or equal to 65535",
        ),
        (
            f"{WORDS}{HOST}{{sync_word: [1]}}}}\n",
            "s.yaml:3:45: host.params.sync_word: rewrite_sync_word has no parameter 'sync_word';"
            " did you mean 'sync_words'?",
        ),
        (
            f"{WORDS}host: {{program: odd_syncs}}\n",
            "s.yaml:3:8: host.program: odd_syncs needs params.sync_words",
        ),
        (
            f"{WORDS}host: {{program: idle, cost_factor: 1e999999999}}\n",
            "s.yaml:3:23: host.cost_factor: '1e999999999' is not a number, e.g. 1.5 or 4/3",
        ),
        (
            f"{WORDS}tracks: [{{layout: words, words: [1]}}]\n",
            "s.yaml:3:10: tracks.0: has 16 channel bits, track 0 has 32; they must be equally long",
        ),
        (
            f"{WORDS}density: [{{first_bit: 8, percent: 2}}, {{bits: 9, percent: 2}}]\n",
            "s.yaml:3:11: density.0: another region holds channel bit 8 already",
        ),
        (
            f"{WORDS}separator: rephase\nflux: {{weak: [{{first_bit: 30, bits: 3}}]}}\n",
            "s.yaml:4:15: flux.weak.0: the region of channel bits 30 .. 32 ends beyond the track,"
            " whose last is 31",
        ),
        (
            f"{WORDS}levels: {{writing: 2}}\nresets: [{{at: 4294967296}}]\n",
            "s.yaml:3:10: levels.writing: '2' should be less than or equal to 1\n"
            "s.yaml:4:11: resets.0.at: '4294967296' should be less than or equal to 4294000000",
        ),
        (
            "track: {layout: words, words: [1, 2, 3, 4, 5, 6, 7], repeat: 100000}\n",
            "s.yaml:2:1: track: 11200000 channel bits are too many for a track; 10000000 at most",
        ),
        (
            f"{WORDS}host: {{align: 4, contention: {{busy: 5, every: 8}}}}\n",
            "s.yaml:3:1: host: no cycle is a multiple of align 4 and outside the first 5 of every"
            " 8; the host never gets onto the bus",
        ),
        (
            "track: {layout: iso, gap3: 600}\n",
            "s.yaml:2:1: track: 9 sectors of 512 with gap3 600 need 10712 bytes, 4462 more than the"
            " track's 6250; gap3 104 or less would fit",
        ),
        (
            f"{WORDS}tracks: [{{layout: words, words: [1]}}]\n"
            "steps: [{at_us: 300000, track: 0}, {at_us: 100000, track: 1}]\n",
            "s.yaml:4:1: steps: the step to track 1 at 100000 us comes after the one at 300000"
            " us; give steps in order of time",
        ),
    ],
)
def test_refused(tmp_path, text, message):
    """Values no program takes, and parts that lie on no track, are reported where they stand."""
    assert message == refusal(tmp_path, text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            f"{WORDS}host: {{program: read_every, params: {{cycles: 0}}}}\n",
            "s.yaml:3:8: host.program: Read(register='status', cost=0): cost must be 1 cycle or"
            " more",
        ),
        (
            "track: {layout: words, words: [0]}\nseparator: rephase\n",
            "s.yaml:2:1: track: the track has no transition; all its channel bits are 0",
        ),
        (
            "track: {layout: words, words: [0]}\nflux: {jitter_ns: 5}\n",
            "s.yaml:3:1: flux: the track has no transition; all its channel bits are 0",
        ),
    ],
)
def test_told_when_it_runs(tmp_path, text, message):
    """What only a run shows to be wrong is reported where it stands, too."""
    path = tmp_path / "s.yaml"
    path.write_text(f"name: mine\n{text}")
    with pytest.raises(UserError) as error:
        model_trace(path, load_scenario(path), load_profile("pal_dd"), 1)
    assert message == str(error.value).replace(f"{tmp_path}/", "")


def test_a_host_that_just_gets_onto_the_bus(tmp_path):
    """A host is taken that has a single cycle in eight: of alignment 4 that is cycle 4."""
    path = tmp_path / "s.yaml"
    path.write_text(f"name: mine\n{WORDS}host: {{align: 4, contention: {{busy: 4, every: 8}}}}\n")
    assert 12 == load_scenario(path).host.timing.after(4, 1)


def test_program_that_fails():
    """A program that fails by itself is reported with its file and line."""

    def program():
        yield 1 // 0

    with pytest.raises(UserError, match=r"^host program: test_scenario_faults.py:\d+: ZeroDivi"):
        Processor(program(), load_profile("pal_dd"))
