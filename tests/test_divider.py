"""A gym that a curtain divides for two classes: what goes through, by rays and by the balance of
two rooms, and what one class hears of the other.
"""

import html
from dataclasses import replace

import numpy as np
import pytest
from arrays import sources_of
from schools import SCENARIOS

import gymtools
from gymtools.acoustics.divided import balance, half
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.room_decay import free_spots
from gymtools.acoustics.throws import section
from gymtools.commissioning.plan import as_tested
from gymtools.display.documents.drawings import drawing
from gymtools.display.tables.room import room_table
from gymtools.physics import bands, counting, tracing
from gymtools.physics.geometry import polygon_area, rotation
from gymtools.physics.partitions import coupled_decays, coupled_energy
from gymtools.physics.reverberation import absorption_area
from gymtools.venue.divider import Divider
from gymtools.venue.loudspeakers import Group
from gymtools.venue.memory import Memory
from gymtools.venue.uses import GroupSetting, Use

DOVECOTE = SCENARIOS["dovecote"]  # 26 x 19.5 x 7.6 m, flat roof
CURTAIN = Divider(x=0.0, surface_density=0.7)
OFF = GroupSetting(on=False)


def group(name, x):
    """One loudspeaker that looks down on half of the court."""
    return Group(
        name=name,
        tag=name[0].upper(),
        loudspeaker="pendant 100",
        x=x,
        y=0.0,
        height=6.0,
        pan_deg=0,
        downtilt_deg=90,
    )


def program(name, listens, silent, beside=None, **more):
    return Use(
        name=name,
        target_dba=70,
        noise_dba=40,
        listens={listens: 1.0},
        groups={silent: OFF},
        divided=True,
        beside=beside,
        **more,
    )


PROGRAMS = (
    program("west class", "court west", "east", "east class"),
    program("east class", "court east", "west", "west class"),
)


def divided(divider=CURTAIN, uses=PROGRAMS, **more):
    """A gym without seats, divided in the middle, a class on each side."""
    bare = dict(
        banks=(),
        floor_seats=(),
        portable_stages=(),
        microphones=(),
        measured_room=None,
        room_fit=None,
    )
    made = dict(groups=(group("west", -7.0), group("east", 6.0)), uses=uses, divider=divider)
    return replace(DOVECOTE, **{**bare, **made, **more}, memory=Memory())


def test_its_place_and_its_halves():
    """Worked by hand: a curtain 19.5 m wide and 7.6 m high, both faces count; the halves' areas and
    volumes add up to the gym's, 13 + 3 to 13 - 3 with the curtain at 3 m.
    """
    s = divided(replace(CURTAIN, x=3.0), uses=(PROGRAMS[0], PROGRAMS[1]))
    use = s.uses[0]
    configuration, surfaces = s.configuration(use.name), s.surfaces(use)
    sheet = [one for one in configuration.room.surfaces if one.part == "divider"]
    assert len(sheet) == 1 and sheet[0].area == pytest.approx(2 * 19.5 * 7.6)
    west, east = (half(configuration, surfaces, side) for side in (0, 1))
    assert (west.volume, east.volume) == pytest.approx((16 * 19.5 * 7.6, 10 * 19.5 * 7.6), rel=1e-3)
    np.testing.assert_allclose(west.area + east.area, surfaces.area)
    walls = 16 * 19.5 * 2 + 2 * 16 * 7.6 + 2 * 19.5 * 7.6
    assert west.area.sum() == pytest.approx(walls, rel=1e-6)
    assert {"court west", "court east"} == set(configuration.areas)
    assert configuration.areas["court west"].points[:, 0].max() < 3.0 - 0.3
    ridged = replace(DOVECOTE.hall, ridge_height=9.0)
    assert len(CURTAIN.outline(ridged)) == 5
    assert polygon_area(CURTAIN.outline(ridged)) == pytest.approx(19.5 * (7.6 + 9.0) / 2)
    along = Divider(y=2.0, height=5.0, surface_density=1.0).outline(DOVECOTE.hall)
    assert polygon_area(along) == pytest.approx(26 * 5)


@pytest.mark.parametrize("engine", ["compiled", "arrays"])
def test_rays_through_the_curtain_keep_their_energy(engine):
    """Invariance: absorbed by surfaces and air, or left, is all that was sent, to 1e-4; little is
    lost or gained by chance.
    """
    s = divided()
    source = sources_of([[-6.0, 1.0, 4.0]], rotation([0.0], [0.0]))
    surfaces, zones = s.surfaces(s.uses[0]), s.configuration("west class").zones
    rays = tracing.Rays(count=5000, rng=np.random.default_rng(2))
    found = tracing.trace(source, surfaces, zones, rays, engine=engine)
    np.testing.assert_allclose(found.absorbed.sum(axis=0) + found.air + found.left, 1.0, rtol=1e-4)
    assert np.abs(found.left).max() < 0.05


@pytest.mark.parametrize("engine", ["compiled", "arrays"])
def test_rays_agree_with_the_balance_of_two_rooms(engine):
    """Closed form: the level difference between two diffuse halves is (A_2 + S tau) / S tau,
    Kuttruff, Room Acoustics, ch. 5.8; rays in halves that scatter everything come within 0.4 dB.
    """
    loss = (9.0, 12.0, 15.0, 18.0, 21.0, 24.0, 27.0)
    s = divided(Divider(x=0.0, loss_db=loss))
    use = s.uses[0]
    configuration, surfaces = s.configuration(use.name), s.surfaces(use)
    surfaces = replace(
        surfaces,
        absorption=surfaces.passed + (1 - surfaces.passed) * 0.1,
        scattering=np.ones_like(surfaces.absorption),
    )
    source = sources_of([[-6.0, 1.0, 4.0]], rotation([0.0], [0.0]))
    zones = configuration.zones
    sums = np.zeros((len(zones), 7))
    for n in range(8 if engine == "compiled" else 2):
        rays = tracing.Rays(count=6000, rng=np.random.default_rng(n))
        sums += tracing.trace(source, surfaces, zones, rays, engine=engine).reflected.sum(axis=1)
    side = configuration.divider.side_of(zones.center)
    near, far = (
        np.average(sums[side == one], axis=0, weights=zones.volume[side == one]) for one in (0, 1)
    )
    balanced = balance(configuration, surfaces, np.zeros(7))
    want = bands.to_level(balanced[0, 0] / balanced[1, 0])
    # the rays' first flights are direct sound and not counted: of the energy of the near half the
    # share alpha that half takes of what meets it, of the far half its square
    near_half = half(configuration, surfaces, 0)
    alpha = near_half.area @ surfaces.met_absorption / near_half.area.sum()
    want = want + bands.to_level((1 - alpha) / (1 - alpha**2))
    np.testing.assert_allclose(bands.to_level(near / far), want, atol=0.4)


def test_rays_die_away_as_two_rooms_do():
    """Closed form: the far half of a lively and a soft one dies away with the longer of the coupled
    decay times; rays in halves that scatter everything come within 5 %.
    """
    s = divided(Divider(x=0.0, loss_db=(10.0,) * 7))
    configuration, surfaces = s.configuration("west class"), s.surfaces(s.uses[0])
    west = np.array([one.corners[:, 0].mean() < -1 for one in configuration.room.surfaces])
    own = np.where(west, 0.3, 0.06)[:, None] * np.ones(7)  # the whole west wall and floor are soft
    surfaces = replace(
        surfaces,
        absorption=surfaces.passed + (1 - surfaces.passed) * own,
        scattering=np.ones_like(own),
    )
    source, zones = sources_of([[-6.0, 1.0, 4.0]], rotation([0.0], [0.0])), configuration.zones
    course = 0.0
    for n in range(8):
        rays = tracing.Rays(count=6000, rng=np.random.default_rng(n))
        found = tracing.trace(source, surfaces, zones, rays).reflected.sum(axis=2)
        course = course + (found * zones.volume[:, None])[zones.center[:, 0] > 0].sum(axis=0)
    halves = [half(configuration, surfaces, side) for side in (0, 1)]
    areas = np.array(
        [absorption_area(h.area, h.absorption - h.passed, formula="eyring") for h in halves]
    )
    through = 19.5 * 7.6 * surfaces.passed.max(axis=0)
    longer = coupled_decays([h.volume for h in halves], areas, through, speed_of_sound=343.0)[0, 0]
    left_db = bands.to_level(course[::-1].cumsum()[::-1] / course.sum())
    use = (left_db < -10) & (left_db > -30)
    slope = np.polyfit(counting.EDGES[:-1][use] / 343.0, left_db[use], 1)[0]
    assert -60 / slope == pytest.approx(longer, rel=0.05)


def test_direct_sound_through_the_curtain():
    """Closed form: straight through, the direct sound loses the curtain's transmission loss; beside
    a curtain that is lower than the roof, what comes over its edge is added.
    """
    s = divided()
    source = sources_of([[-3.0, 0.0, 3.0]], rotation([0.0], [0.0]), speed=343.2)
    points = np.array([[4.0, 1.0, 1.5], [-6.0, 1.0, 1.5]])
    free = source.direct(points)[0][0]
    full = source.direct(points, s.configuration("west class").room.screens)[0][0]
    lost = bands.to_level(free / full)
    np.testing.assert_allclose(lost[0], CURTAIN.transmission_db, atol=1e-3)
    np.testing.assert_allclose(lost[1], 0.0, atol=1e-5)
    low = divided(replace(CURTAIN, height=5.0)).configuration("west class").room.screens
    over = bands.to_level(free / source.direct(points, low)[0][0])[0]
    assert (over < CURTAIN.transmission_db - 0.05).all()


@pytest.mark.parametrize("room", ["traced", "statistical"])
def test_the_other_class_is_noise(room):
    """Behavior: a class beside another hears its speech through the curtain: noise goes up, speech
    over it and intelligibility go down; a heavier curtain lets less through.
    """
    alone = tuple(replace(u, beside=None) for u in PROGRAMS)
    quiet = evaluate(divided(uses=alone), "west class", room=room, rays="few", follow_echoes=False)
    both = evaluate(divided(), "west class", room=room, rays="few", follow_echoes=False)
    heavy = evaluate(
        divided(replace(CURTAIN, surface_density=5.0)), "west class", room=room, rays="few"
    )
    assert quiet.spill_dba == -np.inf and 35 < both.spill_dba < 70
    assert heavy.spill_dba < both.spill_dba - 8
    np.testing.assert_allclose(both.total, quiet.total, rtol=1e-5)
    np.testing.assert_allclose(
        bands.to_energy(both.noise_db), bands.to_energy(quiet.noise_db) + both.spill
    )
    assert (both.sti < quiet.sti).mean() > 0.99
    assert both.speech_to_noise_db.mean() < quiet.speech_to_noise_db.mean() - 3


def test_traced_spill_agrees_with_the_formula():
    """Independent: by rays and by the balance of two diffuse fields the spill is alike within 3 dB:
    the textbook field is off by as much in a flat gym with a soft roof.
    """
    s = divided()
    traced, formula = (
        evaluate(s, "west class", room=room, follow_echoes=False).spill_dba
        for room in ("traced", "statistical")
    )
    assert traced == pytest.approx(formula, abs=3.0)


def test_the_decay_is_that_of_the_listeners_half():
    """Behavior: the gym's own decay is read in the half of those who listen, off the curtain."""
    s = divided(replace(CURTAIN, x=3.0))
    for use, side in zip(s.uses, (0, 1), strict=True):
        assert s.side(use) == side
        spots = free_spots(s.configuration(use.name), side)
        assert ((spots[:, 0] > 3.0) == bool(side)).all() and np.abs(spots[:, 0] - 3.0).min() > 0.9
    west, east = (evaluate(s, u.name, room="statistical", follow_echoes=False) for u in s.uses)
    assert west.rt_mid > east.rt_mid > 0.5, "the larger half rings longer"


def test_half_of_the_court_is_the_court():
    """Behavior: a class on half of the court is judged as sports, and sound that lands there lands
    on listeners; test plan, ranges and advice know of one class and the other.
    """
    s = divided()
    r = evaluate(s, "west class", rays="few", follow_echoes=False)
    assert r.use.judged_as == "sports" and r.listening_parts == ("court",)
    assert next(v for v in r.verdicts if v.criterion == "on_listeners").value > 30
    assert gymtools.how_sure(s, "west class", draws=20).draws == 20
    assert as_tested(s, "west class").use("west class").beside is None


def test_the_halves_are_symmetric():
    """Invariance: with the curtain in the middle each class hears of the other what that one hears
    of it, within the chance of the rays.
    """
    s = divided(groups=(group("west", -6.5), group("east", 6.5)))
    one, other = (evaluate(s, use.name, follow_echoes=False) for use in s.uses)
    assert one.spill_dba == pytest.approx(other.spill_dba, abs=0.4)


def test_without_transmission_nothing_is_drawn_anew():
    """Regression: a gym whose divider is not drawn has the room of one that has none."""
    s = divided(uses=(replace(PROGRAMS[0], divided=False, beside=None, listens={"court": 1.0}),))
    bare = replace(s, divider=None, memory=Memory())
    one, other = (evaluate(x, rays="few", follow_echoes=False) for x in (s, bare))
    np.testing.assert_array_equal(one.total, other.total)


def test_it_is_drawn():
    """Behavior: plan, section and DXF show the drawn curtain, and the room's table says what of the
    noise is the other class.
    """
    s = divided()
    r = evaluate(s, room="statistical", follow_echoes=False)
    assert [thing.name for thing, _ in r.configuration.footprints] == ["divider"]
    cut = section(r, "court west").steps
    np.testing.assert_allclose(cut[1:], [[13.0, 0.0], [13.0, 7.6]], atol=1e-6)
    assert len([e for e in drawing(s).modelspace() if e.dxf.layer == "DIVIDER"]) == 1
    assert "speech of 'east class' through the divider" in html.unescape(room_table(r, "m"))


def test_a_file_with_a_divider_comes_back():
    """Behavior: written and read again it is the same, with either way to say what goes through."""
    for divider in (CURTAIN, Divider(y=1.0, height=6.0, loss_db=(5, 6, 8, 12, 16, 20, 24))):
        s = divided(divider, uses=(replace(PROGRAMS[0], beside=None),)) if divider.x == 0 else None
        if s is None:
            listens = dict(listens={"court north": 1.0}, beside=None)
            moved = tuple(replace(g, y=4.0) for g in (group("west", -7.0), group("east", 6.0)))
            s = divided(divider, uses=(replace(PROGRAMS[0], **listens),), groups=moved)
        assert gymtools.parse(gymtools.to_text(s)) == s


@pytest.mark.parametrize(
    "make, message",
    [
        (lambda: Divider(surface_density=1.0), "give the divider's place: x, or y"),
        (lambda: Divider(x=0.0), "give either surface_density, or loss_db"),
        (lambda: Divider(x=0.0, loss_db=(1.0, 2.0)), "loss_db has 2 values"),
        (lambda: Divider(x=0.0, surface_density=300.0), "surface_density = 300 kg/m2 is outside"),
        (
            lambda: divided(None, uses=(replace(PROGRAMS[0], beside=None, listens={"court": 1}),)),
            "use 'west class' is divided, but there is no .divider.",
        ),
        (lambda: divided(replace(CURTAIN, x=12.9)), "leaves no room on one side of the gym"),
        (
            lambda: divided(replace(CURTAIN, height=9.0)),
            "the divider reaches up to .* above the roof",
        ),
        (lambda: divided(replace(CURTAIN, x=6.0)), "loudspeaker E1: its enclosure reaches through"),
        (
            lambda: divided(uses=(PROGRAMS[0], replace(PROGRAMS[1], beside=None))),
            "that one names 'none' beside it. Each must name the other",
        ),
        (
            lambda: divided(uses=(PROGRAMS[0],)),
            "beside: use 'east class' is unknown. Known: west class",
        ),
        (
            lambda: divided(uses=(PROGRAMS[0], replace(PROGRAMS[1], groups={}))),
            "and group 'east' plays in both|and group 'west' plays in both",
        ),
        (
            lambda: divided(
                uses=(replace(PROGRAMS[0], listens={"court west": 1, "court east": 1}), PROGRAMS[1])
            ),
            "its listeners are on both sides of the divider. Make it two uses",
        ),
        (
            lambda: divided(uses=(PROGRAMS[0], replace(PROGRAMS[1], listens={"court west": 1.0}))),
            "they need listeners on both sides of the divider",
        ),
        (lambda: replace(PROGRAMS[0], divided=False), "the gym is not divided. Add divided = true"),
        (lambda: replace(PROGRAMS[0], divided="yes"), "divided = 'yes' must be true or false"),
    ],
)
def test_what_cannot_be(make, message):
    """Behavior: a divider or two uses that contradict each other are refused in one line."""
    with pytest.raises(ValueError, match=message):
        make()


def test_coupled_energy_is_the_gym_in_one_when_all_goes_through():
    """Closed form: with a curtain that lets everything through, both halves hold what the whole gym
    would, 1 / A.
    """
    own = np.array([[100.0], [80.0]])
    found = coupled_energy(own, [1e5])[..., 0]
    np.testing.assert_allclose(found, 1 / own.sum(), rtol=2e-3)
