"""Value change dumps in every form of IEEE 1364-2005 clause 18, and what other tools make of it."""

import io
import os
import shutil
import subprocess
import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize

from refmodel.capture.columns import ColumnFile, TablePart
from refmodel.capture.vcd import Vcd
from refmodel.capture.waves import find_signal
from refmodel.ground.errors import UserError

HEAD = """\
$timescale 1ns $end
$scope module tb $end
$var wire 1 ! a $end
$var wire 8 # v [7:0] $end
$upscope $end
$enddefinitions $end
"""


def changes(path, names=("tb.a", "tb.v")):
    """Return all changes of some signals as (ns, value, unknown)."""
    found = {name: [] for name in names}
    for piece in Vcd(path).pieces(list(names)):
        for name, part in piece.changes.items():
            found[name] += [(float(t), int(v), int(u)) for t, v, u in zip(*part, strict=True)]
    return found


def read(folder, body, head=HEAD, names=("tb.a", "tb.v")):
    """Write a dump and return its changes."""
    path = folder / "a.vcd"
    path.write_text(head + body)
    return changes(path, names)


@pytest.mark.parametrize(
    "body",
    [
        "#0\n0!\nb0 #\n#5\n1!\nb101 #\n",
        "#0 0! b0 # #5 1! b101 #",  # several changes on a line
        "#0\n0!\nb0\n#\n#5\n1!\nB101\n\t#\n",  # a code on a line of its own; upper case
        "#0\n$dumpvars 0! b0 # $end\n#5\n1!\nb00000101 #\n",  # initial values in a block
        "$dumpvars\n0!\nb0 #\n$end\n#5\n1!\nb101 #\n#9\n",  # without #0; a last time alone
        "#0\n0 !\nb0b00 #\n#5\n1 !\nb0b101 #\n",  # blanks in a scalar, a doubled letter
        "#0\n0!\nb0 #\n$comment b 1 #77 $end\n#5\n1!\nb101 #\n",  # a comment like changes
        "#0\n0!\nb0 #\n#5\n$dumpall\n1!\nb101 #\n$end\n#5\n",  # equal times; $dumpall is none
        "#0.0\n0!\nb0 #\n#5.0\n1!\nb101 #\n",  # times with a point
    ],
)
def test_forms_of_the_same_changes_read_alike(body, tmp_path):
    """White space means nothing, and commands stand at the time before them (18.2.1, 18.2.3)."""
    found = read(tmp_path, body)
    assert found["tb.a"] == [(0, 0, 0), (5, 1, 0)]
    assert found["tb.v"] == [(0, 0, 0), (5, 5, 0)]


@pytest.mark.parametrize(
    ("value", "bits", "unknown"),
    [
        ("b1", 0x01, 0x00),  # extended with 0
        ("b01", 0x01, 0x00),
        ("bx", 0x00, 0xFF),  # with x
        ("bZ", 0x00, 0xFF),  # with z
        ("bx1", 0x01, 0xFE),
        ("b0x1", 0x01, 0x02),  # 0 stands first: extended with 0
        ("b1z", 0x02, 0x01),
        ("b101010101", 0x55, 0x00),  # longer than the signal: the low bits
    ],
)
def test_short_vectors_are_extended_to_the_left(value, bits, unknown, tmp_path):
    """0 and 1 with 0, x with x, z with z (18.2.1, table 18-1; from memory)."""
    assert read(tmp_path, f"#0\n{value} #\n")["tb.v"] == [(0, bits, unknown)]


@pytest.mark.parametrize("unit", ["100 ps", "100ps", "100\n ps"])
def test_time_scales_are_read_in_any_form(unit, tmp_path):
    """With or without a blank, or on lines of their own."""
    head = HEAD.replace("1ns", unit)
    assert read(tmp_path, "#50\n1!\n", head)["tb.a"] == [(5.0, 1, 0)]


def test_what_a_header_leaves_out_is_taken_and_noted(tmp_path):
    """Without $timescale 1 is 1 ns; without $enddefinitions the first time ends the header."""
    path = tmp_path / "a.vcd"
    path.write_text("$var wire 1 ! a $end\n#3\n1!\n")
    recording = Vcd(path)
    assert list(recording.notes) == [
        "no $enddefinitions: the first value or time ends the header",
        "no $timescale: a time of 1 is taken as 1 ns",
    ]
    assert changes(path, ["a"])["a"] == [(3.0, 1, 0)]


def test_names_are_read_with_ranges_selects_and_escapes(tmp_path):
    """A range is no part of a name, a select is; an escaped name keeps its dots and brackets."""
    path = tmp_path / "a.vcd"
    path.write_text(
        "$scope module tb $end\n"
        '$var reg 8 ! bus[7:0] $end\n$var reg 8 " wide [7:0] $end\n'
        "$var wire 1 # bit[3] $end\n$var wire 1 $ \\odd[0].x $end\n"
        "$scope begin $end\n$var event 1 % hit $end\n$upscope $end\n"
        "$upscope $end\n$enddefinitions $end\n#0\n1$\n"
    )
    recording = Vcd(path)
    assert sorted(recording.signals) == ["tb.bit[3]", "tb.bus", "tb.hit", "tb.odd[0].x", "tb.wide"]
    assert find_signal(recording, "\\odd[0].x") == ["tb.odd[0].x"]
    assert find_signal(recording, "wide") == ["tb.wide"]


def test_bits_of_a_vector_are_found_together(tmp_path):
    """A vector whose bits are signals of their own is found by its name, the highest first."""
    path = tmp_path / "a.vcd"
    bits = "".join(f"$var wire 1 {chr(40 + n)} d [{n}] $end\n" for n in range(3))
    path.write_text(f"{bits}$enddefinitions $end\n#0\n1(\n")
    assert find_signal(Vcd(path), "d") == ["d[2]", "d[1]", "d[0]"]


def test_aliases_are_the_same_signal(tmp_path):
    """A code declared twice gives both names its changes."""
    head = HEAD.replace("$upscope", "$var wire 1 ! alias $end\n$upscope", 1)
    found = read(tmp_path, "#0\n0!\n#7\n1!\n", head, ("tb.a", "tb.alias"))
    assert found["tb.a"] == found["tb.alias"] == [(0, 0, 0), (7, 1, 0)]


def test_codes_that_look_like_something_else_are_codes(tmp_path):
    """A code may be `#`, `$`, `1`, `b` or `$end`: behind a value it is a code."""
    codes = ["#", "$", "1", "b", "r1", "$end", "!!!!!!!!!!!!"]
    names = [f"s{n}" for n in range(len(codes))]
    pairs = list(zip(codes, names, strict=True))
    head = "".join(f"$var wire 8 {code} {name} $end\n" for code, name in pairs)
    head = head.replace("$var wire 8 $end s5 $end\n", "")
    pairs = [pair for pair in pairs if pair[0] != "$end"]
    body = "#0\n" + "".join(f"b{n + 1:b} {code}\n" for n, (code, _) in enumerate(pairs))
    path = tmp_path / "a.vcd"
    path.write_text(f"{head}$enddefinitions $end\n{body}")
    found = changes(path, [name for _, name in pairs])
    assert [found[name] for _, name in pairs] == [[(0.0, n + 1, 0)] for n in range(len(pairs))]


def test_a_dump_switched_off_is_dark(tmp_path):
    """Between $dumpoff and $dumpon nothing is recorded, whatever values stand there."""
    path = tmp_path / "a.vcd"
    path.write_text(
        HEAD + "#0\n0!\n#10\n$dumpoff\nx!\nbx #\n$end\n#30\n$dumpon\n1!\nb1 #\n$end\n#40\n0!\n"
    )
    dark = [pair for piece in Vcd(path).pieces(["tb.a"]) for pair in piece.dark]
    assert dark == [(10.0, 30.0)]


def test_reals_and_texts_are_passed_over(tmp_path):
    """A real, one that is not a number, and a text are values of one word and a code."""
    head = HEAD.replace("$upscope", "$var real 64 % r $end\n$var string 1 & s $end\n$upscope", 1)
    body = "#0\nr1.5e-3 %\nsTOP/0 &\n1!\n#2\nrNaN %\n0!\n"
    found = read(tmp_path, body, head, ("tb.a", "tb.r"))
    assert found["tb.a"] == [(0, 1, 0), (2, 0, 0)]
    assert found["tb.r"][1][2] != 0


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("#4\n1!\n#1\n0!\n", "a.vcd:9: '#1' comes after a later time; times of a dump do not fall"),
        ("#4\n1!\nhello\n", "a.vcd:9: 'hello' is neither a time nor a value change"),
        ("#4\nb12 #\n", "a.vcd:8: 'b12' is not a value"),
        ("#4x\n1!\n", "a.vcd:7: '#4x' is not a time"),
        ("#4\nb101", "ends in the middle of a value change; the file is cut off"),
        ("#4\n1!\n#", "a.vcd:9: ends in the middle of a time; the file is cut off"),
        ("#40\n1!\n#4", "a.vcd:9: ends in the middle of a time; the file is cut off"),
        ("#4\n1!\n#4\nb12 #", "a.vcd:10: ends in the middle of a value change"),
        ("#40\n1!\n#4\n0!", "a.vcd:9: '#4' comes after a later time"),
    ],
)
def test_what_is_no_dump_says_which_line(body, message, tmp_path):
    """The message names the line, the word and what is wrong with it."""
    with pytest.raises(UserError) as error:
        read(tmp_path, body)
    assert message in str(error.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "declares no signal; is it a value change dump (VCD)?"),
        ("\x7fELF\x00\x01", "is not a word of a VCD header"),
        ("$timescale 3 ns $end\n", "$timescale '3 ns' is none, e.g. 1 ns or 100ps"),
        ("$var wire $end\n", "$var needs a type, a size, a code and a name"),
        ("$scope module tb", "the file ends inside its header, without $end"),
    ],
)
def test_a_header_that_is_none_says_so(text, message, tmp_path):
    """A file of another kind is reported at once."""
    path = tmp_path / "a.vcd"
    path.write_text(text)
    with pytest.raises(UserError) as error:
        _ = Vcd(path).signals
    assert message in str(error.value)
    assert str(path) in str(error.value)


def test_names_that_are_not_there_come_with_the_nearest(tmp_path):
    """A wrong name is reported with one that is there, an ambiguous one with all that fit."""
    path = tmp_path / "a.vcd"
    path.write_text(
        "$scope module a $end\n$var wire 1 ! clk $end\n$upscope $end\n"
        "$scope module b $end\n$var wire 1 ! clk $end\n$upscope $end\n$enddefinitions $end\n"
    )
    with pytest.raises(UserError, match=r"'clk': several signals are called so: a\.clk, b\.clk"):
        find_signal(Vcd(path), "clk")
    with pytest.raises(UserError, match=r"no such signal in .*did you mean 'a\.clk'"):
        find_signal(Vcd(path), "a.clkk")


def test_a_pipe_is_read_like_a_file(tmp_path):
    """A FIFO gives the same changes, once."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    body = "".join(f"#{n}\n{n % 2}!\n" for n in range(50_000))
    writer = threading.Thread(target=lambda: pipe.write_text(HEAD + body))
    writer.start()
    recording = Vcd(pipe)
    got = sum(len(p.changes["tb.a"].ns) for p in recording.pieces(["tb.a"]) if p.changes)
    writer.join()
    assert got == 50_000
    with pytest.raises(UserError, match="a pipe can be read once only"):
        next(recording.pieces(["tb.a"]))


def by_pyvcd(text):
    """Return the changes another library finds, by code."""
    found, now = {}, 0
    for token in tokenize(io.BytesIO(text.encode())):
        if token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR:
            found.setdefault(token.scalar_change.id_code, []).append(
                (now, str(token.scalar_change.value).lower())
            )
        elif token.kind is TokenKind.CHANGE_VECTOR:
            value = token.vector_change.value
            text = f"{value:b}" if isinstance(value, int) else value.lower()
            found.setdefault(token.vector_change.id_code, []).append((now, text))
    return found


@settings(max_examples=60)
@given(
    steps=st.lists(
        st.tuples(
            st.integers(0, 9),
            st.lists(
                st.one_of(
                    st.tuples(st.just("!"), st.sampled_from("01xzXZ")),
                    st.tuples(st.just("#"), st.text("01xz", min_size=1, max_size=8)),
                ),
                max_size=4,
            ),
        ),
        max_size=30,
    ),
    gap=st.sampled_from(["\n", " ", "\r\n", "\n\n  "]),
)
def test_any_dump_reads_as_another_library_reads_it(steps, gap, tmp_path_factory):
    """Times, values and x and z of made-up dumps are those pyvcd's tokenizer finds."""
    now, words = 0, []
    for step, made in steps:
        now += step
        words.append(f"#{now}")
        words += [value + code if code == "!" else f"b{value} {code}" for code, value in made]
    text = HEAD + gap.join(words) + "\n"
    path = tmp_path_factory.mktemp("vcd") / "a.vcd"
    path.write_text(text)
    ours, theirs = changes(path), by_pyvcd(text)
    assert ours["tb.a"] == [(t, *_bits(v, 1)) for t, v in theirs.get("!", [])]
    assert ours["tb.v"] == [(t, *_bits(v, 8)) for t, v in theirs.get("#", [])]


def _bits(text, width):
    """Return value and unknown bits of a text, extended to the left."""
    text = text.rjust(width, text[0] if text[0] in "xz" else "0")
    value = int("".join(c if c == "1" else "0" for c in text), 2)
    return value, int("".join("1" if c in "xz" else "0" for c in text), 2)


@pytest.mark.skipif(not shutil.which("sigrok-cli"), reason="needs sigrok-cli")
def test_a_dump_of_a_logic_analyser_reads(tmp_path):
    """Outside check: the dump sigrok-cli writes of its demo device holds all its samples.

    The demo's lines are read again from sigrok-cli's own table of bits, and from its table with a
    heading and a column of times.
    """
    command = ["sigrok-cli", "-d", "demo:analog_channels=0", "-c", "samplerate=1m"]
    made = tmp_path / "demo.sr"
    subprocess.run([*command, "--samples", "400", "-o", made], check=True, capture_output=True)
    forms = ("vcd", "demo.vcd"), ("csv:header=false:label=off", "demo.csv")
    for form, name in (*forms, ("csv:time=true:label=channel", "named.csv")):
        convert = ["sigrok-cli", "-i", made, "-O", form, "-o", tmp_path / name]
        subprocess.run(convert, check=True, capture_output=True)
    recording = Vcd(tmp_path / "demo.vcd")
    names = sorted(recording.signals, key=lambda n: int(n.rpartition("D")[2]))
    found = changes(tmp_path / "demo.vcd", names)
    rows = [
        [int(c) for c in line.split(",")]
        for line in (tmp_path / "demo.csv").read_text().splitlines()
        if line and line[0] in "01"
    ]
    for column, name in enumerate(names):
        at = np.arange(len(rows)) * 1000.0
        ns = np.array([t for t, _, _ in found[name]])
        value = np.array([v for _, v, _ in found[name]])
        assert value[np.searchsorted(ns, at, side="right") - 1].tolist() == [
            row[column] for row in rows
        ]
    table = ColumnFile(tmp_path / "named.csv", TablePart(unit="us"))
    assert set(table.signals) == {name.rpartition(".")[2] for name in names}
    told = {n: c for piece in table.pieces(list(table.signals)) for n, c in piece.changes.items()}
    for name in names:
        later = [row for row in found[name] if row[0] > 0]
        same = told[name.rpartition(".")[2]]
        assert list(zip(same.ns[1:] - same.ns[0], same.value[1:], strict=True)) == [
            (t, v) for t, v, _ in later
        ]
