"""A log of register accesses and the flux it was made with are held to the model."""

import json
import os
import threading

import numpy as np
import pytest
from command import cellstep
from flux_cases import captured, write_text

from refmodel.capture import log
from refmodel.capture.check import check
from refmodel.capture.check_result import gaps, verdict_of
from refmodel.capture.opened import open_capture
from refmodel.ground.bus import READ_STATUS, WRITTEN
from refmodel.media.track import iso_track
from refmodel.profile import load_profile
from refmodel.world.load import load_scenario
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
CYCLE_US = float(PAL.cycle_ns) / 1000
MAP = """\
profile: pal_dd
log: {{unit: us, offset_us: {offset}, tolerance_us: {tolerance}}}
track: {{file: flux.txt}}
begin: {{sync_word: 0x4489}}
wait_for_sync: 1
"""
SCENARIO = """\
name: logged
track: {layout: capture, file: flux.txt}
revolutions: 1
levels: {wait_for_sync: 1}
host: {program: read_sectors, params: {sectors: 3, cost: 31}}
"""


@pytest.fixture(scope="module")
def logged(tmp_path_factory):
    """Return a folder with flux, and the log of a program that read sectors from it."""
    folder = tmp_path_factory.mktemp("logged")
    write_text(folder / "flux.txt", captured(iso_track(data=5), revolutions=1))
    scenario = folder / "s.yaml"
    scenario.write_text(SCENARIO)
    disk = disk_of(scenario, load_scenario(scenario), PAL, 1)
    lines = ["# time register value"]
    for span in spans_of(scenario, disk):
        stimulus, read = span.stimulus, iter(span.expected.read_value.tolist())
        for cycle, kind, value in zip(
            stimulus.access_cycle.tolist(),
            stimulus.access_kind.tolist(),
            stimulus.access_value.tolist(),
            strict=True,
        ):
            register = "status" if kind == READ_STATUS else WRITTEN[kind]
            word = next(read) if kind == READ_STATUS else value
            at = (cycle - disk.start) * CYCLE_US - 500
            lines.append(f"{at:.1f} {register} 0x{word:04X}")
    (folder / "log.txt").write_text("\n".join(lines) + "\n")
    return folder


def given(folder, offset="500", tolerance=1.0, name="map.yaml"):
    """Write a map; return its file."""
    path = folder / name
    path.write_text(MAP.format(offset=offset, tolerance=tolerance))
    return path


def test_what_can_be_decided_agrees_and_the_rest_is_counted(logged):
    """The time of an access is not known to the cycle, so the verdict is undecided."""
    found = check(open_capture(logged / "log.txt", given(logged)))
    assert found.finding is None
    assert verdict_of(found) == "undecided"
    assert found.reads > 0.9 * found.reads_total > 1000
    assert any("something changes within 1 us of them" in reason for reason in found.reasons)


def test_fields_known_from_reads_alone_count_the_values_returned(logged):
    """A field seen only in reads has changed as often as reads returned another value."""
    found = check(open_capture(logged / "log.txt", given(logged)))
    assert found.fields["byte_ready"].cycles == 0
    assert found.fields["byte_ready"].read_changes > 100
    assert found.fields["data"].read_changes > 100


def test_a_wrong_value_is_found_and_named(logged, tmp_path):
    """A byte that was never on the disk is a mismatch at its read."""
    lines = (logged / "log.txt").read_text().splitlines()
    at = next(n for n in range(len(lines) // 2, len(lines)) if "0x00" in lines[n])
    time, register, value = lines[at].split()
    lines[at] = f"{time} {register} 0x{int(value, 0) ^ 0x3C:04X}"
    (tmp_path / "log.txt").write_text("\n".join(lines) + "\n")
    (tmp_path / "flux.txt").write_bytes((logged / "flux.txt").read_bytes())
    found = check(open_capture(tmp_path / "log.txt", given(tmp_path)))
    assert found.finding.mismatch.field == "data"
    assert found.finding.mismatch.through == "read"
    assert found.finding.cause.clause == "B4"


def test_the_offset_of_a_log_is_found(logged):
    """Without one the log is laid where most of its bytes are in the flux."""
    opened = open_capture(logged / "log.txt", given(logged, "auto", name="auto.yaml"))
    note = next(note for note in opened.notes if note.startswith("log.offset_us found:"))
    assert float(note.rpartition(" ")[2]) == pytest.approx(500, abs=8)


def test_a_log_whose_clock_drifts_says_by_how_much(logged, tmp_path):
    """A clock 1000 ppm fast moves the bytes away; the note names the correction."""
    lines = (logged / "log.txt").read_text().splitlines()[1:]
    rows = [line.split() for line in lines]
    text = "".join(f"{float(t) * 1.001:.2f} {r} {v}\n" for t, r, v in rows)
    (tmp_path / "log.txt").write_text(text)
    (tmp_path / "flux.txt").write_bytes((logged / "flux.txt").read_bytes())
    opened = open_capture(tmp_path / "log.txt", given(tmp_path))
    note = next(note for note in opened.notes if "drifts" in note)
    assert 700 < float(note.split("log.drift_ppm:")[1].split()[0]) < 1300


def test_the_command_tells_the_counts(logged, tmp_path):
    """Exit status 2 and the verdict undecided, with the reads that were decided in the JSON."""
    out = tmp_path / "out"
    done = cellstep("check", logged / "log.txt", "--map", given(logged), "--out", out)
    assert done.returncode == 2
    told = json.loads((out / "result.json").read_text())
    assert told["verdict"] == "undecided"
    decided, total = told["runs"][0]["decided"]["reads"]
    assert 0 < decided <= total


@pytest.mark.rest
def test_the_fit_of_a_log_leaves_one_cycle_questions_open(logged):
    """Framing is decided by the bytes read; a policy of one cycle is not."""
    from refmodel.capture.fit import fit

    found = fit([open_capture(logged / "log.txt", given(logged))], lambda _: None)
    assert found.holds
    answers = {q.name: q for q in found.questions}
    assert not answers["ready_tie"].decided
    verdicts = {v.value: v.verdict for v in answers["realign"].values}
    assert verdicts["never"] == "contradicted"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no access; a line is: time register value"),
        ("1\0 status 1\n", "log.txt: is not text; a line is: time register value"),
        ("nan status 1\n", "log.txt:1:1: 'nan' is not a time"),
        ("1 status -1\n", "log.txt:1:3: '-1' is not a value of 16 bits"),
        ("1 status\n", "log.txt:1:1: has 2 parts; a line is: time register value"),
        ("1 statu 0x1\n", "log.txt:1:2: 'statu' is not a register; did you mean 'status'?"),
        ("x status 1\n", "log.txt:1:1: 'x' is not a time"),
        ("1 status 0x10000\n", "log.txt:1:3: '0x10000' is not a value of 16 bits"),
        ("2 status 1\n1 status 1\n", "log.txt:2:1: time 1 comes before the one above it"),
        ("9e9 status 1\n", "no access lies within the flux"),
    ],
)
def test_what_is_no_log_says_where(text, message, logged, tmp_path):
    """The message names the line and what is right."""
    (tmp_path / "log.txt").write_text(text)
    (tmp_path / "flux.txt").write_bytes((logged / "flux.txt").read_bytes())
    done = cellstep("check", tmp_path / "log.txt", "--map", given(tmp_path))
    assert done.returncode == 2
    assert message in done.stderr


def test_counters_that_wrap_are_undone(logged, tmp_path):
    """Ticks of a 16-bit counter read like the times they stand for."""
    rows = [line.split() for line in (logged / "log.txt").read_text().splitlines()[1:]]
    ticks = np.rint((np.array([float(r[0]) for r in rows]) + 500) * 1.0).astype(int) % 65536
    text = "".join(f"{t} {r[1]} {r[2]}\n" for t, r in zip(ticks, rows, strict=True))
    (tmp_path / "log.txt").write_text(text)
    (tmp_path / "flux.txt").write_bytes((logged / "flux.txt").read_bytes())
    path = tmp_path / "map.yaml"
    path.write_text(
        MAP.format(offset=0, tolerance=2.0).replace("unit: us", "rate: 1000000, wrap: 65536")
    )
    found = check(open_capture(tmp_path / "log.txt", path))
    assert found.finding is None
    assert found.reads > 1000


def test_a_log_read_in_pieces_is_checked_like_one_held_whole(logged, monkeypatch):
    """Spans begin and end between accesses, and decide the same reads."""

    def told():
        opened = open_capture(logged / "log.txt", given(logged, "auto", name="pieces.yaml"))
        found = check(opened)
        spans = list(opened.spans())
        undecided = [int(u) for span in spans for u in span.reads.undecided]
        return len(spans), (found.reads, found.reads_total, undecided, opened.notes)

    spans, whole = told()
    assert spans == 1
    monkeypatch.setattr(log, "BLOCK", 3_000)
    spans, pieces = told()
    assert spans > 10
    assert pieces == whole


def test_a_log_comes_from_a_pipe(logged, tmp_path):
    """What comes from a pipe is checked like the file."""
    pipe = tmp_path / "log.pipe"
    os.mkfifo(pipe)
    text = (logged / "log.txt").read_bytes()
    writer = threading.Thread(target=lambda: pipe.write_bytes(text))
    writer.start()
    found = check(open_capture(pipe, given(logged, "auto", name="piped.yaml")))
    writer.join()
    whole = check(open_capture(logged / "log.txt", given(logged, "auto", name="piped.yaml")))
    assert (found.reads, found.reads_total) == (whole.reads, whole.reads_total)
    assert found.reads > 1000


def test_a_level_that_a_map_holds_is_not_called_missing(logged):
    """`wait_for_sync` of a log's map is in the map; without it the level is taken as not driven."""
    held = open_capture(logged / "log.txt", given(logged))
    names = [gap.subject for gap in gaps(held)]
    assert "wait_for_sync" not in names
    assert {"dma_active", "writing"} <= {*names}
    text = (logged / "map.yaml").read_text().replace("wait_for_sync: 1\n", "")
    (logged / "bare.yaml").write_text(text)
    bare = open_capture(logged / "log.txt", logged / "bare.yaml")
    assert "wait_for_sync" in [gap.subject for gap in gaps(bare)]


@pytest.mark.parametrize("name", ["gone.txt", ".", "-.inf"])
def test_flux_that_is_not_there_is_a_fault_of_the_map(logged, tmp_path, name):
    """The message has the map's line and key, not the flux alone."""
    (tmp_path / "log.txt").write_text((logged / "log.txt").read_text())
    path = given(tmp_path)
    path.write_text(path.read_text().replace("flux.txt", name))
    done = cellstep("check", tmp_path / "log.txt", "--map", path)
    assert done.returncode == 2
    assert f"map.yaml:3:9: track.file: '{name}': no such file" in done.stderr
