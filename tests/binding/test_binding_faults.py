"""What is wrong in a binding by itself is refused at its line and column, with what is right."""

from datetime import date

import pytest

from refmodel.ground.errors import InputError, UserError
from testbenches.binding.load import load_binding

STATUS, REGISTERS = "status: 0x4", "{status: 0x4, sync_word: 0x8}"

FAULTS = [
    # schema
    ({"profile: pal_dd\n": ""}, "binding.yaml:1:1: profile: missing; 'profile' must be given"),
    ({"clock: {": "clok: {"}, "binding.yaml:1:1: clock: missing; 'clock' must be given\n"
     "binding.yaml:3:1: clok: unknown key 'clok'; did you mean 'clock'?"),
    ({"sources: [regs.v]": "sources: []"},
     "binding.yaml:1:19: core.sources: must not be empty"),
    ({"active: low}\ndisk": "active: lo}\ndisk"},
     "binding.yaml:4:22: reset.active: 'lo' is not one of 'high' or 'low'"),
    ({"enable_every: 4": "enable_every: 0"},
     "binding.yaml:3:32: clock.enable_every: '0' should be greater than or equal to 1"),
    ({"rst_n, active: low": "rst_n, cycles: 0"},
     "binding.yaml:4:22: reset.cycles: '0' should be greater than or equal to 1"),
    ({"  read: rd": "  read_latency: -1\n  read: rd"},
     "binding.yaml:8:3: bus.read_latency: '-1' should be greater than or equal to 0"),
    ({"mode: 1": "mode: -1"},
     "binding.yaml:14:7: tie.mode: '-1' should be greater than or equal to 0"),
    ({"data: 2": "data: -2"},
     "binding.yaml:16:22: latency.data: '-2' should be greater than or equal to 0"),
    ({"strobe: stb": "strobe: {prt: stb}"},
     "binding.yaml:5:8: disk.strobe.port: missing; 'port' must be given\n"
     "binding.yaml:5:17: disk.strobe.prt: unknown key 'prt'; did you mean 'port'?"),
    # disk and separator
    ({"strobe: stb, value: {port: bitv, active: low}": "flux: rdata"},
     "binding.yaml:15:1: observe: channel_bit is missing; say where the separator of a core with "
     "flux shows its strobe and value"),
    ({"strobe: stb, value": "flux: rdata, value",
      "{status: status}": "{channel_bit: {strobe: a, value: b}}"},
     "binding.yaml:5:21: disk.value: value and flux exclude each other; which one does the core "
     "take"),
    ({"strobe: stb, value": "pulse_cycles: 3, value"},
     "binding.yaml:5:1: disk.strobe: missing; give the channel bits' strobe and value, or flux\n"
     "binding.yaml:5:8: disk.pulse_cycles: goes with flux"),
    ({"strobe: stb, value": "flux: rdata, pulse_cycles: 0, value"},
     "binding.yaml:5:21: disk.pulse_cycles: '0' should be greater than or equal to 1"),
    ({"{status: status}": "{status: status, channel_bit: {strobe: a, value: b}}"},
     "binding.yaml:15:27: observe.channel_bit: goes with disk.flux, for a core with its own "
     "separator"),
    ({"{status: status}": "{status: status}\nseparator: {pulse_latency: 2}"},
     "binding.yaml:16:1: separator: goes with disk.flux, for a core with its own separator"),
    ({"{status: status}": "{status: status}\nseparator: {model: countr}"},
     "binding.yaml:16:13: separator.model: 'countr' is not one of 'rephase', 'counter' "
     "or 'second_order'"),
    ({"reason: no writer yet": "reason: ''"},
     "binding.yaml:17:28: waivers.0.reason: must not be empty"),
    ({"2027-01-31": "never"},
     "binding.yaml:17:51: waivers.0.until: 'never' should be a valid date in the format "
     "YYYY-MM-DD, input is too short"),
    # names
    ({"top: regs": "top: ../regs"},
     "binding.yaml:1:8: core.top: '../regs' is not a name; letters, digits, _ and $ make one"),
    ({"top: regs": 'top: regs, defines: {"A B": 1}, parameters: {"": 1}'},
     "binding.yaml:1:29: core.defines.A B: 'A B' is not a name; letters, digits, _ and $ make one\n"
     "binding.yaml:1:53: core.parameters.: '' is not a name; letters, digits, _ and $ make one"),
    # numbers beyond what a run can be
    ({"enable_every: 4": "enable_every: 1025", "latency: {status: 1": "latency: {status: 1000001"},
     "binding.yaml:3:32: clock.enable_every: '1025' should be less than or equal to 1024\n"
     "binding.yaml:16:11: latency.status: '1000001' should be less than or equal to 1000000"),
    ({"port: rst": "cycles: 1000001, port: rst", "read_data:": "read_latency: 257\n  read_data:"},
     "binding.yaml:4:9: reset.cycles: '1000001' should be less than or equal to 1000000\n"
     "binding.yaml:11:3: bus.read_latency: '257' should be less than or equal to 256"),
    # registers
    ({STATUS: "status: -1"},
     "binding.yaml:12:15: bus.registers.status: '-1' should be greater than or equal to 0"),
    ({STATUS: "status: {high: 1, clears_on: high}"},
     "binding.yaml:12:15: bus.registers.status: give one address, or both high and low of a "
     "byte-wide bus"),
    ({STATUS: "status: {word: 4, low: 1}"},
     "binding.yaml:12:15: bus.registers.status: give one address, or both high and low of a "
     "byte-wide bus"),
    ({STATUS: "status: {high: 1, low: 0}"},
     "binding.yaml:12:15: bus.registers.status: clears_on must say which byte's read clears "
     "byte_ready: high or low"),
    ({STATUS: "status: {word: 4, clears_on: high}"},
     "binding.yaml:12:15: bus.registers.status: clears_on goes with high and low of a "
     "byte-wide bus"),
    ({"sync_word: 0x8": "sync_word: {high: 2, low: 2}"},
     "binding.yaml:12:28: bus.registers.sync_word: high and low are both 2; the two bytes need "
     "two addresses"),
    ({"sync_word: 0x8": "stream: 0x8"},
     "binding.yaml:12:28: bus.registers.stream: unknown key 'stream'; known: control, status, "
     "sync_word, transfer"),
    ({REGISTERS: "{}"},
     "binding.yaml:12:3: bus.registers: give at least one register; or leave out bus"),
    ({STATUS: "status: {high: 0, low: 1, clears_on: high}"},
     "binding.yaml:12:3: bus.registers: give all registers as one address, or all as high and low"),
    # bus
    ({"read: rd": "select: rd", "  write: {port: wr, active: low}\n": "", REGISTERS: "{status: 4}"},
     "binding.yaml:8:3: bus.select: needs 'write', whose level tells the direction; or call it "
     "read"),
    ({"  read: rd\n": ""},
     "binding.yaml:6:1: bus.read: missing; the register status needs it"),
    ({"  read_data: dout\n": ""},
     "binding.yaml:6:1: bus.read_data: missing; the register status needs it, or, if 'din' is an "
     "inout, data: {port: din, drives: SIGNAL} in its place"),
    ({"  write: {port: wr, active: low}\n": ""},
     "binding.yaml:6:1: bus.write: missing; the register sync_word needs it"),
    ({"  write_data: din\n": ""},
     "binding.yaml:6:1: bus.write_data: missing; the register sync_word needs it, or, if 'dout' is "
     "an inout, data: {port: dout, drives: SIGNAL} in its place"),
    # reset
    ({"port: rst_n, ": ""},
     "binding.yaml:4:1: reset: port is missing; a core with initial values instead has kind: none"),
    ({"port: rst_n, active: low": "port: rst_n, kind: none"},
     "binding.yaml:4:9: reset.port: 'rst_n' is given, but kind says that there is none"),
    # depth
    ({"dma_active: dma": "dma_active: {port: dma, path: straight, latency: 1}"},
     "binding.yaml:13:34: inputs.dma_active.path: a straight level passes no register, but latency "
     "says 1; give one of the two"),
    ({"dma_active: dma": "wait_for_sync: {port: dma, path: straight}"},
     "binding.yaml:13:37: inputs.wait_for_sync.path: 'straight' makes no difference: status does "
     "not show wait_for_sync; leave path out"),
    ({"inputs: {dma_active: dma}": "gates: {master_enable: {port: dma, path: direct}}"},
     "binding.yaml:13:36: gates.master_enable.path: 'direct' is not one of 'registered' or "
     "'straight'"),
    ({"inputs: {dma_active: dma}": "gates: {master: dma}"},
     "binding.yaml:13:9: gates.master: 'master' is now called 'master_enable'"),
    ({"  read: rd": "  hold: 4\n  read_latency: 4\n  read: rd"},
     "binding.yaml:8:3: bus.hold: the strobe is held for 4 cycles, and what a read returns is at "
     "the port in the 5th (acts, latency, read_latency); hold: 5 would do"),
    ({"  read: rd": "  acts: last\n  read: rd"},
     "binding.yaml:8:3: bus.acts: 'last' needs a strobe held for more than one cycle; give hold as "
     "well, or leave acts out"),
    ({"inputs: {dma_active: dma}": "lines: {write_data: {signal: w, form: toggle, cycles: 2}}"},
     "binding.yaml:13:47: lines.write_data.cycles: '2' is the length of a pulse, and a line that "
     "toggles has none; give form or cycles"),
    ({"strobe: stb, value: {port: bitv, active: low}": "flux: r, latency: 2",
      "{status: status}": "{channel_bit: {strobe: a, value: b}}"},
     "binding.yaml:5:17: disk.latency: '2' goes with strobe and value; for flux it is called "
     "separator.pulse_latency"),
    # forms of the bus
    ({"  read: rd": "  acknowledge: ack\n  hold: 3\n  read: rd"},
     "binding.yaml:9:3: bus.hold: the acknowledge 'ack' says how long an access is held; leave "
     "hold out"),
    ({"  read: rd": "  asynchronous: true\n  read: rd"},
     "binding.yaml:8:3: bus.asynchronous: a core cannot see a strobe of one cycle from another "
     "clock; give hold, such as hold: 4"),
    ({"  write_data: din\n": "  data: {port: pads}\n", "  read_data: dout\n": ""},
     "binding.yaml:10:3: bus.data: an inout needs what is up while the core drives it, its output "
     "enable: {port: pads, drives: SIGNAL}"),
    ({"  write_data: din\n": "  data: {port: pads, drives: oe}\n"},
     "binding.yaml:11:3: bus.read_data: data and read_data exclude each other; leave "
     "read_data out"),
    # clock
    ({"enable: en, enable_every: 4": "enable: en, enable_pattern: '0000'"},
     "binding.yaml:3:32: clock.enable_pattern: '0000' has no 1: no edge would count; 1000 is one "
     "edge of four"),
    ({"enable: en, enable_every: 4": "enable: en, enable_ratio: 9/8"},
     "binding.yaml:3:32: clock.enable_ratio: '9/8' is more than 1, or of more than 256; 3/8 is "
     "three edges of eight"),
    ({"enable: en, enable_every: 4": "enable: en, enable_every: 4, enable_ratio: 1/4"},
     "binding.yaml:3:49: clock.enable_ratio: enable_every and enable_ratio exclude each other; "
     "leave one of them out"),
    ({"enable: en, enable_every: 4": "enable: en, divide: 4"},
     "binding.yaml:3:32: clock.divide: is for a core that makes its enable itself, without a port"),
    ({"enable: en, enable_every: 4": "enable_active: low, enable_every: 4"},
     "binding.yaml:3:20: clock.enable_active: needs 'enable', the port of the clock enable\n"
     "binding.yaml:3:40: clock.enable_every: needs 'enable', the port of the clock enable"),
    # observe, latency, waivers
    ({"{status: status}": "{status: status, fields: {data: u0.last}}"},
     "binding.yaml:15:27: observe.fields: give status or fields, not both"),
    ({"{status: status}": "{fields: {dat: u0.last}}"},
     "binding.yaml:15:20: observe.fields.dat: no field of status; did you mean 'data'?"),
    ({"observe: {status: status}\n": "", REGISTERS: "{sync_word: 8}"},
     "binding.yaml:1:1: observe: nothing to compare; name status, fields, or bus.registers.status"),
    ({"data: 2": "sync: 2"},
     "binding.yaml:16:22: latency.sync: no field of status; did you mean 'sync_word'?"),
    ({"field: writing": "field: writting"},
     "binding.yaml:17:12: waivers.0.field: 'writting' is not a field of status; did you mean "
     "'writing'?"),
    ({"field: writing": "field: status"},
     "binding.yaml:17:12: waivers.0.field: 'status' is not a field of status; known: bit_count, "
     "byte_ready, channel_bit, control, data, dma_active, lost_words, memory, sync_equal, "
     "sync_found, sync_word, transfer_done, ..."),
    # profile
    ({"pal_dd": "pal_d"},
     "binding.yaml:2:1: profile: profile 'pal_d': no such profile; did you mean 'pal_dd'?"),
    ({"profile: pal_dd": "profile: pal_dd\npolicies: {ready_tie: both, redy: 1}"},
     "binding.yaml:3:29: policies.redy: '1' should be text"),
    ({"profile: pal_dd": "profile: pal_dd\npolicies: {ready_tie: both, redy: x}"},
     "binding.yaml:3:12: policies.ready_tie: policy ready_tie: 'both' is not one of set_wins, "
     "clear_wins\n"
     "binding.yaml:3:29: policies.redy: policy redy: no such policy; did you mean 'ready_tie'?"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "message"), FAULTS)
def test_fault(load, changes, message):
    """Each fault is reported where it stands, and exits with 2."""
    with pytest.raises(InputError) as error:
        load(changes)
    assert str(error.value) == message
    assert error.value.exit_status == 2


def test_expired_waiver(load):
    """A waiver whose last day has passed is an error that names the day."""
    with pytest.raises(InputError) as error:
        load(today=date(2027, 2, 1))
    assert str(error.value) == (
        "binding.yaml:17:51: waivers.0.until: the waiver of writing ended on 2027-01-31, and today "
        "is 2027-02-01; mend the core, or renew the waiver with a reason"
    )


def test_expired_today_by_the_calendar(load):
    """Without a given day, waivers are held against today's date."""
    load()
    load({"2027-01-31": "9999-12-31"})
    with pytest.raises(InputError, match="ended on 2001-01-01"):
        load({"2027-01-31": "2001-01-01"}, today=None)


def test_faults_in_the_profile_file(load, tmp_path):
    """A fault in the profile's own file is reported at its place in that file."""
    (tmp_path / "mine.yaml").write_text("name: mine\nclock_hz: 0\nchannel_bit_ns: 2000\n")
    with pytest.raises(InputError) as error:
        load({"pal_dd": "mine.yaml"})
    assert str(error.value) == "mine.yaml:2:1: clock_hz: '0' should be above 0 Hz"


def test_all_rules_at_once(load):
    """Faults of different rules come in one report."""
    with pytest.raises(InputError) as error:
        load({"field: writing": "field: w", "data: 2": "dat: 2", "  read: rd\n": ""})
    assert [problem.key for problem in error.value.problems] == [
        "bus.read", "latency.dat", "waivers.0.field"
    ]  # fmt: skip


def test_missing_binding(tmp_path):
    """A binding that is not there is named."""
    with pytest.raises(UserError) as error:
        load_binding(tmp_path / "binding.yaml")
    assert str(error.value) == f"{tmp_path}/binding.yaml: no such file"
