"""Files a core opens itself: beside its binding, and never the harness's."""

import pytest

STATUS = "assign status[SYNC_EQUAL] = sync_shown;"
ROM = """reg [0:0] rom [0:0]; initial $readmemh("rom/one.hex", rom);
assign status[SYNC_EQUAL] = sync_shown ^ rom[0];"""
NAMES = [f"{up}0.{kind}" for up in ("", "../") for kind in ("changes", "events", "reads", "alive")]
BOTH = ["icarus", pytest.param("verilator", marks=pytest.mark.long)]


@pytest.mark.parametrize("simulator", BOTH, indirect=True)
def test_a_memory_file_is_found_beside_the_binding(core, simulator):
    """What $readmemh names is relative to the binding's folder; without the file nothing agrees."""
    made = core().change("disk_regs.v", (STATUS, ROM))
    missing = made.run(sim=simulator)
    assert 125 == missing.returncode
    assert "rom/one.hex: no such file; $readmem looks in the binding's folder" in missing.stdout
    (made.folder / "rom").mkdir()
    for text, status in (("0", 0), ("1", 1)):
        (made.folder / "rom" / "one.hex").write_text(f"{text}\n")
        assert status == made.run(sim=simulator).returncode


@pytest.mark.parametrize("simulator", BOTH, indirect=True)
def test_a_core_that_opens_files_meets_none_of_the_harness(core, simulator):
    """It may call its files as the harness calls its own: nothing the verdict rests on changes."""
    opens = " ".join(f'f = $fopen("{name}", "w"); $fwrite(f, "0 0\\n");' for name in NAMES)
    own = f"{STATUS} integer f; initial begin {opens} end"
    made = core().change("disk_regs.v", (STATUS, own))
    assert 0 == made.run(sim=simulator).returncode
    wrong = own.replace("= sync_shown", "= !sync_shown")
    assert 1 == made.change("disk_regs.v", (own, wrong)).run(sim=simulator).returncode


def test_a_core_that_takes_all_memory_is_ended(core):
    """An array of gigabytes ends in 125 with the reason, before the machine has none left."""
    huge = f"{STATUS} reg [31:0] huge [0:400000000]; initial huge[5] = 1;"
    done = core().change("disk_regs.v", (STATUS, huge)).run(sim="icarus")
    assert 125 == done.returncode
    assert "takes more than 1 GiB of memory" in done.stdout


def test_a_range_against_its_declaration_is_told(core):
    """A status port declared ascending and used descending is refused at the lines that use it."""
    made = core().change("disk_regs.v", ("output wire [15:0] status", "output wire [0:15] status"))
    done = made.run()
    assert 125 == done.returncode
    assert "disk_regs.v:226:19: range of selection [11:8] from 'logic[0:15]' is reversed" in (
        done.stderr
    )
