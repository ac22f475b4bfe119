"""The formulas of listening: pulses of arrivals, noise that follows the late sound, responses, and
a microphone's loop, each against what can be said of it in closed form.
"""

import numpy as np
import pytest
from scipy.signal import butter, fftconvolve, sosfiltfilt, sosfreqz

from gymtools.physics import bands, feedback_loop, impulse, pulses, responses, tails
from gymtools.physics.playback import RATE

RNG = np.random.default_rng(11)
UNEVEN = 10 ** (np.array([[0, -6, 3, 1, -12, -3, -20], [-30, 0, 0, 0, 0, 0, -40.0]]) / 10)


def octave(number, length):
    """Which lines of a transform of so many samples lie in an octave."""
    low, high = bands.EDGES[number]
    frequency = pulses.frequencies(length)
    return (frequency >= low) & (frequency < high)


# ---- pulses


def test_the_spectrum_of_a_pulse_goes_by_straight_lines_through_its_octaves():
    """Closed form: at the mid-bands the energy that was asked for, half way (in octaves) the mean
    of both levels; the outer octaves keep theirs to their edges, 80 dB are gone two octaves below
    and one above.
    """
    length = 1 << 17
    level = bands.to_level(np.abs(pulses.spectra(UNEVEN, length)) ** 2)
    frequency = pulses.frequencies(length)

    def at(hz):
        return level[:, np.argmin(np.abs(frequency - hz))]

    wanted = bands.to_level(UNEVEN)
    for b, middle in enumerate(bands.EXACT):
        assert at(middle) == pytest.approx(wanted[:, b], abs=0.1), b
    for b, middle in enumerate(np.sqrt(bands.EXACT[1:] * bands.EXACT[:-1])):
        assert at(middle) == pytest.approx(wanted[:, b : b + 2].mean(axis=1), abs=0.1), b
    assert at(bands.EDGES[0, 0]) == pytest.approx(wanted[:, 0], abs=0.5)
    assert at(bands.EDGES[0, 0] / 4) == pytest.approx(wanted[:, 0] - 80, abs=1)
    assert at(bands.EDGES[-1, 1]) == pytest.approx(wanted[:, -1], abs=0.1)
    assert at(bands.EDGES[-1, 1] * 2) == pytest.approx(wanted[:, -1] - 80, abs=0.1)


def test_a_pulse_begins_at_once_and_is_over_before_it_is_cut():
    """Closed form: a minimum-phase pulse has nothing before its time (0.1 % of its energy at most,
    the ripple of a pulse that is limited to a band), and its last tenth holds nothing.
    """
    when = 1000
    sound = pulses.placed(pulses.spectra(UNEVEN)[:, None], [when / RATE, 1.0], 1 << 16)[0]
    energy = sound**2
    whole = energy[: RATE // 2].sum()
    assert energy[: when - 8].sum() < 1e-3 * whole
    assert energy[when - 8 : when + RATE // 100].sum() > 0.9 * whole
    end = when - pulses.LEAD + pulses.LENGTH
    assert energy[end - pulses.LENGTH // 10 : RATE // 2].sum() < 1e-4 * whole
    assert not sound[end : RATE - pulses.LEAD].any()


@pytest.mark.parametrize("samples", [100.0, 100.25, 3333.5, 3333.999, 12.7])
def test_pulses_stand_between_samples_where_they_belong(samples):
    """Closed form: a pulse that comes t later is its spectrum turned by -2 pi f t, whole samples or
    not; one that would begin before the response loses only its ripple.
    """
    spectrum = pulses.spectra(UNEVEN)[0]
    sound = pulses.placed(spectrum[None, None], [samples / RATE], 1 << 13)[0]
    found = np.fft.rfft(sound.reshape(-1, pulses.LENGTH).sum(axis=0))[1:-1]
    frequency = pulses.frequencies()[1:-1]
    wanted = spectrum[1:-1] * np.exp(-2j * np.pi * frequency * samples / RATE)
    off = 1e-9 if samples > pulses.LEAD else 0.02
    assert np.abs(found - wanted).max() < off * np.abs(spectrum).max()


def test_two_equal_arrivals_make_a_comb():
    r"""Closed form: |1 + exp(-2 pi i f t)|^2 = 4 cos^2(pi f t): notches at odd multiples of 1 / 2t,
    6.02 dB between them. 2.6 ms apart is 0.9 m of way.
    """
    apart, length = 2.6e-3, 1 << 15
    spectrum = pulses.spectra(np.ones((2, 7)))[:, None]
    sound = pulses.placed(spectrum, [0.01, 0.01 + apart], length)[0]
    alone = pulses.placed(spectrum[:1], [0.01], length)[0]
    ratio = np.abs(np.fft.rfft(sound)) ** 2 / np.abs(np.fft.rfft(alone)) ** 2
    frequency = pulses.frequencies(length)
    heard = (frequency > 89) & (frequency < 11_200)
    wanted = 4 * np.cos(np.pi * frequency * apart) ** 2
    assert np.abs(ratio - wanted)[heard].max() < 1e-3
    lows = [i for i in np.flatnonzero(heard) if ratio[i] < min(ratio[i - 1], ratio[i + 1])]
    odd = np.arange(1, 2 * len(lows), 2) / (2 * apart)
    assert frequency[lows] == pytest.approx(odd, abs=RATE / length)
    assert len(lows) == 29


def test_what_does_not_fit_is_cut_off():
    """Behavior: a pulse beyond the end changes nothing before it and none is wrapped around."""
    spectrum = pulses.spectra(np.ones((2, 7)))[:, None]
    sound = pulses.placed(spectrum, [0.01, 3.0], RATE)
    assert sound.shape == (1, RATE)
    assert (sound == pulses.placed(spectrum[:1], [0.01], RATE)).all()


# ---- noise


@pytest.mark.parametrize("length", [tails.PERIOD, 48_000])
def test_octave_windows_share_the_spectrum_without_a_gap(length):
    """Closed form: between the outer edges the squares sum to 1 at every line, beyond them there is
    nothing; no line belongs to more than two octaves.
    """
    window = tails.octave_windows(length)
    frequency = pulses.frequencies(length)
    blend = np.array([1 / tails.BLEND, tails.BLEND])
    low, high = bands.EDGES[0, 0] * blend, bands.EDGES[-1, 1] * blend
    inside = (frequency > low[1]) & (frequency < high[0])
    assert np.abs((window**2).sum(axis=0)[inside] - 1).max() < 1e-12
    assert not window[:, (frequency < low[0]) | (frequency > high[1])].any()
    assert ((window > 0).sum(axis=0) <= 2).all()


def test_a_pulse_has_as_much_of_an_octave_as_it_is_wide():
    """Closed form: a sample of 1 has the energy 1, evenly up to half the sampling rate."""
    wanted = np.diff(bands.EDGES)[:, 0] / (RATE / 2)
    assert tails.unit_energy() == pytest.approx(wanted, rel=2e-3)


def test_noise_of_an_octave_is_even_and_stays_in_its_octave():
    """Closed form: mean square 1; the spectrum is flat inside the octave and less than -25 dB of it
    lies outside (blended edges); energies in 20 ms scatter by less than half of what chance gives
    a noise of that bandwidth, 4.34 / sqrt(B t) dB; both channels know nothing of each other.
    """
    noise = tails.even_noise(3)
    assert noise.dtype == np.float32
    assert np.mean(noise**2, axis=2) == pytest.approx(1, abs=1e-3)
    span = RATE // 50
    for b, width in enumerate(np.diff(bands.EDGES)[:, 0]):
        spectrum = np.abs(np.fft.rfft(noise[:, b].astype(float))) ** 2
        inside = octave(b, tails.PERIOD)
        assert spectrum[:, ~inside].sum() < 10**-2.5 * 2 * spectrum.sum(), b
        assert bands.to_level(spectrum[:, inside]).std() < 0.5, b
        parts = noise[:, b, : tails.PERIOD // span * span].reshape(2, -1, span).astype(float)
        scatter = bands.to_level((parts**2).mean(axis=2)).std()
        assert scatter < 0.5 * bands.E_FOLD_DB / np.sqrt(width * 0.02), b
        both = np.mean(noise[0, b] * noise[1, b])
        assert abs(both) < 4 / np.sqrt(width * tails.PERIOD / RATE), b


def test_noise_is_the_same_at_every_run_and_another_for_every_loudspeaker():
    """Behavior: worked out again it is the same to the bit; two loudspeakers' noises do not
    correlate.
    """
    first, other = tails.even_noise(1), tails.loudspeaker_noise(2)
    again = tails.loudspeaker_noise(1 + tails.NOISES)  # the same one, turned on
    assert np.abs(np.mean(first[0, 3:] * again[0, 3:], axis=1)).max() < 0.1
    assert (np.sort(first[0, 3]) == np.sort(again[0, 3])).all()
    kept = first.copy()
    tails.even_noise.cache_clear()
    assert (tails.even_noise(1) == kept).all()
    assert np.abs(np.mean(first[0, 3:] * other[0, 3:], axis=1)).max() < 0.1


@pytest.mark.parametrize("rt", [0.6, 2.0, 5.0])
def test_noise_follows_the_course_of_the_energy(rt):
    """Closed form: an exponential decay's energy in every 20 ms, octave by octave, over the first
    40 dB: without a trend, and within four times what the noise scatters; as a whole within 4 %
    (125 Hz: 6 %).
    """
    time = (np.arange(int(rt * 1000)) + 0.5) * tails.STEP_S
    decay = 10 ** (-6 * time / rt)
    noise = tails.even_noise(0)[0]
    for b in range(7):
        course = np.zeros((len(time), 7))
        course[:, b] = decay
        sound = tails.followed(tails.envelopes(course), noise).astype(float)
        assert len(sound) == len(time) * tails.PER_STEP
        counted = int(len(time) * 40 / 60) // 20
        heard = (sound**2)[: counted * 20 * tails.PER_STEP].reshape(counted, -1).sum(axis=1)
        wanted = course[: counted * 20, b].reshape(counted, 20).sum(axis=1) * tails.unit_energy()[b]
        off = bands.to_level(heard / wanted)
        width = bands.EDGES[b, 1] - bands.EDGES[b, 0]
        assert np.abs(off).max() < min(3.0, 2 * bands.E_FOLD_DB / np.sqrt(width * 0.02)), b
        assert abs(off.mean()) < (0.25 if b == 0 else 0.1), b
        whole = (sound**2).sum() / (decay.sum() * tails.unit_energy()[b])
        assert whole == pytest.approx(1, abs=0.06 if b == 0 else 0.04), b


def test_a_steady_course_has_one_amplitude():
    """Closed form: energy e in every millisecond, of a bandwidth's share u, is an amplitude of
    sqrt(e u / 48); a step is a straight line between the middles of two milliseconds.
    """
    course = np.concatenate([np.full((10, 7), 4.0), np.full((10, 7), 1.0)])
    amplitude = tails.envelopes(course)
    high = np.sqrt(4.0 * tails.unit_energy() / 48)
    assert amplitude[:, :432] == pytest.approx(np.tile(high[:, None], 432), rel=1e-6)
    assert amplitude[:, 528:] == pytest.approx(np.tile(high[:, None] / 2, 432), rel=1e-6)
    assert amplitude[:, 480] == pytest.approx(0.75 * high, rel=1e-6)
    assert (np.diff(amplitude, axis=1) <= 0).all()


def test_noise_goes_round_when_the_sound_is_longer():
    """Closed form: every sample is the sum of gain, amplitude and noise of the octaves, the noise
    counted round.
    """
    count = tails.PERIOD + 5000
    noise, amplitude = tails.even_noise(0)[0], RNG.random((7, count)).astype(np.float32)
    gain = np.linspace(0.5, 2, 7)
    sound = tails.followed(amplitude, noise, gain)
    for n in (0, 17, tails.PERIOD - 1, tails.PERIOD, count - 1):
        wanted = np.sum(gain * amplitude[:, n] * noise[:, n % tails.PERIOD])
        assert sound[n] == pytest.approx(wanted, rel=1e-4, abs=1e-5)
    assert (tails.followed(amplitude[:, :99], noise) == tails.followed(amplitude, noise)[:99]).all()


# ---- responses


def test_octave_gains_are_those_of_the_butterworth_filters():
    """Independent: scipy's frequency response of the same filters, run forwards and backwards."""
    response = RNG.standard_normal((2, 3000)) * np.exp(-np.arange(3000) / 500)
    length = 1 << 16
    frequency = pulses.frequencies(length)
    energy = np.abs(np.fft.rfft(response, length)) ** 2
    gain = responses.octave_gain(response)
    for b, edges in enumerate(bands.EDGES):
        sos = butter(impulse.ORDER, edges, "bandpass", fs=RATE, output="sos")
        passed = np.abs(sosfreqz(sos, frequency, fs=RATE)[1]) ** 4
        wanted = (energy * passed).sum(axis=1) / passed.sum()
        assert gain[:, b] == pytest.approx(wanted, rel=5e-3), b


def test_octave_gains_of_a_pulse():
    """Closed form: a sample of g anywhere has the gain g^2 in every octave."""
    for place in (0, 7, 5000):
        response = np.zeros(6000)
        response[place] = -3.0
        assert responses.octave_gain(response) == pytest.approx(9.0, rel=1e-5)


def test_a_program_through_a_response_equals_scipy():
    """Independent: scipy's fftconvolve, channel by channel."""
    program, response = RNG.standard_normal(5000), RNG.standard_normal((2, 777))
    sound = responses.convolved(program, response)
    assert sound.shape == (2, 5776)
    for channel, one in zip(sound, response, strict=True):
        assert np.abs(channel - fftconvolve(program, one)).max() < 1e-9


@pytest.mark.parametrize("onset", [300, 9600])
def test_all_of_a_lone_pulse_is_counted(onset):
    """Closed form: the octaves of a pulse hold what its filtered sound holds, though the filters
    spread it to both sides of its onset (half of its energy would be lost).
    """
    response = np.zeros(RATE)
    response[onset] = 1.0
    energy = impulse.octave_energy(response, RATE).sum(axis=0)
    low = 0 if onset > 4800 else 3  # before the recording began is nothing to be counted
    for b in range(low, 7):
        sos = butter(impulse.ORDER, bands.EDGES[b], "bandpass", fs=RATE, output="sos")
        assert energy[b] == pytest.approx((sosfiltfilt(sos, response) ** 2).sum(), rel=0.01), b


# ---- a microphone's loop


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("echo, samples", [(0.5, 480), (0.02, 777), (3.0, 4800)])
def test_one_echo_rings_where_it_comes_back_in_phase(echo, samples, sign):
    """Closed form: an echo a after d rings at a gain of 1 / a, at a multiple of 1 / d; turned
    over, at an odd multiple of 1 / 2d.
    """
    loop = np.zeros(samples + 1)
    loop[-1] = sign * echo
    gain, frequency = feedback_loop.ring_point(loop)
    assert gain == pytest.approx(1 / echo, rel=1e-4)
    turns = frequency * samples / RATE + (0 if sign > 0 else 0.5)
    assert turns == pytest.approx(round(turns), abs=1e-3)


def test_the_strongest_of_two_echoes_in_phase_decides():
    """Closed form: a after d and b after 2 d are in phase together at multiples of 1 / d: gain
    1 / (a + b). A silent loop never rings.
    """
    loop = np.zeros(961)
    loop[[480, 960]] = 0.3, 0.15
    gain, frequency = feedback_loop.ring_point(loop)
    assert gain == pytest.approx(1 / 0.45, rel=1e-4)
    assert frequency / 100 == pytest.approx(round(frequency / 100), abs=1e-3)
    assert feedback_loop.ring_point(np.zeros(100))[0] == np.inf


@pytest.mark.parametrize("reserve", [6.0, 3.0, 1.0])
def test_a_loop_repeats_what_it_picks_up(reserve):
    """Closed form: of one echo, a geometric series of echoes, each weaker by the reserve."""
    program, apart = np.zeros(RATE // 10), 4800
    program[100] = 1.0
    loop = np.zeros(apart + 1)
    loop[-1] = 0.2
    sound = feedback_loop.regenerated(program, loop, reserve)
    assert len(sound) == len(program) + 4 * RATE
    wanted = np.zeros(len(sound))
    places = np.arange(100, len(sound), apart)
    wanted[places] = 10 ** (-reserve / 20 * np.arange(len(places)))
    assert np.abs(sound - wanted).max() < 1e-3


def test_how_strong_a_loop_is_given_does_not_matter():
    """Invariance: a loop seven times as strong rings at a seventh of the gain, and sounds alike as
    far below it.
    """
    loop, program = RNG.standard_normal(3000) * np.exp(-np.arange(3000) / 600), np.ones(100)
    gain, frequency = feedback_loop.ring_point(loop)
    assert feedback_loop.ring_point(7 * loop) == (pytest.approx(gain / 7), frequency)
    sound = feedback_loop.regenerated(program, loop, 3.0)
    louder = feedback_loop.regenerated(program, 7 * loop, 3.0)
    assert np.abs(louder - sound).max() < 1e-9


@pytest.mark.parametrize("reserve", [6.0, 1.0])
def test_near_feedback_one_frequency_stands_out(reserve):
    """Closed form: where it will ring a loop raises what it picks up by 1 / (1 - g), g being the
    reserve: by 6 dB at 6 dB, by 19 dB at 1 dB.
    """
    loop, program = RNG.standard_normal(2000) * np.exp(-np.arange(2000) / 400), np.zeros(4800)
    program[0] = 1.0
    _, frequency = feedback_loop.ring_point(loop)
    sound = feedback_loop.regenerated(program, loop, reserve)
    raised = bands.to_level(np.abs(np.fft.rfft(sound, feedback_loop.LENGTH)) ** 2)
    wanted = -20 * np.log10(1 - 10 ** (-reserve / 20))
    there = round(frequency * feedback_loop.LENGTH / RATE)
    assert raised[there] == pytest.approx(wanted, abs=0.05)
    assert wanted == pytest.approx({6.0: 6.04, 1.0: 19.27}[reserve], abs=0.01)


def test_a_loop_that_does_not_ring_leaves_the_program_as_it_is():
    """Closed form: nothing comes back, so the program is what it was."""
    program = RNG.standard_normal(1000)
    sound = feedback_loop.regenerated(program, np.zeros(10), 1.0)
    assert np.abs(sound[:1000] - program).max() < 1e-12
    assert np.abs(sound[1000:]).max() < 1e-12


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: feedback_loop.ring_point(np.zeros((2, 9))), r"shape \(2, 9\) is not one channel"),
        (lambda: feedback_loop.ring_point(np.zeros(0)), "is not one channel"),
        (lambda: feedback_loop.regenerated(np.ones(9), np.ones(9), 0.2), "reserve_db = 0.2"),
        (lambda: feedback_loop.regenerated(np.ones(9), np.ones(9), 41), "reserve_db = 41"),
        (
            lambda: feedback_loop.regenerated(np.ones(16 * RATE), np.ones(9), 6.0),
            r"length of the program = 16",
        ),
    ],
)
def test_no_loop_is_refused(call, message):
    """Behavior: several channels, nothing at all, a reserve or a program outside its range."""
    with pytest.raises(ValueError, match=message):
        call()
