"""First-order microphones: the printed table, integrals over the sphere, another program's
patterns.
"""

import numpy as np
import pytest
from formulas import pickup, response
from hypothesis import given
from hypothesis import strategies as st
from pyroomacoustics.directivities import CardioidFamily
from reference import agrees

from gymtools.physics import bands, microphones
from gymtools.physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions, sphere_weights
from gymtools.physics.microphones import PATTERNS

# J. Eargle, The Microphone Book, 2nd ed. (2004), Table 6-1, p. 104: random energy efficiency,
# directivity factor, directivity index [dB]. It prints these four patterns only.
EARGLE = {
    "omni": "1 1 0",
    "cardioid": ".33 3 4.8",
    "hypercardioid": ".25 4 6.0",
    "figure-8": ".33 3 4.8",
}
# Worked by hand from A: efficiency, index [dB], distance factor, level at 90 and 180 degrees [dB].
# The supercardioid is that of A = (sqrt(3) - 1)/2; the rounded 0.37 has its null at 126.0.
WORKED = {
    "omni": (1.0, "1 0 1 0 0"),
    "subcardioid": (0.7, ".520 2.84 1.39 -3.1 -8.0"),
    "cardioid": (0.5, ".333 4.77 1.73 -6.0 -Infinity"),
    "supercardioid": ((np.sqrt(3) - 1) / 2, ".268 5.72 1.93 -8.7 -11.4"),
    "hypercardioid": (0.25, ".250 6.02 2.00 -12.0 -6.0"),
    "figure-8": (0.0, ".333 4.77 1.73 -Infinity 0"),
}
NULLS = {0.5: "180", 0.366: "125.3", 0.37: "126.0", 0.25: "109.5", 0.0: "90"}
share = st.floats(0, 1)


@pytest.mark.parametrize("name", EARGLE)
def test_table_of_patterns(name):
    """Printed: Eargle, The Microphone Book, Table 6-1: efficiency, directivity factor and index."""
    a = PATTERNS[name]
    efficiency = microphones.random_efficiency(a)
    ours = [efficiency, 1 / efficiency, microphones.directivity_index_db(a)]
    assert all(agrees([v], cell) for v, cell in zip(ours, EARGLE[name].split(), strict=True))


@pytest.mark.parametrize("name", WORKED)
def test_patterns_to_the_last_digit(name):
    """Worked by hand: efficiency, index, distance factor, and levels at 90 and 180 degrees."""
    a, row = WORKED[name]
    assert PATTERNS[name] == pytest.approx(a, abs=0.005)
    levels = bands.to_level(np.round(response(a, np.array([90, 180])), 12) ** 2)
    ours = [
        microphones.random_efficiency(a),
        microphones.directivity_index_db(a),
        microphones.distance_factor(a),
        *levels,
    ]
    for value, cell in zip(ours, row.split(), strict=True):
        assert value == -np.inf if cell == "-Infinity" else agrees([value], cell)


@pytest.mark.parametrize("a, angle", NULLS.items())
def test_nulls(a, angle):
    """Worked by hand: angle of the null."""
    assert agrees([microphones.null_deg(a)], angle)


@given(a=share)
def test_nothing_comes_from_the_null(a):
    """Closed form: zero amplitude there for A up to 0.5, and no angle at all beyond."""
    null = float(microphones.null_deg(a))
    if a > 0.5:
        assert np.isnan(null) and response(a, np.linspace(0, 180, 181)).min() > 0
    else:
        assert response(a, null) == pytest.approx(0, abs=1e-7)


@given(a=share, angle=st.floats(-180, 180))
def test_response_equals_pyroomacoustics(a, angle):
    """Independent: pyroomacoustics' cardioid family, amplitude with its sign (it calls A the
    pattern's p).
    """
    theirs = CardioidFamily([1, 0, 0], p=a).get_response(
        np.array([angle]), colatitude=np.array([90.0]), degrees=True
    )
    assert response(a, angle) == pytest.approx(theirs.item(), abs=1e-6)


@given(a=share)
def test_efficiency_is_the_mean_over_the_sphere(a):
    """Closed form: energy picked up evenly from everywhere; 0.1 % is what a 5-degree
    grid leaves.
    """
    mean = (
        pickup(a, np.array([1.0, 0, 0]), directions()) * sphere_weights(AZIMUTH_DEG, ELEVATION_DEG)
    ).sum()
    assert mean == pytest.approx(float(microphones.random_efficiency(a)), rel=2e-3)


@given(a=share)
def test_hypercardioid_is_the_best(a):
    """Closed form: no A has a higher directivity index than 0.25, 20 lg 2; the distance factor is
    its amplitude.
    """
    index = microphones.directivity_index_db(a)
    assert index <= 20 * np.log10(2) + 1e-12
    assert 20 * np.log10(microphones.distance_factor(a)) == pytest.approx(index, abs=1e-12)
    assert microphones.directivity_index_db(0.25) == pytest.approx(20 * np.log10(2))


@pytest.mark.parametrize(
    "f",
    [
        microphones.random_efficiency,
        microphones.directivity_index_db,
        microphones.distance_factor,
        microphones.null_deg,
    ],
)
def test_refuses_what_is_no_pattern(f):
    """Behavior: A outside 0 to 1 is named, with its meaning."""
    with pytest.raises(
        ValueError,
        match=r"^a = 1\.2 - is outside 0 to 1 -\. A is the pattern's share without direction",
    ):
        f(1.2)


def test_a_talker_near_the_lips():
    """Closed form: from a point 6 mm behind the lips, which against 1/d is 1.8 dB less at 25 mm,
    0.9 dB at 50 mm, and 0.1 dB at half a meter; half the distance from that point is 6.02 dB.
    """
    near = np.array([0.025, 0.05, 0.5, 1.0])
    level = microphones.talker_level_db(66.4, near)
    assert agrees(66.4 - 20 * np.log10(near) - level, "1.82 .93 .05 .00")
    one, half = microphones.talker_level_db(0.0, [0.094, 0.044])
    assert half - one == pytest.approx(20 * np.log10(2))


def test_a_talker_far_away_falls_by_distance():
    """Invariance: from 2 m on, twice the distance costs 6.00 to 6.02 dB."""
    fall = -np.diff(microphones.talker_level_db(70.0, [2.0, 4.0, 8.0, 16.0]))
    assert np.all((fall > 6.0) & (fall < 6.021))


def test_a_talker_in_the_mouth():
    """Behavior: a distance in the wrong unit is refused."""
    with pytest.raises(ValueError, match=r"^distance = 250 m is outside 0\.01 to 100 m\. Centi"):
        microphones.talker_level_db(66.4, 250)
