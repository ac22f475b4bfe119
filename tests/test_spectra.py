"""Octave spectra against their standards."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.physics.bands import A_WEIGHTING
from gymtools.venue.spectra import SPECTRA, Spectrum, octave_levels, spectrum

# ANSI/ASA S3.5-1997, Table 3: spectrum level of speech [dB per Hz], thirds 160 Hz to 8 kHz, at 1 m.
ANSI_S3_5_TABLE_3 = {
    "raised voices": [
        33.81,
        33.92,
        38.98,
        38.57,
        39.11,
        40.15,
        38.78,
        36.37,
        33.86,
        31.89,
        28.58,
        25.32,
        22.35,
        20.15,
        16.78,
        11.47,
        7.67,
        5.07,
    ],
    "shouting crowd": [
        30.77,
        36.65,
        42.50,
        46.51,
        47.40,
        49.24,
        51.21,
        51.44,
        51.31,
        49.63,
        47.65,
        44.32,
        40.80,
        38.13,
        34.41,
        28.24,
        23.45,
        20.72,
    ],
}
# The same table's overall level [dB], computed there with its own bandwidths.
ANSI_S3_5_OVERALL = {"raised voices": 68.34, "shouting crowd": 82.30}
# ANSI/ASA S12.2-2019, Table 1, NC-45, 125 Hz to 8 kHz [dB].
NC_45 = [60, 54, 49, 46, 44, 43, 42]


def a_level(levels):
    return 10 * np.log10(np.sum(10 ** ((np.asarray(levels) + A_WEIGHTING) / 10)))


def third_energies(spectrum_level):
    """Energies of the thirds 160 Hz to 8 kHz from levels per hertz."""
    mid = 1000 * 10 ** (0.1 * np.arange(-8, 10))
    return 10 ** (np.array(spectrum_level) / 10) * mid * (10**0.05 - 10**-0.05)


def test_names():
    """Behavior: the spectra that a scenario file may name."""
    assert list(SPECTRA) == ["speech", "raised voices", "shouting crowd", "ventilation", "flat"]


@pytest.mark.parametrize("name", SPECTRA)
def test_a_weighted_sum_is_zero(name):
    """Closed form: each spectrum is relative to its own A-weighted level."""
    assert a_level(spectrum(name)) == pytest.approx(0.0, abs=0.05)
    assert spectrum(name).shape == (7,)
    assert SPECTRA[name].source and SPECTRA[name].description


def test_speech_is_the_printed_spectrum():
    """Printed: IEC 60268-16:2020, A.6.1, male, dB re the 500 Hz octave."""
    assert spectrum("speech").tolist() == [-2.5, 0.5, 0, -6, -12, -18, -24]


@pytest.mark.parametrize("name", ANSI_S3_5_TABLE_3)
def test_voices_are_the_printed_thirds(name):
    """Printed: octaves 250 Hz to 4 kHz summed from Table 3, to half the last digit stored."""
    energy = third_energies(ANSI_S3_5_TABLE_3[name])
    assert 10 * np.log10(energy.sum()) == pytest.approx(ANSI_S3_5_OVERALL[name], abs=0.1)
    octaves = 10 * np.log10(energy[1:16].reshape(5, 3).sum(axis=1))
    shape = spectrum(name)[1:6]
    assert shape - shape[2] == pytest.approx(octaves - octaves[2], abs=0.0101)


@pytest.mark.parametrize("name", ANSI_S3_5_TABLE_3)
def test_extrapolated_octaves_of_voices(name):
    """Closed form: missing thirds continue the last step of the spectrum level; they hardly count
    in dB(A).
    """
    u = ANSI_S3_5_TABLE_3[name]
    low, high = u[1] - u[0], u[-1] - u[-2]
    energy = third_energies(u)
    width = 10 ** (0.1 * np.array([-10, -9, 10])) * 1000 * (10**0.05 - 10**-0.05)
    added = 10 ** (np.array([u[0] - 2 * low, u[0] - low, u[-1] + high]) / 10) * width
    octave_125, octave_8k = added[0] + added[1] + energy[0], energy[-2] + energy[-1] + added[2]
    reference = 10 * np.log10(energy[7:10].sum()) - spectrum(name)[3]
    assert spectrum(name)[[0, 6]] == pytest.approx(
        10 * np.log10([octave_125, octave_8k]) - reference, abs=0.0101
    )
    without = spectrum(name) + [-99, 0, 0, 0, 0, 0, -99]
    assert a_level(without) == pytest.approx(0.0, abs=0.05)


def test_ventilation_has_the_shape_of_nc_45():
    """Printed: ANSI/ASA S12.2-2019, Table 1."""
    assert np.ptp(spectrum("ventilation") - NC_45) == pytest.approx(0.0, abs=1e-9)


def test_flat_is_flat():
    """Closed form: seven equal octaves whose A-weighted sum is zero."""
    level = -10 * np.log10(np.sum(10 ** (A_WEIGHTING / 10)))
    assert spectrum("flat") == pytest.approx(np.full(7, level), abs=0.005)


@given(name=st.sampled_from(list(SPECTRA)), level=st.floats(0, 140))
def test_levels_have_the_asked_a_weighted_level(name, level):
    """Invariance: whatever the shape, the A-weighted sum is the level asked for."""
    assert a_level(octave_levels(name, level)) == pytest.approx(level, abs=0.05)


def test_a_caller_cannot_change_the_table():
    """Behavior: what one caller does to its levels changes nobody else's."""
    spectrum("speech")[:] = 0.0
    assert spectrum("speech")[6] == -24.0


def test_assumptions_are_marked():
    """Regression: nobody measured these very sounds in a gymnasium."""
    assumed = {name for name, shape in SPECTRA.items() if shape.is_assumption}
    assert assumed == {"raised voices", "shouting crowd", "ventilation"}


def test_refuses():
    """Behavior: a slip is refused with the nearest name, a level with its range."""
    with pytest.raises(
        ValueError, match=r"^spectrum = 'speach' is unknown\. Did you mean 'speech'\?$"
    ):
        spectrum("speach")
    with pytest.raises(ValueError, match=r"^spectrum = 'crowd shouting' is unknown\. "):
        octave_levels("crowd shouting", 80.0)
    with pytest.raises(ValueError, match=r"level_dba = 200 dB is outside 0 to 140 dB"):
        octave_levels("speech", 200.0)


@pytest.mark.parametrize(
    "change, said",
    [
        (
            {"level_db": [60] * 7},
            r"spectrum 'x': level_db = 60 dB is outside -60 to 40 dB\. Not relative",
        ),
        (
            {"level_db": [0] * 7},
            r"spectrum 'x': A-weighted sum = 6\.9\d+ dB is outside -0\.05 to 0\.05 dB\. Subtract",
        ),
        ({"level_db": [0] * 6}, r"spectrum 'x': level_db has shape \(6,\)"),
        ({"source": ""}, r"spectrum 'x': source is empty"),
    ],
)
def test_refuses_a_bad_spectrum(change, said):
    """Behavior: a shape that is not relative to its own A-weighted level is refused."""
    good = dict(name="x", description="x", level_db=spectrum("flat"), source="x")
    assert not Spectrum(**good).is_assumption
    with pytest.raises(ValueError, match=said):
        Spectrum(**(good | change))
