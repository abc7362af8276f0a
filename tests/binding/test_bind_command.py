"""`cellstep bind` as a user types it."""

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from refmodel.cli.bind import bind_command
from refmodel.ground.errors import UserError

CORE = """\
module m(input clk, rst, stb, bit_in, output [15:0] status);
`ifdef MORE
`include "n.vh"
`endif
endmodule
"""


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    """Work in an empty folder that holds a core."""
    monkeypatch.chdir(tmp_path)
    Path("m.v").write_text(CORE)


def bind(*arguments):
    """Run the command; a user's error is raised as it is to the command line's main."""
    app = typer.Typer()
    app.command()(bind_command)
    result = CliRunner().invoke(app, list(arguments))
    if isinstance(result.exception, UserError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result


def test_prints_by_default():
    """Without --out the draft is printed, and nothing is written."""
    result = bind("m.v", "--top", "m")
    assert "  top: m\n  sources: [m.v]\n" in result.stdout
    assert [path.name for path in Path().iterdir()] == ["m.v"]


def test_writes_the_file():
    """With --out the draft is in the file, and the terminal says how much is left to fill in."""
    Path("sim").mkdir()
    result = bind("m.v", "--out", "sim/b.yaml")
    text = Path("sim/b.yaml").read_text()
    assert "  sources: [../m.v]\n" in text
    assert result.stderr == (
        f"wrote sim/b.yaml (look at every line, {text.count('# TODO')} of them marked TODO)\n"
    )
    assert [path.name for path in Path("sim").iterdir()] == ["b.yaml"]


def test_keeps_a_file_that_is_there():
    """A file that is there is not overwritten without --force."""
    Path("b.yaml").write_text("mine\n")
    with pytest.raises(UserError) as error:
        bind("m.v", "--out", "b.yaml")
    assert str(error.value) == "--out b.yaml: exists already; --force overwrites it"
    assert Path("b.yaml").read_text() == "mine\n"
    bind("m.v", "--out", "b.yaml", "--force")
    assert "top: m" in Path("b.yaml").read_text()


def test_file_that_cannot_be_written():
    """A file in a folder that is not there is named, and no folder is made for it."""
    with pytest.raises(UserError) as error:
        bind("m.v", "--out", "none/b.yaml")
    said = "--out none/b.yaml: cannot be written: No such file or directory; give a place"
    assert str(error.value).startswith(said)
    assert [path.name for path in Path().iterdir()] == ["m.v"]


def test_includes_and_defines():
    """Include folders and macros reach the source and the draft."""
    Path("inc").mkdir()
    Path("inc/n.vh").write_text("wire w;\n")
    text = bind("m.v", "--define", "MORE", "--define", "N=3", "--include", "inc").stdout
    assert '  include_dirs: [inc]\n  defines: {MORE: , N: "3"}\n' in text


def test_macro_that_is_no_name():
    """A macro needs a name."""
    with pytest.raises(UserError) as error:
        bind("m.v", "--define", "=3")
    assert str(error.value) == "--define =3: should be NAME or NAME=VALUE"
