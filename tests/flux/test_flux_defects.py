"""Defects of the flux: what each does to the pulses, and that all of it can be repeated."""

import itertools
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from refmodel.ground.errors import InputError, UserError
from refmodel.ground.pulses import NO_BIT
from refmodel.ground.yamlfile import parse
from refmodel.media.flux_build import arrival_ns, read, write
from refmodel.media.flux_defects import Defects, NoFlux, Weak
from refmodel.media.strobes import strobe_cycles
from refmodel.media.track import iso_track, random_track, words_track
from refmodel.profile import load_profile

BIT_NS = 2000.0
TRACK = iso_track()
ZEROS = words_track([0xAAAA] * 6250)  # 100 000 channel bits, every other one a pulse
FOUR_SIGMA = 1 - 6.3e-5  # the part of a normal distribution within four sigma


def flux_of(track=TRACK, seed=1, turn=0, **defects):
    """Read one revolution of a track with these defects."""
    wrong = Defects(**defects)
    return read(write(track, BIT_NS, wrong), wrong, seed, turn)


def shifts(flux):
    """Return how late each pulse is against the middle of its channel bit, in ns."""
    return flux.ns - (flux.bit + 0.5) * BIT_NS


def test_a_perfect_track_has_a_pulse_in_the_middle_of_every_1():
    """Its pulse times and channel bits are counted from the start of the run."""
    flux = flux_of(turn=3)
    ones = np.flatnonzero(TRACK.bits) + 3 * len(TRACK)
    assert flux.bit.tolist() == ones.tolist()
    assert flux.ns.tolist() == ((ones + 0.5) * BIT_NS).tolist()


@pytest.mark.parametrize("name", ["pal_dd", "ntsc_dd"])
def test_a_pulse_lies_in_its_channel_bits_own_cycles(name):
    """The pulse of a bit comes before the bit ends, as the strobes of a perfect disk have it."""
    profile = load_profile(name)
    flux = flux_of()
    ends = strobe_cycles(0, len(TRACK), profile.cycles_per_bit)
    cycles = flux.seen(profile.cycle_ns)
    assert (cycles < ends[flux.bit]).all()
    assert (cycles > ends[flux.bit] - profile.cycles_per_bit).all()


@pytest.mark.parametrize(
    ("speed", "size"),
    # 6 250 bytes of 32 us in 200 ms (SFD-321B drive manual), divided by the speed: arithmetic.
    [(-3, 6443.3), (-1.5, 6345.2), (0, 6250), (1.5, 6157.6), (3, 6068.0)],
)
def test_speed_changes_the_time_of_a_revolution(speed, size):
    """At -3 % a revolution has room for 6 443.3 bytes of 32 us, at +3 % for 6 068.0."""
    assert flux_of(speed_percent=speed).end_ns / 32_000 == pytest.approx(size, abs=0.1)


def test_wow_swings_the_speed_by_its_peak_and_keeps_the_revolution():
    """Local speed goes from -1 % to +1 % once a revolution, which takes as long as without."""
    plain, flux = flux_of(ZEROS), flux_of(ZEROS, wow_percent=1)
    period = np.diff(flux.ns) / np.diff(plain.ns)
    assert period.min() == pytest.approx(0.99, abs=1e-4)
    assert period.max() == pytest.approx(1.01, abs=1e-4)
    assert np.argmin(period) / len(period) == pytest.approx(0.25, abs=0.01)
    assert np.argmax(period) / len(period) == pytest.approx(0.75, abs=0.01)
    assert flux.end_ns == plain.end_ns == 200e6


@pytest.mark.parametrize("sigma", [200, 250, 300, 350])
def test_gaussian_jitter_has_the_tails_of_the_normal_distribution(sigma):
    """P(|shift| > 1 us) is 2 * scipy.stats.norm.sf(1 us / sigma), within the sampling error.

    5.73e-7, 6.33e-5, 8.58e-4 and 4.27e-3; four-sigma limits of the binomial count.
    """
    late = np.concatenate(
        [shifts(flux_of(ZEROS, turn=turn, jitter_ns=sigma)) for turn in range(20)]
    )
    expected = 2 * stats.norm.sf(1000 / sigma)
    assert len(late) >= 999_000
    count = int((np.abs(late) > 1000).sum())
    low, high = stats.binom.interval(FOUR_SIGMA, len(late), expected)
    assert low <= count <= high


def test_gaussian_jitter_is_normal_as_a_whole():
    """The Kolmogorov-Smirnov test of scipy.stats finds no difference in 50 000 shifts."""
    late = shifts(flux_of(ZEROS, jitter_ns=100))
    assert stats.kstest(late / 100, "norm").pvalue > 1e-3


def test_uniform_jitter_fills_its_range():
    """Shifts are uniform between -150 and 150 ns (Kolmogorov-Smirnov)."""
    late = shifts(flux_of(ZEROS, uniform_ns=150))
    assert stats.kstest((late + 150) / 300, "uniform").pvalue > 1e-3
    assert np.abs(late).max() <= 150


def test_asymmetry_moves_every_other_pulse():
    """Pulses of one polarity are late by half the asymmetry, the others early."""
    late = shifts(flux_of(asymmetry_ns=60))
    assert set(np.round(late[0::2], 6).tolist()) == {-30}
    assert set(np.round(late[1::2], 6).tolist()) == {30}


def test_peak_shift_stays_the_same_from_turn_to_turn():
    """It belongs to the disk: revolutions differ by their start alone.

    2 half-cells beside 3 are shifted by 37 ns at this width (superposed pulses, see flux_shift).
    """
    first, second = (flux_of(turn=turn, pw50_ns=3000) for turn in (0, 1))
    np.testing.assert_allclose(second.ns - 200e6, first.ns, atol=1e-6)
    assert np.abs(shifts(first)).max() > 30


def test_dropouts_take_pulses_away_at_their_rate():
    """A count within four sigma of 1 % of the pulses is missing, the rest is untouched."""
    flux = flux_of(ZEROS, dropout_rate=0.01)
    low, high = stats.binom.interval(FOUR_SIGMA, 50_000, 0.01)
    assert low <= 50_000 - len(flux) <= high
    assert set(shifts(flux).tolist()) == {0.0}


def test_extra_pulses_belong_to_no_channel_bit():
    """They come at their rate, anywhere, and the true pulses stay."""
    flux = flux_of(ZEROS, extra_rate=0.002)
    extra = flux.ns[flux.bit == NO_BIT]
    low, high = stats.binom.interval(FOUR_SIGMA, 100_000, 0.002)
    assert low <= len(extra) <= high
    assert (flux.bit != NO_BIT).sum() == 50_000
    assert stats.kstest(extra / 200e6, "uniform").pvalue > 1e-3


def test_a_weak_region_differs_between_revolutions_and_nothing_else_does():
    """Its pulses lie half a channel bit late, with a jitter of an eighth: in either window."""
    region = Weak(first_bit=20_000, bits=640)
    turns = [flux_of(ZEROS, turn=turn, weak=[region]) for turn in range(4)]
    late = np.array([shifts(flux) for flux in turns])
    weak = slice(10_000, 10_320)
    assert np.abs(np.delete(late, np.r_[weak], axis=1)).max() < 1e-6
    in_region = late[:, weak]
    assert in_region.mean() == pytest.approx(1000, abs=4 * 250 / np.sqrt(1280))
    assert in_region.std() == pytest.approx(250, abs=4 * 250 / np.sqrt(2 * 1280))
    assert 0.3 < (in_region > 1000).mean() < 0.7
    assert len({tuple(turn.tolist()) for turn in in_region}) == 4


def test_a_region_without_flux_is_silent_and_then_noisy():
    """It has no pulse for `quiet_ns`, then noise of its own in each revolution."""
    region = NoFlux(first_bit=40_000, bits=4000, quiet_ns=50_000, noise_ns=5000)
    turns = [flux_of(ZEROS, turn=turn, no_flux=[region]) for turn in range(3)]
    start, end = 80e6, 88e6
    noise = []
    for turn, flux in enumerate(turns):
        at = flux.ns - turn * 200e6
        inside = (at >= start) & (at < end)
        assert (flux.bit[inside] == NO_BIT).all()
        assert (~inside).sum() == 48_000
        assert at[inside].min() > start + 50_000
        noise.append(at[inside])
    count = (8e6 - 50_000) / 5000  # of a Poisson process, within four sigma
    assert [len(at) for at in noise] == pytest.approx([count] * 3, abs=4 * np.sqrt(count))
    assert noise[0][:20].tolist() != noise[1][:20].tolist()
    assert stats.kstest(np.diff(noise[0]) / 5000, "expon").pvalue > 1e-3


def test_a_region_without_flux_may_stay_silent():
    """With `noise_ns` null the amplifier never makes noise."""
    flux = flux_of(ZEROS, no_flux=[NoFlux(first_bit=0, bits=100_000, noise_ns=None)])
    assert len(flux) == 0


ALL = {
    "speed_percent": 2,
    "wow_percent": 1,
    "jitter_ns": 150,
    "uniform_ns": 50,
    "pw50_ns": 3000,
    "asymmetry_ns": 40,
    "dropout_rate": 0.01,
    "extra_rate": 0.01,
    "weak": [Weak(first_bit=900, bits=100)],
    "no_flux": [NoFlux(first_bit=5000, bits=900)],
}


def test_the_same_seed_gives_the_same_flux():
    """Every defect at once is equal to the last bit twice; another seed or turn is another flux."""
    first, again = flux_of(**ALL), flux_of(**ALL)
    assert first.ns.tolist() == again.ns.tolist()
    assert first.bit.tolist() == again.bit.tolist()
    assert first.ns.tolist() != flux_of(seed=2, **ALL).ns.tolist()
    later = flux_of(turn=1, **ALL)
    assert not np.allclose(later.ns[:50] - later.start_ns, first.ns[:50], atol=1)


def test_revolutions_follow_one_another_without_gap():
    """Each begins where the one before ends, however wild the jitter."""
    turns = [flux_of(turn=turn, jitter_ns=2000, speed_percent=3) for turn in range(3)]
    for before, after in itertools.pairwise(turns):
        assert before.end_ns == pytest.approx(after.start_ns, abs=1e-6)
        assert before.ns[-1] < after.ns[0]


def test_arrival_tells_where_a_bit_would_be_without_jitter():
    """The middle of each channel bit, through speed and wow, equals the pulses of a clean track."""
    wrong = Defects(speed_percent=-2, wow_percent=2)
    written = write(TRACK, BIT_NS, wrong)
    for turn in (0, 5):
        flux = read(written, wrong, 1, turn)
        np.testing.assert_allclose(arrival_ns(written, wrong, flux.bit), flux.ns, atol=1e-3)


def test_a_track_without_a_transition_is_refused():
    """An empty track gives a separator nothing to follow."""
    with pytest.raises(UserError, match="the track has no transition; all its channel bits are 0"):
        flux_of(words_track([0, 0]))


@pytest.mark.parametrize(
    "region",
    [
        {"weak": [Weak(first_bit=99_000, bits=1001)]},
        {"no_flux": [NoFlux(first_bit=100_000, bits=1)]},
    ],
)
def test_a_region_past_the_end_of_the_track_is_refused(region):
    """A region must lie on the track."""
    with pytest.raises(UserError, match="ends after the track's last, 99999"):
        flux_of(**region)


def test_pulses_too_wide_to_have_peaks_are_refused():
    """PW50 above three channel bits leaves no signal to speak of."""
    with pytest.raises(UserError, match="pw50_ns 4000 is above 3 channel bits of 1000 ns"):
        write(TRACK, 1000.0, Defects(pw50_ns=4000))


def test_a_negative_seed_is_refused():
    """Seeds count from 0."""
    with pytest.raises(UserError, match="seed: -1 should be at least 0"):
        flux_of(seed=-1)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("speed_percent: 90", "speed_percent"),
        ("wow_percent: -1", "wow_percent"),
        ("jitter_ns: -5", "jitter_ns"),
        ("jitter_ns: 1000000", "jitter_ns"),
        ("dropout_rate: 1.5", "dropout_rate"),
        ("weak: [{first_bit: 5, bits: 0}]", "weak.0.bits"),
        ("no_flux: [{first_bit: 5, bits: 9, noise_ns: 0.001}]", "no_flux.0.noise_ns"),
        ("speed: 3", "speed"),
    ],
)
def test_absurd_defects_are_refused_at_their_place(text, key):
    """A file with values no drive has is reported at the key."""
    with pytest.raises(InputError) as error:
        parse(text, Path("bad.yaml")).validate(Defects)
    (problem,) = error.value.problems
    assert problem.key == key
    assert problem.line == 1


def test_random_tracks_become_flux_too():
    """Neighbouring 1s, which MFM never has, give pulses one channel bit apart."""
    flux = flux_of(random_track(5000, 3), pw50_ns=3000)
    assert np.diff(flux.ns).min() > 0
    assert len(flux.seen(Fraction(125, 2))) == len(flux)


def test_a_dropout_takes_the_pulses_in_its_middle():
    """With half a sine of loss a threshold of 0.4 is passed where sin is above 0.6: 59 % of it.

    Arithmetic: 1 - 2 asin(0.6) / pi = 0.590. Outside nothing is missing, and the next revolution
    misses the same pulses when the amplitude has no noise.
    """
    flaw = {"first_bit": 10_000, "bits": 2000, "noise": 0}
    gone = [
        sorted(
            set(range(0, 100_000, 2))
            - set((flux_of(ZEROS, 1, turn, dropouts=[flaw]).bit % 100_000).tolist())
        )
        for turn in (0, 1)
    ]
    assert gone[0] == gone[1]
    assert 10_000 < gone[0][0] < gone[0][-1] < 12_000
    assert len(gone[0]) == pytest.approx(1000 * (1 - 2 * np.arcsin(0.6) / np.pi), abs=2)
    assert np.all(np.diff(gone[0]) == 2)


def test_noise_blurs_the_ends_of_a_dropout():
    """With noise of the amplitude a pulse near either end is not there in each revolution."""
    flaw = {"first_bit": 10_000, "bits": 2000, "noise": 0.1}
    seen = [
        set((flux_of(ZEROS, 1, turn, dropouts=[flaw]).bit % 100_000).tolist()) for turn in range(8)
    ]
    doubtful = set.union(*seen) - set.intersection(*seen)
    assert len(doubtful) > 20
    assert min(doubtful) > 10_000
    assert max(doubtful) < 12_000


def test_the_read_filter_passes_no_two_pulses_closer_than_it_says():
    """Noise in a gap comes as close as it likes; the filter leaves what is 1 500 ns apart.

    Of the exponential distances of a Poisson process with one pulse in 2 us half are below 1.4 us.
    """
    gap = {"first_bit": 1000, "bits": 50_000, "quiet_ns": 0, "noise_ns": 2000}
    plain = flux_of(ZEROS, no_flux=[gap])
    passed = flux_of(ZEROS, no_flux=[gap], filter_ns=1500)
    apart = np.diff(plain.ns[plain.bit == NO_BIT])
    assert np.mean(apart < 2000 * np.log(2)) == pytest.approx(0.5, abs=0.02)
    assert np.diff(passed.ns).min() >= 1500
    assert set(passed.ns.tolist()) < set(plain.ns.tolist())
    # a pulse that waits 1.5 us for the next chance, then 2 us on average: arithmetic
    assert (passed.bit == NO_BIT).sum() == pytest.approx(100_000 / 3.5, rel=0.03)
