"""Captured revolutions are cut at the index and laid over each other: stable bits, weak bits."""

import numpy as np
import pytest
from flux_cases import BIT_NS, captured, plain_track
from scipy import stats

from refmodel.ground.errors import UserError
from refmodel.media.flux_defects import Defects, NoFlux, Weak
from refmodel.media.flux_list import FluxList
from refmodel.media.overlay import NOWHERE, align, lay_over
from refmodel.media.track import iso_track
from refmodel.world.revolutions import turns_of


def test_a_perfect_track_reads_alike_in_every_revolution():
    """Each revolution holds the channel bits that were written, and none is weak."""
    track = plain_track()
    turns = turns_of(captured(track), BIT_NS)
    assert len(turns.revolutions) == 3
    assert all((r.bits == track.bits).all() for r in turns.revolutions)
    assert not turns.overlay.weak.any()
    assert turns.overlay.regions() == []


def test_revolutions_of_unequal_length_still_lie_over_each_other():
    """A drive whose speed differs by 2 % between revolutions changes no channel bit."""
    track = plain_track()
    flux = captured(track, Defects(jitter_ns=60))
    pieces, index = [], [0.0]
    for number, factor in enumerate((1.0, 1.02, 0.985)):
        begin, end = flux.index_ns[number : number + 2]
        inside = flux.ns[(flux.ns >= begin) & (flux.ns < end)]
        pieces.append(index[-1] + (inside - begin) * factor)
        index.append(index[-1] + (end - begin) * factor)
    turns = turns_of(FluxList(np.concatenate(pieces), np.array(index)), BIT_NS)
    assert len({round(r.length_ns) for r in turns.revolutions}) == 3
    assert not turns.overlay.weak.any()
    assert (turns.overlay.bits == track.bits).all()


def test_weak_bits_are_found_where_they_are_and_nowhere_else():
    """The bits of a weak region differ between revolutions; those outside it do not."""
    defects = Defects(jitter_ns=60, weak=[Weak(first_bit=40_000, bits=160)])
    turns = turns_of(captured(plain_track(), defects, revolutions=6), BIT_NS)
    weak = np.flatnonzero(turns.overlay.weak)
    assert 39_990 < weak.min() <= weak.max() < 40_180
    assert 40 < len(weak)
    assert turns.overlay.regions()[0].weak == len(weak)


def test_weak_bits_are_as_often_1_as_the_binomial_says():
    """Of bits with an even chance, the counts over 40 revolutions vary as binomial ones do.

    Outside check: the dispersion test of scipy's chi-squared distribution, both tails 0.1 %.
    """
    rng = np.random.default_rng(5)
    bits, turns, far = 20_000, 40, 200
    weak = np.arange(far, bits - far, far)
    plain = np.setdiff1d(np.arange(0, bits, 4), np.concatenate([weak, weak + 4, weak - 4]))
    pulses, length = [], bits * BIT_NS
    for turn in range(turns):
        moved = (weak + rng.integers(0, 2, len(weak)) + 0.5) * BIT_NS
        ns = np.sort(np.concatenate(((plain + 0.5) * BIT_NS, moved)))
        pulses.append(ns + turn * length)
    flux = FluxList(np.concatenate(pulses), length * np.arange(turns + 1))
    overlay = turns_of(flux, BIT_NS).overlay
    ones = overlay.ones[weak]
    assert set(np.flatnonzero(overlay.weak)) == set(weak) | set(weak + 1)
    p = ones.sum() / (turns * len(weak))
    dispersion = ((ones - turns * p) ** 2).sum() / (turns * p * (1 - p))
    low, high = stats.chi2.ppf((0.001, 0.999), len(weak) - 1)
    assert low < dispersion < high
    assert abs(p - 0.5) < 4 * np.sqrt(0.25 / (turns * len(weak)))


def test_bits_more_or_less_in_a_silent_region_move_nothing_behind_it():
    """A region of noise gives each revolution another number of bits; behind it all agree."""
    track = iso_track(data=3)
    defects = Defects(no_flux=[NoFlux(first_bit=60_000, bits=400)])
    turns = turns_of(captured(track, defects, revolutions=5), BIT_NS)
    assert len({len(r.bits) for r in turns.revolutions}) > 1
    weak = np.flatnonzero(turns.overlay.weak)
    assert 59_990 < weak.min() <= weak.max() < 60_500
    assert turns.overlay.regions()[0].slips > 0


def test_a_bit_more_is_found_where_it_is():
    """Behind a bit that one revolution has more, the two lie over each other again."""
    rng = np.random.default_rng(3)
    one = rng.integers(0, 2, 3000).astype(np.uint8)
    other = np.insert(one, 1500, 1 - one[1500])
    at = align(one, other)
    assert (at[:1490] == np.arange(1490)).all()
    assert (at[1501:] == np.arange(1502, 3001)).all()
    assert ((at == NOWHERE) | (np.abs(at - np.arange(3000)) <= 1)).all()


def test_pulses_know_the_channel_bit_they_are():
    """Each pulse of each revolution is a 1 of the first."""
    track = plain_track()
    turns = turns_of(captured(track, Defects(jitter_ns=60)), BIT_NS)
    for turn in range(3):
        assert turns.pulse_bits(turn).tolist() == np.flatnonzero(track.bits).tolist()


@pytest.mark.parametrize(
    ("index", "count", "note"),
    [
        ([], 1, "0 index pulses: all of the capture is taken as one revolution"),
        ([0, 1], 2, ""),
        ([0, 1, 3, 4, 5], 3, "revolution 2 is 2.00 times as long as the others: an index pulse is"),
        ([0, 1, 1.1, 2, 3, 4], 4, "revolution 2 is 0.10 times as long as the others: an index"),
    ],
)
def test_index_pulses_that_are_missing_are_told(index, count, note):
    """A revolution without its index pulse, or with one too many, is left out and said so."""
    flux = captured(plain_track(), revolutions=max(2, len(index)))
    length = flux.index_ns[1]
    if index == [0, 1]:
        index = [0, 1, 2]
    turns = turns_of(FluxList(flux.ns, length * np.array(index, float)), BIT_NS)
    assert len(turns.revolutions) == count
    assert note in "; ".join(turns.notes)


def test_too_few_pulses_are_refused():
    """A handful of pulses is no track."""
    with pytest.raises(UserError, match="only 3 pulses: too few to read, 16 at least"):
        turns_of(FluxList(np.array([1.0, 2.0, 3.0]), np.empty(0)), BIT_NS)
    with pytest.raises(UserError, match="no whole revolution"):
        lay_over([])
