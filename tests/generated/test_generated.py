"""Generated inputs: each ends in time, is told of in the user's terms, and is no wrong agreement.

108 here; 2 200 of a night's own seed with `make long`. CELLSTEP_GENERATED_SEED chooses another.
tests/generated/table_of_exits.py COUNT SEED tries any number and prints how they end.
"""

import os
import random

import pytest
import yaml
from break_words import broken_words
from generated_cases import (
    HERE,
    SCHEMAS,
    SEED,
    TURN,
    broken,
    case,
    command_line,
    good_files,
    ways_to_break,
)
from generated_oracle import faults
from generated_run import Workshop

from testbenches.toolchain import available

COUNT, MANY = 108, 2200
OWN_SEED = int(os.environ.get("CELLSTEP_GENERATED_SEED", SEED))
needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """Return a folder of good files to break, where few of the broken ones are simulated."""
    made = Workshop(tmp_path_factory.mktemp("generated"), short=True)
    yield made
    made.close()


@pytest.fixture(scope="module")
def long_shop(tmp_path_factory):
    """Return a folder of good files to break, where what can be simulated is."""
    made = Workshop(tmp_path_factory.mktemp("generated-long"), short=False)
    yield made
    made.close()


def tried(shop, one):
    """Return what is wrong with what the command made of a case."""
    words, ran = shop.run(one)
    found = list(faults(one, words, ran, lambda: shop.plainly(words, one)))
    return found, f"{one}\n{words}\n{ran.text[-3000:]}"


@pytest.mark.rest
@needs_icarus
@pytest.mark.parametrize("first", range(0, COUNT, len(TURN)))
def test_a_generated_input_ends_well(shop, first):
    """It ends in time with a documented status and a message, or in a verdict that holds."""
    for number in range(first, min(COUNT, first + len(TURN))):
        found, told = tried(shop, case(number, OWN_SEED))
        assert [] == found, told


@needs_icarus
@pytest.mark.long
@pytest.mark.parametrize("first", range(COUNT, COUNT + MANY, 20))
def test_many_generated_inputs_end_well(long_shop, first):
    """The same of many more, with all that can run in a simulator."""
    for number in range(first, first + 20):
        found, told = tried(long_shop, case(number, OWN_SEED))
        assert [] == found, told


def test_a_case_is_always_the_same():
    """A case depends on its number and seed alone."""
    text = good_files("binding")[0].read_text()
    assert case(18).content(text) == case(18).content(text)
    assert str(case(18)) == str(case(18))
    assert case(18).content(text) != case(18, SEED + 1).content(text)


GOOD = {kind: good_files(kind)[0].read_text() for kind in ("verilog", "vhdl", "flux")}
GOOD |= {  # as a changed one is written, so that one left as it is looks the same
    kind: yaml.safe_dump(yaml.safe_load(good_files(kind)[0].read_text()), sort_keys=False)
    for kind in SCHEMAS
}


@pytest.mark.share(9)
@pytest.mark.parametrize("kind", GOOD)
def test_every_way_to_break_changes_a_file(kind):
    """Of 20 files broken in one way most are not the good file; a few swap equals."""
    for how in {*ways_to_break(kind)}:
        made = [broken(kind, how, GOOD[kind], random.Random(n)) for n in range(20)]
        assert made.count(GOOD[kind].encode()) < 10, how


def test_a_changed_command_line_is_another():
    """Of 100 command lines nearly all differ from the good ones; none is longer than it may be."""
    good = [line.split() for line in (HERE / "commands.txt").read_text().splitlines()]
    made = [broken_words(good[n % len(good)], random.Random(n)) for n in range(100)]
    assert sum(words in good for words in made) < 10
    words = next(n for n, kind in enumerate(TURN) if kind == "words")
    assert command_line(case(words)) == command_line(case(words))


@pytest.mark.rest
@needs_icarus
def test_good_files_are_taken(shop):
    """What the cases are made from is good: without a change each ends in 0."""
    for number, line in enumerate((HERE / "commands.txt").read_text().splitlines()):
        work = shop.work(f"good-{number}")
        shop._lay_out(work)
        ran = shop.warm.call(line.split(), work, work / "tmp")
        assert (line, 0) == (line, ran.status), ran.text
