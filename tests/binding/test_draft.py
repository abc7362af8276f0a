"""A binding drafted from the source: its roles, its comments, and what it leaves to fill in."""

import re
from pathlib import Path

import pytest
import yaml

import hdl_stubs
from refmodel.errors import CannotRun, InputError, UserError
from testbenches.binding.draft import draft
from testbenches.binding.ports import preflight
from testbenches.binding.schema import Signal, load_binding

STUBS = Path(hdl_stubs.__file__).parent
CORES = Path(__file__).parent / "cores"  # other habits, each with a binding written by hand
INVENTED = sorted(path.stem for path in CORES.glob("*.yaml"))
SAME_NET = {  # an output inside the byte-wide core, and the wire it is connected to
    "u_flags.rdy_q": "rdy",
    "u_flags.dma_q": "dma_shown",
    "u_flags.wr_q": "wr_shown",
    "u_flags.eq_q": "eq",
    "u_flags.last_q": "last",
}
PLAIN = "module m(input clk, rst, stb, bit_in, output [15:0] status);\nendmodule\n"


def roles_of(binding):
    """Return what a binding says of each role, by its key; signals as (name, active)."""
    found = {f"tie.{port}": value for port, value in binding.tie.items()}
    found |= {".".join(d.key): (d.port, d.active) for d in binding.driven_inputs}
    found["reset"] = found.pop("reset.port")
    if binding.bus is not None:
        found["bus.read_data"] = (binding.bus.read_data, "high")
        found["bus.read_latency"] = binding.bus.read_latency
    for name, where in binding.registers.items():
        for part, value in where.model_dump(exclude_none=True).items():
            found[f"bus.registers.{name}" + ("" if part == "word" else f".{part}")] = value
    for lane, name, _, active, _ in binding.observed:
        found[f"observe.{lane}"] = (SAME_NET.get(name, name), active)
    return found


def drafted(folder, sources, top=None):
    """Draft a binding into a folder and load it against its core."""
    path = folder / "binding.yaml"
    path.write_text(draft(sources, top, folder))
    binding = load_binding(path)
    preflight(binding)
    return binding


def differing(found, wanted):
    """Return the roles that were not found as wanted: what was found, and what was wanted."""
    return {
        key: (found.get(key), value) for key, value in wanted.items() if found.get(key) != value
    }


def renamed(folder, sources, top_file):
    """Copy sources with every port of the top called p0, p1, ... in all files."""
    names = re.findall(
        r"^\s*(?:input|output)\s+(?:wire|reg)\s+(?:\[.*?\]\s*)?(\w+)", top_file.read_text(), re.M
    )
    copies = []
    for source in sources:
        text = source.read_text()
        for n, name in enumerate(names):
            text = re.sub(rf"\b{name}\b", f"p{n}", text)
        copies.append(folder / source.name)
        copies[-1].write_text(text)
    return copies, {name: f"p{n}" for n, name in enumerate(names)}


@pytest.mark.parametrize("name", ["bytewide", "reference"])
def test_cores_that_ship(name, tmp_path):
    """Of a shipped core every role is drafted as its own binding has it."""
    wanted = roles_of(load_binding(STUBS / name / "binding.yaml"))
    binding = drafted(tmp_path, sorted((STUBS / name).glob("*.v")))
    wrong = differing(roles_of(binding), wanted)
    assert wrong == {}


@pytest.mark.parametrize(("name", "top"), [("bytewide", "byte_port"), ("reference", "disk_regs")])
def test_without_names(name, top, tmp_path):
    """With meaningless port names, what the source says is enough for every role."""
    folder = STUBS / name
    copies, names = renamed(tmp_path, sorted(folder.glob("*.v")), folder / f"{top}.v")
    wanted = {
        key: (names.get(value[0], value[0]), value[1]) if isinstance(value, tuple) else value
        for key, value in roles_of(load_binding(folder / "binding.yaml")).items()
    }
    wrong = differing(roles_of(drafted(tmp_path, copies)), wanted)
    assert wrong == {}


@pytest.mark.parametrize("name", INVENTED)
def test_invented_core(name, tmp_path):
    """Of cores with other habits every role is drafted as a person binds it."""
    by_hand = load_binding(CORES / f"{name}.yaml")
    preflight(by_hand)
    binding = drafted(tmp_path, [CORES / f"{name}.sv"])
    wrong = differing(roles_of(binding), roles_of(by_hand))
    assert wrong == {}


def test_bytes_at_one_address():
    """Two bytes told apart by a port beside the address are left to fill in."""
    text = draft([CORES / "inverted.sv"])
    assert "  # status: {high: ADDRESS, low: ADDRESS}  # TODO the source does not say" in text
    assert "  strobe: {port: dv_n, active: low}  # likely: 'data_n' is shifted in on it" in text
    assert "  wait_for_sync: {port: seek_sync_n, active: low}  # guess: counts together" in text


def test_source_of_every_kind():
    """Source the drafting has no use for does not stop it."""
    lines = draft([CORES / "oddities.sv"], "oddities").splitlines()
    assert "  port: clk  # sure: clocks the registers, and its name says so" in lines
    assert "  # port: PORT  # TODO the reset; no input of 1 bit is left" in lines
    assert "  read_data: dout  # sure: is chosen by the address, and its name says so" in lines


def test_ports_without_a_core():
    """Of ports with nothing behind them the names are enough, and the addresses are left out."""
    text = draft([STUBS / "stub" / "disk_regs.v"])
    data = yaml.safe_load(text)
    wanted = yaml.safe_load((STUBS / "stub" / "binding.yaml").read_text())
    for key in ("clock", "disk", "inputs", "observe"):
        assert data[key] == wanted[key]
    for key in ("address", "write_data", "read_data"):
        assert data["bus"][key] == wanted["bus"][key]
    assert "    # status: ADDRESS  # TODO the source does not say where it is" in text
    assert data["bus"]["registers"] == {}


def test_unfinished_draft_says_what_to_fill_in(tmp_path):
    """A draft with a role missing is refused at that role, where its TODO stands."""
    file = tmp_path / "m.v"
    file.write_text("module m(input clk, x, y, output [15:0] status); endmodule")
    path = tmp_path / "binding.yaml"
    path.write_text(draft([file], None, tmp_path))
    assert "  # port: PORT  # TODO the reset; could be: x, y" in path.read_text()
    with pytest.raises(InputError) as error:
        load_binding(path)
    assert {problem.key for problem in error.value.problems} == {
        "reset.port", "disk"
    }  # fmt: skip


def test_comment_on_each_guess():
    """Each guess says how sure it is and why."""
    lines = draft([STUBS / "reference" / f"{n}.v" for n in
                   ("disk_regs", "sync_window", "byte_framer")]).splitlines()  # fmt: skip
    assert "  port: clk  # sure: clocks the registers, and its name says so" in lines
    assert "  strobe: bit_stb  # sure: 'bit_in' is shifted in on it, and its name says so" in lines
    assert "    status: 0x4  # likely: the flags are read there" in lines
    assert "  wait_for_sync: ws  # guess: the only input left that the core reads" in lines
    assert "  # parameters: {...}  # of: REALIGN, READY_TIE, SYNC_VIEW" in lines


def test_paths_from_the_binding_s_folder(tmp_path):
    """Sources are written as seen from the folder the binding is kept in."""
    (tmp_path / "rtl").mkdir()
    (tmp_path / "sim").mkdir()
    file = tmp_path / "rtl" / "my core.v"
    file.write_text(PLAIN)
    text = draft([file], "m", tmp_path / "sim", [tmp_path / "rtl"], {"FAST": None, "N": "3"})
    core = yaml.safe_load(text)["core"]
    assert core == {"top": "m", "sources": ["../rtl/my core.v"], "include_dirs": ["../rtl"],
                    "defines": {"FAST": None, "N": "3"}}  # fmt: skip


def test_select_beside_strobes_is_tied(tmp_path):
    """A select that reads and writes both need beside their strobes is tied to its active level."""
    assert drafted(tmp_path, [CORES / "nameless.sv"]).tie == {"p4": 1}


def test_active_low_port_in_the_long_form(tmp_path):
    """A signal that is active low is written with its level."""
    binding = drafted(tmp_path, [CORES / "one_process.sv"])
    assert binding.bus.select == Signal(port="nCS", active="low")
    assert "  select: {port: nCS, active: low}  # sure:" in (tmp_path / "binding.yaml").read_text()


@pytest.mark.parametrize(
    ("sources", "top", "message"),
    [
        ({}, None, "a.v: no such file"),
        ({"a.v": "module m; endmodule\n"}, "n", "--top n: no such module in the sources; known: m"),
        ({"a.v": "module m; endmodule module n; endmodule\n"}, None,
         "several modules could be the top: m, n; choose one with --top NAME"),
        ({"a.v": "// nothing\n"}, None, "the sources hold no module"),
    ],
)  # fmt: skip
def test_no_draft(sources, top, message, tmp_path, monkeypatch):
    """Without a file or a clear top there is no draft, and the error says what to do."""
    monkeypatch.chdir(tmp_path)
    for name, text in sources.items():
        Path(name).write_text(text)
    with pytest.raises(UserError) as error:
        draft([Path("a.v")], top)
    assert str(error.value) == message
    assert error.value.exit_status == 2


def test_no_draft_of_broken_code(tmp_path, monkeypatch):
    """Code that does not compile is shown with its file and line."""
    monkeypatch.chdir(tmp_path)
    Path("a.v").write_text("module m(input clk)\nendmodule\n")
    with pytest.raises(CannotRun) as error:
        draft([Path("a.v")])
    assert str(error.value) == "the core does not compile:\na.v:1:20: expected ';'"
