"""Octave bands and levels: standards (printed), the weighting curve (closed form), algebra
(invariance).
"""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from reference import IEC_60268_16_ED4_SPEECH, IEC_61260_1_OCTAVES, agrees, printed

from gymtools.physics import bands

LEVELS = arrays(float, 7, elements=st.floats(-50, 150))


def test_octaves_print_iec_61260_1():
    """Printed: exact mid-bands of IEC 61260-1; each nominal name is within 1 % of its exact
    frequency.
    """
    assert agrees(bands.EXACT, IEC_61260_1_OCTAVES)
    assert bands.NOMINAL == pytest.approx(bands.EXACT, rel=0.01)
    assert [label.replace("k", "000") for label in bands.LABELS] == [str(f) for f in bands.NOMINAL]


def test_octaves_join_at_their_edges():
    """Closed form: the upper edge of an octave is the lower one of the next, each pair a ratio of
    ten to 0.3 about the mid-band, where IEC 61260-1 puts them.
    """
    lower, upper = bands.EDGES.T
    assert upper[:-1] == pytest.approx(lower[1:], rel=1e-12)
    assert upper / lower == pytest.approx(np.full(7, 10**0.3), rel=1e-12)
    assert np.sqrt(lower * upper) == pytest.approx(bands.EXACT, rel=1e-12)


def test_a_weighting_is_the_curve_of_iec_61672_1():
    """Closed form: the four poles of IEC 61672-1 (from memory) at mid-band, rounded to 0.1 dB, are
    the table.
    """

    def curve(f):
        low, a, b, high = 20.598997, 107.65265, 737.86223, 12194.217
        return (
            high**2
            * f**4
            / ((f**2 + low**2) * np.sqrt((f**2 + a**2) * (f**2 + b**2)) * (f**2 + high**2))
        )

    table = " ".join(f"{value:.1f}" for value in bands.A_WEIGHTING)
    assert agrees(20 * np.log10(curve(bands.EXACT) / curve(1000.0)), table)


def test_a_weighted_of_speech_re_its_own_a_level_is_zero():
    """Printed: IEC 60268-16 Ed. 4 Table A.4 is given re the A-weighted level, so its sum is 0.

    Levels and weights are both printed to 0.1 dB; the sum is good to half a digit of each.
    """
    levels, half = printed(IEC_60268_16_ED4_SPEECH)
    assert abs(bands.a_weighted(levels)) <= half[0] + 0.05


def test_levels_by_hand():
    """Closed form: doubling is 3.01 dB, a factor of ten 10 dB, a single band keeps its
    own weight.
    """
    assert bands.to_energy([0, 10, -20]) == pytest.approx([1, 10, 0.01], rel=1e-13)
    assert bands.sum_levels([[60, 60], [70, -np.inf]]) == pytest.approx([60 + 10 * np.log10(2), 70])
    assert bands.sum_levels([[60, 60], [60, -np.inf]], axis=0) == pytest.approx(
        [60 + 10 * np.log10(2), 60]
    )
    one = np.where(np.eye(7, dtype=bool), 50.0, -np.inf)
    assert bands.a_weighted(one) == pytest.approx(50 + bands.A_WEIGHTING)


def test_silence_has_a_level_without_a_warning():
    """Closed form: zero energy is minus infinity and back."""
    with warnings.catch_warnings(action="error"):
        assert bands.to_level(0.0) == -np.inf
        assert bands.to_energy(-np.inf) == 0
        assert bands.sum_levels([-np.inf, -np.inf]) == -np.inf


@given(level=LEVELS, gain=st.floats(-40, 40), seed=st.randoms())
def test_level_and_energy(level, gain, seed):
    """Invariance: there and back; order does not matter; a gain passes through; no sum is below its
    largest part.
    """
    order = list(range(7))
    seed.shuffle(order)
    assert bands.to_level(bands.to_energy(level)) == pytest.approx(level, abs=1e-9)
    assert bands.sum_levels(level[order]) == pytest.approx(bands.sum_levels(level), abs=1e-9)
    assert bands.a_weighted(level + gain) == pytest.approx(bands.a_weighted(level) + gain, abs=1e-9)
    assert level.max() - 1e-9 <= bands.sum_levels(level) <= level.max() + 10 * np.log10(7) + 1e-9


def test_refuses_energies_as_levels_and_the_reverse():
    """Behavior: a level of a million is refused as an energy, a negative energy as a level."""
    with pytest.raises(
        ValueError,
        match=r"level_db = 1e\+06 dB is outside -inf to 300 dB\. Energy given by mistake\?",
    ):
        bands.to_energy(1e6)
    with pytest.raises(
        ValueError, match=r"energy = -3 \(linear\) is outside 0 to inf \(linear\)\. Decibels"
    ):
        bands.to_level([1.0, -3.0])
    with pytest.raises(ValueError, match=r"level_db = nan dB is outside"):
        bands.a_weighted([70.0] * 6 + [np.nan])
