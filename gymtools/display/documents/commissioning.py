"""Commissioning on paper: the test plan for who measures, and the report of what was found."""

import datetime
from html import escape
from pathlib import Path

import numpy as np
import plotly.graph_objects as go

from ...acoustics.criteria import CRITERIA
from ...acoustics.evaluate import evaluate
from ...commissioning.comparison import SURE
from ...commissioning.plan import HOW, TESTS, as_tested
from ...commissioning.sheet import entry_sheet
from ...physics.bands import LABELS
from ...venue.files import save
from ...venue.units import to_file
from .. import scene
from ..cautions import CAUTIONS
from ..charts import plans
from ..tables.markup import table
from ..theme import INK, QUIET, ROOMS
from .exports import csv_text, write_xlsx
from .handover import folder_name
from .page import Page, quoted

FRESH = (
    (
        "Before anything is measured: everything is hung and secured as approved, wired, and has"
        " been switched on once at low level by who may do so."
    ),
    (
        "Hearing protection while levels are set and while microphones are rung out; nobody in the"
        " seats; the hall closed to others."
    ),
    (
        "Instruments: sound level meter of class 1 or 2 with octaves, calibrated before and after;"
        " STIPA signal and analyzer; polarity tester; a source for decays."
    ),
    (
        "Practice follows NT ACOU 108, ISO 3382-2 and IEC 60268-16; the standards themselves say"
        " more than this sheet."
    ),
)
SHORT = {
    "speech_to_noise": "highest clean level over the noise of the use",
    "coverage_range": "coverage of all sound (direct and late)",
}
MEANS = {
    "as predicted": "as predicted",
    "higher than predicted": "more than predicted",
    "lower than predicted": "less than predicted",
}
NOT_LIFE_SAFETY = (
    "This is no test of a life-safety system: emergency announcements are the fire-alarm"
    " contractor's, and the authority having jurisdiction decides."
)


def _points(view, places):
    """Places as marks on a plan, each with its text."""
    k = view.k
    return go.Scatter(
        x=[p[0] * k for p, _ in places],
        y=[p[1] * k for p, _ in places],
        text=[scene.plain(t) for _, t in places],
        mode="markers+text",
        textposition="top center",
        marker=dict(symbol="cross", size=8, color=INK),
        textfont=dict(size=11, color=INK),
        hoverinfo="skip",
        showlegend=False,
        cliponaxis=False,
    )


def places_map(plan, use, texts=None):
    """The places at which levels are read in a use.

    Parameters
    ----------
    plan : TestPlan
        The plan [-]
    use : str
        Name of the use [-]
    texts : dict, optional
        What stands at a place, by the key of its reading; its tag when left out [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper
    """
    result = evaluate(as_tested(plan.scenario, use), follow_echoes=False)
    view = scene.View(result=result, quantity="speech", units=plan.scenario.units)
    items = [i for i in plan.of("level", use) if texts is None or i.key in texts]
    chart = go.Figure(
        [
            *plans.traces(view, ("plan: room", "plan: loudspeakers"), "x", "y"),
            _points(view, [(i.point, texts[i.key] if texts else i.tag) for i in items]),
        ]
    )
    return chart.update_layout(
        **plans.LOOK,
        **plans.floor(view),
        height=430,
        margin=dict(l=46, r=10, t=14, b=36),
        showlegend=False,
    )


def plan_html(plan, *, date=None):
    """The test plan as one HTML file, to be taken along on paper.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan`` [-]
    date : datetime.date, optional
        Told at the top; today when left out [-]

    Returns
    -------
    html : str
        Opens offline
    """
    s = plan.scenario
    page = Page(f"{s.name}: test plan")
    page.add(
        f"<h1>{quoted(s.name)}: what to measure</h1>",
        '<p class="quiet" id="made-on">Written on'
        f" {(date or datetime.date.today()).isoformat()}.</p>",
    )
    page.add(
        '<h2 class="first">Before you begin</h2>',
        "<ul>"
        + "".join(f"<li>{escape(x)}</li>" for x in (*FRESH, *CAUTIONS))
        + f"<li>{NOT_LIFE_SAFETY}</li></ul>",
    )
    page.add(
        f"<p>{len(plan.items)} readings. Write them into the entry sheet (the XLSX or CSV beside"
        " this file), a row for each. Leave empty what was not measured.</p>"
    )
    page.add("".join(f"<p>{escape(note)}</p>" for note in plan.notes))
    for test in TESTS:
        items = plan.of(test)
        if not items:
            continue
        page.add(
            f'<h2 class="first">{escape(test[0].upper() + test[1:])}</h2>',
            f"<p>{escape(HOW[test])}</p>",
        )
        rows = [
            (
                quoted(i.key),
                quoted(i.use or "-"),
                quoted(" ".join(x for x in (i.tag, i.of) if x) or "-"),
                quoted(i.where or "-"),
                _place(i, s),
                escape(_against(plan, i)),
            )
            for i in items
        ]
        page.add(
            table(
                f"Readings, {escape(test)} [{escape(items[0].unit)}]",
                ("reading", "use", "of", "where", f"east, north, up [{s.units}]", "against"),
                rows,
            )
        )
        if test == "level":
            for use in plan.leads:
                page.figure(
                    places_map(plan, use),
                    f"{use}: places at which levels are read; the tags are those of the table",
                )
    return page.html()


def _place(item, scenario):
    return (
        ", ".join(f"{to_file(v, 'm', scenario.units):.1f}" for v in item.point)
        if item.point
        else "-"
    )


def _against(plan, item):
    return f"the {plan.leads[item.use]}" if item.test == "arrival" else ""


def report_html(comparison, *, date=None):
    """What was found, as one HTML file.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare`` [-]
    date : datetime.date, optional
        Told at the top; today when left out [-]

    Returns
    -------
    html : str
        Opens offline; the same comparison gives the same file but for its date line
    """
    plan = comparison.plan
    page = Page(f"{plan.scenario.name}: commissioning report")
    page.add(
        f"<h1>{quoted(plan.scenario.name)}: the finished hall against its design</h1>",
        '<p class="quiet" id="made-on">Written on'
        f" {(date or datetime.date.today()).isoformat()}.</p>",
    )
    for write in (_plain, _criteria, _causes, _maps, _room, _every, _not_used, _end):
        write(page, comparison)
    return page.html()


def _plain(page, c):
    out, low = len(c.outside), [k for k in c.checks if k.word in ("misses", "out of reach")]
    page.add('<h2 class="first">In plain words</h2>')
    page.add(
        f"<p>{len(c.readings.values)} of {len(c.plan.items)} readings were taken and could be used."
        f" {len(c.points) - out} of the {len(c.points)} that have a prediction lie as near to it as"
        " can be expected; of a hall that is just as predicted about one in twenty would not.</p>"
    )
    if low:
        page.add(
            "<p><b>What was asked for and is not there:</b></p><ul>"
            + "".join(
                f"<li>{quoted(f'{k.use}: ' if k.use else '')}"
                f"{escape(SHORT.get(k.criterion, CRITERIA[k.criterion].label))}:"
                f" {_say(k.measured, k.unit)}, asked for {_say(k.target, k.unit)}.</li>"
                for k in low
            )
            + "</ul>"
        )
    else:
        page.add(
            "<p>Every criterion that was measured reaches what was asked for, or just misses"
            " it.</p>"
        )
    told = "They are told below, the surest first."
    none = "Nothing in the readings points to a fault."
    page.add(
        f"<p><b>Likely causes found: {len(c.causes)}.</b> {told if c.causes else none}</p>",
        f"<p>{NOT_LIFE_SAFETY}</p>",
    )


def _say(value, unit):
    digits = 2 if unit in ("", "s") else 0 if unit == "ms" else 1
    return f"{value:.{digits}f}{f' {escape(unit)}' if unit else ''}"


def criteria_table(comparison):
    """Criteria: asked for, predicted, measured.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare`` [-]

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (
            quoted(k.use or "the hall"),
            escape(SHORT.get(k.criterion, CRITERIA[k.criterion].label)),
            _say(k.target, k.unit),
            _say(k.predicted, k.unit),
            _say(k.measured, k.unit),
            f"± {_say(SURE * k.sd, k.unit)}",
            f'<span class="word">{k.word}</span>',
            MEANS[k.against_prediction],
            k.count,
        )
        for k in comparison.checks
    ]
    return table(
        "Criteria, measured with nobody in the hall",
        (
            "use",
            "what",
            "asked for",
            "predicted",
            "measured",
            "uncertainty (95 %)",
            "against what was asked for",
            "against the prediction",
            "readings",
        ),
        rows,
    )


def _criteria(page, c):
    page.add('<h2 class="first">Criterion by criterion</h2>', criteria_table(c))
    page.add(
        "<p class='quiet'>Predicted is the hall as it was measured: empty, with its noise; clarity"
        " in use is another figure, told further down. Spare gain: what was found on ringing out,"
        " less the 6 dB margin, other open microphones, and what playing over the crowd takes.</p>"
    )


def causes_list(causes):
    """Likely causes in words.

    Parameters
    ----------
    causes : sequence of Cause
        Of ``commissioning.diagnosis.causes``, the surest first [-]

    Returns
    -------
    html : str
        A list
    """
    if not causes:
        return "<p>None: what differs is within what readings and predictions are good for.</p>"

    def by_chance(x):
        return (
            ""
            if np.isinf(x.explains)
            else (
                "By chance:"
                " "
                f"{f'{100 * x.chance:.1g} %' if x.chance > 1e-6 else 'less than one in a million'}."
            )
        )

    return (
        "<ol>"
        + "".join(
            f"<li>{quoted(x.words)}. <span class='quiet'>{by_chance(x)}</span></li>" for x in causes
        )
        + "</ol>"
    )


def _causes(page, c):
    page.add('<h2 class="first">Likely causes of what differs</h2>', causes_list(c.causes))
    page.add(
        "<p class='quiet'>Each possible cause is tried on all readings; one is told when it"
        " explains so much that in a hall as predicted anything at all would be told once in twenty"
        " times. Look before you believe it.</p>"
    )


def _maps(page, c):
    page.add("<h2>Levels, place by place</h2>")
    for use in c.plan.leads:
        texts = {
            p.key: f"{p.difference:+.1f}" for p in c.points if p.test == "level" and p.use == use
        }
        if texts:
            page.figure(
                places_map(c.plan, use, texts),
                f"{use}: measured less predicted level at each place [dB(A)], the volume control"
                " taken off",
            )
    page.figure(
        scatter(c),
        "measured against predicted levels; the band is what readings and predictions are good for,"
        " the line is where they agree",
    )


def scatter(comparison):
    """Measured against predicted levels.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare`` [-]

    Returns
    -------
    figure : plotly.graph_objects.Figure
        For paper; a sign for each use
    """
    points = [p for p in comparison.points if p.test in ("level", "alone")]
    signs, traces = ("circle", "square", "diamond", "cross", "x", "triangle-up", "star"), []
    ends = [
        min((min(p.predicted, p.measured) for p in points), default=60) - 3,
        max((max(p.predicted, p.measured) for p in points), default=90) + 3,
    ]
    sd = max((p.sd for p in points), default=1.0)
    band = go.Scatter(
        x=[*ends, *ends[::-1]],
        y=[ends[0] - SURE * sd, ends[1] - SURE * sd, ends[1] + SURE * sd, ends[0] + SURE * sd],
        fill="toself",
        fillcolor="#eef1f4",
        line=dict(width=0),
        hoverinfo="skip",
        showlegend=False,
        mode="lines",
    )
    line = go.Scatter(
        x=ends,
        y=ends,
        mode="lines",
        line=dict(color=QUIET, width=1),
        hoverinfo="skip",
        showlegend=False,
    )
    for n, use in enumerate(dict.fromkeys((p.use, p.test) for p in points)):
        mine = [p for p in points if (p.use, p.test) == use]
        traces.append(
            go.Scatter(
                x=[p.predicted for p in mine],
                y=[p.measured for p in mine],
                mode="markers",
                name=scene.plain(f"{use[0]}{', each alone' if use[1] == 'alone' else ''}"),
                marker=dict(symbol=signs[n % len(signs)], size=8, line=dict(width=1, color=INK)),
            )
        )
    chart = go.Figure([band, line, *traces])
    chart.update_layout(
        **plans.LOOK,
        height=430,
        margin=dict(l=56, r=10, t=14, b=46),
        legend=dict(x=0.01, y=0.99),
        xaxis=dict(title="predicted [dB(A)]", range=ends, zeroline=False),
        yaxis=dict(title="measured [dB(A)]", range=ends, scaleanchor="x", zeroline=False),
    )
    return chart


def _room(page, c):
    page.add('<h2 class="first">The room as it is</h2>')
    if c.fit is None:
        page.add("<p>No reverberation was measured.</p>")
        return
    f = c.fit

    def show(v, digits=2):
        return tuple(f"{x:.{digits}f}" if x == x else "-" for x in v)

    page.add(
        table(
            "Reverberation of the empty hall [s], and the absorption that gives it",
            ("octave [Hz]", *LABELS),
            [
                ("by formula, as designed", *show(f.before)),
                (
                    f"predicted, {ROOMS[c.room]}",
                    *show(c.expected.values[c.plan.of("reverberation")[0].key]),
                ),
                ("measured, mean", *show(f.measured)),
                ("by formula, fitted", *show(f.after)),
                ("absorption of all finishes times", *show(f.factors)),
            ],
        )
    )
    if f.unreached:
        page.add(
            "<p>No factor between 0.1 and 10 gives the time measured at"
            f" {escape(', '.join(f.unreached))} Hz.</p>"
        )
    rows = []
    for name, (before, after) in c.again.items():

        def least(r):
            return min(a.sti_p10 for a in r.areas)

        def hold(r):
            return f"{sum(v.word == 'meets' for v in r.verdicts)} of {len(r.verdicts)}"

        def spare(r):
            return (
                f"{min(float(m.margin_db.min()) for m in r.microphones):.1f}"
                if r.microphones
                else "none"
            )

        rows.append(
            (
                quoted(name),
                f"{before.rt_mid:.2f}",
                f"{after.rt_mid:.2f}",
                f"{least(before):.2f}",
                f"{least(after):.2f}",
                spare(before),
                spare(after),
                hold(before),
                hold(after),
            )
        )
    page.add(
        table(
            f"Every use predicted again with the room as it is, people in it, {ROOMS[c.room]}",
            (
                "use",
                "reverberation [s]",
                "now",
                "clarity (STI)",
                "now",
                "spare gain [dB]",
                "now",
                "verdicts that hold",
                "now",
            ),
            rows,
        )
    )
    page.add(
        "<p class='quiet'>One factor an octave for all finishes together: a decay cannot say which"
        " of them is off.</p>"
    )


def points_table(comparison):
    """Every reading against its prediction.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare`` [-]

    Returns
    -------
    html : str
        A table
    """
    rows = [
        (
            quoted(p.key),
            quoted(p.where or "-"),
            _say(p.predicted, p.unit if p.unit not in ("STI",) else ""),
            _say(p.measured, p.unit if p.unit not in ("STI",) else ""),
            f"{p.difference:+.2f}",
            f"± {SURE * p.sd:.2f}",
            "" if p.within else '<span class="word">outside</span>',
        )
        for p in comparison.points
        if p.test != "polarity"
    ]
    return table(
        "Every reading",
        ("reading", "where", "predicted", "measured", "difference", "expected within", ""),
        rows,
    )


def _every(page, c):
    page.add(
        "<h2>Every reading against its prediction</h2>",
        f'<div class="wide">{points_table(c)}</div>',
    )
    wrong = [i.of for i in c.plan.of("polarity") if c.readings.values.get(i.key) == -1.0]
    right = [i.of for i in c.plan.of("polarity") if c.readings.values.get(i.key) == 1.0]
    page.add(
        f"<p>Polarity right: {quoted(', '.join(right) or 'none tested')}. Polarity wrong:"
        f" {quoted(', '.join(wrong) or 'none')}.</p>"
    )
    if c.readings.remarks:
        page.add(
            table(
                "Remarks",
                ("reading", "remark"),
                [(quoted(k), quoted(v)) for k, v in c.readings.remarks.items()],
            )
        )


def _not_used(page, c):
    if c.readings.bad:
        page.add(
            '<h2 class="first">Rows that could not be used</h2>',
            "<ul>" + "".join(f"<li>{quoted(b)}</li>" for b in c.readings.bad) + "</ul>",
        )
    if c.readings.missing:
        page.add(
            '<h2 class="first">Not measured</h2>',
            f"<p>{quoted(', '.join(c.readings.missing))}.</p>",
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
    """Write the test plan and its entry sheet.

    Parameters
    ----------
    plan : TestPlan
        The plan [-]
    folder : str or Path
        In which a folder for the school is made [-]
    overwrite : bool
        Whether files of an earlier time may be replaced: a filled sheet among them [-]
    date : datetime.date, optional
        As for ``plan_html`` [-]

    Returns
    -------
    paths : list of Path
        HTML, XLSX and CSV
    """
    target = Path(folder) / folder_name(plan.scenario).replace("-schedules", "-commissioning")
    if target.exists() and not overwrite:
        raise FileExistsError(
            f"the folder {target.name} exists, perhaps with readings. Say that its files may be"
            " replaced, or move it away."
        )
    target.mkdir(exist_ok=True)
    sheet = entry_sheet(plan)
    paths = [target / "test-plan.html", target / "readings.xlsx", target / "readings.csv"]
    paths[0].write_text(plan_html(plan, date=date), encoding="utf-8")
    write_xlsx([sheet], paths[1], plan.scenario.name)
    paths[2].write_text(csv_text(sheet), encoding="utf-8")
    return paths


def write_report(comparison, folder, *, overwrite=False, date=None):
    """Write the report, and the scenario with the room as it was found beside it.

    Parameters
    ----------
    comparison : Comparison
        Of ``commissioning.comparison.compare`` [-]
    folder : str or Path
        Where to, it must be there [-]
    overwrite : bool
        Whether a report of an earlier time may be replaced [-]
    date : datetime.date, optional
        As for ``report_html`` [-]

    Returns
    -------
    paths : list of Path
        HTML, and TOML where the reverberation was measured
    """
    report = Path(folder) / "commissioning.html"
    if report.exists() and not overwrite:
        raise FileExistsError(
            f"{report.name} exists. Say that it may be replaced, or move it away."
        )
    report.write_text(report_html(comparison, date=date), encoding="utf-8")
    paths = [report]
    if comparison.fit is not None:
        paths.append(report.with_name("room-as-measured.toml"))
        save(comparison.fit.scenario, paths[1], overwrite=True)
    return paths
