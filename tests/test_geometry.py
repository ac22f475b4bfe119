"""Turning, and straight lines that meet convex polygons: closed forms, and another program's
rotations.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from gymtools.physics.geometry import first_hit, in_sight, pack, polygon_area, rotation

angle = st.floats(-180, 180)
seed = st.integers(0, 2**32 - 1)
BOX = np.array([6.0, 4.0, 3.0])  # half lengths [m]


def box(half=BOX):
    """Six faces of a box around the origin: -x, +x, -y, +y, -z, +z."""
    faces = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for sign in (-1, 1):
            face = np.empty((4, 3))
            face[:, axis], face[:, u], face[:, v] = (
                sign * half[axis],
                half[u] * np.array([-1, 1, 1, -1]),
                half[v] * np.array([-1, -1, 1, 1]),
            )
            faces.append(face)
    return faces


def unit_vectors(rng, count):
    v = rng.normal(size=(count, 3))
    return v / np.linalg.norm(v, axis=1, keepdims=True)


def convex(rng, corners, z):
    """A convex polygon inscribed in an ellipse, at one height."""
    around = np.sort(rng.uniform(0, 2 * np.pi, corners))
    around += np.arange(corners) * 0.1  # no two corners in one place
    return np.stack([5 * np.cos(around), 3 * np.sin(around), np.full(corners, z)], axis=1)[
        np.argsort(around % (2 * np.pi))
    ]


def inside(point, polygon):
    """Crossing-number test in the plane, one point at a time: the readable definition."""
    odd = False
    for (xa, ya), (xb, yb) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if (ya > point[1]) != (yb > point[1]) and point[0] < xa + (point[1] - ya) / (yb - ya) * (
            xb - xa
        ):
            odd = not odd
    return odd


def to_outline(points, polygon):
    """Distance of plane points from a polygon's outline."""
    a, b = polygon, np.roll(polygon, -1, axis=0)
    along = np.clip(((points[:, None] - a) * (b - a)).sum(-1) / ((b - a) ** 2).sum(-1), 0, 1)
    return np.linalg.norm(points[:, None] - a - along[..., None] * (b - a), axis=-1).min(axis=1)


@given(pan=angle, tilt=angle)
def test_rotation_equals_scipy(pan, tilt):
    """Independent: scipy's intrinsic ZYX; about y (to the left) a positive angle turns the front
    down, as tilt does.
    """
    want = Rotation.from_euler("ZYX", [pan, tilt, 0], degrees=True).as_matrix().T
    np.testing.assert_allclose(rotation(pan, tilt), want, atol=1e-12)


@pytest.mark.parametrize(
    "pan, tilt, front, left",
    [
        (0, 0, [1, 0, 0], [0, 1, 0]),
        (90, 0, [0, 1, 0], [-1, 0, 0]),
        (0, 90, [0, 0, -1], [0, 1, 0]),
        (180, 30, [-np.sqrt(0.75), 0, -0.5], [0, -1, 0]),
    ],
)
def test_rotation_signs(pan, tilt, front, left):
    """Closed form: pan counter-clockwise seen from above, tilt down, left to the left."""
    np.testing.assert_allclose(rotation(pan, tilt)[:2], [front, left], atol=1e-12)


def test_rotation_of_many():
    """Closed form: arrays give one matrix each, right-handed and orthonormal."""
    many = rotation([0, 10, 20], 30)
    np.testing.assert_allclose(
        many @ many.transpose(0, 2, 1), np.broadcast_to(np.eye(3), (3, 3, 3)), atol=1e-12
    )
    np.testing.assert_allclose(np.linalg.det(many), 1, atol=1e-12)
    np.testing.assert_array_equal(many[1], rotation(10, 30))


@given(pan=angle, tilt=angle, sides=st.integers(3, 9), radius=st.floats(0.1, 20))
def test_area_of_a_regular_polygon(pan, tilt, sides, radius):
    """Closed form: n/2 r2 sin(2 pi/n), however it is turned."""
    around = 2 * np.pi * np.arange(sides) / sides
    corners = (
        radius
        * np.stack([np.cos(around), np.sin(around), np.zeros(sides)], axis=1)
        @ rotation(pan, tilt)
    )
    assert polygon_area(corners) == pytest.approx(
        sides / 2 * radius**2 * np.sin(2 * np.pi / sides), rel=1e-9
    )


SQUARE = [[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0]]


@pytest.mark.parametrize(
    "corners, said",
    [
        (
            [[0, 0, 0], [2, 0, 0], [2, 2, 0.1], [0, 2, 0]],
            r"^polygon 1 is not plane: its corners are off by more than 1 mm\.$",
        ),
        (
            [[0, 0, 0], [2, 0, 0], [0.5, 0.5, 0], [0, 2, 0]],
            r"^polygon 1 is not convex\. Split it\.$",
        ),
        (
            [[0, 0, 0], [1, 1, 0], [2, 2, 0]],
            r"^polygon 1 has no area, or two corners at one point\.$",
        ),
        (
            [[0, 0, 0], [0, 0, 0], [2, 2, 0], [0, 2, 0]],
            r"^polygon 1 has no area, or two corners at one point\.$",
        ),
    ],
)
def test_pack_refuses(corners, said):
    """Behavior: refusals name the polygon by its number."""
    with pytest.raises(ValueError, match=said):
        pack([SQUARE, corners])


def test_pack_of_nothing():
    """Closed form: in an empty room a ray meets nothing and sight is free."""
    index, way = first_hit([[0, 0, 0]], [[[1, 0, 0]]], pack([]))
    assert (index.item(), way.item(), len(pack([]))) == (-1, np.inf, 0)
    assert in_sight([[0, 0, 0]], [[1, 0, 0]], pack([])).all()


@given(seed=seed, turned=st.booleans())
def test_first_hit_in_a_box(seed, turned):
    """Closed form: the nearest of three planes ahead; 0.1 mm is single precision over 20 m; either
    way round.
    """
    rng = np.random.default_rng(seed)
    origin, direction = (
        rng.uniform(-0.95, 0.95, (3, 3)) * BOX,
        unit_vectors(rng, 300).reshape(3, 100, 3),
    )
    index, way = first_hit(
        origin, direction, pack([face[::-1] if turned else face for face in box()])
    )
    per_axis = (np.sign(direction) * BOX - origin[:, None]) / direction
    axis = per_axis.argmin(axis=-1)
    np.testing.assert_allclose(way, per_axis.min(axis=-1), atol=1e-4)
    two = np.sort(per_axis, axis=-1)
    # nearer than that to an edge, either face may be named
    clear = two[..., 1] - two[..., 0] > 0.01
    ahead = np.take_along_axis(direction > 0, axis[..., None], axis=-1)[..., 0]
    np.testing.assert_array_equal(index[clear], (2 * axis + ahead)[clear])


@given(seed=seed, corners=st.integers(3, 8))
def test_first_hit_is_point_in_polygon(seed, corners):
    """Closed form: a vertical ray meets a level polygon where the crossing number says so; 5 mm at
    the rim left out.
    """
    rng = np.random.default_rng(seed)
    polygon, start = convex(rng, corners, 2.0), np.c_[rng.uniform(-6, 6, (200, 2)), np.zeros(200)]
    want = np.array([inside(p, polygon[:, :2]) for p in start[:, :2]])
    index, way = first_hit(start, np.tile([0.0, 0.0, 1.0], (200, 1, 1)), pack([polygon]))
    clear = to_outline(start[:, :2], polygon[:, :2]) > 0.005
    np.testing.assert_array_equal(index[clear, 0] == 0, want[clear])
    np.testing.assert_allclose(way[clear & want], 2.0, atol=1e-5)
    assert np.all(np.isinf(way[clear & ~want]))


@given(seed=seed, corners=st.integers(3, 8))
def test_in_sight_is_point_in_polygon(seed, corners):
    """Closed form: a line down through a level polygon is cut where it crosses inside; 5 mm at the
    rim left out.
    """
    rng = np.random.default_rng(seed)
    polygon = convex(rng, corners, 2.0)
    source, points = (
        np.array([[*rng.uniform(-6, 6, 2), 5.0]]),
        np.c_[rng.uniform(-9, 9, (200, 2)), np.zeros(200)],
    )
    crossing = (source[0] + (points - source[0]) * 3 / 5)[:, :2]
    want = np.array([not inside(p, polygon[:, :2]) for p in crossing])
    clear = to_outline(crossing, polygon[:, :2]) > 0.005
    np.testing.assert_array_equal(in_sight(source, points, pack([polygon]))[0, clear], want[clear])


@given(seed=seed)
def test_in_sight_agrees_with_first_hit(seed):
    """Invariance: a line is free where a ray along it meets nothing before its end; joints of 5 mm
    left out.
    """
    rng = np.random.default_rng(seed)
    screens = pack([convex(rng, 5, z) for z in (-1.0, 0.5, 2.0)])
    source, points = (
        np.array([[*rng.uniform(-4, 4, 2), 4.0]]),
        np.c_[rng.uniform(-8, 8, (200, 2)), rng.uniform(-3, 3, 200)],
    )
    way = points - source
    length = np.linalg.norm(way, axis=1)
    hit = first_hit(source, (way / length[:, None])[None], screens)[1][0] < length - 0.005
    differ = hit == in_sight(source, points, screens)[0]
    assert differ.mean() <= 0.02, "only lines through a rim or onto a face may differ"


def test_a_point_on_a_screen_is_seen():
    """Closed form: a listener on a surface, or a millimeter behind, is not hidden by it; a
    centimeter behind he is.
    """
    wall = pack([[[0, -1, 0], [0, 1, 0], [0, 1, 2], [0, -1, 2]]])
    points = [[0.0, 0, 1], [0.001, 0, 1], [0.01, 0, 1], [-0.01, 0, 1], [5, 0, 5], [5, 0, 1]]
    assert in_sight([[-3.0, 0, 1]], points, wall).tolist() == [
        [True, True, False, True, True, False]
    ]


@given(seed=seed, pan=angle, shift=st.tuples(*[st.floats(-30, 30)] * 3))
def test_hits_do_not_care_where_the_room_stands(seed, pan, shift):
    """Invariance: everything turned by one pan and moved alike meets the same faces at the same
    distances.
    """
    rng = np.random.default_rng(seed)
    origin, direction = (
        rng.uniform(-0.9, 0.9, (2, 3)) * BOX,
        unit_vectors(rng, 100).reshape(2, 50, 3),
    )
    faces, turn = [*box(), convex(rng, 6, 1.0)], rotation(pan, 0)
    moved = [face @ turn + shift for face in faces]
    index, way = first_hit(origin, direction, pack(faces))
    index2, way2 = first_hit(origin @ turn + shift, direction @ turn, pack(moved))
    same = index == index2
    assert same.mean() >= 0.97, "only rays into a joint may name its other face"
    np.testing.assert_allclose(way2[same], way[same], atol=1e-3)
    points = rng.uniform(-0.9, 0.9, (50, 3)) * BOX
    one, two = (
        in_sight(origin, points, pack(faces)),
        in_sight(origin @ turn + shift, points @ turn + shift, pack(moved)),
    )
    assert (one == two).mean() >= 0.97
