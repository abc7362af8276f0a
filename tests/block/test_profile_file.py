"""A profile that cannot be right is refused: each fault at its line, with what is right."""

from fractions import Fraction

import pytest

from refmodel.ground.errors import InputError, UserError
from refmodel.profile import load_profile

HEAD = "name: mine\nclock_hz: 7093790\nchannel_bit_ns: 2000\n"
FULL = """\
name: mine
about: Every key of B1 to B8.
clock_hz: 78750000/11
channel_bit_ns: 1000
layout:
  data: 15..8
  byte_ready: 7
  dma_active: 6
  writing: 5
  sync_equal: 4
reset: {window: 0xFFFF, sync_word: 0x8912, bit_count: 7, data: 0x3C, byte_ready: 1, control: 5}
policies: {sync_view: registered, realign: never, ready_tie: clear_wins}
"""


def load_text(tmp_path, text):
    """Load a text as the profile file mine.yaml."""
    (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
    return load_profile("mine.yaml", tmp_path)


def refusal(tmp_path, text, kind=InputError):
    """Return what a user reads about a profile file, its folder left out."""
    with pytest.raises(kind) as error:
        load_text(tmp_path, text)
    return str(error.value).replace(f"{tmp_path}/", "")


def test_every_key(tmp_path):
    """Every key of a profile of these clauses is taken as it is written."""
    profile = load_text(tmp_path, FULL)
    places = {f.name: (f.msb, f.lsb) for f in profile.status.fields}
    assert (profile.name, profile.about) == ("mine", "Every key of B1 to B8.")
    assert (profile.clock_hz, profile.channel_bit_ns) == (Fraction(78750000, 11), 1000)
    assert places == {
        "byte_ready": (7, 7),
        "dma_active": (6, 6),
        "writing": (5, 5),
        "sync_equal": (4, 4),
        "data": (15, 8),
    }
    assert profile.reset.model_dump() == {
        "window": 0xFFFF,
        "sync_word": 0x8912,
        "bit_count": 7,
        "data": 0x3C,
        "byte_ready": 1,
        "control": 5,
    }
    assert (profile.policies.sync_view, profile.policies.realign) == ("registered", "never")
    assert profile.policies.ready_tie == "clear_wins"


@pytest.mark.parametrize(
    ("written", "hertz"),
    [
        ("16000000", 16_000_000),
        ("16_000_000", 16_000_000),
        ("0xF42400", 16_000_000),
        ("7159090.9", Fraction(71590909, 10)),
        ("78750000/11", Fraction(78750000, 11)),
        ("'78_750_000/11'", Fraction(78750000, 11)),
    ],
)
def test_frequency_is_exact(tmp_path, written, hertz):
    """A clock is taken exactly: an integer, a decimal number or a fraction."""
    text = HEAD.replace("7093790", written)
    assert load_text(tmp_path, text).clock_hz == hertz


@pytest.mark.parametrize(
    "written", ["fast", "-5", "1/0", "nan", "1e3", "1e999999999", "2/3/4", "[1]", "true", "7/"]
)
def test_no_frequency(tmp_path, written):
    """What is no frequency is shown, with two that are."""
    message = refusal(tmp_path, HEAD.replace("7093790", written))
    shown = "True" if written == "true" else written
    assert message == (
        f"mine.yaml:2:1: clock_hz: '{shown}' is not a frequency in Hz, e.g. 16000000 or 78750000/11"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            HEAD.replace("7093790", "0"),
            "mine.yaml:2:1: clock_hz: '0' should be above 0 Hz",
        ),
        (
            HEAD.replace("7093790", "10000000001"),
            "mine.yaml:2:1: clock_hz: '10000000001' should be at most 10000000000 Hz",
        ),
        (
            HEAD.replace("7093790", "70937"),
            "mine.yaml:1:1: a channel bit of 2000 ns takes 0.142 of a cycle of 14097 ns; it must"
            " take 1 or more (B2)",
        ),
        (
            HEAD + "separator: {counter: {phase_step: 90}}\n",
            "mine.yaml:1:1: separator.counter.phase_step: 90 should be at most a quarter of the"
            " window, which is 227 at 4 fraction_bits",
        ),
        (
            HEAD.replace("2000", "0"),
            "mine.yaml:3:1: channel_bit_ns: '0' should be greater than 0",
        ),
        (
            HEAD.replace("2000", "2 us"),
            "mine.yaml:3:1: channel_bit_ns: '2 us' should be a whole number",
        ),
        (
            "name: mine\nclock: 7093790\nchannel_bit_ns: 2000\n",
            "mine.yaml:1:1: clock_hz: missing; 'clock_hz' must be given\n"
            "mine.yaml:2:1: clock: unknown key 'clock'; did you mean 'clock_hz'?",
        ),
        (
            HEAD + "policies:\n  realign: allways\n",
            "mine.yaml:5:3: policies.realign: 'allways' is not one of 'when_waiting', 'always' "
            "or 'never'",
        ),
        (
            HEAD + "policies:\n  redy_tie: set_wins\n",
            "mine.yaml:5:3: policies.redy_tie: unknown key 'redy_tie'; did you mean 'ready_tie'?",
        ),
        (
            HEAD + "reset:\n  window: 0\n  sync_word: 0x10000\n",
            "mine.yaml:6:3: reset.sync_word: '65536' should be less than or equal to 65535",
        ),
        (
            HEAD + "reset:\n  bit_count: 8\n  byte_ready: -1\n",
            "mine.yaml:5:3: reset.bit_count: '8' should be less than or equal to 7\n"
            "mine.yaml:6:3: reset.byte_ready: '-1' should be greater than or equal to 0",
        ),
        (
            HEAD + "reset: {sync_equal: 1}\n",
            "mine.yaml:4:9: reset.sync_equal: unknown key 'sync_equal'; known: bit_count, "
            "byte_ready, control, data, sync_word, window",
        ),
    ],
)
def test_fault_in_a_key(tmp_path, text, message):
    """Every fault of a file is reported in one go, each at its own line and column."""
    assert refusal(tmp_path, text) == message


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        ("{datum: 7..0}", "'datum' is not a field of status; did you mean 'data'?"),
        ("{data: 0..7}", "data 0..7: the high bit comes first: 7..0"),
        ("{data: 7..1}", "data 7..1 is not 8 bits wide"),
        ("{data: 7}", "data 7 is not 8 bits wide"),
        ("{writing: 13..12}", "writing 13..12 is not 1 bit wide"),
        ("{writing: 16}", "writing 16 is not within bits 15..0"),
        ("{data: 16..9}", "data 16..9 is not within bits 15..0"),
        ("{writing: 14}", "writing 14 overlaps dma_active"),
        ("{byte_ready: 3}", "data 7..0 overlaps byte_ready"),
        ("{writing: high}", "writing: 'high' is not a place; write 12 or \"7..0\""),
        ("{writing: -1}", "writing: '-1' is not a place; write 12 or \"7..0\""),
        ("{data: 7..4..0}", "data: '7..4..0' is not a place; write 12 or \"7..0\""),
        ("{data: 7..}", "data: '7..' is not a place; write 12 or \"7..0\""),
    ],
)
def test_fault_in_the_layout(tmp_path, layout, message):
    """A layout that cannot be is refused: the field, the place, and what is wrong with it."""
    assert refusal(tmp_path, f"{HEAD}layout: {layout}\n") == f"mine.yaml:4:1: layout: {message}"


def test_place_of_a_wrong_type(tmp_path):
    """A place that is neither a number nor text is refused where it stands."""
    message = refusal(tmp_path, HEAD + "layout:\n  writing: true\n")
    assert message == "mine.yaml:5:3: layout.writing: true should be a whole number or text"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("pal_d", "profile 'pal_d': no such profile; did you mean 'pal_dd'?"),
        ("xyz", "profile 'xyz': no such profile; known: ntsc_dd, pal_dd, round_hd"),
        ("", "profile '': no such profile; known: ntsc_dd, pal_dd, round_hd"),
        ("none.yaml", "none.yaml: no such file"),
    ],
)
def test_no_such_profile(name, message):
    """A name or a file that does not exist is named, with a near one."""
    with pytest.raises(UserError) as error:
        load_profile(name)
    assert str(error.value) == message


def test_empty_file(tmp_path):
    """An empty file is no profile."""
    assert refusal(tmp_path, "", UserError) == "mine.yaml: the file is empty"


@pytest.mark.parametrize(
    ("pulse", "message"),
    [
        ("{ns: 100}", "write_pulse.ns: '100' should be greater than or equal to 150"),
        ("{ns: 1200}", "write_pulse.ns: '1200' should be less than or equal to 1100"),
        ("{form: toggle, ns: 400}", "a toggling line has none"),
        ("{form: pulse}", "a pulse needs ns, how long it is, e.g. 400"),
        ("{ns: 1000}\nwrite_bit_cycles: 6", "write_bit_cycles"),
        (
            "{ns: 1100}\nclock_hz: 14000000\nchannel_bit_ns: 1000",
            "15 cycles are not shorter than a",
        ),
    ],
)
def test_write_pulses_no_drive_takes_are_refused(pulse, message, tmp_path):
    """A write pulse outside 150 to 1 100 ns, or as long as a channel bit, is told by its key."""
    path = tmp_path / "own.yaml"
    own = "" if "clock_hz" in pulse else "clock_hz: 7093790\nchannel_bit_ns: 2000\n"
    path.write_text(f"name: own\n{own}write_pulse: {pulse}\n")
    with pytest.raises(InputError) as error:
        load_profile(str(path))
    assert message in str(error.value)
