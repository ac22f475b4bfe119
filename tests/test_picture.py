"""The picture: every layer shows what the evaluation says, for every quantity, unit and
scenario.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cases import usual

import gymtools
from gymtools.acoustics.feedback import walking_map
from gymtools.acoustics.throws import section, throws
from gymtools.display import scene, theme
from gymtools.display.charts import maps
from gymtools.display.scene import camera, space
from gymtools.physics import bands, geometry
from gymtools.venue.scenario import changed
from gymtools.venue.units import FOOT

SCENARIOS = sorted((Path(__file__).resolve().parent.parent / "scenarios").glob("*.toml"))
LOADED = {p.stem: gymtools.load(p) for p in SCENARIOS}


def trace(figure, name):
    """A trace by name."""
    return next(t for t in figure.data if t.name == name)


@pytest.fixture(scope="module")
def larkfield():
    return gymtools.evaluate(LOADED["larkfield"])


@pytest.mark.parametrize("name", usual(LOADED, "dovecote", "stonebridge"))
@pytest.mark.parametrize("quantity", theme.QUANTITIES)
def test_every_quantity_draws_in_every_scenario(name, quantity):
    """Closed form: the colors of the map are the values of the evaluation, in feet as
    in meters.
    """
    result = gymtools.evaluate(LOADED[name])
    for units in ("m", "ft"):
        figure = scene.figure(scene.View(result=result, quantity=quantity, units=units))
        scale = 1 / FOOT if quantity == "distance" and units == "ft" else 1.0
        shown = np.asarray(trace(figure, "map").intensity)
        if quantity == "feedback_margin":
            wanted = np.concatenate([m.margin_db for m in walking_map(result)])
        else:
            wanted = theme.values(result, quantity) * scale
        assert shown == pytest.approx(wanted, rel=1e-5)
        assert np.isfinite(shown).all()


def test_the_map_lies_where_the_seats_are(larkfield):
    """Closed form: mesh corners are the listening points, let down to the seats; feet are meters
    times 1/0.3048.
    """
    meters = trace(scene.figure(scene.View(result=larkfield, units="m")), "map")
    feet = trace(scene.figure(scene.View(result=larkfield, units="ft")), "map")
    assert np.asarray(meters.x) == pytest.approx(larkfield.points[:, 0], abs=1e-4)
    assert np.asarray(feet.x) == pytest.approx(np.asarray(meters.x) / FOOT, rel=1e-5)
    assert np.asarray(meters.z).max() < larkfield.points[:, 2].max()


def test_the_plan_shows_the_same_values_as_the_map(larkfield):
    """Closed form: each area's grid in the plan holds the area's own values, each at its place."""
    figure = scene.figure(scene.View(result=larkfield, quantity="sti", units="m"))
    for number, (name, area) in enumerate(larkfield.configuration.areas.items(), 1):
        grid = trace(figure, f"plan map {number}")
        assert name in grid.hovertemplate
        span = np.flatnonzero(larkfield.area == name)
        for index in span[:: len(span) // 20]:
            x, y, _ = larkfield.points[index]
            column, row = (
                np.argmin(np.abs(np.asarray(grid.x) - x)),
                np.argmin(np.abs(np.asarray(grid.y) - y)),
            )
            assert np.asarray(grid.z)[row][column] == pytest.approx(
                larkfield.sti[index], abs=0.0051
            )
        assert area.points.shape[0] == np.asarray(grid.z).size


def test_scales_stay_when_a_loudspeaker_moves(larkfield):
    """Behavior: the eye compares, so moving a loudspeaker changes no color scale; another target
    does.
    """
    scenario = larkfield.scenario
    moved = gymtools.evaluate(changed(scenario, {("groups", "north row", "downtilt_deg"): 60.0}))
    louder = gymtools.evaluate(changed(scenario, {("uses", "game", "target_dba"): 96.0}))
    for quantity in theme.QUANTITIES:
        assert theme.color_range(moved, quantity) == theme.color_range(larkfield, quantity)
    assert theme.color_range(louder, "speech") != theme.color_range(larkfield, "speech")


def test_painter_brings_a_figure_to_the_same_state_as_a_new_one(larkfield):
    """Invariance: a figure that has been moved equals a figure made anew, layer by layer."""
    scenario = larkfield.scenario
    first = scene.View(result=larkfield, units="ft")
    painter = scene.Painter(first, scene.figure(first))
    changes = {
        ("groups", "north row", "downtilt_deg"): 55.0,
        ("uses", "game", "closed"): ("south bank",),
        ("hall", "length"): 36.0,
    }
    view = scene.View(
        result=gymtools.evaluate(changed(scenario, changes)),
        quantity="sti",
        area="south bank",
        units="m",
    )
    painter.paint(view)
    fresh = scene.figure(view)
    assert painter.figure.layout.scene.annotations == fresh.layout.scene.annotations
    assert painter.figure.layout.scene.xaxis.range == fresh.layout.scene.xaxis.range
    for old, new in zip(painter.figure.data, fresh.data, strict=True):
        for key in ("x", "y", "z", "i", "intensity", "text", "hovertext"):
            if key in new and new[key] is not None:
                assert np.array_equal(
                    np.asarray(old[key]),
                    np.asarray(new[key]),
                    equal_nan=np.asarray(new[key]).dtype.kind == "f",
                ), (new.name, key)
    assert painter.figure.layout.annotations == fresh.layout.annotations
    assert painter.figure.layout.coloraxis.cmax == fresh.layout.coloraxis.cmax


@pytest.mark.parametrize("name", sorted(LOADED))
def test_the_gym_fits_its_frame_and_no_label_lies_over_another(name):
    """Closed form: every corner of the gym is seen inside the frame, which it fills; labels as they
    are seen are apart, every loudspeaker's tag that is free among them.
    """
    scenario = LOADED[name]
    ends = camera.ranges(scenario.hall)
    corners = np.array(np.meshgrid(*ends)).reshape(3, -1).T
    seen = np.abs(camera.on_frame(corners, scenario.hall)) / (np.array(camera.FRAME) / 2)
    assert 0.9 < seen.max() <= 0.97
    for use in scenario.uses:
        view = scene.View(result=gymtools.evaluate(scenario, use.name, rays="few"))
        labels = space.labels(view)
        at = camera.on_frame([[x["x"], x["y"], x["z"]] for x in labels], scenario.hall)
        wide = np.array([len(x["text"]) for x in labels]) * camera.LETTER[0] / 2
        for n in range(len(labels)):
            for k in range(n):
                apart = np.abs(at[n] - at[k]) - [wide[n] + wide[k], camera.LETTER[1]]
                assert apart.max() > -0.5, (labels[n]["text"], labels[k]["text"])
        tags = {c.tag for c in scenario.loudspeakers}
        assert len(tags & {x["text"] for x in labels}) > len(tags) / 2


def test_contours_lie_on_their_value(larkfield):
    """Closed form: a linear map has straight contours exactly where the plane takes the value."""
    area = larkfield.scenario.areas["court"]
    plane = 2.0 * area.points[:, 0] + area.points[:, 1]
    for level, line in maps.contours(area, plane, 3.0):
        assert 2.0 * line[:, 0] + line[:, 1] == pytest.approx(np.full(len(line), level), abs=1e-6)
    assert len(maps.contours(area, plane, 3.0)) > 10
    assert maps.contours(area, np.full(len(plane), np.nan), 3.0) == []


def test_throws_meet_surfaces_and_edges_are_6_db_down(larkfield):
    """Closed form: an axis ends on a surface at its distance; the level toward every edge direction
    is 6 dB down at 2 kHz.
    """
    for t, c in zip(throws(larkfield), larkfield.scenario.loudspeakers, strict=True):
        assert np.linalg.norm(t.end - t.start) == pytest.approx(t.distance, rel=1e-5)
        assert t.part in larkfield.parts
        axes = geometry.rotation(c.pan_deg, c.downtilt_deg)
        edge = t.edge[np.isfinite(t.edge[:, 0])]
        toward = (edge - t.start) @ axes.T
        level = bands.to_level(c.type.balloon.toward(toward.astype(np.float32)))[:, 4]
        assert level == pytest.approx(np.full(len(level), -6.0), abs=0.15)


def test_level_at_the_landing_point_is_the_direct_level_there(larkfield):
    """Closed form: inverse square law from the loudspeaker's own level, less the air of the way."""
    t, c = throws(larkfield)[0], larkfield.scenario.loudspeakers[0]
    near = bands.a_weighted(bands.to_level(larkfield.sources.on_axis[0])) - 20 * np.log10(
        t.distance
    )
    assert t.level_dba == pytest.approx(near, abs=0.2)  # the air of ten meters takes less
    assert t.level_dba < near
    assert t.tag == c.tag


@pytest.mark.parametrize("name", LOADED)
def test_sections_of_every_area(name):
    """Closed form: seats rise with the bank's rise, the axis starts at the loudspeaker, nothing
    lies outside the hall.
    """
    result = gymtools.evaluate(LOADED[name])
    for area in result.scenario.areas:
        cut = section(result, area)
        bank = next((b for b in result.scenario.banks if b.name == area), None)
        if bank:
            assert np.diff(cut.seats[:, 1]) == pytest.approx(
                np.full(bank.rows - 1, bank.row_rise), abs=1e-9
            )
            assert np.diff(cut.seats[:, 0]) == pytest.approx(
                np.full(bank.rows - 1, -bank.row_run), abs=1e-9
            )
        assert cut.axis[0] == pytest.approx(cut.at)
        assert cut.outline[:, 0].min() - 1e-6 <= cut.at[0] <= cut.outline[:, 0].max() + 1e-6


def test_a_silent_group_is_gray_and_throws_no_beam(larkfield):
    """Behavior: a group that is off in the use keeps its place and loses its beams."""
    off = gymtools.evaluate(larkfield.scenario, "assembly")
    figure = scene.figure(scene.View(result=off))
    assert theme.FAINT in trace(figure, "solids").facecolor
    words = [label.text for label in figure.layout.scene.annotations]
    assert 1 < sum("dB(A)" in text for text in words) <= 6 and "C1" in words


def test_hostile_names_are_shown_as_text():
    """Behavior: a name with markup is text in the picture, not markup."""
    scenario = LOADED["dovecote"]
    bank = replace(scenario.banks[0], name="<img src=x onerror=alert(1)>")
    uses = tuple(replace(u, listens={"court": 1.0}, occupied={}, closed=()) for u in scenario.uses)
    result = gymtools.evaluate(replace(scenario, banks=(bank,), uses=uses))
    figure = scene.figure(scene.View(result=result, area=bank.name))
    titles = " ".join(a.text for a in figure.layout.annotations)
    assert "<img" not in titles and "&lt;img" in titles
