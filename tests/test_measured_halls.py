"""The model held against published halls: what it gives, how far it is off, and whether the range
that is stated holds what was measured.
"""

import dataclasses
from html import escape

import numpy as np
import pytest
from scipy.stats import t as student

from gymtools.acoustics import model_error
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.measured_halls import USE, compare_decays, measured_halls
from gymtools.display import tables
from gymtools.physics import bands, intelligibility, reverberation
from gymtools.physics.scattering import of_relief
from gymtools.venue import room
from gymtools.venue.finishes import FINISHES

HALLS = {hall.name.split(",")[0]: hall for hall in measured_halls()}
COUNTED = [hall for hall in measured_halls() if hall.counts]
GYM, BLOCK_ROOM = HALLS["Shroyer Gym"], HALLS["Small block room (US)"]
METAL_HALL = HALLS["Salco sports hall"]
DEPTH = 0.15  # of the relief whose share is set from halls [m]


@pytest.fixture(scope="module")
def compared():
    """All published decays beside formula and tracer."""
    return compare_decays()


def log_ratios(comparisons, hall=None):
    """Logarithms of measured over traced, of one hall."""
    return np.array([c.log_ratio for c in comparisons if hall is None or c.hall is hall])


def mean_and_spread(comparisons):
    """Mean and deviation over halls, every hall counting the same."""
    halls = list({id(c.hall): c.hall for c in comparisons}.values())
    own = [log_ratios(comparisons, hall) for hall in halls]
    weights = np.concatenate([np.full(len(one), 1 / len(one)) for one in own])
    values = np.concatenate(own)
    mean = np.average(values, weights=weights)
    return mean, np.sqrt((weights * (values - mean) ** 2).sum() / (len(halls) - 1)), len(halls)


def inside(comparisons, mean, spread, count):
    """Whether each measured decay lies in the 10 to 90 % range that so many halls give."""
    half = student.ppf(0.9, count - 1) * spread * np.sqrt(1 + 1 / count)
    return np.abs(log_ratios(comparisons) - mean) <= half


def test_every_hall_says_what_it_rests_on():
    """Behavior: a source with a year or its lack, something that had to be assumed, and a shape
    within 2 % of the published volume.
    """
    assert len(measured_halls()) == 7 and len(COUNTED) == model_error.HALLS
    for hall in measured_halls():
        assert hall.assumed and all(hall.assumed)
        assert any(word in hall.source for word in ("20", "undated"))
        assert hall.length * hall.width * hall.height == pytest.approx(hall.volume, rel=0.02)
        for state in hall.states:
            s = hall.scenario(state)
            assert {s.hall.floor, s.hall.roof, s.hall.walls} <= set(FINISHES) and state.decays
            assert s.use(USE).occupied == {} and s.loudspeakers[0].type.index_db == pytest.approx(0)


def test_the_stated_error_is_what_the_published_halls_give(compared):
    """Regression: mean and deviation of measured over traced T20, and their number."""
    mean, spread, count = mean_and_spread([c for c in compared if c.hall.counts])
    assert model_error.T20_MEAN == pytest.approx(mean, abs=0.03)
    assert model_error.T20_SPREAD == pytest.approx(spread, abs=0.03)
    assert model_error.HALLS == count


def test_the_stated_range_holds_four_in_five(compared):
    """Printed: of all measured decays, counted or not, at least four in five lie in the range."""
    low, high = np.transpose([model_error.range_of_decay(c.traced) for c in compared])
    measured = np.array([c.decay.seconds for c in compared])
    assert np.mean((low <= measured) & (measured <= high)) >= 0.8


def test_a_range_made_without_a_hall_holds_most_of_the_halls(compared):
    """Printed: each hall against the range that the other counted halls give: three in four of the
    counted halls, two in three or more of all, are inside with all their decays.
    """
    counted = [c for c in compared if c.hall.counts]
    held = {}
    for hall in measured_halls():
        rest = [c for c in counted if c.hall is not hall]
        own = [c for c in compared if c.hall is hall]
        held[hall.name] = inside(own, *mean_and_spread(rest)).all()
    assert np.mean([held[hall.name] for hall in COUNTED]) >= 0.75
    assert np.mean(list(held.values())) >= 2 / 3


def with_settings(halls, share=0.6, deck=0.10):
    """Comparisons of some halls with another share of uneven surface and another absorption of
    plain decks, as they are set from halls.
    """
    scattering = of_relief(DEPTH, share=share)
    changed = {
        name: dataclasses.replace(row, scattering=scattering)
        if row.scattering_source.startswith("fitted")
        else row
        for name, row in FINISHES.items()
    }
    changed["plain deck"] = dataclasses.replace(changed["plain deck"], absorption=[deck] * 7)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(room, "FINISHES", changed)
        return compare_decays(halls)


def treated(comparisons):
    """Those whose absorption lies on one surface: there scattering matters."""
    return [c for c in comparisons if "sprayed" in c.state.name or "carpet" in c.state.name]


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


SHARES = (0.1, 0.4, 0.6, 0.7, 0.8)


@pytest.fixture(scope="module")
def misfits():
    """Root mean square of the logarithms of gym and block room, treated, by share."""
    return {
        hall.name: {s: rms(log_ratios(treated(with_settings([hall], s)))) for s in SHARES}
        for hall in (GYM, BLOCK_ROOM)
    }


def test_scattering_set_from_one_hall_is_checked_on_the_other(misfits):
    """Printed: set from the gym alone the block room comes out within 15 %; set from the block room
    alone the treated gym comes out about twice too long. So the gym sets it, and one hall is
    little.
    """
    gym, block = misfits[GYM.name], misfits[BLOCK_ROOM.name]
    from_gym, from_block = min(gym, key=gym.get), min(block, key=block.get)
    assert block[from_gym] < 0.15
    assert 0.5 < gym[from_block] < 1.0
    assert from_block < 0.5 < from_gym
    # the least share that is within chance (0.05) of the best of both together
    both = {s: np.hypot(gym[s], block[s]) for s in SHARES}
    assert min(s for s in SHARES if both[s] < min(both.values()) + 0.05) == 0.6
    painted = FINISHES["painted block"].scattering
    assert painted == pytest.approx(of_relief(DEPTH, share=0.6), abs=0.006)


def test_halls_predicted_from_the_others_lie_in_the_stated_range(misfits, compared):
    """Printed: with scattering and decks set without a hall, its decays lie in the stated range as
    often as is said, four in five or a little more.
    """
    gym, block = misfits[GYM.name], misfits[BLOCK_ROOM.name]
    metal = _left_over(METAL_HALL, METAL_HALL.states[0].decays[0])
    deck = np.mean([_left_over(GYM, d) for d in GYM.states[0].decays])
    apart = [
        *with_settings([GYM], min(block, key=block.get), metal),
        *with_settings([BLOCK_ROOM], min(gym, key=gym.get)),
        *with_settings([METAL_HALL], deck=deck),
        *(c for c in compared if c.hall not in (GYM, BLOCK_ROOM, METAL_HALL)),
    ]
    low, high = np.log(model_error.decay_factor(np.array([0.1, 0.9])))
    held = (low <= log_ratios(apart)) & (log_ratios(apart) <= high)
    assert len(apart) == model_error.HELD[1]
    assert (
        abs(held.sum() - model_error.HELD[0]) <= 1
    )  # one lies at its edge, within the rays' error
    assert 0.75 <= held.mean() < 1


def test_decks_absorb_what_two_halls_leave_over():
    """Worked by hand: Sabine's area of the measured decay less that of the other surfaces, over the
    deck: 0.04, 0.11 and 0.16 in the gym (125 to 500 Hz), 0.10 in the metal hall.
    """
    gym = np.array([_left_over(GYM, d) for d in GYM.states[0].decays])
    metal = _left_over(METAL_HALL, METAL_HALL.states[0].decays[0])
    assert gym == pytest.approx([0.04, 0.11, 0.16], abs=0.02)
    assert metal == pytest.approx(0.10, abs=0.02)
    # set from one, checked on the other
    assert gym.mean() == pytest.approx(metal, abs=0.03)
    assert FINISHES["plain deck"].absorption == pytest.approx(np.full(7, gym.mean()), abs=0.01)


def _left_over(hall, decay):
    """Absorption of the deck that the measured decay leaves over."""
    s = hall.scenario(hall.states[0])
    surfaces, result = s.surfaces(s.uses[0]), evaluate(s, room="statistical")
    deck = np.array([x.finish == "plain deck" for x in s.room.surfaces])
    at = list(decay.octaves)
    other = surfaces.area[~deck] @ surfaces.absorption[~deck]
    air = 4 * result.sources.decay * surfaces.volume
    whole = 24 * np.log(10) / result.sources.speed * surfaces.volume / decay.seconds
    return float((whole - (other + air)[at].mean()) / surfaces.area[deck].sum())


def test_the_formula_is_far_too_short_under_an_absorbing_roof(compared):
    """Printed: the treated gym was measured at twice the formula's time; traced within 30 %."""
    sprayed = [c for c in compared if "sprayed" in c.state.name]
    assert len(sprayed) == 2
    assert all(np.exp(c.log_ratio_formula) > 1.9 for c in sprayed)
    assert all(abs(c.log_ratio) < np.log(1.3) for c in sprayed)


def test_ranges_are_ordered_and_hold_the_traced_value():
    """Closed form: quantiles of Student's t; the traced time lies in its own range; level and STI
    follow the decay.
    """
    assert np.log(model_error.decay_factor(0.5)) == pytest.approx(model_error.T20_MEAN)
    low, high = model_error.range_of_decay([1.0, 2.0])
    assert np.all(low < [1, 2]) and np.all(high > [1, 2]) and high[1] == pytest.approx(2 * high[0])
    drawn = model_error.decay_factor(np.random.default_rng(1).uniform(size=20_000))
    assert np.mean((drawn > low[0]) & (drawn < high[0])) == pytest.approx(0.8, abs=0.01)
    assert 0.2 < model_error.relative_spread() < 0.5
    level = model_error.range_of_late_level()
    assert level == pytest.approx(10 * np.log10([low[0], high[0]]))
    worse, better = model_error.range_of_sti(np.full(7, 2.0))
    assert -0.15 < worse < 0 < better < 0.2


def test_the_table_shows_every_decay_and_where_it_is_wrong(compared):
    """Behavior: one row a decay with its source; halls that do not count are marked; the sentences
    name what is traced wrong by more than a quarter, and that a measured decay would help.
    """
    shown = tables.halls_table(compared)
    assert shown.count("<tr>") == 1 + len(compared)
    assert all(escape(c.hall.source) in shown for c in compared)
    assert shown.count(" *</td>") == sum(not c.hall.counts for c in compared)
    assert all(escape(one) in tables.assumed_list(compared) for one in GYM.assumed)
    words = " ".join(tables.error_sentences(compared))
    far = [c for c in compared if abs(c.traced / c.decay.seconds - 1) > 0.25]
    assert far and all(f"{c.hall.name}, {c.state.name}, {c.decay.label}" in words for c in far)
    assert model_error.NARROWER in words
    assert tables.shown_halls(measured_halls(), "counted") == tuple(COUNTED)


# Whole-room cases with printed results that are no measurements.

# A shoebox of uneven absorption, traced by a building-physics group: teaching page, Delft, B.15
# (method: NAG/DAGA 2009). T from -5 to -35 dB; level of a source of 70 dB power level, and STI, at
# about 14.5 m. Neither air nor scattering nor positions are printed: 125 Hz has the least air, and
# one scattering and one position of the source are found that come near both.
PRINTED = {  # absorption of the ceiling (0.1 elsewhere): EDT [s], T [s], level [dB], STI
    0.1: (6.7, 6.5, 48.0, 0.26),
    0.7: (4.3, 6.1, 42.9, 0.45),
}
DISTANCE = 14.5  # [m]


@pytest.fixture(params=PRINTED, ids=["even", "ceiling"])
def sports_hall(request, monkeypatch):
    """The traced result of that hall, its neighbors at that distance, and what is printed."""
    alike = {name: dataclasses.replace(f, scattering=0.07) for name, f in FINISHES.items()}
    monkeypatch.setattr(room, "FINISHES", alike)
    state = dataclasses.replace(
        GYM.states[0], floor="synthetic floor", roof="wood lining", walls="hard wall"
    )
    hall = dataclasses.replace(GYM, length=70.0, width=25.0, height=12.0)
    wanted = {"synthetic floor": 0.1, "wood lining": request.param, "hard wall": 0.1}
    factors = {n: [a / x for x in FINISHES[n].absorption] for n, a in wanted.items()}
    s = hall.scenario(state)
    alone = dataclasses.replace(s.groups[0], number=1, x=21.0, y=6.25)
    s = dataclasses.replace(s, groups=(alone,), absorption_factors=factors)
    result = evaluate(s, room="traced")
    away = np.linalg.norm(result.points - result.sources.position[0], axis=1)
    return result, np.abs(away - DISTANCE) < 1.5, PRINTED[request.param]


def test_a_sports_hall_of_uneven_absorption_comes_near_another_tracer(sports_hall):
    """Printed: EDT and T within 20 %, level within 1.2 dB, STI within 0.04 of another tracer's, for
    even absorption and for an absorbing ceiling, where Sabine's formula gives a third of the T.
    """
    result, near, (edt, t, level_db, sti) = sports_hall
    assert result.decay_times["edt"][0] == pytest.approx(edt, rel=0.20)
    assert result.decay_times["t30"][0] == pytest.approx(t, rel=0.20)
    power_db = bands.to_level(result.sources.on_axis[0, 0]) + 10 * np.log10(4 * np.pi)
    ours_db = bands.to_level(bands.to_energy(result.total_db[near, 0]).mean()) + 70 - power_db
    assert ours_db == pytest.approx(level_db, abs=1.2)
    mtf = result.reverberant.modulation(
        result.direct[:, near], result.arrival_s[:, near], result.points[near]
    )
    alike = np.repeat(np.asarray(mtf[:, :1], float), 7, axis=1)
    assert intelligibility.sti(alike).mean() == pytest.approx(sti, abs=0.04)


# EN 12354-6:2003 Annex E, 1 kHz, as a public test suite carries it; the standard was not seen.
ANNEX_E = {  # absorption and area of one long wall's lining: A [m2], T [s]
    None: (2.26, 2.1),
    (0.85, 0.9 * 4.54 * 2.40): (10.21, 0.5),
}


@pytest.mark.parametrize("lining, printed", ANNEX_E.items(), ids=["bare", "one long wall lined"])
def test_a_small_room_equals_the_standards_example(lining, printed):
    """Printed: absorption area and reverberation time of EN 12354-6 Annex E by Sabine, c 345.6 m/s,
    0.16 for 0.161 and no air: within 2 %, and to the printed digit.
    """
    length, width, height = 4.54, 2.73, 2.40
    walls = 2 * (length + width) * height
    area = [length * width, length * width, walls]
    absorption = [0.05, 0.02, 0.04]
    if lining:
        area, absorption = [*area[:2], walls - lining[1], lining[1]], [*absorption, lining[0]]
    whole = np.dot(area, absorption)
    t = reverberation.reverberation_time(
        length * width * height,
        np.array(area),
        np.array(absorption)[:, None],
        speed_of_sound=345.6,
        formula="sabine",
    )
    assert whole == pytest.approx(printed[0], rel=0.02)
    assert round(float(t[0]), 1) == printed[1]
