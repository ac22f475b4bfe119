"""A curtain's transmission by the mass law, and two rooms that share it, in balance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from gymtools.physics.partitions import RHO_C, coupled_decays, coupled_energy, mass_law_db

area, through = st.floats(5, 500), st.floats(0.01, 300)


@pytest.mark.parametrize("widest, constant", [(0.0, 42.0), (78.0, 47.0)])
@pytest.mark.parametrize("f, m", [(500.0, 20.0), (1000.0, 10.0), (2000.0, 25.0), (4000.0, 12.5)])
def test_mass_law_of_heavy_sheets(widest, constant, f, m):
    """Printed: 20 lg(f m) - 42 dB straight on, and 5 dB less in a room (field incidence), F. Fahy,
    Foundations of Engineering Acoustics, ch. 11 (from memory); to half a decibel.
    """
    found = mass_law_db(m, frequency=f, widest_deg=widest).item()
    assert found == pytest.approx(20 * np.log10(f * m) - constant, abs=0.55)


@given(m=st.floats(0.2, 30), f=st.floats(100, 8000), widest=st.floats(5, 90))
def test_mass_law_is_the_mean_over_the_angles(m, f, widest):
    """Independent: scipy's quadrature of the transmission at each angle, weighed as a diffuse field
    is.
    """
    a, most = np.pi * f * m / RHO_C, np.radians(widest)
    passed, _ = quad(lambda t: np.sin(2 * t) / (1 + (a * np.cos(t)) ** 2), 0, most, limit=200)
    whole, _ = quad(lambda t: np.sin(2 * t), 0, most)
    found = mass_law_db(m, frequency=f, widest_deg=widest).item()
    assert found == pytest.approx(-10 * np.log10(passed / whole), abs=1e-5)
    assert found >= 0


def test_mass_law_by_hand():
    """Worked by hand: 1 kg/m2 straight on at 1 kHz: a = 1000 pi / 413.3 = 7.601, 1 + a^2 = 58.78,
    17.7 dB.
    """
    assert mass_law_db(1.0, frequency=1000.0, widest_deg=0).item() == pytest.approx(17.69, abs=0.01)


@given(one=area, other=area, s=through)
def test_two_rooms_keep_their_energy(one, other, s):
    """Invariance: what both rooms absorb is what the source sends; a source and a listener may
    change places.
    """
    found = coupled_energy([[one], [other]], [s])[..., 0]
    np.testing.assert_allclose(one * found[0] + other * found[1], 1.0)
    assert found[0, 1] == pytest.approx(found[1, 0])
    # the level difference of ISO 16283-1 and the classical formula: (A_2 + S tau) / S tau
    assert found[0, 0] / found[1, 0] == pytest.approx((other + s) / s)


@settings(max_examples=25)
@given(one=area, other=area, s=through, v=st.floats(500, 9000))
def test_two_rooms_decay(one, other, s, v):
    """Independent: scipy's integration of both balances: at the end the sound dies away with the
    longer time, and its sum over time is the steady energy.
    """
    v = np.array([2000.0, v])
    rates = 343.2 / 4 * np.array([[one + s, -s], [-s, other + s]]) / v[:, None]
    longer, shorter = coupled_decays(v, [[one], [other]], [s])[:, 0]
    assert longer >= shorter > 0
    eigen = np.sort(np.linalg.eigvals(rates).real)
    np.testing.assert_allclose(np.log(1e6) / eigen, [longer, shorter], rtol=1e-9)
    end = 0.2 * longer
    run = solve_ivp(lambda _, w: -rates @ w, (0, end), [1.0, 0.0], rtol=1e-9, atol=1e-14)
    modes, start = np.linalg.eig(rates), np.array([1.0, 0.0])
    exact = modes[1] @ (np.exp(-modes[0] * end) * np.linalg.solve(modes[1], start))
    np.testing.assert_allclose(run.y[:, -1], exact, rtol=1e-5, atol=1e-9)


def test_rooms_apart_and_rooms_as_one():
    """Closed form: with nothing through, Sabine's time in each; with everything open, that of both
    together.
    """
    v, own = np.array([3000.0, 2000.0]), np.array([[90.0], [120.0]])
    sabine = np.log(1e6) * 4 / 343.2 * v / own[:, 0]
    np.testing.assert_allclose(coupled_decays(v, own, [0.0])[:, 0], sabine)
    together = np.log(1e6) * 4 / 343.2 * v.sum() / own.sum()
    assert coupled_decays(v, own, [1e5])[0, 0] == pytest.approx(together, rel=1e-3)


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: mass_law_db(0.01), "surface_density = 0.01 kg/m2 is outside 0.1 to 200 kg/m2. Ou"),
        (lambda: mass_law_db(1.0, frequency=5), "frequency = 5 Hz is outside"),
        (lambda: mass_law_db(1.0, widest_deg=91), "widest_deg = 91 deg is outside 0 to 90"),
        (lambda: coupled_energy([[0.0], [1.0]], [1.0]), "absorption_area = 0 m2 is outside"),
        (lambda: coupled_energy([[1.0], [1.0]], [-1.0]), "coupling_area = -1 m2 is outside"),
        (lambda: coupled_decays([0, 1], [[1.0], [1.0]], [1.0]), "volume = 0 m3 is outside"),
    ],
)
def test_refusals(call, message):
    """Behavior: what is no sheet and no room is refused in one line."""
    with pytest.raises(ValueError, match=message):
        call()
