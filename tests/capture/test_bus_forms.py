"""The buses a binding knows, in captures: the same accesses recorded in each form agree."""

import numpy as np
import pytest
from made import MAP, WIDTHS, MadeRecording, made_columns
from recorded import mapped

from refmodel.capture.capture_map import load_map
from refmodel.capture.check import check
from refmodel.capture.opened import Opened
from refmodel.ground.errors import InputError
from refmodel.world.find import SCENARIOS

CYCLES = 6_000
WIDTHS |= {"d": 16, "byte": 8}
READ = "  read_data: status\n"
DATA = "  write_data: din\n" + READ


@pytest.fixture(scope="module")
def run():
    """Return what reaches the controller, and what it shows, by name, a value a cycle."""
    return made_columns(SCENARIOS / "quick" / "random.yaml", CYCLES)


def told(folder, columns, shown, text):
    """Return what a check finds of a recording."""
    given = load_map(mapped(folder, text))
    return check(Opened(MadeRecording(columns, shown), given))


def agrees_and_is_looked_at(folder, columns, shown, text, changed="status"):
    """Hold a recording to the model, and once more with one bit of what reads return turned."""
    found = told(folder, columns, shown, text)
    assert found.finding is None, found.finding
    assert found.reads > 40
    where = shown if changed in shown else columns
    turned = {**where, changed: where[changed] ^ np.where(np.arange(CYCLES) > 3000, 0x10, 0)}
    parts = (columns, turned) if where is shown else (turned, shown)
    assert told(folder, *parts, text).finding is not None


def status_only(text):
    """Return a map in which what reads return was not recorded."""
    return text.replace(READ, "")


def without_status(text):
    """Return a map in which status shows in reads only."""
    return text.replace("observe: {status: status}\n", "")


def test_a_data_bus_for_both_directions(run, tmp_path):
    """One signal has what is written, and what is read while the core drives it."""
    columns, shown = run
    read = np.append(columns["rd"][1:], 0)
    seen = np.concatenate(([0], shown["status"][:-1]))
    bus = np.where(columns["rd"] != 0, seen, columns["din"])
    made = {**columns, "d": bus, "oe": columns["rd"]}
    text = without_status(MAP).replace(DATA, "  data: {signal: d, drives: oe}\n")
    agrees_and_is_looked_at(tmp_path, made, shown, text, "d")
    assert read.any()


def test_a_bus_that_is_not_driven_gives_an_unknown_value(run, tmp_path):
    """A read while the core does not drive the bus is a mismatch of its own kind (B14)."""
    columns, shown = run
    made = {**columns, "d": columns["din"], "oe": np.zeros(CYCLES, np.int64)}
    text = without_status(MAP).replace(DATA, "  data: {signal: d, drives: oe}\n")
    assert told(tmp_path, made, shown, text).finding.mismatch.unknown


def test_an_acknowledge_ends_an_access(tmp_path):
    """Strobes held until the acknowledge are one access, which counts where that is sampled."""
    columns, shown = made_columns(SCENARIOS / "quick" / "sectors.yaml", CYCLES)
    at = np.flatnonzero((columns["rd"] | columns["wr"]) != 0)
    assert np.diff(at).min() > 6
    early = {name: np.zeros(CYCLES, np.int64) for name in ("rd", "wr", "adr", "din")}
    for name, column in early.items():
        for n in range(4):
            column[at - n] = columns[name][at]
    ack = np.zeros(CYCLES, np.int64)
    ack[at] = 1
    text = MAP.replace("  registers", "  acknowledge: ack\n  acts: last\n  registers")
    made = {**columns, **early, "ack": ack}
    agrees_and_is_looked_at(tmp_path, made, shown, without_status(text))
    first = {**columns, **{name: np.roll(column, 3) for name, column in early.items()}}
    text = text.replace("acts: last", "acts: first")
    found = told(tmp_path, {**first, "ack": np.roll(ack, 3)}, shown, status_only(text))
    assert found.finding is None


def test_bytes_of_a_word_may_be_swapped(run, tmp_path):
    """byte_order says so, and what is written and read is turned back."""
    columns, shown = run

    def turn(data):
        return (data & 0xFF) << 8 | data >> 8

    made = {**columns, "din": turn(columns["din"])}
    turned = {**shown, "d": turn(shown["status"])}
    text = without_status(MAP).replace(READ, "  read_data: d\n  byte_order: swapped\n")
    agrees_and_is_looked_at(tmp_path, made, turned, text, "d")


def test_data_strobes_say_which_bytes_are_carried(run, tmp_path):
    """Of a read with one strobe only that byte is held to the model."""
    columns, shown = run
    access = columns["rd"] | columns["wr"]
    text = without_status(MAP).replace(READ, READ + "  strobes: {high: uds, low: lds}\n")
    both = {**columns, "uds": access, "lds": access}
    agrees_and_is_looked_at(tmp_path, both, shown, text)
    high = {**columns, "uds": access, "lds": columns["wr"]}
    turned = {**shown, "status": shown["status"] ^ 0x10}
    assert told(tmp_path, high, turned, text).finding is None


def test_only_decoded_address_lines_count(run, tmp_path):
    """A line the controller does not look at may have any level."""
    columns, shown = run
    made = {**columns, "adr": columns["adr"] | 1}
    text = without_status(MAP).replace("  read: rd", "  decoded: 0xE\n  read: rd")
    agrees_and_is_looked_at(tmp_path, made, shown, text)


def test_a_bus_of_eight_bits(run, tmp_path):
    """Status in two bytes, of which the high one clears byte_ready."""
    columns, shown = run
    is_status = (columns["rd"] != 0) & (columns["adr"] == 4)
    seen = np.concatenate(([0], shown["status"][:-1]))
    byte = np.where(is_status, seen >> 8, 0)
    made = {**columns, "byte": byte, "wr": np.zeros(CYCLES, np.int64)}
    text = without_status(MAP)
    begin, end = text.index("  write: wr"), text.index("inputs:")
    bus = "  read_data: byte\n  registers: {status: {high: 4, low: 5, clears_on: high}}\n"
    found = told(tmp_path, made, shown, text[:begin] + bus + text[end:])
    assert found.reads > 40


def test_a_straight_level_shows_in_its_own_cycle(run, tmp_path):
    """Status shows a level that passes as a wire at once; registered it would be a mismatch."""
    columns, shown = run
    level = (np.arange(CYCLES) // 700 % 2).astype(np.int64)
    level[:50] = 0
    still = {**columns, "xfer": level, "wr": np.zeros(CYCLES, np.int64)}
    plain = made_columns(SCENARIOS / "quick" / "random.yaml", CYCLES)[1]["status"]
    later = np.append(level[1:], level[-1])
    status = plain & ~0x4000 | later << 14
    text = MAP.replace("inputs: {", "inputs: {path: straight, ")
    wired = told(tmp_path, still, {**shown, "status": status}, text)
    late = told(tmp_path, still, {**shown, "status": status}, MAP)
    names = [f.finding.mismatch.field if f.finding else "" for f in (wired, late)]
    assert names[0] != "dma_active"
    assert names[1] == "dma_active"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("  read_data", "  data: {signal: d}\n  read_data", "leave out read_data, write_data"),
        ("inputs: {", "inputs: {path: straight, latency: 2, ", "latency 2: a straight path"),
        ("  read_data: status", "  read_data: status\n  strobes: {high: rd}", "low"),
        ("transfer_done: transfer_done", "transfer_done: {signal: x, form: level}", "form"),
    ],
)
def test_forms_that_contradict_are_told(old, new, message, tmp_path):
    """What does not go together is reported at its place."""
    with pytest.raises(InputError, match=message):
        load_map(mapped(tmp_path, MAP.replace(old, new, 1)))
