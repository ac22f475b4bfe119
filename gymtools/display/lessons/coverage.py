"""Page of the lesson on coverage angle and spacing."""

from html import escape

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go
from scipy.optimize import minimize_scalar

from ...acoustics.evaluate import evaluate
from ...physics.bands import sum_levels, to_level
from ...physics.directivity import (
    AZIMUTH_DEG,
    EDGE_DB,
    ELEVATION_DEG,
    control_frequency,
    piston_db,
    rectangular_q,
)
from ...training import sounds
from ...training.lessons import coverage
from ...training.round_lengths import round_length
from ...venue.units import in_words
from ..panel.controls import SliderSpec
from ..tables import card
from ..theme import GROUP_COLORS, INK, per_unit
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed, worked_by_hand

BAND = 4  # the octave around 2 kHz, in which a data sheet's angle is true
WIDER, SAME, CLOSER = "farther apart than edge to edge", "edge to edge", "closer than edge to edge"
# of the first questions: at 90 degrees the tangent is 1, and the seam just the edge of one beam
FIRST_WIDTH_DEG, FIRST_SEAM_DEG = 80.0, 70.0
NEAR_EDGE = 0.05  # of the spacing, within which it counts as edge to edge [-]
AXIS_DBA = 68.0  # of the speech that is heard on the axis [dB(A)]
OUTSIDE = 1.5  # times as far off the axis as the edge, to be heard [-]
ON_AXIS, AT_EDGE, AT_SEAM, OUT = "on the axis", "at the edge", "at the seam of two", "outside"


class CoveragePage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    school : Scenario
        Whose loudspeakers the page begins with
    names : tuple of str
        Use, bank, and the group that serves the bank
    even_db : float
        How uneven the row under the group may be [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "coverage"

    def __init__(self, *, units, school, names, even_db, progress=None):
        super().__init__(units=units, progress=progress)
        use, bank, group = names
        row, one = _middle_row(school, use, bank, group)
        target = row.mean(axis=0)
        distance = float(np.linalg.norm(target - one.position))
        angle = one.type.horizontal_deg
        asked = dict(distance_m=distance, whole=True)
        self.width = self.ask("width", dict(angle_deg=FIRST_WIDTH_DEG, **asked))
        self.seam = self.ask("seam", dict(angle_deg=FIRST_SEAM_DEG))
        self.apart = self.ask("apart", dict(angle_deg=angle, under_db=even_db, **asked))
        straight = round_length(distance, units)
        self.spacing = self.try_out("spacing", _spacing(units, straight, angle, even_db))
        self.beam = self.listen("beam", *_beam(one.type))
        self.seats = w.HTML(_on_seats(school, names, distance, units))
        self.control = w.HTML(_control(one.type, units))
        self.printed = self.compare(printed(_rows()))
        self.by_hand = self.compare(worked_by_hand(_worked()))


def _middle_row(school, use, bank, group):
    """Seats of the middle row of a bank (seat, 3) [m], and the loudspeaker nearest to it."""
    area = school.configuration(use).areas[bank]
    row = area.points[np.arange(area.columns) + area.rows // 2 * area.columns]
    mine = [one for one in school.loudspeakers if one.group == group]
    return row, min(mine, key=lambda c: np.linalg.norm(row.mean(axis=0) - c.position))


def _spacing(units, distance, angle_deg, even_db):
    """A group over a long row, to be moved apart."""
    edge = coverage.edge_to_edge(distance, angle_deg)
    return Setup(
        adjustments=(
            SliderSpec(
                path=("spacing",),
                label="from one to the next",
                low=0.5,
                high=40,
                step=0.25,
                unit="m",
            ),
            SliderSpec(
                path=("angle_deg",), label="coverage angle", low=40, high=120, step=5, unit="deg"
            ),
        ),
        start=dict(spacing=round_length(edge / 4, units), angle_deg=angle_deg),
        compute=lambda spacing, angle_deg: (
            *coverage.along(spacing, angle_deg, distance),
            spacing / coverage.edge_to_edge(distance, angle_deg),
        ),
        draw=lambda found: _curves(*found[:2], units),
        aim=Aim(
            words=(
                "as far apart as allowed: the row between the outer loudspeakers differs by"
                f" {even_db - 1:g} to {even_db:g} dB"
            ),
            what="loudest to quietest seat",
            measure=lambda found: float(np.ptp(found[1][-1])),
            unit="dB",
            low=even_db - 1,
            high=even_db,
        ),
        predict=Prediction(
            "Before you move them: how far apart may they be?",
            (WIDER, SAME, CLOSER),
            lambda _start, reached: _against(reached[2]),
        ),
    )


def _against(share):
    """Spacing against edge to edge, in words."""
    return WIDER if share > 1 + NEAR_EDGE else CLOSER if share < 1 - NEAR_EDGE else SAME


def _curves(x, levels, units):
    """Levels along the row."""
    along = x / per_unit(units)
    names = [f"loudspeaker {n}" for n in range(1, len(levels))] + ["all"]
    lines = [dict(color=GROUP_COLORS[n % 3], dash="dot") for n in range(len(levels) - 1)]
    traces = [
        go.Scatter(name=name, x=along, y=y, line=line)
        for name, y, line in zip(names, levels, [*lines, dict(color=INK)], strict=True)
    ]
    return go.Figure(traces).update_layout(
        **FRAME,
        xaxis_title=f"along the row [{units}]",
        yaxis=dict(title="re the axis of one, 2 kHz [dB]", range=[-20, 5]),
    )


def _off_axis(kind, off_deg):
    """Level of a loudspeaker type to its side, by octave (band,) [dB]."""
    level = kind.balloon.level_db[:, np.flatnonzero(ELEVATION_DEG == 0)[0]]  # (azimuth, band)
    return np.array([np.interp(off_deg, AZIMUTH_DEG, one) for one in level.T])


def _beam(kind):
    """Seats in and out of the beam, to be heard."""
    half = kind.horizontal_deg / 2
    edge, out = _off_axis(kind, half), _off_axis(kind, min(180.0, OUTSIDE * half))
    path = 20 * np.log10(np.cos(np.radians(half)))  # of a straight row; 180 degrees have no edge

    def heard(gains, said):
        return lambda: Sound(sounds.in_octaves(AXIS_DBA, gains), said)

    made = {
        ON_AXIS: heard(np.zeros(7), "no loss"),
        AT_EDGE: heard(edge, f"off the axis by {half:g}°, as far away as the axis"),
        AT_SEAM: heard(
            edge + path + coverage.TWO_DB, f"two of them, each off its axis by {half:g}°"
        ),
        OUT: heard(out, f"off the axis by {OUTSIDE * half:g}°, as far away as the axis"),
    }
    words = "Off the axis, speech gets duller before it gets soft. Low octaves reach everywhere."
    return made, words, Blind("Which one is outside of the beam?", OUT)


def _on_seats(school, names, distance, units):
    """The group as it hangs: its spacing, and the row under it with the full pattern."""
    use, bank, group = names
    row, one = _middle_row(school, use, bank, group)
    mine = [n for n, c in enumerate(school.loudspeakers) if c.group == group]
    found = evaluate(school, use, room="statistical")  # its direct sound is that of any
    start = int(np.flatnonzero(found.area == bank)[0])
    area = school.configuration(use).areas[bank]
    at = start + np.arange(area.columns) + area.rows // 2 * area.columns
    level = to_level(found.direct[mine][:, at, BAND].sum(axis=0))
    hung = np.array([school.loudspeakers[n].position for n in mine])
    along = (row[-1] - row[0]) / np.linalg.norm(row[-1] - row[0])
    ends = hung @ along
    between = (row @ along >= ends.min()) & (row @ along <= ends.max())
    edge = coverage.edge_to_edge(distance, one.type.horizontal_deg)
    if len(mine) < 2 or between.sum() < 2 or not np.isfinite(level[between]).all():
        said = f"The {group} has no seam over the {bank} in this use."
    else:
        apart = float(np.diff(np.sort(ends)).mean())
        said = (
            f"The {group} as it hangs in the file: {in_words(apart, units)} from one to the next."
            f" Edge to edge on the middle row would be {in_words(edge, units)}. Between the outer"
            f" axes that row differs by {np.ptp(level[between]):.1f} dB: direct sound of this group"
            " alone, octave around 2 kHz, with its aim and its full pattern."
        )
    return card(f"<p>{escape(said)}</p>")


def _control(kind, units):
    """Down to where the loudspeaker of the lesson keeps its angle."""
    limit = float(control_frequency(kind.mouth_width, kind.horizontal_deg))
    said = (
        f"The loudspeaker of this lesson, {kind.name}, has a mouth"
        f" {in_words(kind.mouth_width, units)} wide. It keeps its {kind.horizontal_deg:g}° from"
        f" about {limit:.0f} Hz upward (after Keele, 1975)."
    )
    return card(f"<p>{escape(said)}</p>")


def _rows():
    """A published zero, and what is computed."""
    null = minimize_scalar(
        lambda ka: 10 ** (piston_db(ka, 90.0) / 20),
        bounds=(3, 5),
        method="bounded",
        options={"xatol": 1e-9},
    ).x
    source = (
        "Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, Table 9.5 (from memory)"
    )
    what = "round piston, ka sin(angle) of its first null: first zero of J₁"
    return [(what, "3.8317", null, source)]


def _worked():
    """Landmarks that are worked by hand."""
    return [
        ("180° × 180°: Q", "2", rectangular_q(180, 180), "half of all directions"),
        ("180° × 90°: Q", "4", rectangular_q(180, 90), "a quarter of all directions"),
        ("90° × 90°: Q", "6", rectangular_q(90, 90), "one of the six faces of a cube"),
        (
            "two edges that meet, equally far away as the axis [dB]",
            "-2.99",
            float(sum_levels(np.full(2, -EDGE_DB))),
            "−6 + 10 log 2 = −6 + 3.01",
        ),
        (
            "120°, edges that meet on a straight row [dB]",
            "-9.01",
            float(coverage.seam_db(2 * 3**0.5, 1.0, 120.0)),
            "−6 + 3.01 + 20 log cos 60° = −6 + 3.01 − 6.02",
        ),
    ]
