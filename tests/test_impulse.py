"""Impulse responses: pyfar and pyrato (independent), closed forms, noise, and files that cannot be
used.
"""

from pathlib import Path

import numpy as np
import pyfar as pf
import pytest
from finished_hall import measure, only
from pyrato.edc import energy_decay_curve_lundeby, schroeder_integration
from pyrato.parameters import (
    reverberation_time_linear_regression,
    speech_transmission_index_indirect,
)
from scipy.io import wavfile

from gymtools.commissioning.plan import plan
from gymtools.commissioning.readings import in_octaves
from gymtools.commissioning.recordings import read_wav, with_recordings
from gymtools.commissioning.sheet import filled_sheet
from gymtools.physics import bands, impulse, intelligibility
from gymtools.venue.files import load

DOVECOTE = load(Path(__file__).parents[1] / "scenarios" / "dovecote.toml")
PLAN = plan(DOVECOTE, ["game"])
RATE = 48000


def response(rt, noise=0.0, seconds=3.5, seed=1):
    """Noise that dies away exponentially, after a pause, over a steady noise."""
    rng, t = np.random.default_rng(seed), np.arange(int(seconds * RATE)) / RATE
    sound = rng.normal(size=len(t)) * np.exp(-np.log(1000) * t / rt)
    return np.concatenate([noise * rng.normal(size=2400), sound + noise * rng.normal(size=len(t))])


@pytest.mark.parametrize("rt", [0.8, 2.0, 3.5])
@pytest.mark.parametrize("noise", [0.0, 3e-4])
def test_a_decay_gives_its_time_back(rt, noise):
    """Closed form: T20 and T30 of an exponential decay are its time, within four standard
    deviations of ISO 3382-2:2008, 7.1 (from memory); a noise 60 to 70 dB down changes nothing that
    shows.
    """
    times, range_db = impulse.decay_times(impulse.octave_energy(response(rt, noise), RATE))
    width = bands.EXACT * (10**0.15 - 10**-0.15)
    for measure_, factor in (("t20", 0.88), ("t30", 0.55)):
        sd = factor * rt * np.sqrt(2.9 / (width * rt))
        assert np.all(np.abs(times[measure_] - rt) < 4 * sd), (measure_, times[measure_])
    assert np.all(range_db > 50)


@pytest.mark.parametrize("rt", [0.8, 2.0])
@pytest.mark.parametrize("noise", [0.0, 1e-3])
def test_times_equal_pyrato(rt, noise):
    """Independent: pyfar's octave filters, pyrato's decay curves (with noise after Lundeby) and
    regressions, from 500 Hz on; within half the standard deviation that a single T20 has anyway,
    for the filters differ.
    """
    h = response(rt, noise)[2400:]
    ours, _ = impulse.decay_times(impulse.octave_energy(h, RATE))
    filtered = pf.dsp.filter.fractional_octave_bands(
        pf.Signal(h, RATE), 1, frequency_range=(125, 8000)
    )
    for b in range(2, 7):
        one = pf.Signal(filtered.time.reshape(7, -1)[b], RATE)
        curve = energy_decay_curve_lundeby(one) if noise else schroeder_integration(one)
        # its regression wants a curve that begins at 1
        curve.time = curve.time / curve.time[..., :1]
        sd = 0.44 * rt * np.sqrt(2.9 / (bands.EXACT[b] * (10**0.15 - 10**-0.15) * rt))
        for measure_ in ("T20", "T30"):
            other = float(np.ravel(reverberation_time_linear_regression(curve, T=measure_))[0])
            assert ours[measure_.lower()][b] == pytest.approx(other, abs=sd), (b, measure_)


@pytest.mark.parametrize("rt", [0.8, 2.0, 3.5])
def test_sti_of_a_response_equals_pyrato(rt):
    """Independent: pyrato's STI of the same response, without levels (it takes the masking from the
    wrong octave otherwise).
    """
    h = response(rt)[2400:]
    ours = float(intelligibility.sti(impulse.modulation(impulse.octave_energy(h, RATE))[None])[0])
    assert ours == pytest.approx(
        float(speech_transmission_index_indirect(pf.Signal(h, RATE))[0]), abs=0.008
    )


def test_a_decay_near_the_noise_has_no_time():
    """Behavior: T20 needs 35 dB over the noise, T30 45 dB (ISO 3382-1:2009, 5.3.3). At 40 dB there
    is a T20 and no T30, at 25 dB neither.
    """
    some, ranges = impulse.decay_times(impulse.octave_energy(response(1.0, 1e-2), RATE))
    assert (
        np.isfinite(some["t20"][2:]).all()
        and np.isnan(some["t30"]).all()
        and np.all(np.abs(ranges - 40) < 5)
    )
    none, _ = impulse.decay_times(impulse.octave_energy(response(1.0, 6e-2), RATE))
    assert np.isnan(none["t20"]).all()
    slow, _ = impulse.decay_times(impulse.octave_energy(response(1.0)[::6], RATE / 6))
    assert np.isnan(slow["t20"][6]) and np.isfinite(slow["t20"][:5]).all()


@pytest.mark.parametrize(
    "h, message",
    [
        (np.zeros(RATE), "is silent"),
        (np.full(RATE, np.nan), "is silent, or holds something that is not a number"),
        (np.ones(100), r"of 0\.00 s in 1 dimension"),
        (np.ones((RATE, 2)), r"in 2 dimension"),
    ],
)
def test_no_response_is_refused(h, message):
    """Behavior: silence, gaps, clicks and several channels are refused in one line."""
    with pytest.raises(ValueError, match=message):
        impulse.octave_energy(h, RATE)


@pytest.mark.parametrize("dtype", ["float32", "int16", "int32"])
def test_recordings_become_readings(tmp_path, dtype):
    """Behavior: files named by readings give their T20 and their STI, whatever the sample format;
    the sheet takes precedence; files that are no readings are named.
    """

    def write(name, h):
        scaled = 0.8 * h / np.abs(h).max()
        wavfile.write(
            tmp_path / name,
            RATE,
            (scaled * (np.iinfo(dtype).max if dtype.startswith("int") else 1)).astype(dtype),
        )

    write("reverberation S1 R1.wav", response(1.5))
    write("reverberation S1 R2.wav", response(1.5, seed=2))
    write("sti game B1.wav", response(1.2))
    write("reverberation S2 R1.wav", response(1.0, 0.1))
    write("somewhere.wav", response(1.0))
    (tmp_path / "reverberation S2 R2.wav").write_bytes(b"RIFF\x00\x00no sound")
    held = in_octaves(np.full(7, 1.23))
    sheet = filled_sheet(PLAN, {"reverberation S1 R2": held}, bad=("before",))
    found = with_recordings(sheet, tmp_path, PLAN)
    measured = found.measured
    np.testing.assert_array_equal(measured["reverberation S1 R2"], held)
    assert measured["reverberation S1 R1"][2:7] == pytest.approx(1.5, rel=0.15)
    assert 0.3 < measured["sti game B1"][7] < 0.7
    assert found.bad[0] == "before" and len(found.bad) == 4
    for words in (
        "somewhere.wav: is no reading of reverberation or STI",
        "reverberation S2 R1.wav: the noise lies only",
        "reverberation S2 R2.wav: cannot be read as WAV",
    ):
        assert sum(b.startswith(words) for b in found.bad) == 1, found.bad
    assert "reverberation S1 R3" in found.missing and "sti game B1" not in found.missing


def test_a_bent_decay_is_remarked_on(tmp_path):
    """Closed form: T30 more than a tenth over T20 is suspicious (ISO 3382-2:2008, annex B). Two
    decays one after the other.
    """
    rng, t = np.random.default_rng(1), np.arange(4 * RATE) / RATE
    h = rng.normal(size=len(t)) * (
        np.exp(-np.log(1000) * t / 1.0) + 0.03 * np.exp(-np.log(1000) * t / 3.5)
    )
    wavfile.write(
        tmp_path / "reverberation S1 R1.wav", RATE, (h / np.abs(h).max()).astype("float32")
    )
    wavfile.write(tmp_path / "reverberation S1 R2.wav", RATE, response(1.5).astype("float32") / 5)
    found = with_recordings(filled_sheet(PLAN, {}), tmp_path, PLAN)
    assert (
        "the decay bends: T30 is" in found.remarks["reverberation S1 R1"]
        and "longer" in found.remarks["reverberation S1 R1"]
    )
    assert "reverberation S1 R2" not in found.remarks


def test_the_first_channel_counts(tmp_path):
    """Behavior: of two channels the first is read; a missing file raises."""
    h = response(1.0)
    wavfile.write(tmp_path / "two.wav", RATE, np.stack([h, 0 * h], axis=1).astype("float32"))
    read, rate = read_wav(tmp_path / "two.wav")
    assert rate == RATE and read == pytest.approx(h, rel=1e-5, abs=1e-6)
    with pytest.raises(FileNotFoundError, match="none.wav"):
        read_wav(tmp_path / "none.wav")


def test_one_kind_of_reading_can_stand_alone():
    """Behavior: one kind of reading can be measured alone."""
    assert set(only(measure(PLAN, 1), "reverberation").measured) == {
        r.key for r in PLAN.of("reverberation")
    }
