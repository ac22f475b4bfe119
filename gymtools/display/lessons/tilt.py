"""Page of the lesson on tilt and throw."""

from html import escape
from pathlib import Path

import ipywidgets as w
import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from ...physics.air import attenuation
from ...physics.bands import EXACT
from ...physics.directivity import EDGE_DB, SKIRT
from ...training import sounds
from ...training.by_hand import sketched
from ...training.lessons import tilt
from ...training.lessons.coverage import beam_db
from ...training.round_lengths import round_length
from ...venue.units import in_words
from ..documents.by_hand import COMPUTED, EMPTY, write_sheets
from ..panel.controls import SliderSpec
from ..tables import card
from ..tables.markup import Num, table
from ..theme import GROUP_COLORS, INK, QUIET, per_unit
from .experiment import Aim, Prediction, Setup
from .listening import Blind, Sound
from .page import LessonPage
from .picture import FRAME
from .printed import printed
from .question import folded

FRONT, MIDDLE, BACK, OVER = (
    "a row of the front third",
    "a row of the middle third",
    "a row of the back third",
    "no row at all",
)
SHARES = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5)  # of half the coverage angle, in a table [-]
BACK_DBA = 64.0  # of the speech in the back row with the axis there [dB(A)]
MOVED = 2.0  # how much higher and farther back is tried [m]
FOLDER = "tilt-by-hand"
# of another bank: the second question asks for the favor of the page's own
FIRST_LEFT = dict(aimed_deg=32.0, near_deg=60.0, far_deg=18.0, angle_deg=60.0, favor_db=5.0)
TABLE = [(20, 50, 4, "9.86"), (10, 70, 3, "3.66"), (20, 70, 5, "22.9"), (30, 70, 3, "7.41")]


class TiltPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    school : Scenario
        Whose bank the page begins with
    names : tuple of str
        Use, bank, and the group that serves the bank
    downtilt_deg : float
        Where the experiment begins [deg]
    within_db : float
        How much less even than the best tilt may be [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "tilt"

    def __init__(self, *, units, school, names, downtilt_deg, within_db, progress=None):
        super().__init__(units=units, progress=progress)
        bank, one, _ = tilt.serving(school, *names)
        middle = len(bank.rows) // 2
        ends = [(float(bank.rows[n]), float(bank.below[n])) for n in (0, middle, -1)]
        self.down = self.ask("down", dict(flat_m=ends[1][0], below_m=ends[1][1], whole=True))
        self.favored = self.ask("favored", dict(near_m=ends[0], far_m=ends[2], whole=True))
        self.left = self.ask("left", FIRST_LEFT)
        self.pattern = w.HTML(_pattern(bank))
        self.tilting = self.try_out("tilting", _tilting(units, bank, downtilt_deg, within_db))
        self.rows = self.listen("rows", *_rows_heard(bank, one.type, school.air))
        self.which = w.HTML(_which(bank))
        clear = float(school.hall.clear_height - one.position[2])
        self.enough = w.HTML(_enough(bank, clear, units))
        self.sheets = Sheets(lambda: sketched(school, *names), units)
        self.printed = self.compare(printed(_rows()))


class Sheets:
    """A button that writes the sheets to draw on; ``box`` is what a cell shows.

    Parameters
    ----------
    sketch : callable
        Takes nothing; gives the ``Sketch``
    units : str
        "m" or "ft"
    folder : str or Path
        To be made
    """

    def __init__(self, sketch, units, folder=FOLDER):
        self._sketch, self.units, self.folder = sketch, units, Path(folder)
        self.button = w.Button(description="Write the sheets", layout={"width": "150px"})
        self.button.on_click(lambda _: self.write())
        self.replace = w.Button(
            description="Write them anew", layout={"width": "150px", "display": "none"}
        )
        self.replace.on_click(lambda _: self.write(overwrite=True))
        self.said = w.HTML()
        self.box = w.VBox([w.HBox([self.button, self.replace]), self.said])

    def write(self, *, overwrite=False):
        """Write the folder; one that is there stays unless it may be replaced.

        Parameters
        ----------
        overwrite : bool
            Whether an existing one may be replaced
        """
        self.replace.layout.display = "none"
        try:
            write_sheets(self.folder, self._sketch(), self.units, overwrite=overwrite)
            words = (
                f"Written: {EMPTY} to draw on and {COMPUTED} to compare with, in the folder"
                f" {self.folder.name}. Draw first."
            )
        except FileExistsError as there:
            self.replace.layout.display = ""
            words = f"Not written: {there}"
        except (ValueError, OSError) as refused:
            words = f"Not written: {refused}"
        self.said.value = card(f"<p>{escape(words)}</p>")


def _pattern(bank):
    """What the beam takes off its axis, in words and numbers."""
    off = np.array(SHARES) * bank.angle_deg / 2
    loss = -beam_db(off, bank.angle_deg)
    whole = -np.interp(off, tilt.CUT_DEG, bank.cut_db)
    rows = [
        (Num(f"{at:.1f}°"), Num(f"{share:g}"), Num(f"{db:.1f} dB"), Num(f"{all_of_it:.1f} dB"))
        for share, at, db, all_of_it in zip(SHARES, off, loss, whole, strict=True)
    ]
    inside = np.linspace(0, tilt.FORMULA_TO, 49) * bank.angle_deg / 2
    apart = np.interp(inside, tilt.CUT_DEG, bank.cut_db) - beam_db(inside, bank.angle_deg)
    words = (
        f"<p>The edge loss is {EDGE_DB:g} dB: that is what a coverage angle means. The steepness is"
        f" {SKIRT:g}: it says how the loss grows with the angle. With 2 the beam would be round. A"
        " larger number makes it flat inside and steep outside. The steepness is an assumption of"
        " this workbook.</p>"
        "<p>A loudspeaker also radiates to its sides and to its rear. So its loss stops growing far"
        f" off the axis. Up to {tilt.FORMULA_TO:g} times half the angle the formula is within"
        f" {np.abs(apart).max():.1f} dB of the whole pattern. Farther off, do not"
        " use it. The experiment takes the whole pattern.</p>"
    )
    head = (
        Num("off the axis"),
        Num("shares of half the angle"),
        Num("formula"),
        Num("whole pattern"),
    )
    return card(words, table(f"A beam of {bank.angle_deg:g}°: what it takes", head, rows))


def _tilting(units, bank, downtilt_deg, within_db):
    """One loudspeaker before a bank, to be tilted."""
    best = bank.uneven_db(bank.best_deg)
    return Setup(
        adjustments=(
            SliderSpec(
                path=("downtilt_deg",),
                label="downtilt",
                low=tilt.LOW_DEG,
                high=tilt.HIGH_DEG,
                step=tilt.STEP_DEG,
                unit="deg",
            ),
        ),
        start=dict(downtilt_deg=downtilt_deg),
        compute=lambda downtilt_deg: (bank, downtilt_deg),
        draw=lambda found: _section(*found, units),
        aim=Aim(
            words=(
                "as even as this loudspeaker can make the bank, front row to back row, give or take"
                f" {within_db:g} dB; whether that is even enough is asked below"
            ),
            what="loudest to quietest row",
            measure=lambda found: found[0].uneven_db(found[1]),
            unit="dB",
            high=best + within_db,
            besides=lambda found: "" if found[0].row_met(found[1]) else "the axis meets no row",
        ),
        predict=Prediction(
            "Before you tilt: what will the axis point at then?",
            (FRONT, MIDDLE, BACK, OVER),
            lambda _start, reached: _third(*reached),
        ),
    )


def _third(bank, downtilt_deg):
    """Where the axis meets the bank, in words."""
    row = bank.row_met(downtilt_deg)
    if row is None:
        return OVER
    share = (row - 0.5) / len(bank.rows)
    return FRONT if share < 1 / 3 else MIDDLE if share <= 2 / 3 else BACK


def _section(bank, downtilt_deg, units):
    """The bank with the beam, and the level of its rows beside it."""
    figure = make_subplots(cols=2, column_widths=[0.55, 0.45], horizontal_spacing=0.12)
    k = per_unit(units)
    length = 1.05 * bank.distance.max() / k
    ears = go.Scatter(
        name="ears", x=bank.rows / k, y=-bank.below / k, mode="markers", marker=dict(color=INK)
    )
    figure.add_traces([ears, *_rays(bank.angle_deg / 2, downtilt_deg, length)], rows=1, cols=1)
    level = go.Scatter(
        name="level",
        x=np.arange(1, len(bank.rows) + 1),
        y=bank.level_db(downtilt_deg) - bank.level_db(bank.best_deg).max(),
        line=dict(color=INK),
        mode="lines+markers",
    )
    figure.add_trace(level, 1, 2)
    across = dict(constrain="domain", range=[-0.05 * length, 1.05 * length])
    height = dict(scaleanchor="x", constrain="domain", range=[-0.9 * length, 0.25 * length])
    figure.update_xaxes(title=f"from the loudspeaker [{units}]", row=1, col=1, **across)
    figure.update_yaxes(title=f"height [{units}]", row=1, col=1, **height)
    figure.update_xaxes(title="row, from the front", row=1, col=2)
    figure.update_yaxes(title="level, 2 kHz [dB]", range=[-24, 4], row=1, col=2)
    return figure.update_layout(
        **FRAME,
        showlegend=False,
        font=dict(color=QUIET),
    )


def _rays(half, downtilt_deg, length):
    """The axis and both edges of the beam."""
    rays = (("axis", 0, "solid"), ("upper edge", -half, "dash"), ("lower edge", half, "dash"))
    for name, off, dash in rays:
        way = np.radians(downtilt_deg + off)
        yield go.Scatter(
            name=name,
            x=[0, length * np.cos(way)],
            y=[0, -length * np.sin(way)],
            mode="lines",
            line=dict(color=GROUP_COLORS[1 if off else 0], dash=dash),
        )


def _rows_heard(bank, kind, air):
    """Front row and back row with two tilts, to be heard."""
    cut = tilt.vertical_cut(kind).T  # (band, angle)
    alpha = attenuation(EXACT, temperature_c=air.temperature_c, humidity_pct=air.humidity_pct)
    r, down = bank.distance, bank.down_deg

    def heard(row, aimed):
        beam = np.array([np.interp(aimed - down[row], tilt.CUT_DEG, one) for one in cut])
        loss = beam - 20 * np.log10(r[row] / r[-1])
        loss = loss - alpha * (r[row] - r[-1])
        said = f"axis {aimed:.0f}° down, this row {down[row]:.0f}°"
        return lambda: Sound(sounds.in_octaves(BACK_DBA, loss), said)

    names = (
        "back row, axis there",
        "front row, axis at the back",
        "back row, even tilt",
        "front row, even tilt",
    )
    aimed = float(down[-1]), bank.best_deg
    made = {name: heard(-1 + n % 2, aimed[n // 2]) for n, name in enumerate(names)}
    words = (
        "Direct sound only. A row far off the axis hears dull speech: the low octaves reach it, the"
        " high ones pass over it."
    )
    return made, words, Blind("Which one is the front row with the axis at the back?", names[1])


def _which(bank):
    """Which row comes out, closed until somebody opens it."""
    best, first = bank.best_deg, bank.first_try
    rows = [("least difference, computed", best), (f"row {first}: first try", None)]
    rows.append((f"row {len(bank.rows)}: the back row", None))
    tilts = (best, float(bank.down_deg[first - 1]), float(bank.down_deg[-1]))
    shown = [
        (
            escape(words),
            Num(f"{at:.0f}°"),
            Num(str(bank.row_met(at) or "none")),
            Num(f"{bank.uneven_db(at):.1f} dB"),
        )
        for (words, _), at in zip(rows, tilts, strict=True)
    ]
    head = ("axis", Num("downtilt"), Num("row met"), Num("loudest to quietest row"))
    html = table("One loudspeaker alone, direct sound, octave around 2 kHz", head, shown)
    return card(folded("Which row comes out? Open it when you have found the tilt.", html))


def _enough(bank, clear_m, units):
    """Whether the best tilt of one loudspeaker is even enough, and what makes the bank more even;
    closed until somebody opens it.
    """
    best, allowed = bank.uneven_db(bank.best_deg), tilt.ALLOWED_DB
    good = best <= allowed
    words = (
        f"The best tilt of one loudspeaker leaves {best:.1f} dB between the loudest row and the"
        f" quietest. The two lessons before allowed {allowed:g} dB. So one loudspeaker with the"
        f" right tilt is {'good enough here' if good else 'not good enough here'}."
    )
    ways = [("as it hangs", bank)]
    moved = round_length(MOVED, units)
    step = round_length(0.0, units)
    up = min(moved, step * np.floor(clear_m / step))
    if up > 0:
        ways.append((f"{in_words(up, units)} higher", bank.moved(up_m=up)))
    ways.append((f"{in_words(moved, units)} farther back", bank.moved(back_m=moved)))
    if up > 0:
        ways.append(("both", bank.moved(up_m=up, back_m=moved)))
    own = bank.too_many_for_one(allowed)
    if own:
        rows = "row has a loudspeaker" if own == 1 else f"{own} rows have loudspeakers"
        ways.append((f"the front {rows} of their own", bank.without_front(own)))
    shown = [
        (escape(name), Num(f"{way.best_deg:.0f}°"), Num(f"{way.uneven_db(way.best_deg):.1f} dB"))
        for name, way in ways
    ]
    head = ("the loudspeaker", Num("best tilt"), Num("loudest to quietest row"))
    html = f"<p>{escape(words)}</p>" + table("What makes the bank more even", head, shown)
    return card(folded("Is that good enough? Open it when you have found the tilt.", html))


def _rows():
    """Cells of the standard's table, and what is computed."""
    return [
        (
            f"air, octave {2 ** (b - 3)} kHz, {t} °C, {h} % humidity [dB/km]",
            text,
            1000 * attenuation(EXACT[b], temperature_c=t, humidity_pct=h),
            "ISO 9613-1:1993, Table 1",
        )
        for t, h, b, text in TABLE
    ]
