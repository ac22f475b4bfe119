"""Measured loudspeakers: round trips, files written by another hand, any grid and frequency set,
damaged files.
"""

import os
import pickle
import time
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
from gymtools.display.documents.handover import write_handover
from gymtools.equipment.prices import Price, PriceBook, example_prices
from gymtools.equipment.schedules import parts, schedules
from gymtools.physics import balloons, gridding
from gymtools.physics.bands import EXACT, NOMINAL, to_energy, to_level
from gymtools.physics.directivity import AZIMUTH_DEG, ELEVATION_DEG, directions
from gymtools.venue.files import load, parse, save, to_text
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.measured import read_measured
from gymtools.venue.polars import read_polars
from gymtools.venue.reading_files import check_keys
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
        f"vertical,{a * s}," + ",".join([f"{max(v, -40) + 97:.4f}"] * 7)
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


def filled_in(polar):
    """A polar every 15 degrees, in straight lines between its angles."""
    angles = sorted(polar)
    levels = np.array([np.broadcast_to(polar[a], 21) for a in angles])  # (angle, frequency)
    every = range(angles[0], angles[-1] + 1, 15)
    return {a: np.array([np.interp(a, angles, one) for one in levels.T]) for a in every}


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
    both = [{a: v[0] for a, v in filled_in(p).items()} for p in (horizontal, vertical)]
    found = read_polars(polars_file(tmp_path / "l.csv", *both))
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
    polar = filled_in(polar)
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


def test_the_installers_scenario_loads_where_it_lies(tmp_path):
    """Behavior: the handover holds the files of measured loudspeakers, so that its scenario gives
    the same levels from there.
    """
    s = load(school(tmp_path))
    rows = example_prices().prices.values()
    horn = Price(kind="loudspeaker", item="horn of the tests", unit="each", price=900.0, hours=2.0)
    book = PriceBook([*rows, horn])
    made = parts(s, prices=book)
    note = schedules(made)[0].note
    assert note.endswith(" horn of the tests as measured: made up for tests.")
    paths = write_handover(made, tmp_path)
    assert {"horn.toml", "horn.sofa"} <= {p.name for p in paths}
    again = load(next(p for p in paths if p.name == "scenario.toml"))
    assert evaluate(again).level_db == pytest.approx(evaluate(s).level_db, abs=1e-6)


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
        (lambda f: (f / "x.sofa").unlink(), r"x\.sofa: there is no such SOFA file"),
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
            r"x\.sofa: the value of receiver 1 at 125 Hz is not finite: data are missing\.",
        ),
        (
            lambda f: sofa(
                f / "x.sofa",
                grid(),
                np.ones((len(grid()), 7)),
                NOMINAL,
                SourceUp=np.array([[1.0, 0, 0]]),
            ),
            r"x\.sofa: SourceView and SourceUp point the same way\.",
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


def odd(change):
    """Writes a file with 4 degrees to a direction, after a change to its values."""
    values = dict(
        pairs=np.array(grid(), float),
        magnitude=np.tile(lopsided(near(grid()))[:, None], (1, 7)),
        frequency=np.array(NOMINAL, float),
        units={},
    )
    change(values)

    def write(path):
        units = values.pop("units")
        sofa(
            path, values["pairs"], values["magnitude"], values["frequency"], **values.get("new", {})
        )
        with netCDF4.Dataset(path, "a") as file:
            if "hole" in values:
                file["Data.Real"][0, 6, 2] = values["hole"]
            if "radius" in values:
                file["ReceiverPosition"][6, 2] = values["radius"]
            for (name, key), unit in units.items():
                file[name].setncattr(key, unit)
        return path

    return write


def near(pairs):
    """Unit vectors of (azimuth, elevation) in degrees."""
    a, e = np.radians(np.array(pairs, float)).T
    return np.c_[np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)]


def put(name, at, value):
    """A change of one value of a file."""
    return lambda v: v[name].__setitem__(at, value)


def new(**values):
    """A change of whole variables of a file."""
    return lambda v: v.update(new={k: np.array([x], float) for k, x in values.items()})


def hole(value):
    """A change of one value of the data, without a warning of its own."""
    return lambda v: v.update(hole=value)


def unit(name, value, key="Units"):
    """A change of the units of a variable."""
    return lambda v: v["units"].update({(name, key): value})


def radius(value):
    """A change of one distance of the file."""
    return lambda v: v.update(radius=value)


def some_octaves(*kept):
    """A file of some of the octaves."""
    return lambda v: v.update(
        frequency=v["frequency"][list(kept)], magnitude=v["magnitude"][:, list(kept)]
    )


def times(name, factor):
    """A change of all values of a variable."""
    return lambda v: v.update({name: v[name] * factor})


@pytest.mark.parametrize(
    "change, words",
    [
        (put("pairs", (6, 0), np.nan), r"ReceiverPosition 7 of 162 is nan, .* points nowhere\."),
        (put("pairs", (6, 1), np.inf), r"ReceiverPosition 7 of 162 is .*inf, .* points nowhere\."),
        (put("pairs", (6, 1), 95.0), r"ReceiverPosition 7 has an elevation of 95°, outside -90"),
        (put("magnitude", (6, 2), np.nan), r"the value of receiver 7 at 500 Hz is not finite"),
        (hole(np.inf), r"the value of receiver 7 at 500 Hz is not finite"),
        (put("magnitude", (6, 2), 1e200), r"its loudest level at 500 Hz is \d+ dB, outside"),
        (times("magnitude", 0.0), r"its data are all zero\."),
        (times("magnitude", 1e-12), r"its loudest level at 125 Hz is -240 dB, outside -160 to 200"),
        (put("magnitude", (slice(None), 3), 0.0), r"its loudest level at 1000 Hz is -300 dB"),
        (put("magnitude", (3, slice(None)), 1e4), r"its axis lies \d+ dB below its loudest dir"),
        (put("frequency", 0, np.nan), r"has a frequency of nan Hz"),
        (put("frequency", 0, 0.0), r"has a frequency of 0 Hz"),
        (put("frequency", 0, -125.0), r"has a frequency of -125 Hz"),
        (put("frequency", 6, np.inf), r"has a frequency of inf Hz"),
        (put("frequency", 6, 100.0), r"its frequencies must rise, but 100 Hz follows 4000 Hz\."),
        (put("pairs", (6, 0), 765.0), r"ReceiverPosition 7 has an azimuth of 765°, outside -360"),
        (radius(-1.0), r"ReceiverPosition 7 of 162 is .*, -1 \(spherical\), which points nowhere"),
        (radius(0.0), r"ReceiverPosition 7 of 162 is .*, 0 \(spherical\), which points nowhere"),
        (times("frequency", 2 * np.pi), r"its frequencies reach up to 50265\.5 Hz.* Radians per"),
        (some_octaves(3), r"no frequency in the octaves of 250 Hz, 500 Hz, 2000 Hz, 4000 Hz\."),
        (some_octaves(0, 1, 2, 3, 5, 6), r"it has no frequency in the octaves of 2000 Hz\."),
        (new(SourceView=[np.nan, 0, 0]), r"SourceView 1 of 1 is nan, 0, 0 .* points nowhere\."),
        (new(SourceView=[0, 0, 0]), r"SourceView 1 of 1 is 0, 0, 0 .* points nowhere\."),
        (new(SourceUp=[0, 0, 0]), r"SourceUp 1 of 1 is 0, 0, 0 .* points nowhere\."),
        (
            unit("ReceiverPosition", "gon, gon, metre"),
            r"ReceiverPosition_Units = 'gon, gon, metre'",
        ),
        (unit("ReceiverPosition", "metre"), r"ReceiverPosition_Units = 'metre' is unknown for sph"),
        (unit("SourceView", "furlong"), r"SourceView_Units = 'furlong' is unknown for cartesian"),
        (unit("N", "kilohertz"), r"N_Units = 'kilohertz' is unknown\. Known: hertz\."),
        (unit("SourceView", "polar", "Type"), r"SourceView_Type = 'polar' is neither"),
        # degrees that are said to be radians
        (unit("ReceiverPosition", "radian, radian, metre"), r"has an elevation of .*°, outside"),
    ],
)
def test_what_no_loudspeaker_radiates_is_refused(tmp_path, change, words):
    """Behavior: one value that is not finite, a direction that is none, data all zero, an axis that
    was not measured or an unknown unit is refused by name; nothing is read as omnidirectional.
    """
    path = odd(change)(tmp_path / "x.sofa")
    with pytest.raises(ValueError, match=rf"^x\.sofa: .*{words}") as refused:
        read_sofa(path)
    assert str(refused.value).isprintable()


def test_radians_are_read_as_radians(tmp_path):
    """Closed form: directions and view in radians, and the same in degrees, are one loudspeaker."""
    turned = dict(SourceView_Type="spherical", SourceView=np.array([[90.0, 0, 1]]))
    turned |= dict(SourceUp=np.array([[0, 90.0, 1]]), SourceView_Units="degree, degree, metre")
    pairs = np.array(grid(), float)
    magnitude = np.tile(lopsided(near(pairs))[:, None], (1, 7)) + 0.5
    want = read_sofa(sofa(tmp_path / "d.sofa", pairs, magnitude, NOMINAL, **turned))
    half = np.pi / 2
    turned |= dict(SourceView=np.array([[half, 0, 1]]), SourceUp=np.array([[0, half, 1]]))
    path = sofa(tmp_path / "r.sofa", np.radians(pairs), magnitude, NOMINAL, **turned)
    with netCDF4.Dataset(path, "a") as file:
        for name in ("ReceiverPosition", "SourceView"):
            file[name].setncattr("Units", "radian, radian, metre")
    assert read_sofa(path) == pytest.approx(want, abs=1e-6)
    assert not np.allclose(want, 0, atol=1.0)


def test_lengths_of_directions_do_not_matter(tmp_path):
    """Invariance: a view and receivers a hair or a light-year away are the same directions."""
    pairs = np.array(grid(), float)
    magnitude = np.tile(lopsided(near(pairs))[:, None], (1, 7)) + 0.5
    want = read_sofa(sofa(tmp_path / "d.sofa", pairs, magnitude, NOMINAL))
    for long in (1e-300, 1e300):
        view = dict(SourceView=np.array([[long, 0, 0]]), SourceUp=np.array([[0, 0, long]]))
        path = sofa(tmp_path / "l.sofa", pairs, magnitude, NOMINAL, **view)
        assert read_sofa(path) == pytest.approx(want, abs=1e-9)


@pytest.mark.parametrize("bad", [[np.nan, 0, 0], [0, 0, 0], [np.inf, 0, 0]])
def test_no_direction_wins_by_being_none(bad):
    """Behavior: a direction that is none is refused by the search itself, by its number."""
    vectors = directions()[::3, ::3].reshape(-1, 3).copy()
    level = np.zeros((len(vectors), 7))
    vectors[4] = bad
    with pytest.raises(ValueError, match=r"^direction 5 of 325 is .* points nowhere\."):
        gridding.on_grid(vectors, level)
    level[7, 2] = np.nan
    with pytest.raises(ValueError, match=r"^a level of it is not finite\."):
        gridding.on_grid(directions()[::3, ::3].reshape(-1, 3), level)


ANGLES_OF_THREE = ("angle_deg", "-180", "0", "180")


def polar(head="125,250,500,1000,2000,4000,8000", **levels):
    """Polars of equal levels, except at some angles."""
    rows = [f"plane,angle_deg,{head}"]
    for plane in ("horizontal", "vertical"):
        for angle in range(-180, 181, 30):
            level = levels.get(f"at_{angle}", 0)
            rows.append(f"{plane},{angle}" + f",{level}" * len(head.split(",")))
    return "\n".join(rows)


@pytest.mark.parametrize(
    "text, words",
    [
        (polar("0.125,0.25,0.5,1,2,4,8"), r", line 1: .* from 0\.125 to 8 Hz\. Kilohertz given by"),
        (polar("nan,250,500"), r", line 1: has a frequency of nan Hz\."),
        (polar("0,250,500"), r", line 1: has a frequency of 0 Hz\."),
        (polar("250,500,inf"), r", line 1: has a frequency of inf Hz\."),
        (polar("-250,500,1000"), r", line 1: has a frequency of -250 Hz\."),
        (polar("500,250,1000"), r", line 1: its frequencies must rise, but 250 Hz follows 500 Hz"),
        (
            polar(at_0=-90),
            r": its axis lies 90 dB below its loudest direction at 125 Hz, more than",
        ),
        (
            polar("1000"),
            r", line 1: it has no frequency in the octaves of 250 Hz, 500 Hz, 2000 Hz,",
        ),
        (polar("250,500,1000,4000"), r", line 1: .* octaves of 2000 Hz\. .*Is a column missing\?"),
        (
            polar("785.4,1570.8,3141.6,6283.2,12566.4,25132.7,50265.5"),
            r", line 1: its frequencies reach up to 50265\.5 Hz, .* Radians per second given by",
        ),
        (polar("785,1571,3142,6283"), r", line 1: .* 250 Hz, 500 Hz\. .* Radians per second"),
        # from 31.5 Hz on, so that every octave seems to be there
        (
            polar("198,396,785,1571,3142,6283,12566,25133"),
            r", line 1: its frequencies reach up to 25133 Hz, .* Radians per second given by",
        ),
        (
            polar(**{f"at_{a}": abs(np.cos(np.radians(a / 2))) for a in range(-180, 181, 30)}),
            r": all its levels lie between .* with 1 on the axis\. Decibels are expected\.",
        ),
        (
            polar().replace("vertical,0,0,0,0", "vertical,0,0,0,-4"),
            r": at 500 Hz the axis has 0 dB in the horizontal plane and -4 dB in the vertical\.",
        ),
        (
            "\n".join(x for x in polar().split("\n") if not x.startswith("vertical,60")),
            r": vertical: no angle was measured between 30 and 90°\. .*Is a row missing\?",
        ),
        (
            "\n".join(r for r in polar().split("\n") if r.split(",")[1] in ANGLES_OF_THREE),
            r": horizontal: no angle was measured between -180 and 0°\.",
        ),
        (polar(at_60=900), r", line 10: a level of 900 dB is outside -160 to 200 dB\."),
        (polar(at_60="-1_0"), r", line 10: needs an angle from -180 to 180 and 7 levels\."),
        (polar(at_60="-\u0663"), r", line 10: needs an angle from -180 to 180 and 7 levels\."),
        (polar(at_60="-inf"), r", line 10: needs an angle from -180 to 180 and 7 levels\."),
        (polar(at_60='"0'), r", line \d+: is not a row of CSV\. Is a quote not closed\?"),
        (polar(at_60="0" * 20_000), r", line 10: a cell is longer than 10000 characters\."),
        (polar() + "\nhorizontal,0,0" * 2000, r", line \d+: more than 2000 rows\."),
        (polar("1" + ",2" * 1001), r", line 1: has 1004 columns, more than 1002\."),
    ],
)
def test_polars_that_no_loudspeaker_has(tmp_path, text, words):
    """Behavior: frequencies in kilohertz or none at all, an axis that was not measured, levels in
    no unit and broken rows are refused, with file and line.
    """
    (tmp_path / "p.csv").write_text(text)
    with pytest.raises(ValueError, match=rf"^p\.csv{words}") as refused:
        read_polars(tmp_path / "p.csv")
    assert str(refused.value).isprintable()


def test_polars_beside_the_refused_are_read(tmp_path):
    """Behavior: an axis 20 dB below the loudest direction, lines between empty ones, and absolute
    levels are read.
    """
    (tmp_path / "p.csv").write_text(polar(at_0=-20).replace("\n", "\n\n"))
    assert read_polars(tmp_path / "p.csv").max() == pytest.approx(20)


def test_what_was_not_measured_is_said(tmp_path):
    """Regression: octaves beyond the measured ones and the rear of a half polar were filled in
    without a word; the type's source, which record and schedules show, says so.
    """
    kept = ("angle_deg", *(f"{a}" for a in range(-90, 91, 30)))
    half = "\n".join(
        r for r in polar("250,500,1000,2000,4000").split("\n") if r.split(",")[1] in kept
    )
    (tmp_path / "x.csv").write_text(half)
    (tmp_path / "x.toml").write_text(DESCRIPTION.format(name="made", balloon="x.csv"))
    assert read_measured(tmp_path / "x.toml").source == (
        "made up for tests; 125 Hz taken from 250 Hz; 8000 Hz taken from 4000 Hz; horizontal: not"
        " measured behind -90 and 90°, a straight line in dB between; vertical: not measured behind"
        " -90 and 90°, a straight line in dB between"
    )
    (tmp_path / "x.csv").write_text(polar())
    assert read_measured(tmp_path / "x.toml").source == "made up for tests"
    odd(some_octaves(1, 2, 3, 4, 5, 6))(tmp_path / "x.sofa")
    (tmp_path / "x.toml").write_text(DESCRIPTION.format(name="made", balloon="x.sofa"))
    assert (
        read_measured(tmp_path / "x.toml").source == "made up for tests; 125 Hz taken from 250 Hz"
    )
    ends = gridding.octaves_taken(np.array([50.0, 250, 500, 1000, 2000, 4000, 8000]))
    assert ends == ("125 Hz taken between 50 and 250 Hz",)


@pytest.mark.parametrize("key", ["{}=1", "[{}]", "a = {{ {} = 1 }}"])
def test_a_long_dotted_key_costs_no_time(tmp_path, key):
    """Regression: one key of 100 kB took more than a minute; texts, comments and arrays may hold as
    many dots as they like.
    """
    text = "# one\n" + key.format(".".join(["a"] * 45_000)) + "\n"
    (tmp_path / "x.toml").write_text(text)
    begun = time.process_time()
    for read in (read_measured, load):
        with pytest.raises(ValueError, match=r"^x\.toml: .*Line 2 has a key of more than 11 parts"):
            read(tmp_path / "x.toml")
    assert time.process_time() - begun < 2
    many = "1." * 40
    for good in (
        f'a = "{many}"',
        f"a = '{many}'",
        f'a = """\n{many}\n"""',
        f"a = '''{many}'''",
        f"a = 1 # {many}",
        "a = [" + "0.5, " * 40 + "]",
        f'a = "\\"{many}" # "',
    ):
        check_keys(good)
    for unclosed in ('"' * 90_001, "'" * 90_001, '"""\\' * 30_000, '\\"' * 50_000):
        check_keys(unclosed)
    assert time.process_time() - begun < 4


def test_only_what_a_balloon_needs_is_unpacked(tmp_path):
    """Regression: each array was bounded by itself, and 24 of them unpacked to 7 GB; they count
    together, and those that no balloon needs are not read.
    """
    path = write(tmp_path)
    with netCDF4.Dataset(path, "a") as file:
        file.createDimension("Z", 2_000_000)
        for n in range(16):
            file.createVariable(f"Other{n}", "f8", ("Z",), zlib=True, chunksizes=(1_000_000,))
    with pytest.raises(
        ValueError, match=r"^x\.sofa: unpacks to 32045947 values, more than 30000000"
    ):
        read_sofa(path)
    path = write(tmp_path)
    want = read_sofa(path)
    with netCDF4.Dataset(path, "a") as file:
        file.createVariable("Odd", str, ("M",))[0] = "not a number"
    assert np.array_equal(read_sofa(path), want)


@pytest.mark.parametrize("suffix", ["sofa", "csv", "toml"])
def test_what_is_no_ordinary_file_never_hangs(tmp_path, suffix):
    """Behavior: a pipe, a device, a folder in place of a balloon or its description is refused."""
    read = {"sofa": read_sofa, "csv": read_polars, "toml": read_measured}[suffix]
    os.mkfifo(tmp_path / f"pipe.{suffix}")
    (tmp_path / f"zero.{suffix}").symlink_to("/dev/zero")
    (tmp_path / f"folder.{suffix}").mkdir()
    for name in ("pipe", "zero", "folder"):
        with pytest.raises(ValueError, match=rf"^{name}\.{suffix}: (is no ordinary|.*be opened)"):
            read(tmp_path / f"{name}.{suffix}")


def test_large_balloons_are_refused(tmp_path, monkeypatch):
    """Behavior: a balloon is refused by the size of its file, of what it unpacks to, and by its
    number of directions and frequencies.
    """
    path = write(tmp_path)
    monkeypatch.setattr("gymtools.venue.sofa.MOST_VALUES", 10_000)
    with pytest.raises(ValueError, match=r"^x\.sofa: unpacks to 45947 values, more than 10000,"):
        read_sofa(path)
    monkeypatch.setattr("gymtools.venue.sofa.MOST_BYTES", 1000)
    with pytest.raises(ValueError, match=r"^x\.sofa: is larger than 1 kB, so it is no SOFA file"):
        read_sofa(path)
    with pytest.raises(ValueError, match=r"^70001 directions are more than 70000\."):
        gridding.on_grid(np.ones((70_001, 3)), np.zeros((70_001, 7)))
    with pytest.raises(ValueError, match=r"^has 20001 frequencies\. Give 1 to 20000\."):
        gridding.check_frequencies(np.arange(1, 20_002))


def write(folder):
    """A good balloon in a folder."""
    write_sofa(HORN, folder / "x.sofa")
    return folder / "x.sofa"


@pytest.mark.parametrize(
    "named, words",
    [
        ("../made.toml", "must be named by its path within the scenario's folder"),
        ("sub/../../made.toml", "must be named by its path within the scenario's folder"),
        ("{outside}/made.toml", "must be named by its path within the scenario's folder"),
        ("", "must be named by its path within the scenario's folder"),
        ("link.toml", "is a link that leads out of the scenario's folder"),
        ("folder/made.toml", "is a link that leads out of the scenario's folder"),
        ("circle.toml", "cannot be found|no such|cannot be opened"),
        ("pipe.toml", "is no ordinary file"),
    ],
)
def test_loudspeaker_files_stay_in_their_folder(tmp_path, named, words):
    """Behavior: a description and its balloon lie in the scenario's folder; a path or a link that
    leads out of it, and a pipe, are refused. Within a folder there, or by a link within, they are
    read.
    """
    outside, home = tmp_path / "outside", tmp_path / "home"
    for folder in (outside, home, home / "sub"):
        folder.mkdir()
        write(folder)
        (folder / "made.toml").write_text(DESCRIPTION.format(name="made", balloon="x.sofa"))
    (home / "link.toml").symlink_to(outside / "made.toml")
    (home / "folder").symlink_to(outside)
    (home / "circle.toml").symlink_to(home / "circle.toml")
    (home / "within.toml").symlink_to(home / "made.toml")
    os.mkfifo(home / "pipe.toml")
    text = (SCENARIOS / "dovecote.toml").read_text(encoding="utf-8")

    def made(name):
        said = name.format(outside=outside)
        return parse(f'loudspeaker_files = ["{said}"]\n' + text, "gym.toml", folder=home)

    with pytest.raises(ValueError, match=rf"^gym\.toml: .*({words})"):
        made(named)
    for good in ("sub/made.toml", "./made.toml", "within.toml"):
        assert made(good).measured_types[0].name == "made"
    (home / "out.toml").write_text(DESCRIPTION.format(name="made", balloon="../outside/x.sofa"))
    with pytest.raises(
        ValueError, match=r"^gym\.toml: out\.toml: file '\.\./outside/x\.sofa' must"
    ):
        made("out.toml")
    (home / "y.sofa").symlink_to(outside / "x.sofa")
    (home / "out.toml").write_text(DESCRIPTION.format(name="made", balloon="y.sofa"))
    with pytest.raises(ValueError, match=r"^gym\.toml: out\.toml: file 'y\.sofa' is a link that"):
        made("out.toml")


@pytest.mark.parametrize(
    "old, new, words",
    [
        ('name = "made"', 'name = "a\\u202eb"', r"name = .* holds the character U\+202E"),
        ('name = "made"', "name = 2026-01-01", r"name = datetime\.date.* must be text in quotes"),
        ("rated_w = 300", "rated_w = true", r"rated_w = True is not a number"),
        ("rated_w = 300", "rated_w = 12:00:00", r"rated_w = datetime\.time.* is not a number"),
        (
            "rated_w = 300",
            "rated_w = 1" + "0" * 400,
            r"rated_w is a number of more than 300 digits",
        ),
        ("[90, 94,", "[true, 94,", r"sensitivity_db must be seven levels"),
        ("[90, 94,", "[nan, 94,", r"sensitivity_db must be seven levels"),
        ('"x.sofa"', "3", r"balloon = 3 must be text in quotes"),
        ("rated_w = 300", "rated_w = " + "[" * 5000 + "]" * 5000, r"is nested too deeply"),
        ("rated_w = 300", "rated_w = 300 #" + "x" * 100_000, r"is larger than 100 kB"),
    ],
)
def test_descriptions_of_a_wrong_kind(tmp_path, old, new, words):
    """Behavior: a value of a wrong kind, deep nesting or a large description is one line."""
    write(tmp_path)
    text = DESCRIPTION.format(name="made", balloon="x.sofa")
    assert old in text
    (tmp_path / "x.toml").write_text(text.replace(old, new))
    with pytest.raises(ValueError, match=rf"^x\.toml: .*{words}") as refused:
        read_measured(tmp_path / "x.toml")
    assert str(refused.value).isprintable()


def test_saving_elsewhere_brings_the_loudspeakers_along(tmp_path):
    """Regression: saved into another folder, a scenario could not be loaded there, or took another
    loudspeaker whose file has the same name, without a word.
    """
    s = load(school(tmp_path))
    for folder in ("new", "taken", "balloon"):
        (tmp_path / folder).mkdir()
    path = save(s, tmp_path / "new" / "s.toml")
    assert evaluate(load(path)).level_db == pytest.approx(evaluate(s).level_db, abs=1e-4)
    before = {p.name: p.read_bytes() for p in path.parent.iterdir()}
    assert set(before) == {"s.toml", "horn.toml", "horn.sofa"}
    save(s, path, overwrite=True)
    assert {p.name: p.read_bytes() for p in path.parent.iterdir()} == before
    narrow = loudspeaker_types()["long-throw 40x30"]
    write_sofa(narrow, tmp_path / "taken" / "horn.sofa")
    words = (tmp_path / "horn.toml").read_text()
    (tmp_path / "taken" / "horn.toml").write_text(words)
    with pytest.raises(ValueError, match=r"^horn\.toml: the loudspeaker file that is there does "):
        save(s, tmp_path / "taken" / "s.toml")
    (tmp_path / "taken" / "horn.toml").write_text("nothing")
    with pytest.raises(ValueError, match=r"^the loudspeaker file that is there cannot be read: ho"):
        save(s, tmp_path / "taken" / "s.toml")
    write_sofa(narrow, tmp_path / "balloon" / "horn.sofa")
    with pytest.raises(ValueError, match=r"^horn\.sofa is there, but no horn\.toml: the balloon"):
        save(s, tmp_path / "balloon" / "s.toml")
    assert not (tmp_path / "taken" / "s.toml").exists()
    assert not (tmp_path / "balloon" / "s.toml").exists()
