"""Measured loudspeakers: round trips, files written by another hand, any grid and frequency set,
damaged files.
"""

import pickle
from dataclasses import replace
from pathlib import Path

import netCDF4
import numpy as np
import pytest
import sofar
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from gymtools.acoustics.evaluate import evaluate
from gymtools.design.arrangements import arrange
from gymtools.design.options import choices
from gymtools.physics import balloons, gridding
from gymtools.physics.bands import EXACT, NOMINAL, to_energy, to_level
from gymtools.physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions
from gymtools.venue.files import load, parse, save, to_text
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.measured import read_measured
from gymtools.venue.polars import read_polars
from gymtools.venue.sofa import read_sofa, write_sofa

SCENARIOS = Path(__file__).parents[1] / "scenarios"
HORN = loudspeaker_types()["two-way 90x60"]
DESCRIPTION = """name = "{name}"
description = "made up for tests"
balloon = "{balloon}"
sensitivity_db = [90, 94, 96, 97, 97, 97, 94]
rated_w = 300
impedance_ohm = 8
width = 0.4
height = 0.62
depth = 0.38
weight_kg = 22
source = "made up for tests"
"""


def sofa(path, vectors_deg, magnitude, frequency, **new):
    """A file written by sofar itself: directions as (azimuth, elevation), magnitudes (direction,
    frequency).
    """
    data = sofar.Sofa("FreeFieldDirectivityTF")
    for name in ("EmitterDescriptions", "Description"):
        if hasattr(data, name):
            data.delete(name)
    data.ReceiverPosition = np.c_[np.asarray(vectors_deg, float), np.ones(len(vectors_deg))]
    turn = np.exp(1j * np.linspace(0, 9, magnitude.shape[1]))  # a phase, which must not matter
    data.Data_Real, data.Data_Imag = (magnitude * turn).real[None], (magnitude * turn).imag[None]
    data.N = np.asarray(frequency, float)
    for name in (
        "Title",
        "AuthorContact",
        "Organization",
        "License",
        "DatabaseName",
        "SourceType",
        "SourceManufacturer",
    ):
        setattr(data, f"GLOBAL_{name}", "test")
    data.GLOBAL_DateCreated = data.GLOBAL_DateModified = "2000-01-01 00:00:00"
    for name in ("SourcePosition", "SourceView", "SourceUp"):
        setattr(data, f"{name}_Reference", "middle of the front")
    for key, value in new.items():
        setattr(data, key, value)
    sofar.write_sofa(str(path), data)
    return path


def card(theta):
    """Magnitude of a cardioid."""
    return 0.5 + 0.5 * np.cos(theta)


@pytest.mark.parametrize("name", ["two-way 90x60", "pendant 100", "column 110x20"])
def test_round_trip(tmp_path, name):
    """Closed form: a generic type written and read back is equal; the file itself is the same to
    the last bit, read and written again.
    """
    kind = loudspeaker_types()[name]
    write_sofa(kind, tmp_path / "a.sofa")
    assert read_sofa(tmp_path / "a.sofa") == pytest.approx(
        kind.balloon_db - kind.balloon_db[36, 18], abs=1e-12
    )
    one = sofar.read_sofa(str(tmp_path / "a.sofa"), verify=True, verbose=False)
    sofar.write_sofa(str(tmp_path / "b.sofa"), one)
    two = sofar.read_sofa(str(tmp_path / "b.sofa"), verify=True, verbose=False)
    for key in ("Data_Real", "Data_Imag", "N", "ReceiverPosition"):
        assert np.array_equal(getattr(one, key), getattr(two, key))
    assert np.array_equal(np.asarray(one.Data_Real)[0], 10 ** (kind.balloon_db.reshape(-1, 7) / 20))


@pytest.mark.parametrize("step", [10, 15])
def test_another_grid_and_thirds(tmp_path, step):
    """Closed form: a cardioid at other angles and in 21 thirds, written by sofar: within what
    straight lines between its directions can be off.
    """
    az, el = np.meshgrid(np.arange(0, 360, step), np.arange(-90, 91, step), indexing="ij")
    pairs = np.c_[az.ravel(), el.ravel()]
    off = np.arccos(
        np.clip(np.cos(np.radians(pairs[:, 1])) * np.cos(np.radians(pairs[:, 0])), -1, 1)
    )
    thirds = 1000 * 10 ** (np.arange(-10, 11) / 10)
    slope = 1 + 0.1 * np.arange(21)
    found = read_sofa(sofa(tmp_path / "c.sofa", pairs, card(off)[:, None] * slope, thirds))
    theta = np.arccos(np.clip(directions()[..., 0], -1, 1))
    want = 20 * np.log10(np.maximum(card(theta), 1e-3))
    near = theta < np.radians(120)
    assert np.abs(found - want[..., None])[near].max() < (0.12 if step == 10 else 0.3)
    assert np.ptp(found, axis=2)[near].max() < 1e-6, (
        "the same pattern in every octave, whatever the level of its thirds"
    )


def test_octaves_are_means_of_energy():
    """Closed form: thirds of 1, 2 and 4 (energy) make an octave of 7/3; one line counts as it is;
    between two it is told by the logarithm of frequency.
    """
    thirds = 1000 * 10 ** (np.arange(-10, 11) / 10)
    energy = np.tile([1.0, 2.0, 4.0], 7)
    assert gridding.octave_energy(energy, thirds) == pytest.approx([7 / 3] * 7)
    assert gridding.octave_energy(np.arange(7.0), EXACT) == pytest.approx(np.arange(7))
    sparse = gridding.octave_energy(np.array([0.0, 1.0]), np.array([EXACT[0], EXACT[6]]))
    assert sparse == pytest.approx(np.arange(7) / 6)


@pytest.fixture(scope="module")
def straight(tmp_path_factory):
    """Directions and magnitudes of a coarse horn, and the balloon of its file unturned."""
    vectors = directions()[::4, ::3].reshape(-1, 3)
    magnitude = 10 ** (HORN.balloon_db[::4, ::3].reshape(-1, 7) / 20)
    plain = np.degrees(
        np.c_[np.arctan2(vectors[:, 1], vectors[:, 0]), np.arcsin(np.clip(vectors[:, 2], -1, 1))]
    )
    path = tmp_path_factory.mktemp("straight") / "plain.sofa"
    return vectors, magnitude, read_sofa(sofa(path, plain, magnitude, NOMINAL))


@settings(max_examples=8)
@given(st.floats(-180, 180), st.floats(-80, 80), st.floats(-180, 180))
def test_turned_in_the_file_it_is_the_same(tmp_path_factory, straight, pan, tilt, roll):
    """Invariance: whichever way the source looks in the file's room, the balloon in its own frame
    is the same.
    """
    turn = Rotation.from_euler("ZYX", [pan, tilt, roll], degrees=True)
    vectors, magnitude, want = straight
    there = turn.apply(vectors)
    pairs = np.degrees(
        np.c_[np.arctan2(there[:, 1], there[:, 0]), np.arcsin(np.clip(there[:, 2], -1, 1))]
    )
    folder = tmp_path_factory.mktemp("turned")
    view, up = turn.apply([1.0, 0, 0]), turn.apply([0, 0, 1.0])
    found = read_sofa(
        sofa(
            folder / "turned.sofa",
            pairs,
            magnitude,
            NOMINAL,
            SourceView=view[None],
            SourceUp=up[None],
        )
    )
    assert np.percentile(np.abs(found - want), 99) < 0.6  # other triangles of the same directions
    assert np.abs(found - want)[::4, ::3].max() < 1e-6


LEFT, UP = np.array([0, 1.0, 0]), np.array([0, 0, 1.0])


def lopsided(vectors):
    """Magnitude that falls by half to the left, by three quarters up, and not to the
    right or down.
    """
    return (1 - 0.5 * np.clip(vectors @ LEFT, 0, 1)) * (1 - 0.75 * np.clip(vectors @ UP, 0, 1))


def seen(balloon):
    """Level to the left, right, up and down."""
    return [
        balloon[
            int(np.argmin(np.abs(AZIMUTH_DEG - a))), int(np.argmin(np.abs(ELEVATION_DEG - e))), 3
        ]
        for a, e in ((90, 0), (-90, 0), (0, 90), (0, -90))
    ]


@pytest.mark.parametrize(
    "view, up, kind, up_kind",
    [
        ((1, 0, 0), (0, 0, 1), "cartesian", None),
        ((0, 2, 0), (0, 0, 3), "cartesian", None),
        ((90, 0, 1), (0, 90, 1), "spherical", None),
        ((0, 0, 1), (90, 0, 1), "spherical", None),
        ((0, 90, 1), (180, 0, 1), "spherical", None),
        ((90, 0, 1), (0, 0, 1), "spherical", "cartesian"),
    ],
)
@pytest.mark.parametrize("written", ["cartesian", "spherical"])
def test_a_lopsided_loudspeaker_is_read_the_right_way_round(
    tmp_path, view, up, kind, up_kind, written
):
    """Closed form: 6 dB less to its own left and 12 dB less above, nothing less to the right and
    below, in whichever coordinates the file has its view, its top and its directions.
    """

    def plain(v, k):
        return (
            np.array(v, float)
            if k == "cartesian"
            else np.array(
                [
                    np.cos(np.radians(v[1])) * np.cos(np.radians(v[0])),
                    np.cos(np.radians(v[1])) * np.sin(np.radians(v[0])),
                    np.sin(np.radians(v[1])),
                ]
            )
        )

    front, top = plain(view, kind), plain(up, up_kind or kind)
    front, top = front / np.linalg.norm(front), top / np.linalg.norm(top)
    # left is where the top goes when it turns into the front
    axes = np.stack([front, np.cross(top, front), top])
    own = directions()[::3, ::3].reshape(-1, 3)
    there = own @ axes
    pairs = np.degrees(
        np.c_[np.arctan2(there[:, 1], there[:, 0]), np.arcsin(np.clip(there[:, 2], -1, 1))]
    )
    new = dict(
        SourceView=np.array([view], float),
        SourceUp=np.array([up], float),
        SourceView_Type=kind,
        SourceView_Units="meter" if kind == "cartesian" else "degree, degree, meter",
    )
    if written == "cartesian":
        new |= dict(
            ReceiverPosition=2.5 * there,
            ReceiverPosition_Type="cartesian",
            ReceiverPosition_Units="meter",
        )
    path = sofa(tmp_path / "l.sofa", pairs, np.tile(lopsided(own)[:, None], (1, 7)), NOMINAL, **new)
    if up_kind:
        with netCDF4.Dataset(path, "a") as file:
            file["SourceUp"].setncattr("Type", up_kind)
    assert seen(read_sofa(path)) == pytest.approx(
        [20 * np.log10(0.5), 0, 20 * np.log10(0.25), 0], abs=1e-6
    )


def test_polars_make_their_own_planes(tmp_path):
    """Closed form: a balloon from polars has the polars in its planes, half-sided ones on both
    sides, and lies between them elsewhere.
    """
    angle = np.arange(0, 181, 15)

    def level(width):
        return -6 * (angle / (width / 2)) ** 2

    rows = ["plane,angle_deg,125,250,500,1000,2000,4000,8000"]
    rows += [
        f"horizontal,{a}," + ",".join([f"{max(v, -40) + 97:.4f}"] * 7)
        for a, v in zip(angle, level(90), strict=True)
    ]
    rows += [
        f"vertical,{a * s}," + ",".join([f"{max(v, -40):.4f}"] * 7)
        for s in (-1, 1)
        for a, v in sorted(zip(angle, level(60), strict=True), reverse=s < 0)
        if a or s > 0
    ]
    (tmp_path / "p.csv").write_text("\n".join(rows), encoding="utf-8")
    found = read_polars(tmp_path / "p.csv")
    for k in (0, 45, 90):
        at = int(np.argmin(abs(AZIMUTH_DEG - k)))
        assert found[at, 18] == pytest.approx([max(-6 * (k / 45) ** 2, -40)] * 7, abs=1e-3)
        assert found[72 - at, 18] == pytest.approx(found[at, 18])
    assert found[36, 18 + 6] == pytest.approx([-6.0] * 7, abs=1e-3)
    h, v = balloons.edge_angles(found)
    assert h == pytest.approx([90] * 7, abs=0.01) and v == pytest.approx([60] * 7, abs=0.01)


def polars_file(path, horizontal, vertical, frequency=NOMINAL):
    """A table of polars: levels by angle, one a frequency or one for all."""
    rows = ["plane,angle_deg," + ",".join(f"{f:g}" for f in frequency)]
    for plane, polar in (("horizontal", horizontal), ("vertical", vertical)):
        rows += [
            f"{plane},{a},"
            + ",".join(f"{v:.6f}" for v in np.broadcast_to(polar[a], len(frequency)))
            for a in sorted(polar)
        ]
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


def at(balloon, azimuth, elevation):
    return balloon[
        int(np.argmin(np.abs(AZIMUTH_DEG - azimuth))),
        int(np.argmin(np.abs(ELEVATION_DEG - elevation))),
    ]


def test_lopsided_polars_keep_their_sides(tmp_path):
    """Closed form: positive angles are left and up; 45 degrees around the axis half of each plane
    counts, in decibels; 30 degrees around, three quarters and a quarter.
    """
    horizontal = {
        -180: -30,
        -135: -26,
        -90: -10,
        -45: -2,
        0: 0,
        45: -5,
        90: -16,
        135: -28,
        180: -30,
    }
    vertical = {-180: -30, -135: -22, -90: -6, -45: -1, 0: 0, 45: -8, 90: -21, 135: -29, 180: -30}
    found = read_polars(polars_file(tmp_path / "l.csv", horizontal, vertical))
    for a, level in horizontal.items():
        assert at(found, a, 0)[3] == pytest.approx(level)
    for e in (-90, -45, 45, 90):
        assert at(found, 0, e)[3] == pytest.approx(vertical[e])
    # 90 degrees off the axis, 45 and 30 degrees up from the left or the right: elevation is the
    for azimuth, elevation, share in (
        (90, 45, 0.5),
        (-90, 45, 0.5),
        (90, -45, 0.5),
        (-90, -45, 0.5),
        (90, 30, 0.75),
        (-90, -30, 0.75),
        (90, -60, 0.25),
    ):
        want = (
            share * horizontal[90 if azimuth > 0 else -90]
            + (1 - share) * vertical[90 if elevation > 0 else -90]
        )
        # angle around the axis
        assert at(found, azimuth, elevation)[3] == pytest.approx(want), (azimuth, elevation)


@pytest.mark.parametrize(
    "angles, behind",
    [
        (range(-180, 166, 15), {-180: -9, 170: -14, 175: -11.5, 180: -9, -175: -8.75}),
        (range(-165, 181, 15), {180: -18, -180: -18, -175: -14.75, 170: -17, -170: -11.5}),
        (range(-160, 161, 20), {160: -16, 170: -14, 180: -12, -180: -12, -170: -10, -160: -8}),
    ],
)
def test_polars_close_behind(tmp_path, angles, behind):
    """Closed form: a polar that falls by a decibel in 10 degrees on the left and in 20 on the right
    goes on in a straight line across the rear, whichever way its table goes round.
    """
    polar = {a: -a / 10 if a > 0 else a / 20 for a in angles}
    found = read_polars(polars_file(tmp_path / "r.csv", polar, polar))
    assert {a: at(found, a, 0)[2] for a in behind} == pytest.approx(behind)


def test_octaves_of_polars_are_means_of_energy(tmp_path):
    """Closed form: thirds of 0, 0 and -20 dB have a mean energy of 2.01 / 3, -1.739 dB; on the axis
    all are 0.
    """
    thirds = [round(1000 * 10 ** (n / 10), 1) for n in range(-10, 11)]
    uneven = np.tile([0.0, 0.0, -20.0], 7)
    polar = {-180: uneven - 12, -90: uneven - 6, 0: np.zeros(21), 90: uneven, 180: uneven - 12}
    found = read_polars(polars_file(tmp_path / "t.csv", polar, polar, thirds))
    mean = 10 * np.log10(2.01 / 3)
    assert (
        at(found, 90, 0) == pytest.approx([mean] * 7, abs=1e-4)
        and at(found, -90, 0) == pytest.approx([mean - 6] * 7, abs=1e-4)
        and at(found, 0, 0) == pytest.approx([0] * 7)
    )


def test_edge_angles_of_the_generic_types():
    """Closed form: above pattern control a generic type has the angles it was made from, and its
    index is that of its balloon.
    """
    for kind in loudspeaker_types().values():
        if (
            kind.lobes == 1
            and kind.measured_db is None
            and kind.horizontal_deg >= 60
            and kind.vertical_deg >= 60
        ):
            h, v = balloons.edge_angles(kind.balloon_db)
            assert h[5] == pytest.approx(kind.horizontal_deg, abs=2.5) and v[5] == pytest.approx(
                kind.vertical_deg, abs=2.5
            )


def school(folder, name="horn of the tests"):
    """A scenario file in a folder, with a measured type beside it that is the horn of the table."""
    write_sofa(HORN, folder / "horn.sofa")
    (folder / "horn.toml").write_text(DESCRIPTION.format(name=name, balloon="horn.sofa"))
    text = to_text(load(SCENARIOS / "dovecote.toml")).replace("two-way 110x60", name)
    (folder / "school.toml").write_text('loudspeaker_files = ["horn.toml"]\n' + text)
    return folder / "school.toml"


def test_a_measured_type_plays_in_a_scenario(tmp_path):
    """Behavior: a scenario that names a loudspeaker file plays it like any other type, as the
    generic one it was written from; saved, sent to another process, and told apart.
    """
    s = load(school(tmp_path))
    kind = s.loudspeakers[0].type
    assert s.measured_types == (kind,) and s.loudspeaker_types[kind.name] is kind
    assert kind.name not in loudspeaker_types()
    assert kind.fingerprint and kind.measured_db is not None
    assert (kind.horizontal_deg, kind.vertical_deg) == pytest.approx((90, 60), abs=5)
    generic = replace(
        s,
        groups=tuple(
            replace(g, loudspeaker="two-way 90x60") if g.loudspeaker == kind.name else g
            for g in s.groups
        ),
        loudspeaker_files=(),
        measured_types=(),
    )
    a, b = evaluate(s), evaluate(generic)
    assert a.level_db == pytest.approx(b.level_db, abs=0.01)
    assert a.sti == pytest.approx(b.sti, abs=1e-3)
    save(s, tmp_path / "again.toml")
    assert load(tmp_path / "again.toml") == s
    with pytest.raises(ValueError, match=r"loudspeaker_files are given, but not the folder"):
        parse((tmp_path / "school.toml").read_text())


def test_a_scenario_carries_its_measured_types(tmp_path):
    """Behavior: another process, which never read the file, has the type and its balloon."""
    s = load(school(tmp_path))
    again = pickle.loads(pickle.dumps(s))
    assert again == s and "__getstate__" not in vars(type(s))
    np.testing.assert_array_equal(
        again.loudspeakers[0].type.measured_db, s.measured_types[0].measured_db
    )


def test_a_file_is_valid_by_itself(tmp_path):
    """Behavior: a measured type that was read for one scenario is not known to the next: a file
    that names it without its loudspeaker_files is refused, whatever was read before.
    """
    path = school(tmp_path)
    load(path)
    path.write_text(path.read_text().replace('loudspeaker_files = ["horn.toml"]\n', ""))
    with pytest.raises(
        ValueError,
        match=r"^school\.toml: group '.*': loudspeaker = 'horn of the tests' is unknown\. .*"
        r"needs its loudspeaker_files",
    ):
        load(path)


def test_a_corrected_file_is_read_anew(tmp_path):
    """Behavior: a polar file or description that was corrected holds from the next reading on, and
    the scenario read before keeps what it had.
    """
    path = school(tmp_path)
    before = load(path)
    write_sofa(loudspeaker_types()["two-way 60x40"], tmp_path / "horn.sofa")
    card = tmp_path / "horn.toml"
    card.write_text(card.read_text().replace("weight_kg = 22", "weight_kg = 21"))
    after = load(path)
    old, new = before.measured_types[0], after.measured_types[0]
    assert (old.weight_kg, new.weight_kg) == (22, 21) and old.fingerprint != new.fingerprint
    assert new.horizontal_deg < old.horizontal_deg - 15 and before != after
    assert before.loudspeakers[0].type is old and after.loudspeakers[0].type is new


def test_two_types_need_two_names(tmp_path):
    """Behavior: two measured types of one name in one scenario are refused; in two scenarios each
    has its own.
    """
    path = school(tmp_path)
    card = (tmp_path / "horn.toml").read_text()
    (tmp_path / "other.toml").write_text(card.replace("weight_kg = 22", "weight_kg = 30"))
    text = path.read_text()
    path.write_text(text.replace('["horn.toml"]', '["horn.toml", "other.toml"]'))
    with pytest.raises(ValueError, match="another loudspeaker type is called 'horn of the tests'"):
        load(path)
    path.write_text(text.replace('["horn.toml"]', '["other.toml"]'))
    assert load(path).measured_types[0].weight_kg == 30


def test_measured_types_can_be_chosen(tmp_path):
    """Behavior: arrangements, options and moves take the scenario's types."""
    s = load(school(tmp_path))
    other = arrange(s, "center four", loudspeaker="horn of the tests")
    assert {c.type.name for c in other.loudspeakers} == {"horn of the tests"}
    assert "horn of the tests" in choices(s)["loudspeakers"]
    first = load(SCENARIOS / "dovecote.toml")
    with pytest.raises(ValueError, match="loudspeaker = 'horn of the tests' is unknown"):
        arrange(first, "center four", loudspeaker="horn of the tests")


@pytest.mark.parametrize(
    "change, message",
    [
        (
            lambda f: (f / "x.sofa").write_bytes((f / "x.sofa").read_bytes()[:2000]),
            r"x\.sofa: cannot be read as an AES69 \(SOFA\) file\. Damaged, or cut short\?",
        ),
        (
            lambda f: (f / "x.sofa").write_bytes(b"not a file"),
            r"x\.sofa: cannot be read as an AES69",
        ),
        (lambda f: (f / "x.sofa").unlink(), r"x\.sofa: there is no such file"),
        (
            lambda f: sofa_of_heads(f / "x.sofa"),
            r"x\.sofa: holds the convention SimpleFreeFieldHRIR, not FreeFieldDirectivityTF",
        ),
        (
            lambda f: sofa(
                f / "x.sofa",
                [[0, 0], [90, 0], [180, 0], [-90, 0], [45, 0], [-45, 0], [135, 0]],
                np.ones((7, 7)),
                NOMINAL,
            ),
            r"x\.sofa: no direction was measured within .*° of azimuth",
        ),
        (
            lambda f: sofa(f / "x.sofa", [[0, 0], [90, 0]], np.ones((2, 7)), NOMINAL),
            r"x\.sofa: only 2 directions were measured",
        ),
        (
            lambda f: sofa(
                f / "x.sofa", grid(), np.ones((len(grid()), 7)), np.array(NOMINAL) / 1000
            ),
            r"x\.sofa: its frequencies reach from 0\.125 to 8 Hz\. Kilohertz",
        ),
        (
            lambda f: sofa(f / "x.sofa", grid(), np.full((len(grid()), 7), np.nan), NOMINAL),
            r"x\.sofa: its frequencies do not fit its data, or data are missing",
        ),
        (
            lambda f: sofa(
                f / "x.sofa",
                grid(),
                np.ones((len(grid()), 7)),
                NOMINAL,
                SourceUp=np.array([[1.0, 0, 0]]),
            ),
            r"x\.sofa: lacks what FreeFieldDirectivityTF must hold",
        ),
    ],
)
def test_damaged_files_get_one_line(tmp_path, change, message):
    """Behavior: a damaged or foreign file is refused in one line that names it."""
    write_sofa(HORN, tmp_path / "x.sofa")
    change(tmp_path)
    with pytest.raises(ValueError, match=message) as refused:
        read_sofa(tmp_path / "x.sofa")
    assert "\n" not in str(refused.value)


def grid():
    return [[a, e] for a in range(0, 360, 20) for e in range(-80, 81, 20)]


def sofa_of_heads(path):
    data = sofar.Sofa("SimpleFreeFieldHRIR")
    sofar.write_sofa(str(path), data)


@pytest.mark.parametrize(
    "old, new, message",
    [
        ('name = "made"', 'nome = "made"', r"x\.toml: unknown key 'nome'\. Known: name"),
        ("rated_w = 300\n", "", r"x\.toml: missing rated_w"),
        ("rated_w = 300", "rated_w = -3", r"x\.toml: rated_w = -3 W is outside 1 to 5000 W"),
        (
            "[90, 94, 96, 97, 97, 97, 94]",
            "[90, 94]",
            r"x\.toml: sensitivity_db must be seven levels",
        ),
        ("x.sofa", "x.clf", r"x\.toml: balloon = 'x\.clf' is neither a \.sofa nor a \.csv file"),
        (
            'name = "made"',
            'name = "two-way 90x60"',
            r"x\.toml: another loudspeaker type is called 'two-way 90x60'",
        ),
        ("rated_w = 300", "rated_w = ", r"x\.toml: is not valid TOML"),
    ],
)
def test_descriptions_that_cannot_be(tmp_path, old, new, message):
    """Behavior: a description is refused in one line that names file, key and what is allowed."""
    write_sofa(HORN, tmp_path / "x.sofa")
    text = DESCRIPTION.format(name="made", balloon="x.sofa")
    assert old in text
    (tmp_path / "x.toml").write_text(text.replace(old, new))
    with pytest.raises(ValueError, match=message):
        read_measured(tmp_path / "x.toml")
    with pytest.raises(ValueError, match=r"y\.toml: there is no such loudspeaker file"):
        read_measured(tmp_path / "y.toml")


HEAD = "plane,angle_deg,125,250,500,1000,2000,4000,8000\n"


@pytest.mark.parametrize(
    "text, message",
    [
        (
            "angle,level\n",
            r"p\.csv: the first line must be plane,angle_deg and then rising frequencies",
        ),
        (HEAD + "sideways,0,0,0,0,0,0,0,0\n", r"p\.csv, line 2: plane = 'sideways' is neither"),
        (
            HEAD + "horizontal,0,0,0\n",
            r"p\.csv, line 2: needs an angle from -180 to 180 and 7 levels",
        ),
        (HEAD + "horizontal,0,0,0,0,0,0,x,0\n", r"p\.csv, line 2: needs an angle"),
        (
            HEAD + "horizontal,0,0,0,0,0,0,0,0\n",
            r"p\.csv: has 1 horizontal angles\. Give the polar all round",
        ),
        (
            HEAD
            + "".join(
                f"{p},{a},0,0,0,0,0,0,0\n" for p in ("horizontal", "vertical") for a in (0, 30, 60)
            ),
            r"p\.csv: horizontal: angles reach from -60 to 60°",
        ),
        (
            HEAD
            + "".join(
                f"{p},{a},0,0,0,0,0,0,0\n"
                for p in ("horizontal", "vertical")
                for a in (0, 90, 60, 180)
            ),
            r"p\.csv: horizontal: angles must increase",
        ),
        ("", r"p\.csv: the first line must be"),
    ],
)
def test_polars_that_cannot_be(tmp_path, text, message):
    """Behavior: a table of polars is refused in one line that names file and line."""
    (tmp_path / "p.csv").write_text(text)
    with pytest.raises(ValueError, match=message):
        read_polars(tmp_path / "p.csv")


def test_mean_of_seams():
    """Closed form: directions given twice count as the mean of their energies."""
    vectors = directions()[::3, ::3].reshape(-1, 3)
    level = np.zeros((len(vectors), 7))
    pole = np.flatnonzero(vectors[:, 2] > 0.999)
    level[pole] = np.linspace(-6, 0, len(pole))[:, None]
    found = gridding.on_grid(vectors, level)
    assert found[36, 36] == pytest.approx([to_level(to_energy(level[pole, 0]).mean())] * 7)
