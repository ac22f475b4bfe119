"""Absorption tables against an independent copy of their source, and what each row must carry."""

import dataclasses
import re

import numpy as np
import pyroomacoustics
import pytest

from gymtools.physics.scattering import EVERYWHERE, of_relief
from gymtools.venue.finishes import FINISHES, Finish, finish
from gymtools.venue.tables import named

# Our name -> key in pyroomacoustics.materials_data, an independent copy of Vorländer, Auralization,
# annex.
VORLAENDER = {
    "wood floor on concrete": "audience_floor",
    "synthetic floor": "linoleum_on_concrete",
    "rubber tile": "linoleum_on_concrete",
    "thin carpet": "carpet_thin",
    "concrete": "unpainted_concrete",
    "stage floor": "stage_floor",
    "hard wall": "hard_surface",
    "double gypsum": "plasterboard",
    "wood lining": "wood_16mm",
    "plywood": "plywood_thin",
    "wood door": "wooden_door",
    "plasterboard ceiling": "ceiling_plasterboard",
    "ceiling tile": "ceiling_fissured_tile",
    "baffles": "hanging_absorber_panels_1",
    "baffles wide": "hanging_absorber_panels_2",
    "wall panels": "panel_fabric_covered_6pcf",
    "mineral wool 50 mm": "mineral_wool_50mm_40kgm3",
    "bleacher closed": "wood_16mm",
    "folding chairs empty": "chairs_unoccupied_plastic",
    "folding chairs full": "audience_wooden_chairs_2_m2",
    "folding chairs half": "audience_wooden_chairs_1_m2",
    "audience": "audience_2_m2",
    "thin audience": "audience_1_m2",
}

# Second printed lists, 125 Hz to 4 kHz, for rows whose source no package carries:
# Barron, Industrial Noise Control and Acoustics, 2003, Appendix D; Bies, Hansen and Howard, 2017,
# Table 6.2; a sprayed layer's maker up to 1 kHz, quoted by a university's page on its gym, 2020.
PRINTED = {
    "bare block": [0.36, 0.44, 0.31, 0.29, 0.39, 0.25],
    "painted block": [0.10, 0.05, 0.06, 0.07, 0.09, 0.08],
    "brick": [0.03, 0.03, 0.03, 0.04, 0.05, 0.07],
    "painted brick": [0.01, 0.01, 0.02, 0.02, 0.02, 0.03],
    "plaster": [0.013, 0.015, 0.02, 0.03, 0.04, 0.05],
    "plaster on lath": [0.14, 0.10, 0.06, 0.04, 0.04, 0.03],
    "sprayed cellulose": [0.08, 0.29, 0.75, 0.98, 0.93, 0.76],
    "wood floor": [0.15, 0.11, 0.10, 0.07, 0.06, 0.07],
    "varnished floor": [0.15, 0.12, 0.10, 0.07, 0.06, 0.07],
    "portable stage": [0.40, 0.30, 0.20, 0.17, 0.15, 0.10],
    "gypsum": [0.29, 0.10, 0.05, 0.04, 0.07, 0.09],
    "glass": [0.18, 0.06, 0.04, 0.03, 0.02, 0.02],
    "window": [0.35, 0.25, 0.18, 0.12, 0.07, 0.04],
    "stage opening": [0.30, 0.40, 0.50, 0.60, 0.60, 0.50],
    "flat curtain": [0.03, 0.04, 0.11, 0.17, 0.24, 0.35],
    "velour curtain": [0.07, 0.31, 0.49, 0.75, 0.70, 0.60],
    "heavy curtain": [0.14, 0.35, 0.55, 0.72, 0.70, 0.65],
    "glass fibre 50 mm": [0.30, 0.80, 1.0, 1.0, 1.0, 1.0],
    "sprayed deck": [0.39, 0.63, 0.96, 0.99, 0.93, 0.76],
    "pew full": [0.57, 0.61, 0.75, 0.86, 0.91, 0.86],
}


@pytest.mark.parametrize("ours, theirs", VORLAENDER.items())
def test_vorlaender_rows(ours, theirs):
    """Independent: all values of another package's copy of the table, and 8 kHz marked as filled
    exactly where that has none.
    """
    sections = pyroomacoustics.materials_data["absorption"].values()
    (coefficients,) = [section[theirs]["coeffs"] for section in sections if theirs in section]
    row = finish(ours)
    assert row.absorption[: len(coefficients)] == tuple(coefficients)
    assert row.fill_8k == ("source" if len(coefficients) == 7 else "4k value repeated")
    assert "Vorländer" in row.source


def test_every_vorlaender_row_is_compared():
    """Independent: no row names the source without being compared above."""
    assert {name for name, row in FINISHES.items() if "Vorländer" in row.source} == set(VORLAENDER)


@pytest.mark.parametrize("name, printed", PRINTED.items())
def test_printed_rows(name, printed):
    """Printed: Barron Appendix D, Bies Table 6.2 and a maker's figures, typed again here."""
    assert finish(name).absorption[:6] == tuple(printed)
    assert re.match("Barron|Bies|Maker's figures", finish(name).source)


def test_every_row_is_from_a_source_compared_here_or_an_assumption():
    """Regression: what is neither compared with a source here nor marked as an assumption is
    missing.
    """
    rest = set(FINISHES) - set(VORLAENDER) - set(PRINTED)
    assert rest == {name for name in FINISHES if finish(name).is_assumption} - set(VORLAENDER)


def test_assumptions_are_marked():
    """Regression: these have no published value that was traced."""
    assert {name for name, row in FINISHES.items() if row.is_assumption} == {
        "synthetic floor",
        "wall pad",
        "plain deck",
        "acoustic deck 1 in",
        "acoustic deck 3 in",
        "bleacher closed",
        "bench empty",
        "bench two thirds",
        "bench full",
        "folding chairs empty",
    }


@pytest.mark.parametrize("name", FINISHES)
def test_each_row_is_complete(name):
    """Regression: seven values between 0 and 1, a description, and a source with its year."""
    row = finish(name)
    assert row.name == name and row.description and row.source
    assert len(row.absorption) == 7 and 0 < min(row.absorption) and max(row.absorption) <= 1
    assert re.search(r"\b(19|20)\d\d\b", row.source) or row.is_assumption, "a source has a year"


def test_filled_8k_repeats_the_4k_value():
    """Closed form: one rule for every filled row."""
    filled = [row for row in FINISHES.values() if row.fill_8k != "source"]
    assert {row.fill_8k for row in filled} == {"4k value repeated"}
    assert all(row.absorption[6] == row.absorption[5] for row in filled)


def test_trade_facts():
    """Trade fact: order of what absorbs more at 1 kHz; common practice, no source."""
    at_1k = {name: row.absorption[3] for name, row in FINISHES.items()}
    assert at_1k["bench empty"] < at_1k["bench two thirds"] < at_1k["bench full"]
    assert at_1k["painted block"] < at_1k["bare block"] < at_1k["wall panels"]
    assert at_1k["plain deck"] < at_1k["acoustic deck 1 in"] <= at_1k["acoustic deck 3 in"]
    assert at_1k["flat curtain"] < at_1k["velour curtain"]
    assert (
        at_1k["folding chairs empty"] < at_1k["folding chairs half"] < at_1k["folding chairs full"]
    )


def test_refuses_an_unknown_name():
    """Behavior: a slip is refused with the nearest name, else with the first names."""
    with pytest.raises(
        ValueError, match=r"^finish = 'panted block' is unknown\. Did you mean 'painted block'\?$"
    ):
        finish("panted block")
    with pytest.raises(ValueError, match=r"^finish = 'Brick' is unknown\. Did you mean 'brick'\?$"):
        finish("Brick")
    with pytest.raises(
        ValueError, match=r"^finish = 'xyzzy' is unknown\. Known: wood floor, .*plywood \.\.\.\.$"
    ):
        finish("xyzzy")
    with pytest.raises(ValueError, match=r"^finish = \['brick'\] is unknown\. "):
        finish(["brick"])
    with pytest.raises(ValueError, match=r"^seat = 7 is unknown\. Known: a\.$"):
        named({"a": 1}, 7, "seat")


@pytest.mark.parametrize(
    "change, said",
    [
        (
            {"absorption": [15] * 7},
            r"finish 'x': absorption = 15 \(fraction\) is outside 0 to 1.*Percent",
        ),
        ({"absorption": [0.1] * 6}, r"finish 'x': absorption has shape \(6,\), not \(7,\)"),
        ({"absorption": [float("nan")] * 7}, r"absorption = nan"),
        ({"source": " "}, r"finish 'x': source is empty"),
        ({"scattering_source": " "}, r"finish 'x': source is empty"),
        (
            {"scattering": 10},
            r"finish 'x': scattering = 10 \(fraction\) is outside 0 to 1.*Percent",
        ),
    ],
)
def test_refuses_a_bad_finish(change, said):
    """Behavior: values that cannot be are refused with the likely slip."""
    good = dict(
        name="x",
        description="x",
        absorption=[0.1] * 7,
        fill_8k="source",
        source="x",
        scattering=0.1,
        scattering_source="x",
    )
    assert np.array_equal(Finish(**good).absorption, [0.1] * 7)
    with pytest.raises(ValueError, match=said):
        Finish(**(good | change))


def test_a_finish_cannot_be_changed():
    """Behavior: a row of the table is the same for everybody."""
    with pytest.raises(dataclasses.FrozenInstanceError, match="cannot assign"):
        finish("brick").source = "elsewhere"


# What a finish scatters -> key in pyroomacoustics.materials_data, an independent copy of Vorländer,
# Auralization, annex.
SCATTERING = {
    "bench empty": "amphitheatre_steps",
    "bench two thirds": "theatre_audience",
    "bench full": "theatre_audience",
    "pew full": "theatre_audience",
    "folding chairs empty": "classroom_tables",
    "folding chairs full": "theatre_audience",
    "folding chairs half": "theatre_audience",
    "audience": "theatre_audience",
    "thin audience": "theatre_audience",
}
STEP_RUN, STEP_RISE = 0.82, 0.30  # of those steps [m]


def published_scattering(key):
    """Octaves from 125 Hz on, of another package's copy."""
    (coefficients,) = [
        section[key]["coeffs"]
        for section in pyroomacoustics.materials_data["scattering"].values()
        if key in section
    ]
    return coefficients


@pytest.mark.parametrize("ours, theirs", SCATTERING.items())
def test_scattering_rows(ours, theirs):
    """Independent: every octave of another package's copy; the last one repeated up to 8 kHz."""
    published = published_scattering(theirs)
    filled = [*published, *[published[-1]] * (7 - len(published))]
    assert finish(ours).scattering == tuple(filled)
    assert "Vorländer" in finish(ours).scattering_source


def test_relief_scatters_about_as_published_steps():
    """Independent: the measured octaves of an amphitheater's steps within 0.25, from their relief
    alone: a triangle of that run and rise, even in height.
    """
    height = STEP_RUN * STEP_RISE / np.hypot(STEP_RUN, STEP_RISE)
    published = published_scattering("amphitheatre_steps")
    ours = of_relief(height / 12**0.5)[: len(published)]
    assert np.all(np.abs(ours - published) < 0.25)
    assert abs(np.mean(ours - published)) < 0.1


def test_relief_scatters_nothing_at_depth_zero_and_all_at_great_depth():
    """Closed form: no relief leaves what is scattered everywhere; deep relief leaves no mirror."""
    assert of_relief(0.0) == pytest.approx(np.full(7, EVERYWHERE))
    assert of_relief(2.0, frequency=8000.0) == pytest.approx(1.0, abs=1e-4)
    assert np.all(np.diff(of_relief(0.1)) > 0)  # bigger wavelengths see less of it
    with pytest.raises(ValueError, match=r"depth = 150 m is outside 0 to 2 m\. Millimeters"):
        of_relief(150)


def test_other_scattering_is_an_assumption_or_fitted():
    """Regression: every value without a published one says so; rows that are fitted share one
    relief; nothing is a perfect mirror.
    """
    for name, row in FINISHES.items():
        assert 0.02 <= min(row.scattering) and max(row.scattering) <= 0.95
        unpublished = re.match("assumption|fitted", row.scattering_source) is not None
        assert unpublished == (name not in SCATTERING)
    fitted = [r for r in FINISHES.values() if r.scattering_source.startswith("fitted")]
    expected = tuple(of_relief(0.15, share=0.6).round(2).tolist())
    assert {r.scattering for r in fitted} == {expected}
    assert {"painted block", "plain deck", "wall pad", "bleacher closed"} <= {
        r.name for r in fitted
    }


def test_rough_things_scatter_more_than_smooth_ones():
    """Trade fact: order of what scatters more at 500 Hz; common practice, no source."""
    s = {name: row.scattering[2] for name, row in FINISHES.items()}
    assert s["wood floor"] < s["glass"] < s["painted block"] <= s["plain deck"] < s["bench empty"]
    assert s["ceiling tile"] < s["baffles"]


def test_one_number_scatters_alike_in_all_octaves():
    """Behavior: a finish may be given one scattering value."""
    row = finish("brick")
    assert dataclasses.replace(row, scattering=0.3).scattering == (0.3,) * 7
    with pytest.raises(
        ValueError, match=r"finish 'brick': scattering has shape \(2,\), not \(7,\)"
    ):
        dataclasses.replace(row, scattering=[0.3, 0.4])


def test_the_table_of_finishes_cannot_be_changed():
    """Regression: a finish set in the table would change every gym of the process."""
    with pytest.raises(TypeError, match="does not support item assignment"):
        FINISHES["brick"] = finish("wall panels")
