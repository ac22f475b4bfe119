"""Exposure and assistive listening: the printed tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gymtools.equipment.assistive_listening import receivers
from gymtools.physics.exposure import permitted_hours

# 29 CFR 1910.95, Table G-16
OSHA = {90: 8, 92: 6, 95: 4, 97: 3, 100: 2, 102: 1.5, 105: 1, 110: 0.5, 115: 0.25}
NIOSH = {85: 8, 88: 4, 91: 2, 94: 1, 97: 0.5, 100: 0.25}  # 98-126


@pytest.mark.parametrize("level, hours", OSHA.items())
def test_osha_table(level, hours):
    """Printed: OSHA 29 CFR 1910.95, Table G-16; its values between the halves are rounded (92, 97
    and 102 dB(A)).
    """
    assert permitted_hours(level, rule="osha") == pytest.approx(
        hours, rel=0.013 if level in (92, 97, 102) else 1e-12
    )


@pytest.mark.parametrize("level, hours", NIOSH.items())
def test_niosh_table(level, hours):
    """Printed: NIOSH Publication 98-126 (1998), Table 1-1: hours permitted by level."""
    assert permitted_hours(level) == pytest.approx(hours)


def test_a_dose_adds_up():
    """Closed form: periods that fill the permitted time in shares that add to 1: 2 of 4 h at 88
    dB(A) and 1 of 2 h at 91; 85 dB(A) for 8 h is half of what OSHA permits, its action level.
    """
    assert 2 / permitted_hours(88) + 1 / permitted_hours(91) == pytest.approx(1)
    assert 8 / permitted_hours(85, "osha") == pytest.approx(0.5)


def test_osha_ends_at_115():
    """Printed: OSHA 29 CFR 1910.95, Table G-16 ends at 115 dB(A), beyond which nothing is
    permitted.
    """
    assert (
        permitted_hours(115.0, "osha") == 0.25
        and permitted_hours(115.1, "osha") == 0
        and permitted_hours(115.1) > 0
    )
    assert permitted_hours([90.0, 120.0], "osha") == pytest.approx([8, 0])


def test_unknown_rule():
    """Behavior: an unknown rule and an impossible level are refused in one line."""
    with pytest.raises(ValueError, match=r"rule = 'who' is unknown\. Known: niosh, osha"):
        permitted_hours(90, "who")
    with pytest.raises(ValueError, match=r"level_dba = 150 dB\(A\) is outside 0 to 140"):
        permitted_hours(150)


WORKED = {
    50: (2, 2),
    51: (3, 2),
    150: (6, 2),
    200: (8, 2),
    201: (9, 3),
    400: (16, 4),
    500: (20, 5),
    800: (30, 8),
    1000: (36, 9),
    1200: (39, 10),
    2000: (55, 14),
    3000: (65, 17),
}


@pytest.mark.parametrize("seats, printed", WORKED.items())
def test_ada_table(seats, printed):
    """Printed: worked rows of Table 219.3 of the 2010 ADA Standards."""
    assert receivers(seats) == printed


@given(st.integers(1, 5000))
def test_more_seats_never_need_fewer(seats):
    """Invariance: receivers grow with the seats, and a quarter of them, two at least, suit hearing
    aids.
    """
    (a, b), (c, d) = receivers(seats), receivers(seats + 1)
    assert c >= a and d >= b and 2 <= b <= a and (seats <= 200 or b >= a / 4)


def test_seats_that_cannot_be():
    """Behavior: no seats need no receivers; a negative number is refused."""
    assert receivers(0) == (0, 0)
    with pytest.raises(ValueError, match=r"seats = -5 is outside 0 to 200000"):
        receivers(-5)
