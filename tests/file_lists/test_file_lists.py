"""A core's files from a folder, a `.f` list, or what FuseSoC and Edalize keep in `.eda.yml`."""

import os
import shutil

import pytest
import yaml
from command import apart, cellstep
from edalize.edatool import get_edatool

from hdl_stubs.defects import REFERENCE
from refmodel.ground.errors import InputError, UserError
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.binding.source_files import source_files
from testbenches.hdl.file_lists import LeftOutWarning, read_list

NAMES = sorted(path.name for path in REFERENCE.glob("*.v"))


@pytest.fixture
def core(tmp_path):
    """Return a folder with a core in `rtl`, a header in `inc`, and a binding."""
    shutil.copytree(REFERENCE, tmp_path / "rtl", ignore=shutil.ignore_patterns("*.yaml"))
    (tmp_path / "inc").mkdir()
    (tmp_path / "inc" / "sizes.vh").write_text("`define TAIL 0\n")
    top = tmp_path / "rtl" / "disk_regs.v"
    text = '`include "sizes.vh"\n`ifndef BUILT\n  not defined\n`endif\n'
    top.write_text(
        text + top.read_text().replace("TAIL_LOST_BITS   = 0", "TAIL_LOST_BITS   = `TAIL")
    )
    return tmp_path


def bound(core, source):
    """Write a binding whose sources are one entry; return it as loaded."""
    text = (REFERENCE / "binding.yaml").read_text()
    (core / "binding.yaml").write_text(text.replace('sources: ["*.v"]', f"sources: [{source}]"))
    return load_binding(core / "binding.yaml")


def edam():
    """Return EDA Metadata of the core, in the form the Edalize package takes it."""
    files = [{"name": f"../rtl/{name}", "file_type": "verilogSource"} for name in NAMES]
    header = {"name": "../inc/sizes.vh", "file_type": "verilogSource", "is_include_file": True}
    return {
        "version": "0.2.1",
        "name": "mine_0",
        "toplevel": "disk_regs",
        "files": [*files, header, {"name": "notes.txt", "file_type": "user"}],
        "parameters": {
            "BUILT": {"datatype": "int", "paramtype": "vlogdefine", "default": 1},
            "READY_TIE": {"datatype": "int", "paramtype": "vlogparam", "default": 0},
        },
        "tool_options": {"icarus": {}},
    }


def test_eda_yml_that_edalize_takes_is_read(core):
    """Sources, include folder, macro, parameter and top are those Edalize takes."""
    build = core / "build"
    build.mkdir()
    told = edam()
    (build / "mine_0.eda.yml").write_text(yaml.dump(told))
    tool = get_edatool("icarus")(edam=told, work_root=str(build))
    tool.configure()
    script = (build / "mine_0.scr").read_text()
    found = read_list(build / "mine_0.eda.yml")
    assert [f"../rtl/{name}" for name in NAMES] == [
        line for line in script.split() if line.endswith(".v")
    ]
    assert NAMES == [path.name for path in found.sources]
    assert "+incdir+../inc" in script
    assert [(build / "../inc").resolve()] == [path.resolve() for path in found.include_dirs]
    assert ({"BUILT": 1}, {"READY_TIE": 0}, "disk_regs") == (
        found.defines,
        found.parameters,
        found.top,
    )
    ports = preflight(bound(core, "build/mine_0.eda.yml"))
    assert NAMES == sorted(path.name for path in ports.sources)


def test_dot_f_list_is_read(core):
    """A list names files, folders and macros, and another list; its paths are from its folder."""
    lists = core / "lists"
    lists.mkdir()
    (lists / "rest.f").write_text("".join(f"../rtl/{name}\n" for name in NAMES[1:]))
    text = "// the core\n+incdir+../inc +define+BUILT=1\n../rtl/{} # first\n/* and\n */ -f rest.f\n"
    (lists / "core.f").write_text(text.format(NAMES[0]))
    found = read_list(lists / "core.f")
    assert NAMES == [path.name for path in found.sources]
    assert {"BUILT": "1"} == found.defines
    assert NAMES == sorted(path.name for path in preflight(bound(core, "lists/core.f")).sources)


def test_folder_is_searched(core):
    """All Verilog below a folder is taken, and where headers lie is an include folder."""
    binding = bound(core, ".")
    (core / ".hidden").mkdir()
    (core / ".hidden" / "old.v").write_text("module old; endmodule\n")
    text = (core / "binding.yaml").read_text()
    (core / "binding.yaml").write_text(
        text.replace("  parameters", "  defines: {BUILT: 1}\n  parameters")
    )
    assert NAMES == sorted(path.name for path in preflight(load_binding(binding.path)).sources)


@pytest.mark.parametrize("source", ["list.f", "rtl", "mine.eda.yml"])
def test_bind_keeps_the_list(source, core):
    """A drafted binding names the folder or list itself, so that it stays true when they change."""
    (core / "list.f").write_text("+incdir+inc\n+define+BUILT\nrtl/disk_regs.v -y rtl\n")
    told = yaml.dump(edam()).replace("../", "")
    (core / "mine.eda.yml").write_text(told)
    options = ["--top", "disk_regs"] if source != "mine.eda.yml" else []
    if source == "rtl":
        options += ["--include", "inc", "--define", "BUILT"]
    done = cellstep("bind", source, *options, cwd=core)
    assert 0 == done.returncode, done.stderr
    assert f"  sources: [{source}]" in done.stdout
    assert "top: disk_regs" in done.stdout


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        (
            "a.eda.yml",
            "version: 1.0.0\nfiles: []\n",
            "a.eda.yml:1:1: version: '1.0.0' is not",
        ),
        ("a.eda.yml", "name: x\nfiles: 3\n", "a.eda.yml:2:1: files: should be a list"),
        ("a.eda.yml", "files: [\n", "a.eda.yml:"),
        ("a.eda.yml", "- files\n", "should be a mapping"),
        ("a.eda.yml", "files: [{name: no.v, file_type: verilogSource}]\n", "'no.v': no such file"),
        ("a.eda.yml", "files: [{name: no.c, file_type: cSource}]\n", "names no Verilog or VHDL"),
        ("a.f", "\nno.v\n", "a.f:2:1: no.v: no such file"),
        ("a.f", "-sverilog\n", "a.f:1:1: -sverilog: not known here"),
        ("a.f", "-f a.f\n", "'a.f' lists itself"),
        ("a.f", "-f\n", "its argument is missing"),
        ("a.f", "'half\n", "no closing quotation"),
    ],
)
def test_bad_list_names_its_line(name, text, message, tmp_path, monkeypatch):
    """What is wrong in a list is reported with the list's file, line and key."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / name).write_text(text)
    with pytest.raises(UserError) as error:
        read_list((tmp_path / name).relative_to(tmp_path))
    assert message in str(error.value)


def test_empty_folder_is_an_error_at_the_bindings_line(core):
    """A folder without a source is refused at its key in the binding."""
    (core / "none").mkdir()
    with pytest.raises(UserError, match=r"binding\.yaml:4:13: core\.sources.*none: no Verilog"):
        bound(core, "none")


def _to_nowhere(path):
    path.symlink_to("moved_away.v")


def _to_itself(path):
    path.symlink_to(path.name)


def _to_a_folder(path):
    path.symlink_to(path.parent)


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (_to_nowhere, "is a link that leads nowhere"),
        (_to_itself, "is a link that leads nowhere"),
        (_to_a_folder, "is a folder"),
        (lambda path: path.mkdir(), "is a folder"),
        (os.mkfifo, "is not a plain file"),
    ],
)
@pytest.mark.parametrize("name", ["odd.v", "odd.SV", "odd.vhd", "odd.vh"])
@pytest.mark.parametrize("source", ["rtl", "rtl/*"])
def test_what_is_named_like_a_source_and_is_none_is_noted(core, make, what, name, source):
    """A link that leads nowhere, a folder or a pipe is left out, and a line says so."""
    make(core / "rtl" / name)
    with pytest.warns(LeftOutWarning) as notes:
        source_files(bound(core, source))
    assert {f"{core / 'rtl' / name}: {what}, and left out"} == {str(n.message) for n in notes}


def test_commands_print_the_note(core):
    """They go on with the other files, and name the link on stderr, once."""
    _to_nowhere(core / "rtl" / "lost.v")
    more = ["--top", "disk_regs", "--define", "BUILT", "--include", core / "inc"]
    done = apart("bind", core / "rtl", *more)
    line = f"note: {core / 'rtl' / 'lost.v'}: is a link that leads nowhere, and left out\n"
    assert (0, 1) == (done.returncode, done.stderr.count(line))
    bound(core, "rtl/*.v")
    done = apart("vectors", "quick/sync_poll", "--binding", core / "binding.yaml", "--out", "v")
    assert 1 == done.stderr.count(line)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("name: again\n", "name: a second key of this name; remove one"),
        ("<<: {toplevel: m}\n", "<<: a merge is not taken; write the keys themselves"),
        (
            "parameters:\n  a: {default: 1, default: 2}\n",
            "default: a second key of this name; remove one",
        ),
    ],
)
def test_metadata_with_two_meanings_is_refused(tmp_path, more, message):
    """A key that stands twice, or comes from a merge, has a line and no meaning."""
    path = tmp_path / "core.eda.yml"
    path.write_text("name: core\nfiles: []\n" + more)
    with pytest.raises(InputError) as error:
        read_list(path)
    assert message in str(error.value)
