"""Feedback: worked examples to the last digit, and the handbook's formulas regained from
energies.
"""

import numpy as np
import pytest
from arrays import sources_of
from hypothesis import given
from hypothesis import strategies as st
from reference import agrees

from gymtools.physics import feedback, microphones
from gymtools.physics.field import direct_energy
from gymtools.physics.reverberation import steady_level

# Worked separately from the formulas: D0, EAD, D1, D2, Ds [m], NOM; NAG, PAG with 6 dB margin, PAG
# - NAG [dB].
WORKED = [
    ((30, 3, 10, 25, 0.3, 1), "20.00 26.04 6.04"),
    ((40, 3, 6, 18, 0.1, 2), "22.50 33.49 10.99"),
    ((30, 2.4, 5, 20, 0.1, 1), "21.94 31.50 9.56"),
]
meters = st.floats(0.05, 100)


def of(D0, D1, D2, Ds):
    """The four distances under their names."""
    return dict(talker_listener=D0, mic_loudspeaker=D1, loudspeaker_listener=D2, talker_mic=Ds)


@pytest.mark.parametrize("case, row", WORKED)
def test_worked_examples(case, row):
    """Printed: needed and potential gain outdoors, and what is left."""
    D0, EAD, D1, D2, Ds, NOM = case
    nag, pag = (
        feedback.needed_gain(D0, EAD),
        feedback.potential_gain(**of(D0, D1, D2, Ds), open_mics=NOM),
    )
    assert agrees([nag, pag, pag - nag], row)


def test_worked_example_indoors():
    """Printed: R 600 m2, talker Q 2.5, loudspeaker Q 10 on the listener and 1 toward the
    microphone; and outdoors.
    """
    ours = [
        feedback.attenuation(D, q=q, room_constant=600)
        for D, q in [(30, 2.5), (0.3, 2.5), (10, 1), (25, 10)]
    ]
    assert agrees(ours, "21.62 -3.46 21.27 21.00")
    indoors = feedback.potential_gain_indoors(
        **of(30, 10, 25, 0.3), room_constant=600, loudspeaker_q=10, loudspeaker_q_to_mic=1
    )
    assert agrees([indoors, feedback.potential_gain(**of(30, 10, 25, 0.3))], "19.35 26.04")


def test_inverse_square_sample():
    """Printed: 70 dB at 2 ft needs 20.8 dB to be the same at 22 ft."""
    assert agrees([feedback.needed_gain(22 * 0.3048, 2 * 0.3048)], "20.8")


def test_open_microphones():
    """Printed: 10 lg NOM for 2, 4, 8 and 20 microphones."""
    assert agrees(feedback.open_mics_db([1, 2, 4, 8, 20]), "0 3.01 6.02 9.03 13.0")


def test_reverberant_limit():
    """Printed: far away the attenuation is -10 lg(4/R), for R of 300, 600 and 1200 m2."""
    R = np.array([300, 600, 1200])
    for distance in (1e5, np.inf):
        assert agrees(feedback.attenuation(distance, q=5, room_constant=R), "18.75 21.76 24.77")


@given(
    d=st.floats(0.1, 100), q=st.floats(0.1, 100), R=st.floats(10, 1e5), power_db=st.floats(60, 120)
)
def test_attenuation_is_the_steady_level(d, q, R, power_db):
    """Independent: the package's other Hopkins-Stryker, total of direct and reverberant level under
    the power level.
    """
    total = steady_level(power_db, d, q=q, room_constant=R)[-1]
    assert power_db - total == pytest.approx(
        float(feedback.attenuation(d, q=q, room_constant=R)), abs=1e-9
    )


@given(d=st.floats(1, 100), R=st.floats(10, 5000))
def test_attenuation_saturates_at_the_critical_distance(d, R):
    """Closed form: within 3 dB of the limit beyond sqrt(QR/16 pi), within 10 lg(1 + 1/n2) at n
    times that.
    """
    near = np.sqrt(R / (16 * np.pi))
    under = 10 * np.log10(R / 4) - feedback.attenuation(d * near, q=1, room_constant=R)
    assert under == pytest.approx(10 * np.log10(1 + 1 / d**2), abs=1e-9)


@given(D0=meters, D1=meters, D2=meters, Ds=meters, nom=st.integers(1, 30), margin=st.floats(0, 12))
def test_a_room_without_walls_is_the_free_field(D0, D1, D2, Ds, nom, margin):
    """Closed form: with an infinite room constant and every Q 1 both forms are one."""
    kept = dict(open_mics=nom, stability_margin=margin)
    q = dict(talker_q=1, loudspeaker_q=1, loudspeaker_q_to_mic=1)
    indoors = feedback.potential_gain_indoors(
        **of(D0, D1, D2, Ds), room_constant=np.inf, **q, **kept
    )
    assert indoors == pytest.approx(
        float(feedback.potential_gain(**of(D0, D1, D2, Ds), **kept)), abs=1e-9
    )


@given(
    EAD=meters,
    D0=meters,
    D1=meters,
    D2=meters,
    Ds=meters,
    nom=st.integers(1, 30),
    margin=st.floats(0, 12),
)
def test_energies_give_the_handbook_formula(EAD, D0, D1, D2, Ds, nom, margin):
    """Closed form: one omni loudspeaker and one omni microphone in the free field: spare gain is
    PAG - NAG.

    The setting: the listener at D2 hears what the bare talker gives at the equivalent acoustic
    distance.
    """
    talker, kept = 1.0, dict(open_mics=nom, stability_margin=margin)
    loudspeaker = talker / EAD**2 * D2**2  # at 1 m
    returned = feedback.returned_energy(
        np.full((1, 1, 1), loudspeaker / D1**2), np.ones((1, 1, 1)), np.zeros(1), 1.0
    )
    spare = feedback.feedback_margin_db(returned, talker / Ds**2, **kept)
    want = feedback.potential_gain(**of(D0, D1, D2, Ds), **kept) - feedback.needed_gain(D0, EAD)
    assert spare == pytest.approx([want], abs=1e-9)


@given(
    EAD=meters,
    D0=meters,
    D1=meters,
    D2=meters,
    Ds=meters,
    R=st.floats(10, 5000),
    q=st.tuples(*[st.floats(0.1, 50)] * 3),
)
def test_energies_give_the_formula_indoors(EAD, D0, D1, D2, Ds, R, q):
    """Closed form: the same in a room, where direct and reverberant sound of talker and loudspeaker
    both count.
    """
    talker_q, q, q_to_mic = q
    near = dict(q=talker_q, room_constant=R)

    def room(q, D):
        return q / (4 * np.pi * D**2) + 4 / R

    power = room(talker_q, EAD) / room(q, D2)  # of the loudspeaker, the talker's being 1
    direct = np.full((1, 1, 7), power * q_to_mic / (4 * np.pi * D1**2))
    returned = feedback.returned_energy(
        direct, np.ones((1, 1, 1)), np.full(7, power * 4 / R), np.ones(7)
    )
    spare = feedback.feedback_margin_db(returned, np.full(7, room(talker_q, Ds)), open_mics=2)
    pag = feedback.potential_gain_indoors(
        **of(D0, D1, D2, Ds),
        room_constant=R,
        talker_q=talker_q,
        loudspeaker_q=q,
        loudspeaker_q_to_mic=q_to_mic,
        open_mics=2,
    )
    nag = feedback.attenuation(D0, **near) - feedback.attenuation(EAD, **near)
    assert spare == pytest.approx([pag - nag], abs=1e-9)


def test_energies_of_the_package_give_the_handbook_formula():
    """Closed form: the same through the direct field itself; 0.001 dB is single precision."""
    mic, listener, source = np.array([0, 0, 1.5]), np.array([25.0, 0, 1.5]), np.array([[3.0, 4, 8]])
    energy, distance = direct_energy([mic, listener], sources_of(source, [np.eye(3)]))
    D1, D2 = distance[0]
    # set so that the listener gets the talker at 3 m
    direct = energy[:, :1] / energy[0, 1] / 3.0**2
    toward = (source - mic)[:, None] / D1
    mics = microphones.pickup(np.ones(7), np.array([1.0, 0, 0]), toward)
    returned = feedback.returned_energy(
        direct, mics, np.zeros(7), microphones.random_efficiency(1.0)
    )
    spare = feedback.feedback_margin_db(returned, np.full(7, 1 / 0.3**2))
    want = feedback.potential_gain(**of(30, D1, D2, 0.3)) - feedback.needed_gain(30, 3)
    assert spare == pytest.approx([want], abs=1e-3)


@given(a=st.floats(0, 1), s=st.integers(1, 6), p=st.integers(1, 4), seed=st.integers(0, 2**32 - 1))
def test_returned_energy_is_a_plain_sum(a, s, p, seed):
    """Closed form: source by source, place by place, band by band; one pickup for all bands or one
    for each.
    """
    rng = np.random.default_rng(seed)
    direct, pickup, reverberant = rng.random((s, p, 7)), rng.random((s, p, 7)), rng.random(7)
    efficiency = float(microphones.random_efficiency(a))
    one = feedback.returned_energy(direct, pickup, reverberant, efficiency)
    same = feedback.returned_energy(direct, pickup[..., :1], reverberant, np.full(7, efficiency))
    assert one.shape == same.shape == (p, 7)
    for i in range(p):
        for b in range(7):
            tail = reverberant[b] * efficiency
            assert one[i, b] == pytest.approx(
                sum(direct[k, i, b] * pickup[k, i, b] for k in range(s)) + tail
            )
            assert same[i, b] == pytest.approx(
                sum(direct[k, i, b] * pickup[k, i, 0] for k in range(s)) + tail
            )


def test_reverberant_margin_grows_by_the_index():
    """Closed form: where only the room returns sound, a cardioid has 4.77 dB more to spare than an
    omni.
    """
    spare = [
        feedback.feedback_margin_db(
            feedback.returned_energy(
                np.zeros((1, 1, 7)), 1.0, np.ones(7), microphones.random_efficiency(a)
            ),
            np.ones(7),
        )
        for a in (1.0, 0.5)
    ]
    assert spare[0] == pytest.approx([-6.0])
    assert agrees(spare[1] - spare[0], "4.77")


@given(seed=st.integers(0, 2**32 - 1))
def test_spare_gain_is_that_of_the_worst_band(seed):
    """Invariance: 1 dB more level takes 1 dB; a band below the worst changes nothing; two mics take
    3 dB.
    """
    rng = np.random.default_rng(seed)
    returned, talker = rng.uniform(0.1, 1, (5, 7)), rng.uniform(1, 10, 7)
    spare = feedback.feedback_margin_db(returned, talker)
    worst = (returned / talker).argmax(axis=-1)
    assert spare == pytest.approx(-10 * np.log10((returned / talker)[range(5), worst]) - 6)
    assert feedback.feedback_margin_db(returned * 10**0.1, talker) == pytest.approx(spare - 1)
    assert feedback.feedback_margin_db(returned, talker, open_mics=2) == pytest.approx(
        spare - 10 * np.log10(2)
    )
    quieter = returned.copy()
    quieter[range(5), worst - 1] *= 0.5
    assert feedback.feedback_margin_db(quieter, talker) == pytest.approx(spare)


def test_nothing_comes_back():
    """Closed form: a system that is off has no loop gain and endless room."""
    assert feedback.loop_gain_db(np.zeros(7), np.ones(7)).tolist() == [-np.inf] * 7
    assert feedback.feedback_margin_db(np.zeros((2, 7)), np.ones(7)).tolist() == [np.inf] * 2


GOOD = of(30, 10, 25, 0.3)
INDOORS = dict(room_constant=600, loudspeaker_q=1, loudspeaker_q_to_mic=1)


@pytest.mark.parametrize(
    "call, said",
    [
        (
            lambda: feedback.needed_gain(30, 0),
            r"^equivalent_distance = 0 m is outside 0\.01 to 1000 m\. Centimeters",
        ),
        (
            lambda: feedback.needed_gain(3000, 3),
            r"^distance_listener = 3000 m is outside 0\.01 to 1000 m\. Centimeters",
        ),
        (
            lambda: feedback.potential_gain(**GOOD | {"talker_mic": 0}),
            r"^talker_mic = 0 m is outside 0\.01 to 1000 m\.",
        ),
        (
            lambda: feedback.potential_gain(**GOOD, open_mics=0),
            r"^open_mics = 0 - is outside 1 to 1000 -\. At least one",
        ),
        (
            lambda: feedback.potential_gain(**GOOD, stability_margin=-6),
            r"^stability_margin = -6 dB is outside 0 to 40 dB\.$",
        ),
        (
            lambda: feedback.potential_gain_indoors(**GOOD | {"mic_loudspeaker": -1}, **INDOORS),
            r"^mic_loudspeaker = -1 m is outside 0\.01 to 1000 m\.",
        ),
        (
            lambda: feedback.attenuation(3, q=-3, room_constant=600),
            r"^q = -3 - is outside 0\.001 to 1000 -\. Decibels given by mistake",
        ),
        (
            lambda: feedback.attenuation(3, q=1, room_constant=0.2),
            r"^room_constant = 0\.2 m2 is outside 1 to inf m2\.$",
        ),
        (
            lambda: feedback.loop_gain_db(1.0, 0.0),
            r"^talker = 0 \(linear\) is outside 1e-30 to inf \(linear\)\. A silent talker",
        ),
        (
            lambda: feedback.loop_gain_db(-1.0, 1.0),
            r"^returned = -1 \(linear\) is outside 0 to inf \(linear\)\. Decibels",
        ),
    ],
)
def test_refuses(call, said):
    """Regression: every refusal names the value, its range and the likely slip."""
    with pytest.raises(ValueError, match=said):
        call()
