"""The decision record: one HTML file that opens offline, prints well, and says what was decided, on
what, and why.
"""

import datetime
from html import escape

from ...acoustics.criteria import CRITERIA
from ...acoustics.differences import bent_decay
from ...acoustics.exposure import loudness
from ...design.options import HEADLINES, hung, told
from ...equipment.schedules import schedules
from ...venue.finishes import FINISHES
from ...venue.units import to_file
from .. import scene, tables
from ..charts import plans
from ..tables import CAUTIONS, LIMITS
from .page import Page, quoted, table

READERS = ("school", "installer", "file")  # who reads it decides which parts it has
PARTS = {
    "school": ("school", "cautions", "sign"),
    "installer": ("school", "schedules", "cautions", "sign"),
    "file": (
        "school",
        "inputs",
        "options",
        "room",
        "uses",
        "sureness",
        "schedules",
        "cautions",
        "limits",
        "origin",
        "sign",
    ),
}
QUANTITIES_SHOWN = ("speech", "sti")


def record_html(decision, *, reader="file", date=None):
    """The record as one HTML file.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide`` [-]
    reader : str
        "school" (what and why, in plain words), "installer" (with all schedules) or "file"
        (everything) [-]
    date : datetime.date, optional
        Told in the one line that is not the same from day to day; today when left out [-]

    Returns
    -------
    html : str
        Opens offline, asks for nothing
    """
    if reader not in READERS:
        raise ValueError(f"reader = {reader!r} is unknown. Known: {', '.join(READERS)}.")
    page = Page(f"{decision.chosen.scenario.name}: decision record")
    writers = dict(
        school=_school,
        inputs=_inputs,
        options=_options,
        room=_room,
        uses=_uses,
        sureness=_sureness,
        schedules=_schedules,
        cautions=_cautions,
        limits=_limits,
        origin=_origin,
        sign=_sign,
    )
    date = date or datetime.date.today()
    page.add(
        f"<h1>{quoted(decision.chosen.scenario.name)}: the sound system</h1>",
        f'<p class="quiet" id="made-on">Written on {date.isoformat()}.</p>',
    )
    for part in PARTS[reader]:
        writers[part](page, decision)
    return page.html()


def _school(page, d):
    s, chosen = d.chosen.scenario, d.chosen
    page.add('<h2 class="first">In plain words</h2>')
    page.add(
        f"<p><b>What was chosen.</b> Option {quoted(chosen.name)}: {len(s.loudspeakers)}"
        f" loudspeakers, {quoted(hung(s))}. They serve everything the school does in the hall:"
        f" {quoted(', '.join(d.results))}.</p>"
    )
    rows = []
    for name, r in d.results.items():
        missed = [v for v in r.verdicts if v.word != "meets"]
        problems = dict.fromkeys(
            f"{CRITERIA[v.criterion].trouble}{f' ({v.area})' if v.area else ''}"
            for v in missed
            if v.word != "close"
        )
        nearly = dict.fromkeys(
            f"{CRITERIA[v.criterion].trouble}{f' ({v.area})' if v.area else ''}"
            for v in missed
            if v.word == "close"
        )
        say = (
            f"{sum(v.word == 'meets' for v in r.verdicts)} of {len(r.verdicts)} things asked for"
            " hold."
        )
        say += f" Not reached: {escape('; '.join(problems))}." if problems else ""
        say += f" Just missed: {escape('; '.join(nearly))}." if nearly else ""
        area = min(r.areas, key=lambda a: a.sti_p10)
        heard = (
            f"speech at {r.use.target_dba:.0f} dB(A), clarity {area.sti_p10:.2f} or better for nine"
            " of ten places of every area (0 is nothing understood, 1 everything; asked for:"
            f" {s.targets.sti:.2f})"
        )
        rows.append((quoted(name), heard, say))
    page.add(
        table(
            "What it will do in each use",
            ("use", "what people hear", "against what was asked for"),
            rows,
        )
    )
    total = sum(line.total for line in d.parts.lines)
    page.add(
        f"<p><b>What it costs.</b> {total:,.0f} in the price book's currency:"
        f" {sum(x.quantity * x.price for x in d.parts.lines):,.0f} of material and"
        f" {sum(x.labor for x in d.parts.lines):,.0f} of labor"
        f" ({sum(x.hours for x in d.parts.lines):.0f} hours). Prices are the price book's; an offer"
        " says what they are on the day.</p>"
    )

    def place(name, v):
        return quoted(name + (f", {v.area}" if v.area else ""))

    cannot = [
        f"{place(name, v)}: {CRITERIA[v.criterion].trouble} ({escape(v.sentence)})"
        for name, r in d.results.items()
        for v in r.verdicts
        if v.word in ("misses", "out of reach")
    ]
    page.add(
        "<p><b>What it cannot do.</b></p>",
        (
            "<ul>" + "".join(f"<li>{c}.</li>" for c in cannot) + "</ul>"
            if cannot
            else "<p>Everything asked for is reached or just missed.</p>"
        ),
    )
    page.add(
        "<p>It is not a life-safety system: emergency announcements are the fire-alarm"
        " contractor's, and the authority having jurisdiction decides. These are predictions; the"
        " finished hall is measured and compared with them.</p>"
    )


def _inputs(page, d):
    s = d.chosen.scenario
    say = s.say
    page.add("<h2>What it rests on</h2>", f"<p>Source of the scenario: {quoted(s.source)}.</p>")
    hall = s.hall
    rows = [
        ("length", say(hall.length)),
        ("width", say(hall.width)),
        ("wall height", say(hall.height)),
        ("clear under joists", say(hall.clear_height)),
        ("court", escape(s.court)),
        ("air", f"{s.air.temperature_c:g} °C, {s.air.humidity_pct:g} % humidity"),
    ]
    rows += [
        (
            f"bank '{quoted(b.name)}'",
            (
                f"{b.side} side, {b.rows} rows of {say(b.row_run)}, rise {say(b.row_rise)},"
                f" {say(b.length)} long, {b.seats} places"
            ),
        )
        for b in s.banks
    ]
    rows += [
        (f"chairs '{quoted(f.name)}'", f"{say(f.length)} by {say(f.width)}, {f.seats} places")
        for f in s.floor_seats
    ]
    rows += [
        (
            f"treatment of the {t.surface}",
            (
                f"{to_file(t.area, 'm2', s.units):.0f} {s.units}² of"
                f" {escape(t.finish)}{', there already' if t.existing else ''}"
            ),
        )
        for t in s.treatments
    ]
    page.add(table("The hall and its seats", ("what", "value"), rows))
    used = sorted(
        {
            n
            for r in d.results.values()
            for x in r.configuration.room.surfaces
            for n in (x.finish, x.full)
            if n
        }
        | {t.finish for t in s.treatments}
    )
    page.add(
        table(
            "Finishes and where their values come from",
            (
                "finish",
                "absorption at 500 Hz",
                "at 1 kHz",
                "at 2 kHz",
                "source",
                "scattering",
                "source of that",
            ),
            [
                (
                    escape(n),
                    *(FINISHES[n].absorption[b] for b in (2, 3, 4)),
                    escape(FINISHES[n].source),
                    FINISHES[n].scattering,
                    escape(FINISHES[n].scattering_source),
                )
                for n in used
            ],
        )
    )
    if s.absorption_factors:
        page.add(
            table(
                "Absorption corrected by",
                ("finish", "factor"),
                [(escape(n), escape(str(f))) for n, f in s.absorption_factors.items()],
            )
        )
    rows = []
    for u in s.uses:
        full = ", ".join(f"{a} {100 * share:.0f} %" for a, share in u.occupied.items()) or "nobody"
        noise = (
            f"{u.noise_dba:g} dB(A), {u.noise_spectrum}"
            if u.noise_dba is not None
            else "octaves given"
        )
        rows.append(
            (
                quoted(u.name),
                f"{u.target_dba:g} dB(A)",
                escape(noise),
                quoted(", ".join(f"{a} ({w:g})" for a, w in u.listens.items())),
                quoted(full),
                quoted(", ".join(u.microphones) or "none"),
            )
        )
    page.add(
        table(
            "Uses",
            (
                "use",
                "speech wanted",
                "noise",
                "who listens (weight)",
                "how full",
                "open microphones",
            ),
            rows,
        )
    )
    page.add(
        table(
            "Targets and where they come from",
            ("target", "value", "source"),
            [
                (c.label, _target(c, s.targets), escape(c.source_in(s.targets)))
                for c in CRITERIA.values()
                if c.target
            ],
        )
    )
    kinds = {c.type.name: c.type for c in s.loudspeakers}.values()
    page.add(
        table(
            "Loudspeaker types",
            ("type", "what", "balloon"),
            [
                (
                    quoted(k.name),
                    escape(k.description),
                    (
                        f"measured ({quoted(k.source)})"
                        if k.measured_db is not None
                        else f"generic ({quoted(k.source)})"
                    ),
                )
                for k in kinds
            ],
        )
    )


def _options(page, d):
    page.add(
        "<h2>Options considered</h2>",
        "<p>Figures of all uses; the weakest use counts. Room traced. The differences are"
        " computed.</p>",
    )
    head = (
        "figure",
        *(f"{quoted(o.name)}{' (chosen)' if o is d.chosen else ''}" for o in d.options),
    )
    page.add(
        table(
            "Options side by side",
            head,
            [
                (
                    escape(h.words + (f" [{h.unit}]" if h.unit else "")),
                    *(told(h, o.headlines[h.key]) for o in d.options),
                )
                for h in HEADLINES
            ],
        )
    )
    for o in d.options[1:]:
        page.add(
            f"<h3>Why not {quoted(o.name)}</h3>",
            "".join(f"<p>{escape(r)}</p>" for r in d.reasons[o.name]),
            f"<p class='quiet'>It would hang: {quoted(hung(o.scenario))}.</p>",
        )
    if len(d.options) == 1:
        page.add("<p>No other option was considered.</p>")


def _room(page, d):
    page.add("<h2>The room and its limits</h2>")
    for name, r in d.results.items():
        times = r.decay_times
        rows = [("by formula (Eyring with air) [s]", *(f"{v:.2f}" for v in r.rt))] + [
            (f"traced, {k.upper()} [s]", *(f"{v:.2f}" for v in times[k]))
            for k in ("edt", "t20", "t30")
        ]
        page.add(
            table(
                f"Reverberation as occupied, {quoted(name)}",
                ("octave [Hz]", "125", "250", "500", "1k", "2k", "4k", "8k"),
                rows,
            )
        )
        words = bent_decay(r)
        if words:
            page.add(f"<p>{escape(words)}</p>")


def _uses(page, d):
    s = d.chosen.scenario
    for n, (name, r) in enumerate(d.results.items()):
        page.add(f"<h2>{quoted(name[0].upper() + name[1:])}</h2>")
        rows = [
            (
                quoted(v.area or "the hall"),
                CRITERIA[v.criterion].label,
                f'<span class="word">{v.word}</span>',
                escape(v.sentence),
                escape(v.source),
            )
            for v in r.verdicts
        ]
        page.add(
            table(
                "Every verdict, and why", ("where", "what", "verdict", "why", "target from"), rows
            )
        )
        if n == 0:
            page.figure(
                scene.figure(scene.View(result=r, quantity="speech", units=s.units)).update_layout(
                    width=1040, height=620
                ),
                f"The hall in 3D, plan, section, {name}: speech level. Turn it with the mouse; on"
                " paper see the plans below.",
                screen=True,
            )
        shown = [*QUANTITIES_SHOWN, *(["spare gain"] if r.microphones else []), "arrivals"]
        for quantity in shown:
            view = scene.View(result=r, quantity=quantity, units=s.units)
            page.figure(plans.plan(view), f"{name}: {WORDS[quantity]}")
        bank = next((a.name for a in r.configuration.areas.values() if a.kind == "bank"), None)
        if bank:
            page.figure(
                plans.cut(scene.View(result=r, quantity="speech", units=s.units, area=bank)),
                f"{name}: section through {bank}, axis and edges of the loudspeaker that serves it,"
                " speech level along the rows",
            )
        x = loudness(r, d.parts.system)
        page.add(
            f"<p>The system can reach {x.reach_dba:.0f} dB(A) ({x.margin_db:+.1f} dB to spare,"
            f" limited by {quoted(x.tag)}, {x.limited_by}). The loudest place has"
            f" {x.loudest_dba:.0f} dB(A).</p>"
        )


WORDS = {
    "speech": "how loud speech is at every place, lines 3 dB apart",
    "sti": "how well words are understood at every place, from 0 to 1, lines 0.05 apart",
    "spare gain": (
        "where a hand-held microphone may walk; inside the heavy line it is about to ring"
    ),
    "arrivals": "time between the first and the last loudspeaker that matters at a place",
}


def _sureness(page, d):
    page.add("<h2>How sure the figures are</h2>")
    for sureness in d.sureness.values():
        page.add(f'<div class="wide">{tables.sureness_table(sureness)}</div>')


def _schedules(page, d):
    page.add(
        "<h2>Equipment and schedules</h2>",
        "<p>The same tables are in the files beside this one (XLSX, CSV, DXF).</p>",
    )
    for schedule in schedules(d.parts):
        page.add(tables.schedule_table(schedule))


def _cautions(page, d):
    page.add(
        '<h2 class="first">Cautions</h2>',
        "<ul>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>",
    )


def _limits(page, d):
    page.add(
        "<h2>Assumptions, and what the model cannot say</h2>",
        "<ul>" + "".join(f"<li>{escape(c)}</li>" for c in LIMITS) + "</ul>",
    )
    warnings = d.chosen.scenario.warnings + list(d.parts.system.warnings)
    if warnings:
        page.add(
            "<p>To look at:</p><ul>" + "".join(f"<li>{quoted(x)}</li>" for x in warnings) + "</ul>"
        )


def _origin(page, d):
    page.add(
        "<h2>Where this comes from</h2>",
        table(
            "Versions",
            ("software", "version"),
            [(escape(k), escape(v)) for k, v in d.versions.items()],
        ),
    )
    page.add(
        "<p>Hash of all inputs (SHA-256 of the options' scenario files):"
        f" <code>{d.inputs_hash}</code>. The same inputs give this document again, but for its date"
        " line.</p>"
    )


def _sign(page, d):
    page.add(
        '<h2 class="first">Agreed</h2>',
        '<table class="sign"><caption>Signatures</caption><tr><th scope="col">for</th><th'
        ' scope="col">name</th><th scope="col">date</th><th scope="col">signature</th></tr>'
        + "".join(
            f"<tr><td>{who}</td><td></td><td></td><td></td></tr>"
            for who in (
                "the school",
                "the contractor",
                "the structural engineer, for overhead loads",
                "the electrician, for mains",
            )
        )
        + "</table>",
    )


def _target(criterion, targets):
    """A target as the record shows it."""
    target = criterion.target_in(targets)
    return "by volume" if target is None else criterion.text(target)
