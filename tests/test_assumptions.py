"""What a scenario assumes: keys of its file, what they do to the ranges and to a fit; a school that
has no loudspeakers yet, and walls that balls hit.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from schools import SCENARIOS

from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.measured_room import fit_room
from gymtools.design.input_errors import InputSpread
from gymtools.design.treatment import free_areas, treated
from gymtools.design.uncertainty import how_sure
from gymtools.display.documents.page import Page
from gymtools.display.documents.record_inputs import inputs
from gymtools.display.tables.uncertainty import sureness_table
from gymtools.venue.assumptions import (
    ANOTHER,
    assumed_finishes,
    assumed_values,
    is_assumed,
    key_of,
    path_of,
)
from gymtools.venue.files import parse, to_text
from gymtools.venue.finishes import FINISHES
from gymtools.venue.hall import Treatment
from gymtools.venue.paths import changed

DOVECOTE, STONEBRIDGE = SCENARIOS["dovecote"], SCENARIOS["stonebridge"]
KEYS = ("hall.roof", "banks.north bank.row_rise", "uses.game.noise_dba", "hall.walls", "court")


def test_assumptions_are_kept_by_the_file():
    """Behavior: keys are written at the top of the file and read back."""
    assumed = replace(STONEBRIDGE, assumed=KEYS)
    text = to_text(assumed)
    assert text.index("assumed = [") < text.index("[hall]")
    assert parse(text) == assumed


def test_a_key_that_leads_nowhere_is_refused_with_the_others():
    """Behavior: every key that leads nowhere has a line of its own."""
    text = to_text(replace(STONEBRIDGE, assumed=("hall.roff", "divider.mass", "hall.roof")))
    with pytest.raises(ValueError, match="'hall.roff' leads nowhere") as refused:
        parse(text)
    assert len(refused.value.faults) == 2
    with pytest.raises(ValueError, match="assumed = 'hall.roof' must be a list"):
        replace(STONEBRIDGE, assumed="hall.roof")


def test_names_with_dots_lead_where_they_say():
    """Behavior: the bank "St. John" is found by its name, dot and all."""
    banks = (replace(STONEBRIDGE.banks[0], name="St. John"), *STONEBRIDGE.banks[1:])
    uses = tuple(
        replace(
            u,
            listens={n: w for n, w in u.listens.items() if n != "north bank"} | {"St. John": 1.0},
            occupied={n: w for n, w in u.occupied.items() if n != "north bank"},
            closed=(),
        )
        for u in STONEBRIDGE.uses
    )
    renamed = replace(STONEBRIDGE, banks=banks, uses=uses, text=None)
    path = ("banks", "St. John", "rows")
    assert path_of(renamed, "banks.St. John.rows") == path
    assert key_of(path) == "banks.St. John.rows"


def test_a_thing_that_is_assumed_has_all_its_values_assumed():
    """Behavior: "hall" stands for every finish of the gym."""
    whole = replace(STONEBRIDGE, assumed=("hall",))
    assert is_assumed(whole, ("hall", "roof")) and not is_assumed(whole, ("court",))
    assert {STONEBRIDGE.hall.roof, STONEBRIDGE.hall.walls} <= set(assumed_finishes(whole))
    assert assumed_finishes(STONEBRIDGE) == {}


@pytest.mark.parametrize(
    ("surface", "names"),
    [
        (
            "roof",
            "plain deck; acoustic deck 1 in; acoustic deck 3 in; plasterboard ceiling; ceiling"
            " tile",
        ),
        (
            "walls",
            "bare block; painted block; brick; painted brick; hard wall; plaster; gypsum; wood"
            " lining; plywood",
        ),
        (
            "floor",
            "wood floor; varnished floor; wood floor on concrete; synthetic floor; rubber tile",
        ),
    ],
)
def test_how_far_another_finish_is(surface, names):
    """Worked by hand: spread of the published absorption among what may be there instead."""
    table = np.log([FINISHES[n].absorption for n in names.split("; ")])
    assert ANOTHER[surface] == pytest.approx(table.std(axis=0, ddof=1)[2:5].mean(), abs=0.05)


def test_assumptions_are_told_in_words_and_units():
    """Behavior: each assumption is a line with its value in the school's units."""
    rows = dict(assumed_values(replace(STONEBRIDGE, assumed=KEYS)))
    assert rows["gym: roof"] == STONEBRIDGE.hall.roof
    assert rows["north bank: row rise"].startswith("0.32 m")
    assert list(rows) == [
        "gym: roof",
        "north bank: row rise",
        "game: noise dba",
        "gym: walls",
        "court",
    ]


def width(scenario, criterion):
    """Width of the widest range of a criterion."""
    spread = InputSpread(
        decay_pct=0,
        scattering_pct=0,
        occupancy_pct=0,
        aim_deg=0,
        sensitivity_db=0,
        directivity_db=0,
    )
    found = how_sure(scenario, draws=20, unknowns=spread)
    return max(r.high - r.low for r in found.ranges if r.criterion == criterion)


def test_what_is_assumed_is_drawn_wider():
    """Behavior: a finish or a noise that nobody confirmed gives wider ranges."""
    sure = replace(DOVECOTE, text=None)
    use = sure.uses[0].name
    finishes = replace(sure, assumed=("hall.roof", "hall.walls", "hall.floor"))
    noise = replace(sure, assumed=(f"uses.{use}.noise_dba",))
    assert width(finishes, "rt") > 1.1 * width(sure, "rt")
    assert width(noise, "sti") > 1.3 * width(sure, "sti")


def bare(scenario):
    """A school before its loudspeakers hang."""
    uses = tuple(replace(u, groups={}) for u in scenario.uses)
    equipment = replace(scenario.equipment, wiring={})
    return replace(scenario, groups=(), uses=uses, equipment=equipment)


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_a_school_needs_no_loudspeakers_to_be_kept(name):
    """Behavior: it is written, read and counted, and an evaluation says what is missing."""
    school = bare(SCENARIOS[name])
    again = parse(to_text(school))
    assert again == school
    assert again.configuration().seats == SCENARIOS[name].configuration().seats
    with pytest.raises(ValueError, match="has no loudspeakers yet"):
        evaluate(again)


def test_a_room_is_fitted_before_there_are_loudspeakers():
    """Behavior: measured times are reached, and an assumed finish may be moved further."""
    alderway = bare(SCENARIOS["alderway"])
    unfitted = replace(alderway, absorption_factors={}, scattering_factors={}, room_fit=None)
    fit = fit_room(unfitted)
    known = np.isfinite(fit.measured)
    assert np.abs(np.log(fit.after / fit.measured))[known].max() < 0.10
    assumed = fit_room(replace(unfitted, assumed=("hall.walls",)))
    walls = fit.finishes.index("painted block")
    assert (
        np.abs(np.log(assumed.absorption[walls])).max()
        > np.abs(np.log(fit.absorption[walls])).max()
    )


def test_panels_go_above_the_balls():
    """Worked by hand: a wall of 20 m under a roof at 8 m keeps 20 x 3 m2 above 5 m."""
    hall = replace(DOVECOTE.hall, length=20.0, height=8.0, ridge_height=None, clear_height=7.0)
    free = dict(treatments=(), banks=(), floor_seats=(), stage=None, portable_stages=())
    alone = dict(listens={"court": 1.0}, occupied={}, closed=(), set_up=(), microphones=())
    uses = tuple(replace(u, groups={}, **alone) for u in DOVECOTE.uses)
    school = replace(
        DOVECOTE,
        groups=(),
        hall=hall,
        uses=uses,
        microphones=(),
        court="volleyball",
        text=None,
        **free,
    )
    protected = changed(school, {("hall", "ball_height"): 5.0})
    assert free_areas(school)["north wall"] == pytest.approx(160.0)
    assert free_areas(protected)["north wall"] == pytest.approx(60.0)
    assert free_areas(protected)["roof"] == free_areas(school)["roof"]
    panels = treated(protected, 100.0)
    assert all(
        t.area <= 60.0 for t in panels.treatments if t.surface in ("north wall", "south wall")
    )
    low = Treatment(surface="north wall", area=61.0, finish="wall pad")
    with pytest.raises(ValueError, match="there above ball_height"):
        replace(protected, treatments=(low,))
    assert replace(protected, treatments=(replace(low, existing=True),)).treatments


def test_the_record_and_the_ranges_name_what_is_assumed():
    """Behavior: a reader sees each assumption with its value, and what was drawn wider for it."""
    school = replace(DOVECOTE, assumed=("hall.roof", "hall.clear_height"), text=None)
    found = how_sure(school, draws=20)
    assert found.assumed == (DOVECOTE.hall.roof,)
    assert f"nobody has confirmed them: {DOVECOTE.hall.roof}." in sureness_table(found)
    page = Page("Record")
    inputs(
        page,
        SimpleNamespace(chosen=SimpleNamespace(scenario=school), results={"any": evaluate(school)}),
    )
    words = "".join(page.pieces)
    assert "Assumed, not confirmed" in words and "gym: clear height" in words
    assert "7.00 m" in words
