"""Power, cable, lines: wire tables, worked examples, closed forms, a circuit solved another
way.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.physics import electrical as el

FOOT = 0.3048
# Copper wire tables of NBS Handbook 100 (1966), as copied in HyperPhysics and wire charts: ohm per
# 1000 ft of one conductor at 20 degC, and area [mm2].
AWG = {
    10: (0.9989, 5.26),
    12: (1.588, 3.31),
    14: (2.525, 2.08),
    16: (4.016, 1.31),
    18: (6.385, 0.823),
}


@pytest.mark.parametrize("gauge, printed", AWG.items())
def test_wire_table(gauge, printed):
    """Printed: NBS Handbook 100, copper wire tables: resistance and cross-section to their last
    digits.
    """
    ohm, area = printed
    assert el.loop_resistance(1000 * FOOT, awg=gauge) / 2 == pytest.approx(ohm, rel=3e-4)
    assert el.awg_area(gauge) == pytest.approx(area, abs=0.0051 if area > 1 else 0.0006)
    assert el.loop_resistance(10, awg=gauge) == pytest.approx(
        el.loop_resistance(10, area_mm2=el.awg_area(gauge))
    )


@pytest.mark.parametrize("area, ohm_per_km", [(1.5, 11.49), (2.5, 6.90), (4, 4.31), (6, 2.87)])
def test_metric_conductors(area, ohm_per_km):
    """Worked by hand: 17.24 ohm mm2/km over the area (IEC 60028 copper)."""
    assert el.loop_resistance(1000, area_mm2=area) / 2 == pytest.approx(ohm_per_km, abs=0.0051)


@pytest.mark.parametrize(
    "wire, length, load, ohm, loss",
    [
        (dict(awg=12), 100 * FOOT, 8, 0.318, 0.338),
        (dict(awg=14), 100 * FOOT, 8, 0.505, 0.532),
        (dict(awg=16), 100 * FOOT, 8, 0.803, 0.831),
        (dict(awg=12), 200 * FOOT, 8, 0.635, 0.664),
        (dict(awg=12), 150 * FOOT, 4, 0.476, 0.977),
        (dict(awg=14), 300 * FOOT, 50, 1.515, 0.259),
        (dict(awg=10), 200 * FOOT, 8, 0.400, 0.423),
        (dict(area_mm2=2.5), 60, 8, 0.828, 0.855),
        (dict(area_mm2=4), 50, 4, 0.431, 0.889),
    ],
)
def test_cable_loss(wire, length, load, ohm, loss):
    """Worked by hand: loop resistance and insertion loss, to half the last digit and the wire
    table's rounding.
    """
    assert el.loop_resistance(length, **wire) == pytest.approx(ohm, abs=0.0012)
    assert el.cable_loss_db(length, load, **wire) == pytest.approx(loss, abs=0.0012)


@pytest.mark.parametrize(
    "nominal, ohm_per_km", [(1.5, 12.1), (2.5, 7.41), (4.0, 4.61), (6.0, 3.08)]
)
def test_metric_cable_at_its_worst(nominal, ohm_per_km):
    """Printed: greatest resistance of class 2 conductors, IEC 60228 (from memory), 5 to 7 % over
    that of as much copper. The loss of a cable follows from it.
    """
    worst = el.loop_resistance(1000, nominal_mm2=nominal) / 2
    assert (
        worst == pytest.approx(ohm_per_km)
        and 1.045 < worst / (el.loop_resistance(1000, area_mm2=nominal) / 2) < 1.08
    )
    assert el.cable_loss_db(50, 4, nominal_mm2=nominal) == pytest.approx(
        20 * np.log10(1 + 0.1 * ohm_per_km / 4)
    )
    assert el.chain_loss_db([50], [4], nominal_mm2=nominal) == pytest.approx(
        [20 * np.log10(1 + 0.1 * ohm_per_km / 4)]
    )


LONGEST = {  # longest run for 0.5 dB [ft] at 4, 8, 25, 50, 100 ohm
    10: (119, 237, 741, 1483, 2966),
    12: (75, 149, 466, 933, 1866),
    14: (47, 94, 293, 587, 1173),
    16: (30, 59, 184, 369, 738),
    18: (19, 37, 116, 232, 464),
}


@pytest.mark.parametrize("gauge", LONGEST)
def test_longest_runs_lose_half_a_decibel(gauge):
    """Worked by hand: longest runs, back to 0.5 dB within the rounding to feet."""
    for load, feet in zip((4, 8, 25, 50, 100), LONGEST[gauge], strict=True):
        assert el.cable_loss_db((feet - 0.6) * FOOT, load, awg=gauge) < 0.5005
        assert el.cable_loss_db((feet + 0.6) * FOOT, load, awg=gauge) > 0.4995


@pytest.mark.parametrize(
    "level, headroom, sensitivity, distance, watts", [(80, 10, 90, 12, 144), (90, 12, 98, 25, 1570)]
)
def test_power_required(level, headroom, sensitivity, distance, watts):
    """Worked by hand: two levels at a distance, to the last digit."""
    power = el.amplifier_power(
        level, headroom_db=headroom, sensitivity_db=sensitivity, distance=distance
    )
    assert power == pytest.approx(watts, abs=0.5 if watts < 1000 else 5)


def test_power_required_of_the_trade_association():
    """Worked by hand: 98 dB at 30 ft, 20 dB of headroom, 96 dB at 3.28 ft give 13 259 W; a trade
    association's question page prints 13 213 and 13 243 W, rounded on the way.
    """
    power = el.amplifier_power(98, headroom_db=20, sensitivity_db=96, distance=30 / 3.28)
    assert (
        power == pytest.approx(13_259, abs=1)
        and power == pytest.approx(13_213, rel=0.004)
        and power == pytest.approx(13_243, rel=0.004)
    )


TAPS = (0.5, 1, 2.5, 5, 10, 15, 30, 50, 60, 100, 150, 250, 500)
LINE_70 = (10_000, 5000, 2000, 1000, 500, 333, 167, 100, 83.3, 50, 33.3, 20, 10)
LINE_100 = (20_000, 10_000, 4000, 2000, 1000, 667, 333, 200, 167, 100, 66.7, 40, 20)


@pytest.mark.parametrize("volts, printed", [(70.7, LINE_70), (100, LINE_100)])
def test_line_impedance(volts, printed):
    """Worked by hand: 5000 and 10 000 over the tap, to half the last digit."""
    for tap, ohm in zip(TAPS, printed, strict=True):
        total, impedance = el.line_load(tap, volts=volts)
        assert total == tap and impedance == pytest.approx(ohm, abs=0.5 if ohm > 100 else 0.051)


def test_taps_add():
    """Closed form: powers add, and a 70.7 V tap on a 100 V line takes twice its power; on 25 V an
    eighth.
    """
    assert el.line_load([30, 15, 15], volts=100) == (60.0, pytest.approx(10_000 / 60))
    ohm = el.line_load(10, volts=70.7)[1]
    assert 100**2 / ohm == pytest.approx(20) and 25**2 / ohm == pytest.approx(10 / 8)


@given(
    st.lists(st.tuples(st.floats(0.5, 200), st.floats(2, 2000)), min_size=1, max_size=6),
    st.sampled_from((10, 14, 18)),
)
def test_a_chain_is_the_circuit_solved(pairs, gauge):
    """Independent: node voltages from the conductance matrix of the ladder."""
    lengths, loads = np.array(pairs).T
    r = el.loop_resistance(lengths, awg=gauge)
    n = len(r)
    g, source = np.zeros((n, n)), np.zeros(n)
    for k in range(n):
        g[k, k] += 1 / loads[k] + 1 / r[k]
        if k:
            g[k, k - 1] -= 1 / r[k]
            g[k - 1, k] -= 1 / r[k]
            g[k - 1, k - 1] += 1 / r[k]
        else:
            source[0] = 1 / r[0]
    want = -20 * np.log10(np.linalg.solve(g, source))
    assert el.chain_loss_db(lengths, loads, awg=gauge) == pytest.approx(want, rel=1e-6, abs=1e-9)


def test_one_load_is_a_chain_of_one():
    """Invariance: a chain of one load loses what a single cable loses."""
    assert el.chain_loss_db([30], [8], awg=12) == pytest.approx(el.cable_loss_db(30, 8, awg=12))


@pytest.mark.parametrize(
    "cool, hot, loss",
    [
        (100 * 10**-0.3, 100.0, 3.0),
        (100.0, 100 * 10**0.3, 3.0),
        (50 * 10**-0.15, 50.0, 1.5),
        (10 * 10**-0.03, 10.0, 0.3),
    ],
)
def test_heat_by_hand(cool, hot, loss):
    """Closed form: at 10, 50 and 100 W of 100 W rated a coil loses 0.3, 1.5 and 3 dB; beyond it
    loses no more (3 dB: handbooks, from memory).
    """
    assert el.compression_db(hot, 100.0) == pytest.approx(loss) and el.heated_power(
        cool, 100.0
    ) == pytest.approx(hot)


def test_parallel_damping_and_ac_power():
    """Worked by hand: damping factor 23.7 of 100 ft of 12 AWG at 8 ohm and 0.02 ohm; four channels
    of 500 W at 70 % and 60 W idle: 417 W, 3.48 A at 120 V, 167 W of heat, 570 BTU/h.
    """
    assert el.parallel([8, 8]) == 4.0 and el.parallel([8, 4]) == pytest.approx(8 / 3)
    assert el.damping_factor(
        8, output_ohm=0.02, cable_ohm=el.loop_resistance(100 * FOOT, awg=12)
    ) == pytest.approx(23.7, abs=0.06)
    both = el.damping_factor([4, 8], output_ohm=[0.02, 0.02], cable_ohm=[0.3, 0.3])
    assert both == pytest.approx([12.5, 25.0])
    drawn, heat = el.ac_power(500, 4, idle_w=60, efficiency=0.7)
    assert drawn == pytest.approx(417, abs=0.5) and drawn / 120 == pytest.approx(3.48, abs=0.006)
    assert heat == pytest.approx(167, abs=0.5) and heat * el.BTU == pytest.approx(570, abs=1)


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: el.loop_resistance(10), r"either as awg or as area_mm2"),
        (lambda: el.loop_resistance(10, awg=12, area_mm2=4), r"either as awg or as area_mm2"),
        (
            lambda: el.loop_resistance(10, area_mm2=4, nominal_mm2=4),
            r"either as awg or as area_mm2 or as nominal_mm2",
        ),
        (
            lambda: el.loop_resistance(10, nominal_mm2=3),
            r"nominal_mm2 = 3 mm2 is unknown\. Known: 0\.75, 1, 1\.5, 2\.5, 4, 6, 10",
        ),
        (lambda: el.cable_loss_db(-1, 8, awg=12), r"length = -1 m is outside 0 to 2000 m"),
        (
            lambda: el.cable_loss_db(10, 0, awg=12),
            r"load_ohm = 0 ohm is outside 0\.5 to 100000 ohm",
        ),
        (
            lambda: el.awg_area(50),
            r"awg = 50 is outside 0 to 40\. Larger numbers are thinner wires",
        ),
        (lambda: el.line_load([0], volts=100), r"taps_w = 0 W is outside 0\.1 to 2000 W"),
        (lambda: el.line_load([5], volts=1000), r"volts = 1000 V is outside 10 to 250 V"),
        (
            lambda: el.amplifier_power(90, headroom_db=10, sensitivity_db=90, distance=0),
            r"distance = 0 m is outside 0\.1 to 500 m",
        ),
        (
            lambda: el.ac_power(500, 2, idle_w=10, efficiency=0),
            r"efficiency = 0 is outside 0\.05 to 1",
        ),
    ],
)
def test_refusals(call, message):
    """Behavior: every refusal names the value, its range and the likely slip."""
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize(
    "gauge, losses",
    [
        (10, (0.423, 0.214, 0.138, 0.069)),
        (12, (0.664, 0.338, 0.218, 0.110)),
        (14, (1.033, 0.532, 0.344, 0.174)),
        (16, (1.589, 0.831, 0.541, 0.275)),
        (18, (2.406, 1.286, 0.845, 0.433)),
    ],
)
def test_loss_at_low_impedance_and_on_lines(gauge, losses):
    """Worked by hand: 100 ft, there and back, by the resistance that NBS Handbook 100 prints for
    each gauge, into 4 and 8 ohm and into 400 W of taps at 70.7 V (5000 / 400 = 12.5 ohm) and at
    100 V (10 000 / 400 = 25 ohm): 20 lg(1 + R / Z).
    """
    lines = [el.line_load([200, 200], volts=volts)[1] for volts in (70.7, 100.0)]
    assert lines == [12.5, 25.0]
    got = [el.cable_loss_db(100 * FOOT, ohm, awg=gauge) for ohm in (4.0, 8.0, *lines)]
    assert got == pytest.approx(losses, abs=0.0011)
