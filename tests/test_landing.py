"""Where the sound lands first: the fan of rays against integrals and solid angles, and rooms that
leak no ray.
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from arrays import OMNI
from hypothesis import given, settings
from hypothesis import strategies as st
from schools import CASES, SCENARIOS

from gymtools.acoustics.criteria import CRITERIA
from gymtools.acoustics.evaluate import evaluate
from gymtools.physics import bands
from gymtools.physics.geometry import first_hit, pack, rotation
from gymtools.physics.landing import (
    DIRECTION,
    RAYS,
    SHARE,
    best_share,
    by_aim,
    cast,
    even_fan,
    ray_fan,
    shares,
)
from gymtools.venue.balcony import Balcony
from gymtools.venue.configuration import HallConfiguration
from gymtools.venue.court import court
from gymtools.venue.hall import SIDES, Hall
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.seating import Bank
from gymtools.venue.stage import PortableStage, Stage

HARD = dict(floor="wood floor", roof="plain deck", walls="painted block")
angle = st.floats(-180, 180)
many_rays = lru_cache(lambda: ray_fan(60_000))


@pytest.mark.parametrize("count", [200, RAYS, 60_000])
def test_fan_stands_for_the_sphere(count):
    """Closed form: shares sum to 1, are largest behind, and their directions average to nothing
    (1/count).
    """
    direction, share = ray_fan(count)
    assert share.sum() == pytest.approx(1, abs=1e-5)
    np.testing.assert_allclose(np.linalg.norm(direction, axis=1), 1, atol=1e-6)
    assert np.all(np.diff(direction[:, 0]) < 0) and np.all(np.diff(share) > 0)
    # FRONT, less the half step at either end
    assert share[-1] / share[0] == pytest.approx(8, rel=0.05)
    assert share @ direction == pytest.approx([0] * 3, abs=2 / count + 1e-5)


@pytest.mark.parametrize(
    "pattern, mean",
    [
        (lambda v: v[..., 0] ** 2, 1 / 3),
        (lambda v: v[..., 1] ** 2, 1 / 3),
        (lambda v: v[..., 2] ** 2, 1 / 3),
        (lambda v: ((1 + v[..., 0]) / 2) ** 2, 1 / 3),
        (lambda v: ((1 - v[..., 2]) / 2) ** 2, 1 / 3),
        (lambda v: np.maximum(v[..., 0], 0) ** 8, 1 / 18),
        (lambda v: (v[..., 0] * v[..., 1]) ** 2, 1 / 15),
    ],
)
def test_fan_integrates(pattern, mean):
    """Closed form: means over the sphere of dipoles, cardioids and a narrow beam; 1500 rays do them
    to 0.2 %.
    """
    assert SHARE @ pattern(DIRECTION) == pytest.approx(mean, rel=2e-3)


@pytest.mark.parametrize("name", loudspeaker_types())
def test_rays_carry_all_there_is(name):
    """Closed form: every band sums to 1, and the on-axis ray carries Q over the mean, within the 2
    % of 1500 rays.
    """
    t = loudspeaker_types()[name]
    carried = t.balloon.ray_energy
    assert carried.shape == (RAYS, 7) and carried.min() >= 0
    assert carried.sum(axis=0) == pytest.approx(np.ones(7), abs=1e-5)
    if t.lobes == 1:
        assert carried[0] / SHARE[0] == pytest.approx(10 ** (t.index_db / 10), rel=0.02)


@given(pan=angle, tilt=st.floats(-90, 90))
def test_cube_gets_a_sixth_on_each_face(pan, tilt):
    """Closed form: an even source in the middle of a cube, however turned; 0.01 of 1500 rays, 250
    to a face.
    """
    corners = np.array([[1, 1, 1], [1, -1, 1], [1, -1, -1], [1, 1, -1]], float) * 4
    faces = [np.roll(s * corners, k, axis=1) for k in range(3) for s in (1, -1)]
    index, way = cast([[0, 0, 0]], rotation([pan], [tilt]), pack(faces))
    share = shares(index[0], OMNI.ray_energy, 6)
    assert share[:, 0].sum() == pytest.approx(1, abs=1e-5)
    np.testing.assert_allclose(share, 1 / 6, atol=0.01)
    assert way.min() == pytest.approx(4, abs=0.02) and way.max() <= 4 * np.sqrt(3) + 0.01


@given(
    a=st.floats(1, 15),
    b=st.floats(1, 15),
    x=st.floats(-10, 10),
    y=st.floats(-10, 10),
    d=st.floats(1, 8),
    pan=angle,
)
def test_share_is_a_solid_angle(a, b, x, y, d, pan):
    """Closed form: a rectangle seen from a point, four arctangents over 4 pi; 0.012 for
    1500 rays.
    """
    rectangle = np.array([[x, y, 0], [x + a, y, 0], [x + a, y + b, 0], [x, y + b, 0]])
    index, _ = cast([[0, 0, d]], rotation([pan], [90]), pack([rectangle]))
    corner = [
        [np.arctan(u * v / (d * np.sqrt(u * u + v * v + d * d))) for v in (y, y + b)]
        for u in (x, x + a)
    ]
    solid_angle = corner[1][1] - corner[0][1] - corner[1][0] + corner[0][0]
    share = shares(index[0], OMNI.ray_energy, 1)
    np.testing.assert_allclose(share, solid_angle / (4 * np.pi), atol=0.012)


def test_shares_leave_out_what_met_nothing():
    """Closed form: by hand, three polygons and four rays in two bands."""
    carried = np.array([[0.1, 0.2], [0.2, 0.3], [0.3, 0.4], [0.4, 0.1]])
    want = [[0.3, 0.4], [0, 0], [0.5, 0.3]]
    np.testing.assert_allclose(shares(np.array([2, -1, 0, 2]), carried, 3), want, atol=1e-15)


@pytest.mark.parametrize("name", SCENARIOS)
def test_1500_rays_are_enough(name):
    """Invariance: what lands on each bank, block of chairs and the court, within 0.01
    of 60 000 rays.
    """
    scenario, (fan, share) = SCENARIOS[name], many_rays()
    fullest = max(scenario.uses, key=lambda use: len(use.set_up)).name
    room, areas = scenario.configuration(fullest).room, scenario.configuration(fullest).areas
    places = [k for k, s in enumerate(room.surfaces) if s.part in areas]
    assert {room.surfaces[k].part for k in places} == set(areas)
    for c in scenario.loudspeakers:
        axes = rotation([c.pan_deg], [c.downtilt_deg])
        index, _ = cast([c.position], axes, room.polygons)
        few = shares(index[0], c.type.balloon.ray_energy, len(room.surfaces))
        carried = c.type.balloon.toward(fan) * share[:, None]
        index, _ = first_hit([c.position], fan @ axes.astype(np.float32), room.polygons)
        many = shares(index[0], carried / carried.sum(axis=0), len(room.surfaces))
        np.testing.assert_allclose(few[places], many[places], atol=0.01, err_msg=c.tag)


@settings(max_examples=40, deadline=None)
@given(
    case=st.sampled_from([(name, use.name) for name, s in SCENARIOS.items() for use in s.uses]),
    x=st.floats(-1, 1),
    y=st.floats(-1, 1),
    z=st.floats(0, 1),
    pan=angle,
    tilt=st.floats(-30, 90),
)
def test_scenarios_leak_no_ray(case, x, y, z, pan, tilt):
    """Invariance: in every use, from any place a loudspeaker may hang, aimed anywhere, every ray
    meets a surface.
    """
    hall, room = SCENARIOS[case[0]].hall, SCENARIOS[case[0]].configuration(case[1]).room
    place = [x * (hall.length / 2 - 0.15), y * (hall.width / 2 - 0.15), 0.0]
    place[2] = 2.2 + z * (min(hall.clear_height, float(hall.roof_height(place[1]))) - 2.2) - 0.01
    index, way = cast([place], rotation([pan], [tilt]), room.polygons)
    assert index.min() >= 0
    assert way.max() < np.hypot(hall.length, hall.width) + 25, (
        "no further than across the hall and a stage"
    )


@settings(max_examples=40, deadline=None)
@given(
    beside=st.floats(0, 0.02),
    beyond=st.floats(0, 0.02),
    ridge=st.sampled_from([None, 9.0, 11.0]),
    side=st.sampled_from(SIDES),
    wide=st.floats(3, 15),
    offset=st.floats(-1, 1),
    shut=st.booleans(),
    pan=angle,
)
def test_other_rooms_leak_no_ray(beside, beyond, ridge, side, wide, offset, shut, pan):
    """Invariance: courts that almost fill the hall, gables, stages up to the corners, banks,
    curtain, deck, balcony.
    """
    lines = court("high school")
    hall = Hall(
        length=lines.length + beyond,
        width=lines.width + beside,
        height=8,
        ridge_height=ridge,
        clear_height=7,
        **HARD,
    )
    wall = hall.length if side in ("north", "south") else hall.width
    stage = Stage(
        side=side, width=wide, opening_height=4, depth=5, offset=offset * (wall - wide) / 2
    )
    other = {"north": "south", "south": "north", "east": "west", "west": "east"}[side]
    bank = Bank(
        name="bank",
        side=other,
        rows=6,
        row_run=0.6,
        row_rise=0.3,
        length=wide,
        offset=-offset * (wall - wide) / 2,
        open=not shut,
    )
    deck = PortableStage(name="deck", x=4, length=4, width=6, height=0.6)
    gallery = Balcony(name="gallery", side=other, depth=2, height=5, length=wide, rows=1)
    room = HallConfiguration(
        hall=hall,
        court=lines,
        banks=(bank,),
        stage=stage,
        curtain_open=not shut,
        portable_stages=(deck,),
        balconies=(gallery,),
    ).room
    places = np.array(
        [[0, 0, 5], [0.4 * hall.length, 0.4 * hall.width, 6.9], [-0.4 * hall.length, 0, 4.5]]
    )
    index, _ = cast(places, rotation([pan] * 3, [0, 45, 90]), room.polygons)
    assert index.min() >= 0


# --- what aim can reach


@pytest.mark.parametrize("count", [100, 1500])
def test_even_fan(count):
    """Closed form: unit vectors that average to nothing, as many in every cap as its area."""
    direction = even_fan(count)
    np.testing.assert_allclose(np.linalg.norm(direction, axis=1), 1, atol=1e-6)
    assert np.abs(direction.mean(axis=0)).max() < 2 / count
    rng = np.random.default_rng(0)
    for axis in rng.normal(size=(20, 3)):
        cosine = direction @ axis / np.linalg.norm(axis)
        for least in (-0.5, 0.0, 0.5):
            assert (cosine > least).mean() == pytest.approx(
                (1 - least) / 2, abs=0.4 / np.sqrt(count)
            )


def test_an_omni_cannot_be_aimed():
    """Closed form: the best share of an omni is the solid angle of what listens."""
    direction = even_fan(1500)
    listens, aims = direction[:, 2] < -0.4, by_aim(direction, OMNI, bands.SPEECH)
    assert best_share(aims, listens) == pytest.approx(0.3, abs=0.005)
    assert best_share(aims, listens & False) == 0


@pytest.mark.parametrize("name", ["two-way 90x60", "two-way 60x40", "pendant 100"])
def test_the_best_aim_by_brute_force(name):
    """Independent: every 5 degrees of pan and tilt, with the fan that goes with the loudspeaker;
    listeners are a patch ahead and below.
    """
    direction = even_fan(1500)
    balloon = loudspeaker_types()[name].balloon
    patch = np.array([0.7, 0.2, -0.68])

    def onto(directions):
        return directions @ patch / np.linalg.norm(patch) > 0.9

    pan, tilt = (a.ravel() for a in np.meshgrid(np.arange(-60, 90, 5), np.arange(0, 91, 5)))
    carried = balloon.ray_energy[:, bands.SPEECH].mean(axis=1)
    want = max((carried * onto(DIRECTION @ axes)).sum() for axes in rotation(pan, tilt))
    found = best_share(by_aim(direction, balloon, bands.SPEECH), onto(direction))
    assert found == pytest.approx(want, rel=0.05)


def onto_people(scenario, use):
    """Verdict on sound onto people."""
    (verdict,) = CRITERIA["on_listeners"].judge(evaluate(scenario, use, room="statistical"))
    return verdict


def test_a_good_design_meets_and_poor_aim_misses():
    """Trade fact: common practice, no source. Sound onto people as shipped, against 60 % of what
    the same loudspeakers reach aimed at best (17 to 70 % lands on people, the best is 20 to 73 %):
    15 of 17 uses meet it, one is close, one misses; with every loudspeaker 15 degrees too high 5
    meet it: four where it hangs over the people or the floor takes most, and one at its limit.
    """
    shipped = [onto_people(SCENARIOS[name], use).word for name, use in CASES]
    raised = [
        onto_people(
            replace(
                SCENARIOS[name],
                groups=tuple(
                    replace(g, downtilt_deg=max(g.downtilt_deg - 15, -30))
                    for g in SCENARIOS[name].groups
                ),
            ),
            use,
        ).word
        for name, use in CASES
    ]
    assert shipped.count("meets") >= 14 and shipped.count("misses") <= 1
    assert raised.count("meets") <= 6


@pytest.mark.parametrize("name, use", CASES)
def test_the_target_follows_from_what_aim_can_reach(name, use):
    """Closed form: 60 % of the best, unless the school asks for a figure; no aim as shipped is
    better than the best by more than the rays allow.
    """
    scenario = SCENARIOS[name]
    v = onto_people(scenario, use)
    assert v.target == pytest.approx(0.6 * v.facts["best"])
    assert v.value <= v.facts["best"] * 1.05
    assert f"{v.facts['best']:.0f} %" in v.sentence and f"{v.target:.0f} %" in v.sentence
    own = replace(scenario, targets=replace(scenario.targets, on_listeners_pct=50.0))
    asked = onto_people(own, use)
    assert (asked.target, asked.source) == (50.0, "set for this school")
    assert asked.value == v.value
