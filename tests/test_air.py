"""Air: its standard (printed), algebra (closed form), scaling (invariance), two other programs
(independent).
"""

import numpy as np
import pyfar
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import ISO_9613_1_TABLE_1, ISO_9613_2_MISPRINT, ISO_9613_2_TABLE_2, agrees, printed
from sound_propagation import AtmosphericPropagation

from gymtools.physics import air, bands

OCTAVES = np.concatenate([[1000 * 10**-1.2], bands.EXACT])  # 63 Hz ... 8 kHz


def per_km(condition):
    return 1000 * air.attenuation(OCTAVES, temperature_c=condition[0], humidity_pct=condition[1])


@pytest.mark.parametrize("condition, row", ISO_9613_2_TABLE_2.items())
def test_attenuation_prints_iso_9613_2_table_2(condition, row):
    """Printed: all 48 cells of ISO 9613-2 Table 2 to the last digit, the one misprint replaced by
    its own formula.
    """
    cells = row.split()
    if condition == ISO_9613_2_MISPRINT[0]:
        cells[ISO_9613_2_MISPRINT[1]] = "4.151"
    assert agrees(per_km(condition), " ".join(cells))


def test_the_misprint_is_one():
    """Printed: as it stands in the table the cell (15 degC, 80 %, 1 kHz) is the only one of 48 that
    misses.
    """
    misses = [
        (condition, i)
        for condition, row in ISO_9613_2_TABLE_2.items()
        for i, (value, cell, half) in enumerate(zip(per_km(condition), *printed(row), strict=True))
        if abs(value - cell) > half
    ]
    assert misses == [ISO_9613_2_MISPRINT]


@pytest.mark.parametrize("condition, cell", ISO_9613_1_TABLE_1.items())
def test_attenuation_prints_iso_9613_1_table_1(condition, cell):
    """Printed: spot values of ISO 9613-1 Table 1, three figures."""
    exact = bands.EXACT[list(bands.NOMINAL).index(condition[2])]
    alpha = air.attenuation(exact, temperature_c=condition[0], humidity_pct=condition[1])
    assert agrees([1000 * alpha], cell)


@given(f=st.floats(100, 8000), t=st.floats(0, 40), rh=st.floats(20, 60), p=st.floats(75, 105))
def test_attenuation_scales_with_pressure(f, t, rh, p):
    """Invariance: the tables stop at 101.325 kPa. Away from it, alpha/p depends only on f/p, T and
    h.
    """
    k = air.P_REF / p
    here = air.attenuation(f, temperature_c=t, humidity_pct=rh, pressure_kpa=p)
    there = air.attenuation(f * k, temperature_c=t, humidity_pct=rh * k)
    assert here * k == pytest.approx(there, rel=1e-12)


@given(t=st.floats(-10, 40), rh=st.floats(10, 100))
def test_attenuation_equals_pyfar(t, rh):
    """Independent: pyfar 0.8, at 101.325 kPa only, for its water vapour has the pressure upside
    down elsewhere.
    """
    alpha, m, _ = pyfar.constants.air_attenuation(t, bands.EXACT, rh / 100)
    ours = air.attenuation(bands.EXACT, temperature_c=t, humidity_pct=rh)
    assert ours == pytest.approx(np.squeeze(alpha), rel=1e-9)
    assert air.decay_constant(ours) == pytest.approx(np.squeeze(m.freq.real), rel=1e-9)


@given(t=st.floats(0, 30), rh=st.floats(20, 80), p=st.floats(75, 105))
def test_attenuation_equals_sound_propagation(t, rh, p):
    """Independent: sound-propagation 0.1, at any pressure."""
    other = AtmosphericPropagation(t, rh, p).absorption_coefficient(bands.EXACT)
    assert air.attenuation(
        bands.EXACT, temperature_c=t, humidity_pct=rh, pressure_kpa=p
    ) == pytest.approx(other, 1e-9)


def test_speed_of_sound_prints_iso_9613_1_annex_a():
    """Printed: 343.2 m/s at 20 degC (ISO 9613-1 annex A); the rest worked out by hand from its
    square root.
    """
    assert agrees(
        air.speed_of_sound([0, 10, 15, 20, 22, 25, 30]),
        "331.29 337.30 340.26 343.20 344.37 346.11 349.00",
    )


@given(t=st.floats(-20, 50))
def test_speed_of_sound_equals_pyfar(t):
    """Independent: pyfar's simple model, also after ISO 9613-1."""
    assert air.speed_of_sound(t) == pytest.approx(
        pyfar.constants.speed_of_sound_simple(t), rel=1e-12
    )


@given(alpha=st.floats(0, 1), path=st.floats(0, 100))
def test_decay_constant_loses_the_same_decibels(alpha, path):
    """Closed form: 10 lg exp(-m x) = -alpha x."""
    assert 10 * np.log10(np.exp(-air.decay_constant(alpha) * path)) == pytest.approx(
        -alpha * path, abs=1e-9
    )


def test_refuses_the_usual_slips():
    """Behavior: each refusal names the argument, the value, the range and the likely slip."""
    with pytest.raises(
        ValueError, match=r"humidity_pct = 0\.5 % is outside 1 to 100 %\. Give percent"
    ):
        air.attenuation(1000.0, humidity_pct=0.5)
    with pytest.raises(
        ValueError, match=r"temperature_c = 293 degC is outside -20 to 50 degC\. Kelvin"
    ):
        air.attenuation(1000.0, temperature_c=293)
    with pytest.raises(
        ValueError, match=r"pressure_kpa = 101325 kPa is outside 50 to 110 kPa\. Pascal"
    ):
        air.attenuation(1000.0, pressure_kpa=101325)
    with pytest.raises(ValueError, match=r"frequency = 1 Hz is outside 20 to 20000 Hz\. Kilohertz"):
        air.attenuation([1.0, 1000.0])
    with pytest.raises(ValueError, match=r"temperature_c = nan degC is outside"):
        air.speed_of_sound(np.nan)
    with pytest.raises(
        ValueError, match=r"attenuation_db = 4\.66 dB/m is outside 0 to 2 dB/m\. dB/km"
    ):
        air.decay_constant(4.66)
