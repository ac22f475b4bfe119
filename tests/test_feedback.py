"""Feedback: worked examples to the last digit, and the handbook's formulas regained from
energies.
"""

import numpy as np
import pytest
from arrays import sources_of
from formulas import feedback_margin_db, pickup, returned_energy
from hypothesis import given
from hypothesis import strategies as st
from reference import agrees

from gymtools.physics import feedback, microphones
from gymtools.physics.field import direct_energy
from gymtools.physics.reverberation import steady_level

# Worked by hand from the formulas: D0, EAD, D1, D2, Ds [m], NOM; NAG, PAG with 6 dB margin, PAG -
# NAG [dB].
WORKED = [
    ((30, 3, 10, 25, 0.3, 1), "20.00 26.04 6.04"),
    ((40, 3, 6, 18, 0.1, 2), "22.50 33.49 10.99"),
    ((30, 2.4, 5, 20, 0.1, 1), "21.94 31.50 9.56"),
]
meters = st.floats(0.05, 100)
far = st.floats(0.1, 100)  # what the levels of a room are defined for


def of(D0, D1, D2, Ds):
    """The four distances under their names."""
    return dict(talker_listener=D0, mic_loudspeaker=D1, loudspeaker_listener=D2, talker_mic=Ds)


def attenuation(distance, *, q, room_constant):
    """Level of power less level at a point in a room: Hopkins and Stryker [dB]."""
    return -steady_level(0.0, distance, q=q, room_constant=room_constant)[-1]


def potential_gain_indoors(D0, D1, D2, Ds, *, room_constant, q):
    """The handbook's potential gain with ``attenuation`` in place of 20 lg D, one microphone [dB].

    q of the talker, of the loudspeaker toward the listener, and of the loudspeaker toward the
    microphone.
    """
    talker, listener, mic = (dict(q=v, room_constant=room_constant) for v in q)
    far, near = attenuation(D0, **talker), attenuation(Ds, **talker)
    back, out = attenuation(D1, **mic), attenuation(D2, **listener)
    return far - near + back - out - feedback.STABILITY_MARGIN_DB


@pytest.mark.parametrize("case, row", WORKED)
def test_worked_examples(case, row):
    """Worked by hand: needed and potential gain outdoors, and what is left."""
    D0, EAD, D1, D2, Ds, NOM = case
    nag, pag = (
        feedback.needed_gain(D0, EAD),
        feedback.potential_gain(**of(D0, D1, D2, Ds), open_mics=NOM),
    )
    assert agrees([nag, pag, pag - nag], row)


def test_worked_example_indoors():
    """Worked by hand: R 600 m2, talker Q 2.5, loudspeaker Q 10 on the listener and 1 toward the
    microphone; and outdoors.
    """
    ours = [
        attenuation(D, q=q, room_constant=600)
        for D, q in [(30, 2.5), (0.3, 2.5), (10, 1), (25, 10)]
    ]
    assert agrees(ours, "21.62 -3.46 21.27 21.00")
    indoors = potential_gain_indoors(30, 10, 25, 0.3, room_constant=600, q=(2.5, 10, 1))
    assert agrees([indoors, feedback.potential_gain(**of(30, 10, 25, 0.3))], "19.35 26.04")


def test_the_manuals_outdoor_system():
    """Printed: a sound-system reference manual, 1999, ch. 4: talker to listener 7 m, microphone at
    1 m, loudspeaker 4 m from it and 6 m from the listener, all omnidirectional: 13.5 dB, and 7.5 dB
    after a margin of 6. It needs 7.5 dB for an equivalent distance of 3 m. It adds rounded
    logarithms (17 - 0 + 12 - 15.5), so 0.15 dB; exact are 13.38, 7.38 and 7.36.
    """
    distances = of(7, 4, 6, 1)
    assert feedback.potential_gain(**distances, stability_margin=0) == pytest.approx(13.5, abs=0.15)
    assert feedback.potential_gain(**distances) == pytest.approx(7.5, abs=0.15)
    assert feedback.needed_gain(7, 3) == pytest.approx(7.5, abs=0.15)


@pytest.mark.parametrize("alpha, unaided, gain", [(0.2, 59, 5), (0.4, 55, 9)])
def test_the_manuals_distributed_system(alpha, unaided, gain):
    """Printed: a sound-system reference manual, 1999, ch. 6: 485 m3 and 440 m2 under forty ceiling
    loudspeakers, omni microphone 0.6 m from a talker of DI 3 dB who gives 70 dB there, listener at
    9 m: 59 dB unaided in the empty room, about 55 dB in the full one, and gains of about 5 and 9 dB
    with the loudspeakers 6 dB under the talker's level. Exact are 59.0 and 55.4 dB, 5.0 and 8.6 dB.
    """
    room = dict(q=2, room_constant=440 * alpha / (1 - alpha))
    alone = 70 - attenuation(9, **room) + attenuation(0.6, **room)
    assert alone == pytest.approx(unaided, abs=0.5)
    assert 70 - feedback.STABILITY_MARGIN_DB - alone == pytest.approx(gain, abs=0.5)


def test_inverse_square_sample():
    """Worked by hand: 70 dB at 2 ft needs 20.8 dB to be the same at 22 ft."""
    assert agrees([feedback.needed_gain(22 * 0.3048, 2 * 0.3048)], "20.8")


def test_open_microphones():
    """Worked by hand: 10 lg NOM for 2, 4, 8 and 20 microphones."""
    assert agrees(feedback.open_mics_db([1, 2, 4, 8, 20]), "0 3.01 6.02 9.03 13.0")


def test_reverberant_limit():
    """Worked by hand: the reverberant level lies 10 lg(R/4) under the power level, for R of 300,
    600 and 1200 m2.
    """
    _, reverberant, _ = steady_level(0.0, 30, q=5, room_constant=np.array([300, 600, 1200]))
    assert agrees(-reverberant, "18.75 21.76 24.77")


@given(d=st.floats(1, 100), R=st.floats(10, 5000))
def test_level_falls_no_more_beyond_the_critical_distance(d, R):
    """Closed form: within 3 dB of the limit beyond sqrt(QR/16 pi), within 10 lg(1 + 1/n2) at n
    times that.
    """
    near = np.sqrt(R / (16 * np.pi))
    under = 10 * np.log10(R / 4) - attenuation(d * near, q=1, room_constant=R)
    assert under == pytest.approx(10 * np.log10(1 + 1 / d**2), abs=1e-9)


@given(D0=far, D1=far, D2=far, Ds=far)
def test_a_room_without_walls_is_the_free_field(D0, D1, D2, Ds):
    """Closed form: with an infinite room constant and every Q 1 both forms are one."""
    indoors = potential_gain_indoors(D0, D1, D2, Ds, room_constant=np.inf, q=(1, 1, 1))
    assert indoors == pytest.approx(float(feedback.potential_gain(**of(D0, D1, D2, Ds))), abs=1e-9)


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
    """Closed form: one omni loudspeaker and one omni microphone in the free field: the feedback
    margin is PAG - NAG.

    The listener at D2 hears what the bare talker gives at the equivalent acoustic distance.
    """
    talker, kept = 1.0, dict(open_mics=nom, stability_margin=margin)
    loudspeaker = talker / EAD**2 * D2**2  # at 1 m
    returned = returned_energy(
        np.full((1, 1, 1), loudspeaker / D1**2), np.ones((1, 1, 1)), np.zeros(1), 1.0
    )
    ours = feedback_margin_db(returned, talker / Ds**2, **kept)
    want = feedback.potential_gain(**of(D0, D1, D2, Ds), **kept) - feedback.needed_gain(D0, EAD)
    assert ours == pytest.approx([want], abs=1e-9)


@given(
    EAD=far,
    D0=far,
    D1=far,
    D2=far,
    Ds=far,
    R=st.floats(10, 5000),
    q=st.tuples(*[st.floats(0.1, 50)] * 3),
)
def test_energies_give_the_formula_indoors(EAD, D0, D1, D2, Ds, R, q):
    """Closed form: the same in a room, where direct and reverberant sound of talker and loudspeaker
    both count.
    """

    def room(q, D):
        return q / (4 * np.pi * D**2) + 4 / R

    talker_q, listener_q, mic_q = q
    power = room(talker_q, EAD) / room(listener_q, D2)  # of the loudspeaker, the talker's being 1
    direct = np.full((1, 1, 7), power * mic_q / (4 * np.pi * D1**2))
    returned = returned_energy(direct, np.ones((1, 1, 1)), np.full(7, power * 4 / R), np.ones(7))
    ours = feedback_margin_db(returned, np.full(7, room(talker_q, Ds)))
    pag = potential_gain_indoors(D0, D1, D2, Ds, room_constant=R, q=q)
    near = dict(q=talker_q, room_constant=R)
    nag = attenuation(D0, **near) - attenuation(EAD, **near)
    assert ours == pytest.approx([pag - nag], abs=1e-9)


def test_energies_of_the_package_give_the_handbook_formula():
    """Closed form: the same through the direct field itself; 0.001 dB is single precision."""
    mic, listener, source = np.array([0, 0, 1.5]), np.array([25.0, 0, 1.5]), np.array([[3.0, 4, 8]])
    energy, distance = direct_energy([mic, listener], sources_of(source, [np.eye(3)]))
    D1, D2 = distance[0]
    # set so that the listener gets the talker at 3 m
    direct = energy[:, :1] / energy[0, 1] / 3.0**2
    toward = (source - mic)[:, None] / D1
    mics = pickup(np.ones(7), np.array([1.0, 0, 0]), toward)
    efficiency = microphones.random_efficiency(1.0)
    returned = returned_energy(direct, mics, np.zeros(7), efficiency)
    ours = feedback_margin_db(returned, np.full(7, 1 / 0.3**2))
    want = feedback.potential_gain(**of(30, D1, D2, 0.3)) - feedback.needed_gain(30, 3)
    assert ours == pytest.approx([want], abs=1e-3)


GOOD = of(30, 10, 25, 0.3)


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
    ],
)
def test_refuses(call, said):
    """Behavior: every refusal names the value, its range and the likely slip."""
    with pytest.raises(ValueError, match=said):
        call()


def rings_over_mean_db(direct_share, rt, center, rng):
    """Gain at which one simulated loop rings, over what its octave's mean would allow [dB]:
    Nyquist's criterion on the spectrum of a decaying noise and one direct path.
    """
    rate = max(8 * center, 4000)
    time = np.arange(int(rate * (rt + 0.05))) / rate
    response = rng.standard_normal(len(time)) * 10 ** (-3 * time / rt)
    count = 1 << int(np.ceil(np.log2(8 * len(time))))
    frequency = np.fft.rfftfreq(count, 1 / rate)
    octave = (frequency >= center / 2**0.5) & (frequency <= center * 2**0.5)
    loop, frequency = np.fft.rfft(response, count)[octave], frequency[octave]
    loop *= np.sqrt((1 - direct_share) / (np.abs(loop) ** 2).mean())
    loop = (loop + np.sqrt(direct_share)) * np.exp(-2j * np.pi * frequency * 0.02)
    at = np.flatnonzero(loop.imag[1:] * loop.imag[:-1] <= 0)
    part = loop.imag[at] / (loop.imag[at] - loop.imag[at + 1])
    in_phase = loop.real[at] + part * (loop.real[at + 1] - loop.real[at])
    return 20 * np.log10(in_phase.max() / np.sqrt((np.abs(loop) ** 2).mean()))


@pytest.mark.parametrize("center", [250, 1000, 4000])
@pytest.mark.parametrize("rt", [0.8, 2.0, 4.0])
def test_a_diffuse_loop_rings_at_its_peak(center, rt):
    """Independent: sixty loops simulated by Nyquist's criterion ring 4.5 to 8.6 dB over the mean of
    their octave; the allowance is their mean within 0.6 dB.
    """
    rng = np.random.default_rng(center)
    found = np.mean([rings_over_mean_db(0.0, rt, center, rng) for _ in range(60)])
    allowed = feedback.peak_allowance_db(0.0, rt, center / np.sqrt(2))
    assert 4.0 < found < 9.0
    assert allowed == pytest.approx(found, abs=0.6)


@pytest.mark.parametrize("share", [0.5, 0.9, 0.98])
def test_a_direct_path_leaves_less_to_ring(share):
    """Independent: as above with one direct path; the allowance errs to the safe side, by 0 to
    1.8 dB, and falls with the direct share.
    """
    rng = np.random.default_rng(int(100 * share))
    for center in (250, 1000, 4000):
        found = np.mean([rings_over_mean_db(share, 2.0, center, rng) for _ in range(60)])
        allowed = float(feedback.peak_allowance_db(share, 2.0, center / np.sqrt(2)))
        assert -0.2 < allowed - found < 1.8
        assert allowed < feedback.peak_allowance_db(share - 0.2, 2.0, center / np.sqrt(2))


def test_the_published_height_of_maxima():
    """Printed: Schroeder, J. Audio Eng. Soc. 35 (1987) 299, abstract: mean height of maxima 10 dB.
    All of 250 Hz to 4 kHz together (5660 Hz wide) stays under it, since a loop does not ring at
    every maximum.
    """
    for rt in (1.0, 2.0, 4.0):
        assert 7.5 < feedback.peak_allowance_db(0.0, rt, 5660.0) < 10.0
    assert feedback.peak_allowance_db(1.0, 2.0, 700.0) == pytest.approx(0.0, abs=1e-9)
