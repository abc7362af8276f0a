"""`cellstep vectors`: what it takes, what it refuses, what it leaves."""

import pytest
from command import cellstep
from vector_cases import STUBS


def test_command_writes_a_folder_for_the_stubs_ports(tmp_path):
    """Without a binding the benches are for a core with the ports of hdl_stubs/stub."""
    out = tmp_path / "deep" / "v"
    done = cellstep("vectors", "quick/sync_poll", "--profile", "ntsc_dd", "--out", out)
    assert 0 == done.returncode, done.stderr
    assert "disk_regs dut (" in (out / "vectors_bench.v").read_text()
    assert "profile ntsc_dd" in (out / "README.txt").read_text()
    assert "1 is active" in (out / "changes.csv").read_text().split("cycle,", 1)[0]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["quick/sync_poll", "--out", "there"], "there: exists already"),
        (["quick/sync_pol", "--out", "v"], "did you mean 'quick/sync_poll'"),
        (["quick/sync_poll", "--profile", "pal_d", "--out", "v"], "did you mean 'pal_dd'"),
        (["block/read_transfer", "--binding", "status", "--out", "v"], "no register"),
        (["flux/shifted", "--binding", "flux", "--out", "v"], "separator.model: needed"),
    ],
)
def test_bad_input_leaves_no_folder(arguments, message, tmp_path):
    """What cannot be written ends with status 2 and says why; nothing is left behind."""
    (tmp_path / "there").mkdir()
    flux = (STUBS / "flux" / "counter.yaml").read_text()
    flux = flux.replace("separator: {model: counter, pulse_latency: 2}", "")
    flux = flux.replace('"*.v", "../reference/*.v"', f'"{STUBS}/flux/*.v", "{STUBS}/reference/*.v"')
    (tmp_path / "flux.yaml").write_text(flux)
    bindings = {"status": STUBS / "plain/wires/binding.yaml", "flux": tmp_path / "flux.yaml"}
    done = cellstep("vectors", *(bindings.get(a, a) for a in arguments), cwd=tmp_path)
    assert (2, "") == (done.returncode, done.stdout)
    assert message in done.stderr
    assert {"there", "flux.yaml"} == {path.name for path in tmp_path.iterdir()}
