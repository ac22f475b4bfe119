"""Arrangements in two hundred gyms made up by chance, as gyms are: courts off the middle or turned,
side courts, several banks along a wall, mezzanines, tracks, balconies, what hangs and stands,
joists, a curtain between two classes.
"""

from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from cases import usual
from test_arrangements import HARD, apart, box, layout

from gymtools.design.arrangements import OFFERED, arrange, fitting, hung
from gymtools.design.placing import Misfit
from gymtools.physics.geometry import boxes_apart, rotation
from gymtools.venue.balcony import Balcony
from gymtools.venue.court import SideCourt
from gymtools.venue.divider import Divider
from gymtools.venue.fixture import Fixture
from gymtools.venue.hall import Hall
from gymtools.venue.scenario import Scenario
from gymtools.venue.seating import Bank, FloorSeats
from gymtools.venue.stage import PortableStage, Stage
from gymtools.venue.track import Track
from gymtools.venue.uses import Use

GYMS = 200
SIDES = ("north", "south", "east", "west")


def odd_gym(rng, symmetric=False):
    """A school made up by chance, or None where the parts do not go together."""

    def chance(share):
        return rng.random() < share

    length, width = rng.uniform(26, 56), rng.uniform(20, 38)
    height = rng.uniform(7, 11)
    joists = {}
    if chance(0.4):
        joists = dict(joist_spacing=length / rng.integers(8, 24), joists_along="width")
    hall = Hall(
        length=length,
        width=width,
        height=height,
        ridge_height=height + 2 if chance(0.3) else None,
        clear_height=rng.uniform(0.85, 0.95) * height,
        **joists,
        **HARD,
    )
    sides = ("north", "south") if symmetric else rng.permutation(SIDES)[: rng.integers(0, 4)]
    banks, rows = [], int(rng.integers(3, 8))
    for side in sorted(sides):
        wall = length if side in ("north", "south") else width
        rows = rows if symmetric else int(rng.integers(2, 8))
        free = wall - 12 if side in ("north", "south") else wall - 2 * 5.5
        if free < 4:
            continue
        size = free * (0.8 if symmetric else rng.uniform(0.4, 1))
        off = 0.0 if symmetric else rng.uniform(-1, 1) * (free - size) / 2
        same = dict(side=side, rows=rows, row_run=0.65, row_rise=0.28, first_height=0.45)
        if not symmetric and size > 14 and chance(0.25):  # two of them, a door between
            for part, name in ((-1, "left"), (1, "right")):
                at = off + part * size / 4 + part * 0.6
                banks.append(Bank(name=f"{side} {name}", length=size / 2 - 1.2, offset=at, **same))
        else:
            banks.append(Bank(name=f"{side} bank", length=size, offset=off, **same))
    things = {}
    if chance(0.3) and "north" not in sides and not symmetric:
        things["balconies"] = (
            Balcony(name="gallery", side="north", depth=3, height=3.2, length=length - 4, rows=3),
        )
    elif chance(0.4) and height > 8.2:
        things["tracks"] = (Track(name="track", depth=1.8, height=4.6, people=chance(0.6)),)
    elif chance(0.2) and "west" not in sides and not symmetric:
        banks.append(
            Bank(
                name="upper bank",
                side="west",
                rows=3,
                row_run=0.7,
                row_rise=0.25,
                length=8,
                base_height=2.8,
            )
        )
        sides = [*sides, "west"]
    free = [s for s in SIDES if s not in sides]
    if not symmetric and free and chance(0.4) and not things:
        side = str(rng.choice(free))
        wall = length if side in ("north", "south") else width
        things["stage"] = Stage(
            side=side, width=min(11, 0.5 * wall), opening_height=3.0, depth=6, floor_height=0.9
        )
    fixtures = []
    if chance(0.5):  # in the middle, where clusters hang
        low = hall.clear_height - 1.6
        fixtures.append(
            Fixture(
                name="scoreboard",
                finish="painted block",
                length=2.4,
                depth=2.4,
                height=1.4,
                bottom=low,
                x=0 if symmetric else rng.uniform(-6, 6),
            )
        )
    if chance(0.4):
        fixtures.append(
            Fixture(
                name="duct",
                finish="painted block",
                length=length - 2,
                depth=0.9,
                height=0.9,
                bottom=hall.clear_height - 1.0,
                y=0 if symmetric else rng.uniform(-8, 8),
            )
        )
    if chance(0.4):
        fixtures.append(
            Fixture(
                name="backboards",
                finish="plywood",
                length=1.0,
                depth=1.9,
                height=1.3,
                bottom=2.9,
                x=0.0,
                number=2,
                spacing=length - 10,
            )
        )
    moved = {}
    if not symmetric and chance(0.4):
        moved = dict(court_x=rng.uniform(-3, 3), court_y=rng.uniform(-2, 2))
        moved["court_turned"] = chance(0.3) and width > 22
    divided = chance(0.3)
    if divided:
        things["divider"] = Divider(x=0.0 if symmetric else rng.uniform(-4, 4), surface_density=1.0)
    chairs = FloorSeats(name="chairs", length=8, width=6)
    decks = ()
    if chance(0.4):
        decks = (PortableStage(name="deck", x=-7, length=3, width=6, height=0.6),)
    if not symmetric and chance(0.3):
        things["side_courts"] = (
            SideCourt(
                name="side court",
                x=rng.uniform(-1, 1) * (length / 2 - 7),
                y=0,
                length=8,
                width=8,
                turned=chance(0.5),
                baskets="none",
            ),
        )
    seats = {b.name: 1.0 for b in banks}
    seats |= {b.name: 0.5 for b in things.get("balconies", ())}
    seats |= {n: 0.3 for t in things.get("tracks", ()) for n in t.area_names}
    floor = {"court": 0.5} | ({"side court": 0.5} if "side_courts" in things else {})
    uses = [
        Use(name="game", target_dba=85, noise_dba=70, listens=seats | floor),
        Use(
            name="class",
            target_dba=75,
            noise_dba=60,
            listens={"court": 1},
            closed=tuple(b.name for b in banks),
        ),
        Use(
            name="graduation",
            target_dba=75,
            noise_dba=50,
            listens=seats | {"chairs": 1},
            set_up=("chairs", *(d.name for d in decks)),
        ),
    ]
    if divided:
        both = [("class west", "west", "class east"), ("class east", "east", "class west")]
        uses += [
            Use(
                name=name,
                target_dba=75,
                noise_dba=60,
                divided=True,
                beside=other,
                listens={f"court {side}": 1},
                closed=tuple(b.name for b in banks),
                groups={},
            )
            for name, side, other in both
        ]
    try:
        return Scenario(
            name="odd",
            units="m",
            source="made up for tests",
            court="volleyball",
            hall=hall,
            banks=tuple(banks),
            floor_seats=(chairs,),
            portable_stages=decks,
            fixtures=tuple(fixtures),
            groups=(),
            uses=tuple(uses),
            **moved,
            **things,
        )
    except ValueError:
        return None


@cache
def gyms(count=GYMS, symmetric=False):
    """So many gyms, the same ones every time."""
    rng, found = np.random.default_rng(18), []
    while len(found) < count:
        one = odd_gym(rng, symmetric)
        if one is not None:
            found.append(one)
    return found


@cache
def arranged(number):
    """Every third arrangement in one of the gyms, another third in the next: what fits, and why
    the others do not.
    """
    found, reasons = {}, {}
    for key in [*OFFERED][number % 3 :: 3]:
        try:
            found[key] = arrange(gyms()[number], key)
        except Misfit as error:
            reasons[key] = str(error)
    return found, reasons


# ---- clear of everything


def solid_boxes(scenario):
    """Upright boxes of what hangs and what people stand on, as ``box`` of a loudspeaker."""
    hall, found = scenario.hall, []
    for fixture in scenario.fixtures:
        found += [np.array(b) for b in fixture.boxes(hall)]
    for slab in scenario.galleries:
        a, b, c, d = slab.footprint(hall)
        found.append(np.array([(a, c, slab.height - slab.thickness), (b, d, slab.height)]))
    return [(b.mean(axis=0), np.eye(3), np.ptp(b, axis=0) / 2) for b in found]


def check_clear(scenario):
    """Every enclosure within walls and roof, out of reach, clear of the others and of all that is
    solid, and on one side of the curtain.
    """
    hall, solid = scenario.hall, solid_boxes(scenario)
    for c in scenario.loudspeakers:
        middle, axes, half = box(c)
        reach = np.abs(axes.T) @ half  # of the box along x, y and z
        assert np.all(np.abs(middle[:2]) + reach[:2] <= [hall.length / 2, hall.width / 2]), c.tag
        assert c.z <= hall.clear_height + 1e-6, c.tag
        high = [p for p in corners(middle, axes, half) if p[2] > hall.roof_height(p[1]) + 1e-6]
        assert not high and middle[2] - reach[2] > 2.0, c.tag
        for other in solid:
            assert boxes_apart((middle, axes, half), other) > -1e-6, c.tag
        if scenario.divider:
            sides = {scenario.divider.side_of(p) == 1 for p in corners(middle, axes, half)}
            assert len(sides) == 1, c.tag
    for one, other in combinations(scenario.loudspeakers, 2):
        if np.linalg.norm(one.position - other.position) < 2.5:
            assert apart(one, other) > 0, (one.tag, other.tag)


def corners(middle, axes, half):
    """The eight corners of a turned box (8, 3)."""
    signs = np.array(np.meshgrid(*[(-1, 1)] * 3)).reshape(3, -1).T
    return middle + (signs * half) @ axes


@pytest.mark.parametrize("part", usual(range(4), 0, 2))
def test_nothing_is_in_the_way_in_any_gym(part):
    """Invariance: within the room, clear of each other, of fixtures, tracks and balconies, and on
    one side of the curtain, by the separating axes of the turned boxes; what does not fit says so
    in one line. Pendants and rows fit nearly every gym.
    """
    pendants = []
    for number in range(part, GYMS, 4):
        found, reasons = arranged(number)
        for made in found.values():
            check_clear(made)
        for reason in reasons.values():
            assert reason.endswith(".") and "\n" not in reason and len(reason) < 140, reason
        if "pendant grid" in found or "pendant grid" in reasons:
            pendants.append("pendant grid" in found)
    assert np.mean(pendants) > 0.9


# ---- nobody is left out


def in_a_beam(points, loudspeakers, slack=1.0):
    """Share of points that lie within the nominal angles of a loudspeaker (by its lobes), a factor
    of them given.
    """
    hit = np.zeros(len(points), bool)
    for c in loudspeakers:
        for turn in np.arange(c.type.lobes) * 360 / c.type.lobes:
            tilt = c.type.lobe_tilt_deg if c.type.lobes > 1 else c.downtilt_deg
            way = (points - c.position) @ rotation(c.pan_deg + turn, tilt).T
            ahead = way[:, 0] > 0
            flat = np.degrees(np.arctan2(np.abs(way[:, 1]), np.abs(way[:, 0])))
            up = np.degrees(np.arctan2(np.abs(way[:, 2]), np.abs(way[:, 0])))
            own = (flat <= slack * c.type.horizontal_deg / 2) & (
                up <= slack * c.type.vertical_deg / 2
            )
            hit |= ahead & own
    return hit.mean()


@pytest.mark.parametrize("part", range(4))
def test_nobody_is_left_out_in_any_gym(part):
    """Invariance: in every use some ears of every area that listens lie within the nominal angles
    of a loudspeaker that plays, all of them in most. What arrangements promise is a fifth; moved
    to a free place they keep a tenth.
    """
    shares = []
    for number in range(part, GYMS, 4):
        for key, made in arranged(number)[0].items():
            for use in made.uses:
                areas = made.configuration(use.name).areas
                playing = [c for c in made.loudspeakers if use.group_setting(c.group).on]
                assert playing, (number, key, use.name)
                for name, weight in use.listens.items():
                    if weight > 0 and name in areas:
                        share = in_a_beam(areas[name].points, playing)
                        assert share > 0.1, (number, key, use.name, name)
                        shares.append(share)
    assert np.percentile(shares, 10) > 0.5 and np.median(shares) == 1


def test_two_classes_have_loudspeakers_of_their_own():
    """Invariance: with the curtain drawn, what plays in a class hangs on its side."""
    halves = 0
    for number, gym in enumerate(gyms()):
        if gym.divider is None:
            continue
        for made in arranged(number)[0].values():
            for use in (u for u in made.uses if u.divided):
                side = made.divider.sides.index(use.name.split()[1])
                for c in made.loudspeakers:
                    on = use.group_setting(c.group).on
                    assert not on or made.divider.side_of(c.position) == side, (use.name, c.tag)
                halves += 1
    assert halves > 150


def test_rows_hang_under_joists():
    """Invariance: in a gym with joists every loudspeaker of a row or a grid hangs under one, within
    a millimeter, unless the row is longer than the joists reach.
    """
    count = 0
    for number, gym in enumerate(gyms()):
        if not len(gym.hall.joists):
            continue
        for key, made in arranged(number)[0].items():
            framed = {o.group.name for o in hung(gym, key) if o.framed}
            for c in made.loudspeakers:
                if c.group not in framed:
                    assert np.abs(gym.hall.joists - c.x).min() < 1e-3, (key, c.tag)
                    count += 1
    assert count > 600


def test_a_symmetric_gym_gets_a_symmetric_layout():
    """Invariance: banks, tracks, fixtures and courts alike to the north and to the south, every
    arrangement is its own mirror image, also where something was in its way.
    """
    mirrored = 0
    for gym in gyms(12, symmetric=True):
        for key, made in fitting(gym)[0].items():
            image, own = layout(made, (1, -1)), layout(made)
            np.testing.assert_allclose(image, own, atol=1e-5, err_msg=key)
            mirrored += 1
    assert mirrored > 60


def test_the_same_gym_gets_the_same_layout():
    """Regression: an arrangement depends on the gym alone, not on loudspeakers that hung there."""
    gym = gyms()[0]
    key, made = next(iter(arranged(0)[0].items()))
    again = fitting(replace(made, groups=made.groups[:1], uses=gym.uses))[0][key]
    assert again.groups == made.groups
