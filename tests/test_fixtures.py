"""What hangs and stands in a gym: boxes that shade, reflect and scatter, and that nothing meets."""

from dataclasses import replace

import numpy as np
import pytest
from arrays import sources_of
from hypothesis import given, settings
from hypothesis import strategies as st
from schools import SCENARIOS

import gymtools
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.throws import section
from gymtools.display.documents.drawings import drawing
from gymtools.display.scene import space
from gymtools.display.scene.view import View
from gymtools.physics import bands, tracing
from gymtools.physics.geometry import first_hit, rotation
from gymtools.physics.screening import screening_loss_db
from gymtools.venue.fixture import Fixture
from gymtools.venue.memory import Memory
from gymtools.venue.paths import changed

DOVECOTE = SCENARIOS["dovecote"]  # 26 x 19.5 x 7.6 m, flat roof
SCOREBOARD = Fixture(
    name="scoreboard",
    finish="plain deck",
    side="east",
    gap=0.5,
    length=4.0,
    depth=0.3,
    height=1.5,
    bottom=4.0,
)
BEAMS = Fixture(
    name="beams",
    finish="plaster",
    length=0.3,
    depth=19.5,
    height=0.6,
    bottom=7.0,
    number=4,
    spacing=6.5,
)
PADS = Fixture(name="pads", finish="wall pad", side="west", length=8, depth=0.08, height=1.8)
DUCT = Fixture(name="duct", finish="plain deck", length=20, depth=0.8, height=0.8, bottom=5.0, y=5)
MATS = Fixture(name="mats", finish="wall pad", length=2, depth=2, height=1, x=10, y=7, movable=True)


def with_fixtures(*fixtures, scenario=DOVECOTE, **first):
    """A school with other fixtures, its first use alone."""
    use = replace(scenario.uses[0], **first)
    return replace(
        scenario, fixtures=fixtures, uses=(use,), measured_room=None, room_fit=None, memory=Memory()
    )


def inside(points, boxes):
    """Whether points lie in one of some boxes."""
    return np.any([((points > low) & (points < high)).all(axis=1) for low, high in boxes], axis=0)


def test_where_the_boxes_are():
    """Worked by hand: along a wall and in the room, one and several."""
    hall = DOVECOTE.hall
    np.testing.assert_allclose(SCOREBOARD.boxes(hall), [[[12.2, -2.0, 4.0], [12.5, 2.0, 5.5]]])
    assert BEAMS.boxes(hall)[:, 0, 0] == pytest.approx([-9.9, -3.4, 3.1, 9.6])
    north = replace(SCOREBOARD, side="north", offset=1.0, number=2, spacing=6.0)
    np.testing.assert_allclose(
        north.boxes(hall),
        [[[-4, 8.95, 4], [0, 9.25, 5.5]], [[2, 8.95, 4], [6, 9.25, 5.5]]],
    )


def test_what_they_take_and_hide():
    """Closed form: their volume is off the room's, what lies on floor, wall and roof off these, and
    all other faces are there.
    """
    plain = with_fixtures().room
    full = with_fixtures(SCOREBOARD, BEAMS, PADS, replace(MATS, movable=False)).room
    taken = 4 * 0.3 * 1.5 + 4 * 0.3 * 19.5 * 0.6 + 8 * 0.08 * 1.8 + 4
    assert plain.volume - full.volume == pytest.approx(taken)

    def area(room, part):
        return sum(s.area for s in room.surfaces if s.part == part)

    for part, hidden in (("west wall", 8 * 1.8), ("roof", 4 * 0.3 * 19.5), ("east wall", 0.0)):
        assert area(plain, part) - area(full, part) == pytest.approx(hidden), part
    floors = [area(room, "court") + area(room, "floor") for room in (plain, full)]
    assert floors[0] - floors[1] == pytest.approx(4 + 8 * 0.08)
    assert area(full, "scoreboard") == pytest.approx(2 * (4 * 0.3 + 4 * 1.5 + 0.3 * 1.5))
    # beams reach from wall to wall under the roof: underside and two sides each
    assert area(full, "beams") == pytest.approx(4 * 19.5 * (0.3 + 2 * 0.6))
    assert area(full, "pads") == pytest.approx(8 * 1.8 + 8 * 0.08 + 2 * 0.08 * 1.8)
    assert area(full, "mats") == pytest.approx(4 + 4 * 2)


@settings(max_examples=5)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_volume_by_monte_carlo(seed):
    """Closed form: random places whose rays cross an odd number of surfaces on the way out are in
    open air: the share that the volume says, within four standard errors, and none lies in a box.

    What lies on a wall or the roof is left out: behind it the wall is still there.
    """
    rng = np.random.default_rng(seed)
    s = with_fixtures(SCOREBOARD, replace(BEAMS, depth=15.0, bottom=6.5), DUCT)
    s = replace(s, banks=(), uses=(replace(s.uses[0], listens={"court": 1.0}, occupied={}),))
    hall, room = s.hall, s.room
    points = rng.uniform(-0.5, 0.5, (4000, 3)) * [hall.length, hall.width, hall.height]
    points[:, 2] += hall.height / 2
    ray = rng.normal(size=3)
    ray /= np.linalg.norm(ray)
    crossed, at = np.zeros(len(points), int), points.copy()
    leaving, going = np.full(len(points), -1), np.arange(len(points))
    while len(going):
        rays = np.tile(ray, (len(going), 1, 1))
        index, way = first_hit(at[going], rays, room.polygons, leaving=leaving[going])
        met = index[:, 0] >= 0
        going = going[met]
        crossed[going] += 1
        at[going] += way[met] * ray
        leaving[going] = index[met, 0]
    air, share = crossed % 2 == 1, room.volume / hall.volume
    boxes = [box for f in s.fixtures for box in f.boxes(hall)]
    wrong = (air == inside(points, boxes)).mean()
    assert wrong < 5e-3, "a ray through a joint may count one surface more or less"
    error = np.sqrt(share * (1 - share) / len(points))
    assert air.mean() == pytest.approx(share, abs=4 * error + wrong)


def test_rays_stay_outside():
    """Invariance: 3000 rays from a loudspeaker and an ear end on surfaces, and no box holds a point
    of their ways.
    """
    s = with_fixtures(SCOREBOARD, BEAMS, DUCT, PADS)
    rays = np.random.default_rng(1).normal(size=(3000, 3))
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    boxes = [box for f in s.fixtures for box in f.boxes(s.hall)]
    for place in (s.loudspeakers[0].position, s.areas["court"].points[7]):
        index, way = first_hit([place], rays[None], s.room.polygons)
        assert index.min() >= 0
        for share in np.linspace(0.02, 0.98, 25):
            assert not inside(place + share * way[0][:, None] * rays, boxes).any()
        owners = {s.room.surfaces[k].owner for k in index[0]}
        assert {"scoreboard", "beams", "duct"} <= owners


def test_both_tracers_meet_them():
    """Invariance: energy is kept to 0.1 %, and both tracers leave the same part of it on each
    fixture, within 8 % of 6,000 rays.
    """
    s = with_fixtures(SCOREBOARD, replace(DUCT, bottom=3.0))
    source = sources_of([[-6.0, 0, 5.0]], rotation([0.0], [0.0]))
    owners = np.array([one.owner for one in s.room.surfaces])
    shares = []
    for engine in ("compiled", "arrays"):
        rays = tracing.Rays(count=6000, rng=np.random.default_rng(3))
        surfaces, zones = s.surfaces(s.uses[0]), s.configuration().zones
        found = tracing.trace(source, surfaces, zones, rays, engine=engine)
        whole = found.absorbed.sum(axis=0) + found.air + found.left
        np.testing.assert_allclose(whole, 1.0, rtol=1e-3)
        on = [found.absorbed[owners == f.name].sum() for f in s.fixtures]
        shares.append(np.array(on) / found.absorbed.sum())
    assert shares[0].min() > 1e-3
    np.testing.assert_allclose(*shares, rtol=0.08)


def test_a_seat_behind_a_scoreboard():
    """Closed form: what stands in the line takes what the screen formula says, by the shortest of
    the four ways around it.
    """
    board = Fixture(
        name="board", finish="plain deck", length=0.05, depth=3.0, height=1.0, bottom=3.0
    )
    s = with_fixtures(board)
    source = sources_of([[-6.0, 0.2, 4.0]], rotation([0.0], [0.0]))
    point = np.array([5.0, -0.1, 2.9])
    free, behind = (
        source.direct(point[None], r.screens)[0][0, 0] for r in (with_fixtures().room, s.room)
    )
    lost = bands.to_level(free) - bands.to_level(behind)
    start = source.position[0]
    x = np.array([-0.025, 0.025])
    detours = []
    for edges in ([4.0, 4.0], [3.0, 3.0]):  # over the top and under the lower side, in the plane
        stops = np.array([start, [x[0], 0, edges[0]], [x[1], 0, edges[1]], point])
        stops[1:3, 1] = np.interp(stops[1:3, 0], [start[0], point[0]], [start[1], point[1]])
        detours.append(np.linalg.norm(np.diff(stops, axis=0), axis=1).sum())
    z = min(detours) - np.linalg.norm(point - start)
    want = screening_loss_db(z, between=0.05, edges=2, speed_of_sound=343.0)
    np.testing.assert_allclose(lost, want, atol=0.3)
    assert lost[3] > 6


def test_only_in_the_uses_that_set_it_up():
    """Behavior: what is movable stands where a use names it; all else is always there."""
    s = replace(DOVECOTE, fixtures=(SCOREBOARD, MATS), memory=Memory())
    first = s.uses[0].name
    assert [f.name for f in s.configuration(first).fixtures] == ["scoreboard"]
    both = changed(s, {("uses", first, "set_up"): (*s.uses[0].set_up, "mats")})
    assert [f.name for f in both.configuration(first).fixtures] == ["scoreboard", "mats"]
    assert both.configuration(first).room.volume < s.configuration(first).room.volume


def test_a_file_with_fixtures_comes_back():
    """Behavior: written to a file and read again it is the same; a wrong word is named."""
    text = gymtools.to_text(replace(DOVECOTE, fixtures=(SCOREBOARD, BEAMS, MATS)))
    assert "[[fixtures]]" in text
    assert gymtools.parse(text).fixtures == (SCOREBOARD, BEAMS, MATS)
    with pytest.raises(ValueError, match=r"\[\[fixtures\]\] 'mats': unknown key 'movble'"):
        gymtools.parse(text.replace("movable", "movble"))


def test_nothing_changes_without_them():
    """Regression: a school without fixtures has the room it had, and its file says nothing of
    them.
    """
    assert DOVECOTE.fixtures == () and "fixtures" not in gymtools.to_text(DOVECOTE)


REFUSALS = {
    "a loudspeaker in it": (
        dict(x=0.0, y=0.0, length=20.0, depth=15.0, bottom=6.0),
        r"loudspeaker \w+: its enclosure reaches [\d.]+ m into 'box'\. Hang it higher, or move",
    ),
    "outside": (dict(x=12.5), r"'box' reaches outside the gym \(26.00 m x 19.50 m\)"),
    "in the roof": (dict(bottom=7.0), r"'box' reaches up to 8.00 m, above the roof \(7.60 m there"),
    "in the bleachers": (
        dict(side="north", x=0.0, y=0.0, length=2.0),
        r"'box' reaches into 'bleachers'\. Move one of them, or let one be movable",
    ),
    "over an ear": (
        dict(bottom=1.2),
        r"\d+ seats of 'court' lie inside 'box'\. Move it, or let nobody listen there",
    ),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_what_cannot_be(case):
    """Behavior: what reaches into a thing, a seat, a loudspeaker or out of the gym is refused in
    one line.
    """
    given, message = REFUSALS[case]
    box = Fixture(
        **{**dict(name="box", finish="plaster", length=3, depth=3, height=1, x=0, y=0), **given}
    )
    with pytest.raises(ValueError, match=message):
        with_fixtures(box)


@pytest.mark.parametrize(
    "given, message",
    [
        (dict(side="up"), "side = 'up' is unknown. Known: north"),
        (dict(side="east", x=1.0), "x = 1: with a side, give offset and gap"),
        (dict(gap=1.0), "gap = 1: give a side with it"),
        (dict(number=3, spacing=1.0), "spacing = .* is less than length = .*: 3 of them"),
        (dict(finish="felt"), "finish = 'felt' is unknown"),
        (dict(height=1000.0), "height = 1000 m is outside"),
        (dict(movable="no"), "movable = 'no' must be true or false"),
    ],
)
def test_what_no_fixture_is(given, message):
    """Behavior: a fixture that contradicts itself is refused, with its value and what is right."""
    with pytest.raises(ValueError, match=message):
        Fixture(**{**dict(name="box", finish="plaster", length=3, depth=3, height=1), **given})


def test_it_is_drawn():
    """Behavior: plan, section, picture in space and DXF show the boxes, from the room's own
    surfaces and footprints.
    """
    s = with_fixtures(SCOREBOARD, DUCT)
    r = evaluate(s, room="statistical", follow_echoes=False)
    view = View(result=r, quantity="speech")
    mesh = space.solids(view)
    assert np.isclose(np.asarray(mesh["z"]), 5.8 * view.k).any()
    cut = section(r, "bleachers")
    start = np.flatnonzero(np.isnan(cut.steps[:, 0]))
    lines = [cut.steps[n + 1 : n + 3] for n in start]
    assert len(lines) == 4  # the duct runs across the cut, the scoreboard hangs beside it
    ends = np.concatenate(lines)
    assert ends[:, 1].min() == pytest.approx(5.0) and ends[:, 1].max() == pytest.approx(5.8)
    dxf = drawing(s)
    on_layer = [e for e in dxf.modelspace() if e.dxf.layer == "FIXTURES"]
    assert len(on_layer) == 2
    assert {f.name for f, _ in r.configuration.footprints} >= {"scoreboard", "duct"}
