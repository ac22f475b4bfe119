"""An upper running track around the gym: closed at its corners, shading, perhaps with people."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schools import SCENARIOS

import gymtools
from gymtools.acoustics.evaluate import evaluate
from gymtools.physics import tracing
from gymtools.physics.geometry import first_hit
from gymtools.venue.balcony import Balcony
from gymtools.venue.enclosures import solids
from gymtools.venue.hall import SIDES
from gymtools.venue.memory import Memory
from gymtools.venue.track import Track

DOVECOTE = SCENARIOS["dovecote"]  # 26 x 19.5 x 7.6 m
TRACK = Track(name="track", depth=2.0, height=3.6, parapet=1.0)
CENTRAL = replace(
    DOVECOTE.groups[0],
    name="central",
    tag="Z",
    x=0.0,
    y=0.0,
    height=6.4,
    number=1,
    loudspeaker="pendant 100",
    downtilt_deg=90.0,
)


def with_track(track, hall=DOVECOTE.hall, **use):
    """A gym without bleachers and microphones, one loudspeaker in its middle, and a track."""
    first = replace(
        DOVECOTE.uses[0],
        **{
            **dict(listens={"court": 1.0}, occupied={}, groups={}, microphones=(), set_up=()),
            **use,
        },
    )
    return replace(
        DOVECOTE,
        hall=hall,
        tracks=(track,) if track else (),
        banks=(),
        floor_seats=(),
        portable_stages=(),
        groups=(CENTRAL,),
        microphones=(),
        uses=(first,),
        measured_room=None,
        room_fit=None,
        memory=Memory(),
    )


def test_its_sides():
    """Worked by hand: around a gym of 26 x 19.5 m, 2 m deep: two long sides, two between them; on
    two neighboring walls one corner.
    """
    parts = {b.side: b for b in TRACK.parts(DOVECOTE.hall)}
    assert [parts[s].length for s in SIDES] == pytest.approx([26, 26, 15.5, 15.5])
    assert parts["north"].front_inset == parts["south"].front_inset == (2.0, 2.0)
    corner = {b.side: b for b in replace(TRACK, sides=("north", "east")).parts(DOVECOTE.hall)}
    assert (corner["east"].length, corner["east"].offset) == pytest.approx((17.5, -1.0))
    assert corner["north"].front_inset == (0.0, 2.0)
    # a foot of the east part's south end lies on the south wall
    assert corner["east"].footprint(DOVECOTE.hall) == pytest.approx((11, 13, -9.75, 7.75))


def test_what_it_takes():
    """Closed form: the ring's area times its thickness is off the volume; underside and floor are
    the ring, the front its inner outline.
    """
    plain, ringed = with_track(None).room, with_track(TRACK).room
    ring = 26 * 19.5 - 22 * 15.5
    assert plain.volume - ringed.volume == pytest.approx(ring * 0.3)

    def area(word):
        return sum(s.area for s in ringed.surfaces if s.owner and s.name.endswith(word))

    assert area(", floor") == area(", underside") == pytest.approx(ring)
    assert area(", front") == pytest.approx(2 * (22 + 15.5) * (0.3 + 1.0))
    assert area(" end") == 0


@settings(max_examples=8)
@given(
    sides=st.lists(st.sampled_from(SIDES), min_size=1, max_size=4, unique=True),
    parapet=st.sampled_from([0.0, 1.0]),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_track_is_closed(sides, parapet, seed):
    """Invariance: rays from over, under and beside it all end on a surface, and none is in the slab
    or a parapet on its way.
    """
    rng = np.random.default_rng(seed)
    s = with_track(replace(TRACK, sides=tuple(sides), parapet=parapet))
    rays = rng.normal(size=(2000, 3))
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    boxes = [
        (np.array([a, c, low]), np.array([b, d, high]))
        for part in s.galleries
        for (a, b, c, d), low, high in solids(part, s.hall)
        if high - low == pytest.approx(0.3)
    ]
    for place in ([0, 0, 4.0], [12.0, 8.7, 5.5], [-12.0, 8.7, 1.2], [12.0, -8.0, 4.9]):
        index, way = first_hit([place], rays[None], s.room.polygons)
        assert index.min() >= 0
        for share in np.linspace(0.01, 0.99, 30):
            at = np.asarray(place) + share * way[0][:, None] * rays
            for low, high in boxes:
                deep = np.minimum(at - low, high - at).min(axis=1)
                assert deep.max() < 0.03


def test_it_shades():
    """Behavior: who stands right under it hears a loudspeaker over the court around the slab's edge
    only; nobody beside it loses anything at 1 kHz.
    """
    near = dict(groups=(replace(CENTRAL, x=8.5),))
    s, bare = replace(with_track(TRACK), **near), replace(with_track(None), **near)
    far = np.array([[12.9, 0.0, 1.55], [6.0, 0.0, 1.55]])
    r = evaluate(s, room="statistical", follow_echoes=False)
    lost = (
        10
        * np.log10(
            r.sources.direct(far, bare.room.screens)[0] / r.sources.direct(far, s.room.screens)[0]
        )[0]
    )
    assert 5 < lost[0, 3] < 20 and lost[1, 3] == pytest.approx(0.0, abs=1e-6)
    assert lost[0, 6] > lost[0, 0] > 4.7


def test_people_on_it_listen():
    """Behavior: each side is a listening area with standing ears, which see a loudspeaker over the
    court; without people there is none, and the file comes back as it was.
    """
    s = with_track(replace(TRACK, people=True, parapet=0.0), listens={"track north": 1.0})
    assert set(s.area_names) == {*(f"track {side}" for side in SIDES), "court"}
    area = s.areas["track north"]
    assert area.points[:, 2].min() == pytest.approx(3.6 + 1.55) == area.points[:, 2].max()
    assert sorted(set(area.points[:, 1].round(3))) == [8.25, 9.25]
    r = evaluate(s, rays="few", follow_echoes=False)
    assert r.summary("track north").out_of_sight == 0 and np.isfinite(r.sti).all()
    assert with_track(TRACK).area_names == ("court",)
    assert gymtools.parse(gymtools.to_text(s)) == s


def test_the_room_keeps_its_energy():
    """Invariance: what the tracer sends out is absorbed by surfaces and air to 0.1 %."""
    s = with_track(TRACK)
    r = evaluate(s, room="statistical", follow_echoes=False)
    rays = tracing.Rays(count=500, rng=np.random.default_rng(1))
    found = tracing.trace(r.sources, r.surfaces, s.configuration().zones, rays)
    whole = found.absorbed.sum(axis=0) + found.air + found.left
    np.testing.assert_allclose(whole, 1.0, rtol=1e-3)


@pytest.mark.parametrize(
    "given, message",
    [
        (dict(sides=()), r"sides = \[\] must name walls, each once"),
        (dict(sides=("north", "north")), r"sides = \['north', 'north'\] must name walls"),
        (dict(sides=("up",)), r"sides = \['up'\] must name walls"),
        (dict(people=1), "people = 1 must be true or false"),
        (dict(finish="tar"), "finish = 'tar' is unknown"),
    ],
)
def test_what_no_track_is(given, message):
    """Behavior: walls that are not there, or twice, are refused with those that there are."""
    with pytest.raises(ValueError, match=message):
        replace(TRACK, **given)


@pytest.mark.parametrize(
    "make, message",
    [
        (
            lambda: with_track(replace(TRACK, depth=8.0), replace(DOVECOTE.hall, width=17.5)),
            "deep: more than a gym .* wide can hold",
        ),
        (lambda: with_track(replace(TRACK, height=6.4)), r"'track north' leaves less than 2.00 m"),
        (
            lambda: replace(
                with_track(TRACK),
                balconies=(Balcony(name="gallery", side="north", depth=2, height=3.4, length=8),),
            ),
            "balconies 'gallery' and 'track north' run into each other",
        ),
        (
            lambda: Balcony(
                name="gallery", side="north", depth=2, height=3.4, length=8, rows=1, standing=True
            ),
            "rows = 1: with people standing there are no rows",
        ),
    ],
)
def test_what_does_not_fit(make, message):
    """Behavior: a track that the gym cannot hold, or that meets a balcony, is refused."""
    with pytest.raises(ValueError, match=message):
        make()
