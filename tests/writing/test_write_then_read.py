"""A sector written by a transfer is read back, by transfer, by polling and by the track reader."""

from functools import cache

import numpy as np
import pytest
from crccheck.crc import Crc16Ibm3740
from turning import PAL, Turning

from refmodel.host.program import Wait, Write
from refmodel.host.sector_transfer import read_sector_by_transfer, write_sector_by_transfer
from refmodel.media.mfm import MARK_A1, bits_to_words, decode, word_bits
from refmodel.media.reader import read_sectors
from refmodel.media.seeded import random_bytes
from refmodel.media.track import iso_track
from refmodel.media.writing import data_field_words

NEW = random_bytes(512, 4711)
MEMORY = [*data_field_words(NEW).tolist(), *[0] * 3000]
WORDS = 532  # the 531 of the data field with its sync and a byte of gap, and one more
STORED = 2 + 1 + 512 + 2  # two marks, the address byte, the contents and the CRC
TABLE = {bytes(512): 0xDA6E, b"\x4e" * 512: 0x8284, b"\xe5" * 512: 0xC40B, b"\xf6" * 512: 0x2BF6}


def track(contents=None, sectors=2):
    """Return a short track of 512-byte sectors."""
    data = [contents or random_bytes(512, n) for n in range(sectors)]
    return iso_track(sectors=sectors, size=512, gap3=60, lead_in=40, data=data, length_bytes=1400)


def decoded(words):
    """Return the data bytes of words of channel bits."""
    return decode(word_bits(words))


@pytest.mark.share(2)
@pytest.mark.parametrize("contents", TABLE, ids=lambda c: f"{c[0]:02X}")
def test_sector_read_by_transfer_has_the_published_crc(contents):
    """The last word pair in memory is the CRC of the tables for A1 A1 A1 FB and 512 bytes.

    Source: eight implementations of CRC-16/IBM-3740 agree on the table.
    """
    disk = Turning(track(contents), [0] * 600).play(read_sector_by_transfer(2), 2)
    assert disk.stored[:2] == [MARK_A1, MARK_A1]
    field = decoded(disk.stored[2:])
    assert field == b"\xfb" + contents + TABLE[contents].to_bytes(2, "big")
    assert Crc16Ibm3740.calc(b"\xa1\xa1\xa1" + field[:-2]) == TABLE[contents]


@cache
def written(precompensation=0, pw50_ns=0.0, write_protected=False):
    """Return a disk whose second sector was written over in the first revolution."""
    disk = Turning(track(), MEMORY, pw50_ns, write_protected)
    return disk.play(write_sector_by_transfer(2, WORDS, precompensation), 2)


@pytest.mark.share(3)
@pytest.mark.parametrize(("precompensation", "pw50_ns"), [(0, 0), (0, 4000), (3, 4000)])
def test_written_sector_is_read_back(precompensation, pw50_ns):
    """The next revolution holds the new contents, and the other sector as it was."""
    disk = written(precompensation=precompensation, pw50_ns=pw50_ns)
    sectors = read_sectors(disk.revolutions[1].bit)
    assert [(s.number, s.data_crc_ok) for s in sectors] == [(1, True), (2, True)]
    assert [s.data for s in sectors] == [random_bytes(512, 0), NEW]


@pytest.mark.rest
def test_precompensation_works_against_peak_shift():
    """With pulses 4 us wide one step leaves less than half of the shift; more steps overdo it.

    Source: superposed Lorentzian pulses; a spacing of 2 beside one of 4 shifts by 117 ns, some
    more or less with what lies beyond.
    """
    worst = [worst_shift_ns(precompensation) for precompensation in range(4)]
    assert worst[0] == pytest.approx(117, abs=12)
    assert worst[1] < 117 / 2 < 117 < worst[2] < worst[3]


def worst_shift_ns(precompensation):
    """Return how far a transition inside the burst is read from its bit's middle, at most."""
    (burst,) = written(precompensation=precompensation).bursts
    middle = burst.first + 7 + 14 * ((burst.pulses - burst.first) // 14)
    late = burst.peaks(4000 / float(PAL.cycle_ns)) - 0.5 - middle
    return np.abs(late[3:-3]).max() * float(PAL.cycle_ns)


def test_same_program_reads_back_what_it_wrote():
    """Write, then read by transfer in the next revolution: memory has the same words twice."""

    def write_then_read():
        yield from write_sector_by_transfer(2)
        yield Write("control", 0x001F, 10)
        yield from read_sector_by_transfer(2)

    disk = Turning(track(), MEMORY).play(write_then_read(), 3)
    sync_and_first_mark = 12 + 1
    assert disk.stored == MEMORY[sync_and_first_mark:][:STORED]


def test_everything_written_keeps_the_spacings_of_mfm():
    """Pulses in the burst stand 2, 3 or 4 channel bits apart (ISO 8860-2 4.1 b)."""
    (burst,) = written().bursts
    apart = np.diff(burst.pulses) / PAL.cycles_per_written_bit
    assert set(apart.tolist()) == {2.0, 3.0, 4.0}


def test_burst_is_the_words_of_memory():
    """The channel bits on the disk are those of memory, and as many as 14 cycles each make."""
    (burst,) = written().bursts
    bits = burst.bits(PAL.cycles_per_written_bit)
    assert bits_to_words(bits).tolist() == MEMORY[:WORDS]
    assert burst.end - burst.first == WORDS * 16 * 14


def test_splice_stays_where_it_was_written():
    """Bits outside the burst keep their cycles; inside they come every 14 cycles."""
    disk = written()
    (burst,) = disk.bursts
    before, after = disk.revolutions
    turn = int(len(disk.track) * PAL.cycles_per_bit)
    first, end = burst.first + turn, burst.end + turn
    old = before.cycle + (after.cycle[0] - before.cycle[0])
    outside = (after.cycle <= first) | (after.cycle > end)
    kept = (old <= first) | (old > end)
    assert np.array_equal(after.bit[outside], before.bit[kept])
    assert np.abs(after.cycle[outside] - old[kept]).max() <= 1  # a revolution is not a whole number
    assert after.cycle[~outside].tolist() == list(range(first + 14, end + 1, 14))
    assert (after.origin[~outside] == -1).all()
    assert after.origin[outside].tolist() == np.flatnonzero(kept).tolist()


def test_write_over_the_index_continues_at_the_start_of_the_track():
    """A burst that the index cuts in two is read back in both places."""

    def late_write():
        yield Wait(int(1400 * 16 * PAL.cycles_per_bit) - 60 * 16 * 14)
        yield Write("transfer", 0xC000 | 100)
        yield Write("transfer", 0xC000 | 100)
        yield Wait(200_000)
        yield Write("transfer", 0)

    words = np.random.default_rng(1).integers(0, 0x10000, 100).tolist()
    disk = Turning(track(), words).play(late_write(), 3)
    (burst,) = disk.bursts
    turn = int(1400 * 16 * PAL.cycles_per_bit)
    assert burst.first < turn < burst.end
    third = disk.revolutions[2]
    start, rest = third.bit[third.origin == -1], burst.bits(14)
    split = (turn - burst.first) // 14
    assert np.array_equal(start, np.concatenate((rest[split:], rest[:split])))


def test_protected_disk_keeps_its_contents():
    """Nothing is written, and it is said that the gate opened."""
    disk = written(write_protected=True)
    assert [s.data for s in read_sectors(disk.revolutions[1].bit)] == [
        random_bytes(512, n) for n in (0, 1)
    ]
    (refused,) = disk.head.refused
    assert disk.head.problem == (
        "the disk is write-protected: the write gate opened once, in cycle"
        f" {refused.first}, and nothing was written"
    )


def test_reader_and_block_find_the_same_sectors():
    """A sector placed on the track by the builder is stored word for word as it lies there."""
    disk = Turning(track(), [0] * 600).play(read_sector_by_transfer(1), 2)
    assert disk.result == "fe 00 00 01 02 ca 6f"
    assert decoded(disk.stored[2:])[1:-2] == random_bytes(512, 0)
