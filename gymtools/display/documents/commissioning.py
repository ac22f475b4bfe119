"""Commissioning on paper: the test plan for who measures, and the report of what was found."""

from html import escape
from pathlib import Path

import numpy as np
import plotly.graph_objects as go

from ...acoustics.criteria import CRITERIA
from ...acoustics.evaluate import evaluate
from ...commissioning.comparison import SURE, is_lone_level
from ...commissioning.kinds import KINDS
from ...commissioning.plan import OF_A_USE, PRESET, UNPACKING, as_tested
from ...commissioning.readings import SINGLE, measured_of
from ...commissioning.sheet import entry_sheet, subject_words
from ...venue.files import to_text
from ...venue.seating import EAR_SEATED, EAR_STANDING
from ...venue.writing_files import new_folder
from .. import scene
from ..cautions import CAUTIONS
from ..charts import plans
from ..tables.markup import table
from ..tables.room import fit_table
from ..theme import INK, QUIET, ROOMS, plain_text
from .exports import csv_text, write_xlsx
from .handover import folder_name
from .page import Page, date_words, quoted

FRESH = (
    (
        "Before anything is measured: everything is hung and secured as approved, wired, and has"
        " been switched on once at low level by whoever may do so."
    ),
    (
        "Wear hearing protection while levels are set and while microphones are rung out. Nobody"
        " sits in the seats; the gym is closed to others."
    ),
    (
        "Instruments: sound level meter of class 1 or 2 with octaves, calibrated before and after;"
        " STIPA signal and analyzer; polarity tester; a source for decays."
    ),
    (
        "Nobody climbs: loudspeakers are told apart by muting the other channels at the processor."
        " Loudspeakers that share a channel sound together, and the predictions count that."
    ),
    (
        "Recall each preset once and take everything that belongs to it (level, speech"
        " intelligibility, arrival, feedback margin) before the next: the time above counts on"
        " that. The tables go by what is measured, and name the use."
    ),
    (
        "Practice follows NT ACOU 108, ISO 3382-2 and IEC 60268-16; the standards themselves say"
        " more than this sheet."
    ),
)
# where the readings give another figure than the design's criterion
LABELS_AS_READ = {
    "speech_to_noise": "Highest clean level over the noise of the use",
    "coverage_range": "Coverage uniformity of all sound (direct and reverberant)",
}
# by the side of the prediction on which a criterion lies
AGAINST_PREDICTION = {0: "as predicted", 1: "more than predicted", -1: "less than predicted"}
HOW_CAUSES_ARE_FOUND = (
    "Each possible cause is tried on all readings. A cause is listed when it explains so much that"
    " the false-alarm rate of the whole list is at most 5 % for a gym that is as predicted, and 5 %"
    " more each for its decay and for octaves that are off at all positions. Look before you"
    " believe it."
)
SIGNS = ("circle", "square", "diamond", "cross", "x", "triangle-up", "star")
TICKS = {"m": 5, "ft": 20}  # marks along the walls of a map
MAP_PX = 450.0  # length of the gym on a map [px]
NOT_LIFE_SAFETY = (
    "This is no test of a life-safety system: emergency announcements are the fire-alarm"
    " contractor's, and the authority having jurisdiction decides."
)


def _marks(view, positions):
    """Positions as marks on a plan, each with its text, clear of the loudspeakers' and of each
    other's.
    """
    k = view.k
    hung = [c.position for c in view.result.scenario.loudspeakers]
    per_meter = MAP_PX / view.result.scenario.hall.length
    taken = [(x * per_meter, (y * per_meter) + 8, 26, 30) for x, y, _ in hung]
    taken += [(p[0] * per_meter, p[1] * per_meter, 12, 12) for p, _ in positions]
    sides = [_clear_side(p, text, per_meter, taken) for p, text in positions]
    return go.Scatter(
        x=[p[0] * k for p, _ in positions],
        y=[p[1] * k for p, _ in positions],
        text=[plain_text(t) for _, t in positions],
        mode="markers+text",
        textposition=sides,
        marker=dict(symbol="cross", size=8, color=INK),
        textfont=dict(size=11, color=INK),
        hoverinfo="skip",
        showlegend=False,
        cliponaxis=False,
    )


def _clear_side(point, text, per_meter, taken):
    """Side of a mark on which its text lies over nothing that is there already; it is taken then.
    Boxes are middle, width and height, in the picture's own size.
    """
    wide, high = 7 * len(text), 12
    x, y = point[0] * per_meter, point[1] * per_meter
    tries = {
        "top center": (x, y + 13, wide, high),
        "bottom center": (x, y - 13, wide, high),
        "middle right": (x + wide / 2 + 8, y, wide, high),
        "middle left": (x - wide / 2 - 8, y, wide, high),
    }

    def covered(box):
        return sum(
            max(0.0, (box[2] + w) / 2 - abs(box[0] - cx))
            * max(0.0, (box[3] + h) / 2 - abs(box[1] - cy))
            for cx, cy, w, h in taken
        )

    side = min(tries, key=lambda name: covered(tries[name]))
    taken.append(tries[side])
    return side


def positions_map(plan, use, texts=None):
    """Plan of the gym with the positions at which levels are read in a use.

    Parameters
    ----------
    plan : TestPlan
        The plan
    use : str
        Name of the use
    texts : dict, optional
        What is shown at a position, by the key of its reading; its tag when left out

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper
    """
    result = evaluate(as_tested(plan.scenario, use))
    view = scene.View(result=result, quantity="speech", units=plan.scenario.units)
    readings = [r for r in plan.of("level", use) if texts is None or r.key in texts]
    marks = [(r.position.point, texts[r.key] if texts else r.position.tag) for r in readings]
    chart = go.Figure(
        [
            *plans.traces(view, ("plan: room", "plan: loudspeakers"), "x", "y"),
            _marks(view, marks),
        ]
    )
    look = plans.LOOK | dict(height=430, margin=dict(l=46, r=10, t=14, b=36))
    return chart.update_layout(**look, **_axes_from_walls(view))


def _axes_from_walls(view):
    """Axes of a map that count from the west and the south wall, as positions are measured."""
    axes, hall = plans.floor(view), view.result.scenario.hall
    step = TICKS[view.units]
    for name, length, wall in (("xaxis", hall.length, "west"), ("yaxis", hall.width, "south")):
        whole = length * view.k
        marks = np.arange(0, whole + 1e-6, step)
        axes[name] |= dict(
            tickvals=(marks - whole / 2).tolist(),
            ticktext=[f"{m:g}" for m in marks],
            title=f"from the {wall} wall [{view.units}]",
        )
    return axes


def plan_html(plan, *, date=None):
    """The test plan as one HTML file, to be taken along on paper.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``
    date : datetime.date, optional
        Shown at the top; a blank to write on when left out

    Returns
    -------
    html : str
        Opens offline
    """
    s = plan.scenario
    page = Page(f"{s.name}: test plan")
    page.add(
        f"<h1>{quoted(s.name)}: what to measure</h1>",
        _date_line(date),
        f"<p><b>{plan.form.capitalize()} form: {len(plan.readings)} readings, about"
        f" {hours_words(plan.minutes)} for two people</b>, one at the rack and one at the meter."
        " Write them into the entry sheet (the XLSX or CSV beside this file), a row for each. Leave"
        " empty what was not measured: the report then says what it could not see."
        f" {escape(_ears(s))}</p>",
        "".join(f"<p>{escape(note)}</p>" for note in plan.notes),
        times_table(plan),
        '<h2 class="first">Before you begin</h2>',
        "<ul>"
        + "".join(f"<li>{escape(x)}</li>" for x in (*FRESH, *CAUTIONS))
        + f"<li>{NOT_LIFE_SAFETY}</li></ul>",
    )
    for kind in KINDS.values():
        if plan.of(kind.key):
            _kind_of_test(page, plan, kind)
    return page.html()


def _ears(scenario):
    """How high a microphone stands at a seat."""
    seated, standing = scenario.say(EAR_SEATED), scenario.say(EAR_STANDING)
    return (
        f"At seats the microphone is at ear height, {seated} over what the feet stand on; on the"
        f" court and where people stand, {standing}. Seats are counted by the file's seat spacing:"
        " where those on site are numbered otherwise, the distances from the walls count."
    )


def hours_words(minutes):
    """Time on site in words.

    Parameters
    ----------
    minutes : float
        Time [min]

    Returns
    -------
    words : str
        Hours and quarters

    Examples
    --------
    >>> hours_words(118.5), hours_words(35.0), hours_words(190.0)
    ('2 hours', '1/2 hour', '3 1/4 hours')
    """
    quarters = max(1, round(minutes / 15))
    whole, rest = divmod(quarters, 4)
    part = ("", "1/4", "1/2", "3/4")[rest]
    words = " ".join(x for x in (str(whole) if whole else "", part) if x)
    return f"{words} hour{'s' if quarters > 4 else ''}"


def times_table(plan):
    """Where the time on site goes.

    Parameters
    ----------
    plan : TestPlan
        The plan

    Returns
    -------
    html : str
        A table, in minutes
    """
    rows = [("unpacking, calibrating before and after, packing up", "", "", f"{UNPACKING:g}")]
    uses = {r.use for r in plan.readings if r.kind.key in OF_A_USE}
    rows.append(("recalling presets", len(uses), f"{PRESET:g}", f"{PRESET * len(uses):g}"))
    for kind in KINDS.values():
        count = len(plan.of(kind.key))
        if count:
            whole = kind.set_up_minutes + count * kind.minutes
            rows.append((escape(kind.label), count, f"{kind.minutes:g}", f"{whole:g}"))
    whole = f"<b>{plan.minutes:.0f}</b>"
    rows.append(("<b>in all</b>", len(plan.readings), "", whole))
    return table(
        "Time on site [min]; common practice, no source",
        ("what", "how many", "each", "with setting up"),
        rows,
    )


def _date_line(date):
    """Line with the date as it was given."""
    return f'<p class="quiet">Date: {date_words(date)}</p>'


def _kind_of_test(page, plan, kind):
    """One kind of test: how it is read, and its readings."""
    readings = plan.of(kind.key)
    page.add(f'<h2 class="first">{escape(kind.label)}</h2>', f"<p>{escape(kind.how)}</p>")
    against = kind.key == "arrival"
    heads = ("reading", "use", "what", "where", *(("compared with",) if against else ()))
    rows = [
        (
            quoted(r.key),
            quoted(r.use or "-"),
            quoted(" ".join(x for x in (r.position.tag, subject_words(r)) if x) or "-"),
            quoted(r.position.words or "-"),
            *((quoted(" and ".join(r.against) or f"the {plan.leads[r.use]}"),) if against else ()),
            *(() if kind.octaves else ("",)),
        )
        for r in readings
    ]
    page.add(
        table(
            f"{escape(kind.label)} [{escape(kind.unit)}]",
            (*heads, *(() if kind.octaves else ("read",))),
            rows,
        )
    )
    if kind.key == "level":
        for use in (use for use in plan.leads if plan.of(kind.key, use)):
            page.figure(
                positions_map(plan, use),
                f"{use}: positions at which levels are read, with the tags of the table",
            )


def report_html(comparison, *, date=None):
    """What was found, as one HTML file.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare``
    date : datetime.date, optional
        Shown at the top; a blank to write on when left out

    Returns
    -------
    html : str
        Opens offline; the same comparison gives the same file but for its date line
    """
    name = comparison.plan.scenario.name
    page = Page(f"{name}: commissioning report")
    page.add(f"<h1>{quoted(name)}: the finished gym against its design</h1>", _date_line(date))
    for write in (_plain, _criteria, _causes, _maps, _room, _every, _not_used, _end):
        write(page, comparison)
    return page.html()


def _plain(page, c):
    out = len(c.outside)
    missed = [k for k in c.checks if k.word in ("misses", "out of reach")]
    doubt = {True: "", False: " (not decided by these readings)"}
    page.add('<h2 class="first">In plain words</h2>')
    page.add(
        f"<p>{len(c.sheet.readings)} of {len(c.plan.readings)} readings were taken and could be"
        f" used. {len(c.differences) - out} of the {len(c.differences)} that can be compared lie"
        " as near to it as can be expected; in a gym that is just as predicted, about one in twenty"
        " would not.</p>"
    )
    if missed:
        lines = "".join(
            f"<li>{quoted(f'{k.use}: ' if k.use else '')}{escape(_label(k.criterion))}:"
            f" {_say(k.measured, k.kind, k.unit)}, target"
            f" {_say(k.target, k.kind, k.unit)}{doubt[k.is_decided]}.</li>"
            for k in missed
        )
        page.add(f"<p><b>Targets that the gym misses:</b></p><ul>{lines}</ul>")
    else:
        page.add("<p>Every criterion that was measured meets its target or comes close to it.</p>")
    page.add(_undecided(c), _found_words(c), f"<p>{NOT_LIFE_SAFETY}</p>")


def _undecided(c):
    """Criteria that the readings do not decide, and the reading that would."""
    items = "".join(
        f"<li>{quoted(f'{k.use}: ' if k.use else '')}{escape(_label(k.criterion))},"
        f" {_say(k.measured, k.kind, k.unit)} ± {_say(SURE * k.repeats, k.kind, k.unit)} against"
        f" {_say(k.target, k.kind, k.unit)}: {quoted(k.deciding)}.</li>"
        for k in c.checks
        if not k.is_decided
    )
    words = "Too near the target to be decided by these readings:"
    return f"<p><b>{words}</b></p><ul>{items}</ul>" if items else ""


def _found_words(c):
    """How many causes were found, and what could not have been seen."""
    found = "They are listed below, the surest first."
    none = "Nothing in these readings points to a fault of a kind that they can show."
    decay = any(cause.kind == "decay" for cause in c.causes)  # then it was seen
    unseen = [
        s.fault if s.kind == "livelier" else f"{s.fault} ({', '.join(s.unseen)})"
        for s in c.sights
        if s.unseen and not (decay and s.kind == "livelier")
    ]
    left = "; ".join([*unseen, *c.open_questions])
    more = (
        f"<p><b>What these readings could not have shown:</b> {quoted(left)}.</p>" if left else ""
    )
    return (
        f"<p><b>Likely causes found: {len(c.causes)}.</b> {found if c.causes else none}</p>{more}"
    )


def _label(criterion):
    """What a criterion is called in the report."""
    return LABELS_AS_READ.get(criterion, CRITERIA[criterion].label)


def _say(value, kind, unit):
    """A value with as many decimals as its kind of reading has, and its unit; never "-0"."""
    return f"{value:z.{kind.digits}f} {escape(unit)}".rstrip()


def criteria_table(comparison):
    """Criteria: target, predicted, measured.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare``

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (
            quoted(k.use or "the gym"),
            escape(_label(k.criterion)),
            _say(k.target, k.kind, k.unit),
            _say(k.expected, k.kind, k.unit),
            _say(k.measured, k.kind, k.unit),
            f"± {_say(SURE * k.repeats, k.kind, k.unit)}",
            f'<span class="word">{k.word}</span>{"" if k.is_decided else ", not decided"}',
            f"{AGAINST_PREDICTION[k.side]} (± {_say(SURE * k.spread, k.kind, k.unit)})",
            k.count,
        )
        for k in comparison.checks
    ]
    return table(
        "Criteria, measured with nobody in the gym",
        (
            "use",
            "criterion",
            "target",
            "predicted",
            "measured",
            "read again, within",
            "against the target",
            "against the prediction, which may be off by",
            "readings",
        ),
        rows,
    )


def _criteria(page, c):
    page.add('<h2 class="first">Criterion by criterion</h2>', criteria_table(c))
    page.add(
        "<p class='quiet'>The prediction is for the gym as it was measured: empty, with its noise."
        " Speech intelligibility with people in the seats is another figure, shown further"
        " down. Not decided: the measured value lies so near the target that reading it again could"
        " turn the word. Feedback margin: the gain at which the microphone rang, less the 6 dB"
        " margin, other open microphones, and the rise over the crowd.</p>"
    )


def causes_list(causes):
    """Likely causes in words.

    Parameters
    ----------
    causes : sequence of Cause
        Of ``commissioning.diagnosis.diagnose``, the surest first

    Returns
    -------
    html : str
        A list
    """
    if not causes:
        return "<p>None: the differences are within what readings and predictions are good for.</p>"
    items = "".join(
        f"<li>{quoted(x.words)}. <span class='quiet'>{_by_chance(x)}</span></li>" for x in causes
    )
    return f"<ol>{items}</ol>"


def _by_chance(cause):
    """Probability of as much in a gym that is as predicted; nothing for what a tester shows."""
    if np.isinf(cause.explains):
        return ""
    chance = f"{100 * cause.chance:.1g} %" if cause.chance > 1e-6 else "less than one in a million"
    return f"By chance: {chance}."


def _causes(page, c):
    page.add(
        '<h2 class="first">Likely causes of what differs</h2>',
        causes_list(c.causes),
        f"<p class='quiet'>{HOW_CAUSES_ARE_FOUND}</p>",
        sights_table(c.sights),
    )


def sights_table(sights):
    """What the readings made would show.

    Parameters
    ----------
    sights : sequence of Sight
        Of ``commissioning.blind_spots.sights``

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (escape(s.fault), quoted(", ".join(s.seen) or "none"), quoted(", ".join(s.unseen) or "-"))
        for s in sights
    ]
    return table(
        "What the readings made would show, of each fault by itself: found nine times of ten",
        ("fault", "would be found", "could stay unseen"),
        rows,
    )


def trials_table(tallies):
    """How well a plan finds faults.

    Parameters
    ----------
    tallies : dict
        Of ``commissioning.trials.trials``: sequence of Tally by the name of the plan's form

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (escape(form), escape(t.fault), t.tried, t.found, t.missed, t.other)
        for form, some in tallies.items()
        for t in some
    ]
    heads = ("plan", "fault put in", "gyms", "found", "missed", "something else reported")
    return table("Faults put into invented readings", heads, rows)


def _maps(page, c):
    levels = [d for d in c.differences if d.reading.kind.dba]
    if not levels:
        return
    page.add("<h2>Levels, position by position</h2>")
    for use in c.plan.leads:
        texts = level_texts(c, use)
        if texts:
            page.figure(
                positions_map(c.plan, use, texts),
                f"{use}: measured less predicted level at each position [dB(A)], the volume taken"
                " off",
            )
    page.figure(
        scatter(c),
        "measured against predicted levels; the band is what readings and predictions are good for,"
        " the line is where they agree",
    )


def level_texts(comparison, use):
    """Measured less predicted levels of a use, as texts for a plan.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare``
    use : str
        Name of the use

    Returns
    -------
    texts : dict
        By the key of a reading, in dB(A)
    """
    return {
        d.reading.key: f"{d.value:+.1f}"
        for d in comparison.differences
        if d.reading.kind.key == "level" and d.reading.use == use
    }


def scatter(comparison):
    """Measured against predicted levels.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare``

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper; a sign for each use
    """
    levels = [d for d in comparison.differences if d.reading.kind.dba]
    both = [v for d in levels for v in (d.expected, d.measured)]
    ends = [min(both, default=63) - 3, max(both, default=87) + 3]
    spread = max((d.spread for d in levels), default=1.0)
    groups = {}
    for d in levels:
        alone = d.reading.kind.key == "alone"
        groups.setdefault(f"{d.reading.use}{', each alone' if alone else ''}", []).append(d)
    signs = [
        go.Scatter(
            x=[d.expected for d in mine],
            y=[d.measured for d in mine],
            mode="markers",
            name=plain_text(name),
            marker=dict(symbol=SIGNS[n % len(SIGNS)], size=8, line=dict(width=1, color=INK)),
        )
        for n, (name, mine) in enumerate(groups.items())
    ]
    chart = go.Figure([*_agreement(ends, SURE * spread), *signs])
    look = plans.LOOK | dict(height=430, margin=dict(l=56, r=10, t=14, b=46), showlegend=True)
    return chart.update_layout(
        **look,
        legend=dict(x=0.01, y=0.99),
        xaxis=dict(title="predicted [dB(A)]", range=ends, zeroline=False),
        yaxis=dict(title="measured [dB(A)]", range=ends, scaleanchor="x", zeroline=False),
    )


def _agreement(ends, within):
    """The band in which measurement and prediction agree, and the line through its middle."""
    quiet = dict(hoverinfo="skip", showlegend=False, mode="lines")
    band = go.Scatter(
        x=[*ends, *ends[::-1]],
        y=[ends[0] - within, ends[1] - within, ends[1] + within, ends[0] + within],
        fill="toself",
        fillcolor="#eef1f4",
        line=dict(width=0),
        **quiet,
    )
    return band, go.Scatter(x=ends, y=ends, line=dict(color=QUIET, width=1), **quiet)


def _room(page, c):
    page.add('<h2 class="first">The room as it is</h2>')
    if c.fit is None:
        page.add("<p>No reverberation was measured.</p>")
        return
    page.add(fit_table(c.fit), _again(c))


def _again(c):
    """Every use as predicted with the design's room and with the room as it is."""
    rows = []
    for name, (before, after) in c.again.items():
        cells = zip(_key_figures(before), _key_figures(after), strict=True)
        rows.append((quoted(name), *(text for pair in cells for text in pair)))
    return table(
        f"Every use predicted again with the room as it is, people in it, {ROOMS[c.room]}",
        (
            "use",
            "reverberation [s]",
            "now",
            "speech intelligibility (STI)",
            "now",
            "feedback margin [dB]",
            "now",
            "checks met",
            "now",
        ),
        rows,
    )


def _key_figures(result):
    """Reverberation, lowest STI that 9 of 10 seats reach, smallest feedback margin, checks met."""
    margins = [float(m.margin_db.min()) for m in result.microphones]
    met = sum(v.meets for v in result.verdicts)
    return (
        f"{result.rt_mid:.2f}",
        f"{min(a.sti_p10 for a in result.areas):.2f}",
        f"{min(margins):.1f}" if margins else "none",
        f"{met} of {len(result.verdicts)}",
    )


def differences_table(comparison):
    """Every reading against its prediction.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare``

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (
            quoted(d.reading.key),
            quoted(d.where or "-"),
            _say(d.expected, d.reading.kind, d.unit),
            _say(d.measured, d.reading.kind, d.unit),
            f"{d.value:+.2f}",
            f"± {SURE * d.spread:.2f}",
            "" if d.within else '<span class="word">outside</span>',
        )
        for d in comparison.differences
        if d.reading.kind.key != "polarity"
    ]
    return table(
        "Every reading",
        ("reading", "where", "predicted", "measured", "difference", "expected within", ""),
        rows,
    )


def _every(page, c):
    page.add(
        "<h2>Every reading against its prediction</h2>",
        f'<div class="wide">{differences_table(c)}</div>',
        _lone_levels(c),
    )
    tested = measured_of(c.readings, "polarity")
    right = [r.subject for r in tested if r.measured[SINGLE] == 1.0]
    wrong = [r.subject for r in tested if r.measured[SINGLE] == -1.0]
    silent = [r.subject for r in tested if r.measured[SINGLE] == 0.0]
    page.add(
        f"<p>Correct polarity: {quoted(', '.join(right) or 'none tested')}. Reversed polarity:"
        f" {quoted(', '.join(wrong) or 'none')}. Silent: {quoted(', '.join(silent) or 'none')}.</p>"
    )
    if c.sheet.remarks:
        page.add(
            table(
                "Remarks",
                ("reading", "remark"),
                [(quoted(k), quoted(v)) for k, v in c.sheet.remarks.items()],
            )
        )


def _lone_levels(c):
    """Levels that cannot be compared, and why."""
    lone = [r.key for r in c.readings if is_lone_level(r, c.readings)]
    if not lone:
        return ""
    return (
        f"<p class='quiet'>Not in the table: {quoted(', '.join(lone))}. The volume is set by hand,"
        " so that one level in a use has nothing to differ from; its octaves are looked at.</p>"
    )


def _not_used(page, c):
    if c.sheet.bad:
        page.add(
            '<h2 class="first">Rows and recordings that could not be used</h2>',
            "<ul>" + "".join(f"<li>{quoted(b)}</li>" for b in c.sheet.bad) + "</ul>",
        )
    if c.sheet.files:
        rows = [
            (quoted(f.name), "used" if f.used else "not used", quoted(f.words))
            for f in c.sheet.files
        ]
        page.add(table("Files from the site", ("file", "", "for what, or why not"), rows))
    if c.sheet.missing:
        page.add(
            '<h2 class="first">Not measured</h2>',
            f"<p>{quoted(', '.join(c.sheet.missing))}.</p>",
        )


def _end(page, c):
    page.add(
        '<h2 class="first">Cautions</h2>',
        "<ul>" + "".join(f"<li>{escape(x)}</li>" for x in CAUTIONS) + "</ul>",
    )
    page.add(
        '<table class="sign"><caption>Signatures</caption><tr><th scope="col">for</th><th'
        ' scope="col">name</th><th scope="col">date</th><th scope="col">signature</th></tr>'
        + "".join(
            f"<tr><td>{who}</td><td></td><td></td><td></td></tr>"
            for who in ("who measured", "the contractor", "the school")
        )
        + "</table>"
    )


def write_plan(plan, folder, *, overwrite=False, date=None):
    """Write the test plan and its entry sheet, all of it or nothing.

    Parameters
    ----------
    plan : TestPlan
        The plan
    folder : str or Path
        In which a folder for the school is made
    overwrite : bool
        Whether an earlier folder may be replaced; it moves whole into "revisions" beside it, a
        filled sheet with it
    date : datetime.date, optional
        As for ``plan_html``

    Returns
    -------
    paths : list of Path
        HTML, XLSX and CSV

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    target = Path(folder) / folder_name(plan.scenario, "commissioning")
    sheet = entry_sheet(plan)
    files = {"test-plan.html": plan_html(plan, date=date), "readings.csv": csv_text(sheet)}
    with new_folder(target, overwrite=overwrite, holds="readings") as building:
        for name, text in files.items():
            (building / name).write_bytes(text.encode("utf-8"))
        write_xlsx([sheet], building / "readings.xlsx", plan.scenario.name)
    return [target / name for name in ("test-plan.html", "readings.xlsx", "readings.csv")]


def write_report(comparison, folder, *, overwrite=False, date=None):
    """Write the report, and the scenario with the room as it was found beside it, all or nothing.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare``
    folder : str or Path
        An existing folder, in which a folder for the school is made
    overwrite : bool
        Whether an earlier report may be replaced; its folder moves whole into "revisions" beside it
    date : datetime.date, optional
        As for ``report_html``

    Returns
    -------
    paths : list of Path
        HTML, and TOML where the reverberation was measured

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    target = Path(folder) / folder_name(comparison.plan.scenario, "commissioning-report")
    files = {"commissioning.html": report_html(comparison, date=date)}
    if comparison.fit is not None:
        files["room-as-measured.toml"] = to_text(comparison.fit.scenario)
    with new_folder(target, overwrite=overwrite) as building:
        for name, text in files.items():
            (building / name).write_bytes(text.encode("utf-8"))
    return [target / name for name in files]
