"""How sure: closed forms on linear cases, the same every time, one input apart from another,
stopped in between.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from gymtools.acoustics.criteria import judge
from gymtools.acoustics.evaluate import evaluate
from gymtools.design import uncertainty
from gymtools.design.input_errors import INPUTS, WORDS, InputSpread, ungrouped
from gymtools.design.uncertainty import how_sure
from gymtools.design.unknowns import Unknowns
from gymtools.physics import reverberation
from gymtools.venue.files import load

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DOVECOTE = load(SCENARIOS / "dovecote.toml")
NONE = dict.fromkeys(WORDS, 0.0)


def only(**spread):
    return InputSpread(**{**NONE, **spread})


def found(uncertainties, criterion, area=None):
    ranges = uncertainties.ranges
    return next(r for r in ranges if r.criterion == criterion and area in (None, r.area))


def designed(scenario, use):
    """Verdicts of the design itself by criterion and area."""
    verdicts = judge(evaluate(scenario, use), echoes=False)
    return {(v.criterion, v.area): v for v in verdicts}


@pytest.mark.parametrize("spread", [1.0, 3.0])
def test_noise_alone_is_linear(spread):
    """Closed form: speech over noise falls by what the noise rises, so its mean stays, its spread
    is the noise's, and it holds with the normal probability of the margin.
    """
    s = replace(DOVECOTE, uses=(replace(DOVECOTE.uses[0], noise_dba=65.0, target_dba=76.0),))
    r = found(how_sure(s, unknowns=only(noise_db=spread), draws=200), "speech_to_noise")
    assert np.mean(r.values) == pytest.approx(r.value, abs=0.1)  # places drawn and all places
    assert np.std(r.values) == pytest.approx(spread, rel=0.02)
    assert (r.low - np.mean(r.values), r.high - np.mean(r.values)) == pytest.approx(
        spread * norm.ppf([0.1, 0.9]), rel=0.03
    )
    assert r.chance == pytest.approx(
        norm.cdf((np.mean(r.values) - r.target + 0.05) / spread), abs=0.01
    )
    assert r.most == "noise_db" and r.alone["noise_db"] == pytest.approx(r.high - r.low, rel=0.1)


def test_one_finish_alone_moves_reverberation_as_its_formula_says():
    """Closed form: with one finish everywhere and nobody in the hall, the time of each draw is
    Eyring's with the factor drawn; log-normal, so that its median is the designed one.
    """
    hall = replace(
        DOVECOTE.hall,
        floor="plaster",
        roof="plaster",
        walls="plaster",
        **{f"{s}_wall": None for s in ("north", "south", "east", "west")},
    )
    use = replace(
        DOVECOTE.uses[0],
        closed=tuple(b.name for b in DOVECOTE.banks),
        occupied={},
        listens={"court": 1.0},
        set_up=(),
        microphones=(),
    )
    s = replace(
        DOVECOTE,
        hall=hall,
        treatments=(),
        banks=(),
        microphones=(),
        uses=(replace(use, closed=()),),
    )
    r = found(how_sure(s, unknowns=only(absorption_pct=20.0), draws=200), "rt")
    result = evaluate(s)
    room, alpha = result.configuration.room, s.absorption(s.uses[0])

    def at(z):
        return reverberation.reverberation_time(
            room.volume,
            room.area,
            np.clip(alpha * np.exp(0.2 * z), 0, 1),
            air=result.sources.decay,
            speed_of_sound=result.sources.speed,
        )[2:5].mean()

    assert r.value == pytest.approx(at(0), rel=1e-9) and np.median(r.values) == pytest.approx(
        at(0), rel=0.01
    )
    assert (r.low, r.high) == pytest.approx((at(norm.ppf(0.9)), at(norm.ppf(0.1))), rel=0.02)


def test_independent_unknowns_add_in_squares():
    """Closed form: the level of a place in the free field moves with noise alone and sensitivity
    not at all, because the setting brings the mean back; what both do to speech over noise adds in
    squares.
    """
    one = replace(DOVECOTE.groups[0], number=1, spacing=0.0)
    use = replace(DOVECOTE.uses[0], groups={})
    s = replace(DOVECOTE, groups=(one,), uses=(use,))
    r = found(how_sure(s, unknowns=only(noise_db=2.0, sensitivity_db=3.0)), "speech_to_noise")
    assert np.std(r.values) == pytest.approx(2.0, rel=0.03) and r.alone[
        "sensitivity_db"
    ] == pytest.approx(0.0, abs=1e-3)


def test_nothing_unknown_nothing_moves():
    """Invariance: all spreads zero give the design itself, sure or surely not; every verdict but
    echoes is there.
    """
    nothing = how_sure(DOVECOTE, "assembly", unknowns=InputSpread(**NONE), draws=20)
    want = designed(DOVECOTE, "assembly")
    assert {(r.criterion, r.area) for r in nothing.ranges} == set(want)
    for r in nothing.ranges:
        assert np.ptp(r.values) == 0 and r.most is None and r.chance in (0.0, 1.0)
        assert r.value == want[r.criterion, r.area].value
        assert np.allclose(r.values, r.value, rtol=1e-6, atol=1e-9) and (r.chance == 1) == (
            want[r.criterion, r.area].word == "meets"
        )
    assert nothing.least_chance == min(r.chance for r in nothing.ranges)


@pytest.mark.parametrize("name", ["dovecote", "larkfield", "alderway", "stonebridge"])
def test_words_are_the_designs_when_nothing_is_unknown(name):
    """Invariance: also in halls whose areas have more seats than are looked at, each chance is
    then the design's own word.
    """
    s = load(SCENARIOS / f"{name}.toml")
    for use in s.uses:
        want = designed(s, use.name)
        for r in how_sure(s, use.name, unknowns=InputSpread(**NONE), draws=20).ranges:
            v = want[r.criterion, r.area]
            assert np.allclose(r.values, v.value, rtol=1e-5, atol=1e-6) and r.chance == float(
                v.word == "meets"
            ), (use.name, r.criterion, r.area)


def test_a_sample_of_the_seats_gives_the_chances_of_all(monkeypatch):
    """Invariance: chances and ranges over the sample equal those over every seat, nearly, where an
    area has more seats.
    """
    s = load(SCENARIOS / "stonebridge.toml")
    assert (
        max(a.points.stop - a.points.start for a in evaluate(s, "assembly").areas)
        > uncertainty.SEATS
    )

    some = how_sure(s, "assembly", draws=40)
    monkeypatch.setattr(uncertainty, "SEATS", 10**6)
    for a, b in zip(some.ranges, how_sure(s, "assembly", draws=40).ranges, strict=True):
        assert abs(a.chance - b.chance) <= 0.07, (a.criterion, a.area)


def test_every_loudspeaker_errs_for_itself():
    """Closed form: aim errors are drawn for each loudspeaker's pan and tilt apart, and turn it by
    just that much.
    """
    larkfield = load(SCENARIOS / "larkfield.toml")
    larkfield = replace(
        larkfield,
        groups=tuple(replace(g, downtilt_deg=min(g.downtilt_deg, 60)) for g in larkfield.groups),
    )
    alone = ungrouped(larkfield, larkfield.uses[0])
    turning = INPUTS["aim_deg"].subjects(alone)
    assert len(turning) == 2 * len(larkfield.loudspeakers) > 2
    errors = np.arange(1.0, len(turning) + 1) / 10
    changes = INPUTS["aim_deg"].changes(alone, turning, errors)
    moved = [
        changes["groups", group.name, key] - getattr(group, key)
        for group in alone.groups
        for key in ("pan_deg", "downtilt_deg")
    ]
    assert np.mod(np.array(moved) + 180, 360) - 180 == pytest.approx(errors)
    drawn = next(iter(uncertainty._errors([len(turning)], 20, 1)))[0]
    assert len(set(drawn)) == len(turning)


def test_draws_that_cannot_be_hung_are_left_out(monkeypatch):
    """Behavior: every other draw is refused: half of them remain and count; when all are refused it
    is said.
    """
    real, calls = uncertainty.changed, []

    def sometimes(*args):
        calls.append(1)
        if len(calls) % 2:
            raise ValueError("two loudspeakers meet")
        return real(*args)

    monkeypatch.setattr(uncertainty, "changed", sometimes)
    found = how_sure(DOVECOTE, draws=40)
    assert found.draws == 20 and all(len(r.values) == 20 for r in found.ranges)
    monkeypatch.setattr(uncertainty, "changed", lambda *_: (_ for _ in ()).throw(ValueError("no")))
    with pytest.raises(ValueError, match="none of the draws can be hung"):
        how_sure(DOVECOTE, draws=20)


def test_octave_noise_stays_in_its_limits():
    """Behavior: a noise near the loudest that a scenario may hold is not drawn beyond it."""
    s = replace(DOVECOTE, uses=(replace(DOVECOTE.uses[0], noise_dba=None, noise_db=(119.0,) * 7),))
    assert how_sure(s, unknowns=only(noise_db=5.0), draws=20).draws == 20


def test_the_same_seed_gives_the_same_and_stopping_gives_nothing():
    """Invariance: the same seed, the same values; progress runs to 1; a stop in between gives None
    rather than half an answer.
    """
    shares = []
    a, b = (how_sure(DOVECOTE, draws=20, progress=shares.append) for _ in range(2))
    assert all(np.array_equal(x.values, y.values) for x, y in zip(a.ranges, b.ranges, strict=True))
    assert shares[-1] == pytest.approx(1.0)
    assert shares == sorted(shares[: len(shares) // 2]) * 2
    assert how_sure(DOVECOTE, draws=20, stop=lambda: len(shares) > 0) is None
    c = how_sure(DOVECOTE, draws=20, seed=2)
    assert not np.array_equal(a.ranges[0].values, c.ranges[0].values)


def test_every_unknown_reaches_something():
    """Invariance: each of the five by itself moves at least one criterion, and the whole range is
    at least nearly as wide as the widest of them.
    """
    larkfield = how_sure(load(SCENARIOS / "larkfield.toml"), "game", draws=60)
    for name in WORDS:
        assert max(r.alone[name] / max(abs(r.value), 1e-9) for r in larkfield.ranges) > 1e-3, name
    for r in (
        r for r in larkfield.ranges if r.criterion != "arrival_spread"
    ):  # that one jumps when an arrival comes within 10 dB
        assert r.high - r.low > 0.5 * max(r.alone.values())


def test_refusals():
    """Behavior: spreads and numbers of draws outside their range are refused in one line."""
    with pytest.raises(
        ValueError, match=r"noise_db = -1 dB is outside 0 to 20 dB\. One standard deviation"
    ):
        InputSpread(noise_db=-1)
    with pytest.raises(ValueError, match=r"draws = 3 is outside 20 to 5000"):
        how_sure(DOVECOTE, draws=3)


@pytest.mark.parametrize(
    "given, said",
    [
        (dict(unknowns=3), "^unknowns = 3 is no InputSpread. Give an InputSpread"),
        (dict(unknowns=0), "^unknowns = 0 is no InputSpread"),
        (dict(draws=0), "^draws = 0 is outside 20 to 5000"),
        (dict(draws=20.5), "^draws = 20.5 is no whole number"),
        (dict(draws=True), "^draws = True is not a number"),
        (dict(seed=-1), "^seed = -1 is outside 0 to"),
        (dict(use="gmae"), "^use 'gmae' is unknown"),
    ],
)
def test_what_is_no_choice_is_refused_by_name(given, said):
    """Behavior: every argument of another kind is refused in one line that names it."""
    with pytest.raises(ValueError, match=said):
        how_sure(DOVECOTE, **given)
    with pytest.raises(ValueError, match="^scenario = None is no Scenario"):
        how_sure(None)


def test_the_former_name_is_understood_and_said_once():
    """Behavior: Unknowns means what InputSpread means."""
    with pytest.warns(FutureWarning, match=r"^Unknowns\(\.\.\.\) is now InputSpread") as said:
        assert Unknowns(noise_db=2.0) == InputSpread(noise_db=2.0)
    assert said[0].filename == __file__
