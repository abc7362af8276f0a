"""Waveforms of the reference core, written by a simulator that runs a plain bench."""

import subprocess
from pathlib import Path

import numpy as np

from hdl_stubs.defects import REFERENCE
from refmodel.ground.bus import READ_STATUS, WRITTEN
from refmodel.host.processor import REGISTERS
from refmodel.profile import load_profile
from refmodel.world.load import load_scenario
from refmodel.world.play import ModelPlayer
from refmodel.world.spans import disk_of
from refmodel.world.turning import Turning

PAL = load_profile("pal_dd")
BENCH = Path(__file__).parent / "bench.v"
ADDRESS = {"status": 0x4, "sync_word": 0x8, "transfer": 0xC, "control": 0xE, "other": 0x0}
MAP = """\
profile: pal_dd
clock: {signal: bench.clk}
reset: {signal: bench.rst}
disk: {strobe: bench.bit_stb, value: bench.bit_in}
bus:
  address: bench.adr
  read: bench.rd
  write: bench.wr
  write_data: bench.din
  read_data: bench.dout
  registers: {status: 0x4, sync_word: 0x8, transfer: 0xC, control: 0xE}
inputs: {dma_active: bench.xfer_on, writing: bench.wr_on, wait_for_sync: bench.ws}
observe: {status: bench.status}
lines: {write_gate: bench.gate_out, write_data: bench.data_out, sync_found: bench.irq_sync, \
transfer_done: bench.irq_done}
"""
WHOLE_MAP = (
    MAP.replace(
        "wait_for_sync: bench.ws}",
        "wait_for_sync: bench.ws, master_enable: bench.en_master,"
        " channel_enable: bench.en_channel}",
    )
    + """\
memory: {slot: bench.slot, request: bench.mem_req, store: bench.mem_we, data_out: bench.mem_out, \
data_in: bench.mem_in}
"""
)


def stimuli(scenario, profile=PAL):
    """Return what a scenario file gives the core, its host played against the model."""
    given = load_scenario(scenario)
    disk = disk_of(scenario, given, profile, 1)
    processor = disk.processor(registers=REGISTERS)
    return list(ModelPlayer(disk.profile, processor).play(Turning(disk))), disk


def columns_of(made, cycles, address=None):
    """Return the inputs of the bench by name, a value a cycle."""
    columns = {n: np.zeros(cycles, np.int64) for n in ("rst", "stb", "bit", "rd", "wr", "adr")}
    columns |= {n: np.zeros(cycles, np.int64) for n in ("din", "xfer", "wron", "ws")}
    columns |= {n: np.ones(cycles, np.int64) for n in ("master", "channel")}
    for stimulus in made:
        for begin, end in stimulus.resets:
            columns["rst"][begin:end] = 1
        _put(columns["stb"], stimulus.bit_cycle, 1)
        _put(columns["bit"], stimulus.bit_cycle, stimulus.bit)
        for cycle, kind, value in zip(
            stimulus.access_cycle, stimulus.access_kind, stimulus.access_value, strict=True
        ):
            if cycle >= cycles:
                continue
            register = WRITTEN.get(int(kind), "status" if kind == READ_STATUS else "other")
            columns["wr" if kind in WRITTEN else "rd"][cycle] = 1
            columns["adr"][cycle] = (address or ADDRESS)[register]
            columns["din"][cycle] = value
        span = np.arange(stimulus.first, min(stimulus.end, cycles))
        for name, role in (
            ("xfer", "dma_active"), ("wron", "writing"), ("ws", "wait_for_sync"),
            ("master", "master_enable"), ("channel", "channel_enable"),
        ):  # fmt: skip
            columns[name][span] = stimulus.level(role).at(span)
    return columns


def write_inputs(path, made, cycles, profile=PAL, address=None):
    """Write the inputs of the bench, one word a cycle."""
    columns = columns_of(made, cycles, address)
    edge = np.arange(cycles)
    slot = np.isin(edge % profile.slots.line_cycles, profile.slots.at).astype(np.int64)
    word = columns["master"]
    for part, width in (
        (columns["channel"], 1), (columns["rst"], 1), (slot, 1), (columns["stb"], 1),
        (columns["bit"], 1), (columns["rd"], 1), (columns["wr"], 1), (columns["adr"], 4),
        (columns["din"], 16), (columns["xfer"], 1), (columns["wron"], 1), (columns["ws"], 1),
    ):  # fmt: skip
        word = word << width | part
    path.write_text("".join(f"{w:08x}\n" for w in word.tolist()))
    memory = made[0].memory[:65536]
    words = "\n".join(f"{w:04x}" for w in memory.tolist())
    path.with_name("words.hex").write_text(words + "\n")


def _put(column, cycle, value):
    inside = cycle < len(column)
    column[cycle[inside]] = value if np.isscalar(value) else value[inside]


def plain_bench():
    """Return the bench with a core of another style in it, all its inputs registered twice."""
    text = BENCH.read_text()
    begin, end = text.index("    disk_regs core ("), text.index("    initial begin")
    core = """
    registered core (
        .clk(clk), .rst(rst), .bit_stb(bit_stb), .bit_in(bit_in), .adr(adr[2:0]), .rd(rd),
        .wr(wr), .din(din), .dout(dout), .xfer_on(xfer_on), .wr_on(wr_on), .status(status)
    );
"""
    return text[:begin] + core + text[end:]


def dumped(
    folder, scenario, cycles=20_000, core=REFERENCE, profile=PAL, bench="", address=None,
    words=False, **parameters,
):  # fmt: skip
    """Return the VCD that Icarus writes of the reference core, of a changed copy, or of another.

    `bench` is the text of another bench, `address` where its core has the registers. With `words`
    memory holds the scenario's, else zeros.
    """
    made, _ = stimuli(scenario, profile)
    write_inputs(folder / "inputs.hex", made, cycles, profile, address or ADDRESS)
    source = folder / "bench.v"
    source.write_text(bench or _with_parameters(parameters))
    sources = sorted(str(path) for path in Path(core).glob("*.v"))
    build = ["iverilog", "-g2012", "-s", "bench", f"-Pbench.CYCLES={cycles}"]
    subprocess.run([*build, "-o", folder / "bench.vvp", source, *sources], check=True)
    dump = folder / "bench.vcd"
    play = ["vvp", "-n", folder / "bench.vvp", f"+inputs={folder}/inputs.hex", f"+dump={dump}"]
    play += [f"+words={folder}/words.hex"] if words else []
    subprocess.run(play, check=True, stdout=subprocess.DEVNULL)
    return dump


def _with_parameters(parameters):
    """Return the bench with the core's parameters set; those left out are the core's own."""
    text = BENCH.read_text()
    if not parameters:
        return text
    listed = ", ".join(f".{name}({value})" for name, value in parameters.items())
    return text.replace("disk_regs core (", f"disk_regs #({listed}) core (")


def mapped(folder, text=MAP):
    """Write a map; return its file."""
    path = folder / "map.yaml"
    path.write_text(text)
    return path
