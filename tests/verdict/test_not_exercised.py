"""What agrees without having been looked at is listed first, in amber, and fails a strict run."""

import pytest
from command import cellstep


def amber(done):
    """Return the names that stand in the list, which comes before everything compared."""
    head, found, rest = done.stdout.partition("Not exercised: agreement says nothing about\n")
    assert not found or "scenario" not in head
    return [line.split("  ")[1] for line in rest.split("\n\n")[0].splitlines()] if found else []


def test_a_full_run_has_no_amber_list(core):
    """The status register with the suite for it: nothing is left, and a strict run passes."""
    made = core().status_alone()
    done = made.run("--strict", suite="quick")
    assert (0, []) == (done.returncode, amber(done))
    assert [] == made.result["not_exercised"]
    told = made.result["fields"][str(made.binding)]
    assert all(told[name]["changes"] and told[name]["reads"] for name in ("data", "writing"))


def test_a_field_that_never_changes_is_amber(core, tmp_path):
    """A scenario in which nothing happens agrees, and says of each field that it stood still."""
    made = core()
    path = tmp_path / "still.yaml"
    path.write_text("name: still\ntrack: {layout: words, words: [0, 0, 0, 0]}\nrevolutions: 1\n")
    done = made.run("--strict", suite=path)
    assert 1 == done.returncode
    fields = {"byte_ready", "dma_active", "writing", "sync_equal", "data"}
    assert fields <= set(amber(done))
    assert {"input dma_active", "register sync_word"} <= set(amber(done))
    assert "; not exercised: byte_ready, " in done.stdout.splitlines()[-1]
    assert "agree" == made.result["verdict"]


def test_a_waived_field_is_amber(core):
    """With all fields but one waived the run agrees, with the waived ones before all else."""
    names = ("byte_ready", "dma_active", "writing", "data", "unused")
    lines = [f"  - {{field: {n}, reason: later, until: 2999-01-31}}" for n in names]
    made = core().add("waivers:", *lines)
    done = made.run("--strict")
    assert (1, list(names)) == (done.returncode, amber(done)[:5])


def test_a_run_without_reads_is_amber(core, tmp_path):
    """A bus that is bound and never read is told of each field."""
    path = tmp_path / "unread.yaml"
    path.write_text("name: unread\ntrack: {layout: random, bits: 4000}\nrevolutions: 1\n")
    made = core()
    done = made.run(suite=path)
    gaps = {gap["subject"]: gap["why"] for gap in made.result["not_exercised"]}
    assert 0 == done.returncode
    assert "no read of status returned it" == gaps["data"] == gaps["unused"]


@pytest.mark.rest
def test_the_way_that_no_word_went_is_amber(core):
    """Where words went to memory alone the line of the verdict says so, even where it is quiet."""
    for scenario, way in (("read_transfer", "from memory"), ("write_transfer", "to memory")):
        done = core().run("--quiet", suite=f"block/{scenario}")
        assert 0 == done.returncode
        named = done.stdout.strip().partition("; not exercised: ")[2].split(", ")
        assert [name for name in named if name.startswith("words")] == [f"words {way}"]


def test_a_latency_takes_the_start_from_its_own_field_alone(core):
    """A latency of `unused` leaves all other fields compared from the start, and is reported."""
    made = core().add("latency: {unused: 50000}")
    assert 0 == made.run().returncode
    fields = made.result["fields"][str(made.binding)]
    assert fields["data"]["cycles"] - fields["unused"]["cycles"] == 50000
    assert fields["data"]["cycles"] == made.result["cycles_compared"]
    assert "unused" in {gap["subject"] for gap in made.result["not_exercised"]}


@pytest.mark.parametrize(
    ("latency", "said"),
    [
        ("sync_equal: 14", "sync_equal, which lasts 1 channel bit, 14 cycles: must be below 14"),
        ("data: 113", "data, which lasts 8 channel bits, 113 cycles"),
        ("status: 3000", "must be below 14"),
    ],
)
def test_a_latency_that_swallows_a_pulse_is_refused(core, latency, said):
    """A field that may come later than it lasts could show anything: exit 2, at the key.

    A channel bit of 2 us is 14.19 cycles of 7.09379 MHz.
    """
    made = core().add(f"latency: {{{latency}}}")
    done = made.run()
    assert 2 == done.returncode
    assert f"{made.binding}:" in done.stderr
    assert said in done.stderr


@pytest.mark.rest
def test_a_latency_longer_than_a_pulse_of_the_run_is_amber(core):
    """byte_ready may lag up to a byte, but here a read ends it sooner than its latency.

    A core delayed as a whole by 13 cycles agrees with that latency on every field.
    """
    made = core()
    lines = [f"reg [15:0] d{n} = 0; always @(posedge clk) d{n} <= {s};" for n, s in delays(13)]
    text = made.folder / "disk_regs.v"
    source = text.read_text()
    head, end, tail = source.rpartition("endmodule")
    text.write_text("\n".join((head, *lines, end + tail)))
    made.change("disk_regs.v", ("read_status    ? status", "read_status    ? d12"))
    made.bind(("status: status", "status: d12"))
    made.add("latency: {status: 13}")
    done = made.run(suite="quick/dense_reads")
    assert 0 == done.returncode, done.stdout
    assert "byte_ready" in amber(done)


def delays(count):
    """Yield each stage of a chain and what it follows."""
    for n in range(count):
        yield n, f"d{n - 1}" if n else "status"


def test_json_and_page_carry_the_list(core):
    """result.json, report.txt and report.html tell what was not exercised."""
    made = core()
    done = made.run()
    names = [gap["subject"] for gap in made.result["not_exercised"]]
    assert names == amber(done)
    for report in ("report.txt", "report.html"):
        assert "Not exercised: agreement says nothing about" in (made.out / report).read_text()


def test_help_tells_of_strict():
    """The option is in the help of the command."""
    assert "--strict" in cellstep("run", "--help").stdout
