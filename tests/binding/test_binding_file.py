"""binding.yaml: what it says, in both forms of each key, and what follows from it alone."""

from datetime import date

import pytest

from refmodel.ground.bus import HIGH, LOW, WORD_BUS, BusShape
from testbenches.binding.bus import AccessCycle
from testbenches.binding.roles import Driven, LevelPin, Watched
from testbenches.binding.schema import Binding

BYTES = {
    "{status: 0x4, sync_word: 0x8}": "{status: {high: 0, low: 1, clears_on: high}, "
    "sync_word: {high: 2, low: 3}}"
}


def test_file_and_folder(tmp_path, load):
    """A binding knows its file, and relative paths start in that file's folder."""
    binding = load()
    assert binding.core.top == "regs"
    assert str(binding.path) == "binding.yaml"
    assert binding.folder.resolve() == tmp_path


def test_driven_inputs(load):
    """Every role that drives an input is listed with its key, port and active level."""
    assert load().driven_inputs == [
        Driven(("clock", "port"), "clk", "high"),
        Driven(("clock", "enable"), "en", "high"),
        Driven(("reset", "port"), "rst_n", "low"),
        Driven(("disk", "strobe"), "stb", "high"),
        Driven(("disk", "value"), "bitv", "low"),
        Driven(("bus", "address"), "adr", "high"),
        Driven(("bus", "read"), "rd", "high"),
        Driven(("bus", "write"), "wr", "low"),
        Driven(("bus", "write_data"), "din", "high"),
        Driven(("inputs", "dma_active"), "dma", "high"),
    ]


def test_select_form(load):
    """A select and a write line stand for read and write strobes."""
    changes = {"read: rd": "select: {port: rd, active: low}"}
    keys = [driven[1:] for driven in load(changes).driven_inputs if driven.key[0] == "bus"]
    assert keys == [("adr", "high"), ("rd", "low"), ("wr", "low"), ("din", "high")]


def test_level_inputs(load):
    """The model inputs the core takes on ports are there by name, others are not."""
    changes = {"dma_active: dma": "dma_active: {port: dma, active: low}"}
    assert load(changes).level_inputs == {"dma_active": LevelPin(port="dma", active="low")}


def test_word_wide_access(load):
    """On a word-wide bus an access is one bus cycle, at the register's address."""
    binding = load()
    assert not binding.byte_wide
    assert binding.bus_cycles("status") == [AccessCycle(0, 4, "word")]
    assert binding.bus_cycles("sync_word") == [AccessCycle(0, 8, "word")]
    assert binding.bus_shape == WORD_BUS


@pytest.mark.parametrize(
    ("clears_on", "offsets", "clears"), [("high", (0, 1), HIGH), ("low", (-1, 0), LOW)]
)
def test_byte_wide_access(load, clears_on, offsets, clears):
    """On a byte-wide bus the high byte comes first, and offset 0 is the byte that clears."""
    binding = load({key: text.replace("clears_on: high", f"clears_on: {clears_on}")
                    for key, text in BYTES.items()})  # fmt: skip
    assert binding.byte_wide
    assert binding.bus_cycles("status") == [
        AccessCycle(offsets[0], 0, "high"),
        AccessCycle(offsets[1], 1, "low"),
    ]
    assert binding.bus_cycles("sync_word") == [AccessCycle(-1, 2, "high"), AccessCycle(0, 3, "low")]
    assert binding.bus_shape == BusShape((HIGH, LOW), clears, (HIGH, LOW))


def test_core_without_a_bus(load):
    """A core that only shows status needs no bus, and then has no register on it."""
    binding = load(
        {
            "bus:\n  address: adr\n  read: rd\n  write: {port: wr, active: low}\n"
            "  write_data: din\n  read_data: dout\n"
            "  registers: {status: 0x4, sync_word: 0x8}\n": ""
        }
    )
    assert binding.registers == {}
    assert not binding.byte_wide
    assert [driven.port for driven in binding.driven_inputs] == [
        "clk", "en", "rst_n", "stb", "bitv", "dma"
    ]  # fmt: skip


def test_register_the_core_has_not(load):
    """A register that is not on the bus has no bus cycles."""
    with pytest.raises(KeyError):
        load({"{status: 0x4, sync_word: 0x8}": "{status: 0x4}"}).bus_cycles("sync_word")


def test_lag(load):
    """A field lags as it says itself, else as status does."""
    binding = load()
    assert (binding.lag("data"), binding.lag("writing"), binding.lag("unused")) == (2, 1, 1)


def test_no_lag(load):
    """Without a latency nothing lags."""
    assert load({"latency: {status: 1, data: 2}\n": ""}).lag("data") == 0


def test_waived_until_the_day(load):
    """A waiver holds up to and including its last day."""
    binding = load()
    assert binding.waived(date(2027, 1, 31)) == {"writing"}
    assert binding.waived(date(2027, 2, 1)) == set()


def test_observed_word(load):
    """A status word is observed as one lane of 16 bits."""
    key = ("observe", "status")
    assert load().observed == [Watched("status", "status", 16, "high", key)]


def test_observed_fields(load):
    """Fields are observed one by one, each with its width and active level."""
    changes = {
        "{status: status}": "{fields: {data: u0.last, sync_equal: {signal: eq, active: low}}}"
    }
    assert load(changes).observed == [
        Watched("data", "u0.last", 8, "high", ("observe", "fields", "data")),
        Watched("sync_equal", "eq", 1, "low", ("observe", "fields", "sync_equal")),
    ]


def test_observed_nothing(load):
    """A core that is only read has no observed lane."""
    assert load({"observe: {status: status}\n": ""}).observed == []


def test_policies(load):
    """The binding's policies are those of its profile."""
    changes = {"profile: pal_dd": "profile: pal_dd\npolicies: {ready_tie: clear_wins}"}
    profile = load(changes).load_profile()
    assert (profile.name, profile.policies.ready_tie) == ("pal_dd", "clear_wins")


def test_profile_beside_the_binding(load, tmp_path):
    """A profile's path starts in the binding's folder."""
    (tmp_path / "mine.yaml").write_text("name: mine\nclock_hz: 8000000\nchannel_bit_ns: 2000\n")
    assert load({"pal_dd": "mine.yaml"}).load_profile().cycles_per_bit == 16


def test_json_schema_takes_the_short_forms():
    """Editors are told that a port's name stands for a signal, an address for a register."""
    parts = Binding.model_json_schema()["$defs"]
    short = {name: part["anyOf"][0] for name, part in parts.items() if "anyOf" in part}
    signals = {"Pin", "LevelPin", "ObservedSignal", "PulseLine", "Acknowledge"}
    signals |= {"ObservedField", "FieldPart"}
    assert set(short) == signals | {"StatusAddress", "WordAddress"}
    assert short["Pin"]["type"] == "string"
