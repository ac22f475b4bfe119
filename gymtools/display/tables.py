"""What the picture says, in words and numbers, as HTML made of plain tables."""

from html import escape

import numpy as np

from ..acoustics.criteria import CRITERIA, worst_verdict
from ..acoustics.differences import bent_decay
from ..design.options import HEADLINES, dominated, told, told_apart
from ..design.uncertainty import WORDS as UNKNOWN
from ..physics.bands import LABELS
from ..venue.finishes import FINISHES
from ..venue.units import FOOT
from .theme import FAINT, FONT, INK, QUIET, ROOMS

CAUTIONS = (
    (
        "Overhead loads: attachment to the structure is designed and approved by a licensed"
        " structural engineer; rated hardware, an independent second safety, only enclosures with"
        " rated hanging points, and protection against ball strike."
    ),
    "Mains: by a licensed electrician, to the local code.",
    (
        "Emergency announcements: this is not a life-safety design. The fire-alarm contractor and"
        " the authority having jurisdiction decide; the sound system is muted by the fire-alarm"
        " system where they require it."
    ),
    (
        "Hearing: keep the nearest seats and the staff within the local exposure rules; check"
        " levels before the first use."
    ),
    (
        "Local codes, the authority having jurisdiction and licensed professionals come before"
        " anything shown here."
    ),
)
LIMITS = (
    (
        "While something moves, the room's own sound is one level by formula for the whole hall:"
        " where absorption sits on one bank or on the roof and bare walls face each other, it can"
        " be wrong by 3 dB and the decay much longer. At rest the room is traced; figures to act on"
        " come from that."
    ),
    (
        "The traced room knows one scattering value a surface, most of them assumptions; long"
        " decays between smooth bare walls depend on it."
    ),
    (
        "Below 250 Hz the level at a single seat varies by about 2 dB around what is shown, by"
        " interference."
    ),
    (
        "Loudspeakers are generic balloons made from nominal angles, not measurements of a product;"
        " real ones usually leak more, so that the direct sound may stand 1 to 2 dB too high over"
        " the reverberant."
    ),
    "People do not shade each other; waves do not bend round edges.",
    (
        "Spare gain is an average over an octave; an installed system has peaks above it, which the"
        " 6 dB margin is there for."
    ),
    (
        "Absorption values are published averages or assumptions (marked so); a measured"
        " reverberation time is always better."
    ),
)
# a class named three times outweighs the notebook's own rule, which sets every table to the right
STYLE = f"""<style>
.gt-card {{
  font-family: {FONT}; color: {INK}; font-size: 14px; line-height: 1.45; max-width: 1560px;
}}
.gt-card table {{ border-collapse: collapse; width: 100%; margin: 4px 0 10px; }}
.gt-card caption {{ text-align: left; font-weight: 600; padding: 6px 0 2px; }}
.gt-card.gt-card.gt-card th, .gt-card.gt-card.gt-card td {{
  text-align: left; vertical-align: top; padding: 4px 14px 4px 0;
  border-bottom: 1px solid {FAINT}; white-space: normal;
}}
.gt-card.gt-card.gt-card td.num, .gt-card.gt-card.gt-card th.num {{ text-align: right; }}
.gt-card .quiet {{ color: {QUIET}; font-size: 12px; }}
.gt-card .wide {{ overflow-x: auto; }}
.gt-card .word {{ white-space: nowrap; font-weight: 600; }}
.gt-card .holds {{ font-weight: 400; }}
.gt-card .falls, .gt-card .out {{ border-bottom: 2px solid {INK}; }}
</style>"""


def card(*parts):
    """A piece of HTML in the workbook's own style.

    Parameters
    ----------
    parts : str
        HTML; text from a scenario must have been escaped [-]

    Returns
    -------
    html : str
        One block
    """
    return f'{STYLE}<div class="gt-card">{"".join(parts)}</div>'


def headline(result):
    """The use and its overall verdict in one sentence.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    html : str
        A paragraph
    """
    verdicts = result.verdicts
    good = sum(v.word == "meets" for v in verdicts)
    name = f"<b>{escape(result.scenario.name)}, {escape(result.use.name)}</b>"
    if result.word == "meets":
        return f"<p>{name}: everything asked for <b>holds</b> ({good} of {len(verdicts)}).</p>"
    bad = worst_verdict(verdicts)
    where = f" ({escape(bad.area)})" if bad.area else ""
    return (
        f"<p>{name}: {good} of {len(verdicts)} hold. What is furthest off:"
        f" <b>{CRITERIA[bad.criterion].trouble}</b>{where}.</p><p>"
        f"{escape(CRITERIA[bad.criterion].label)}{where}"
        f" <b>{bad.word}</b>: {escape(bad.sentence)}.</p>"
    )


def room_shown(result):
    """Which of the two rooms a result shows.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    words : str
        With the error of the traced one
    """
    if result.room == "statistical":
        return "Shown: room by formula"
    error = result.reverberant.error_db
    return "Shown: room traced, " + (
        f"error about {error:.1f} dB" if np.isfinite(error) else "first rays"
    )


def differences_list(found):
    """Where the traced room differs from the formula, and why.

    Parameters
    ----------
    found : list of str
        Sentences [-]

    Returns
    -------
    html : str
        A list; nothing when there is none
    """
    if not found:
        return ""
    return (
        "<p>Where the traced room differs from the formula:</p><ul>"
        + "".join(f"<li>{escape(f)}</li>" for f in found)
        + "</ul>"
    )


def verdict_table(result):
    """Every verdict: word, number, why, and where the target comes from.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    html : str
        A table, area by area
    """
    rows = "".join(
        f"<tr><td>{escape(v.area or 'the hall')}</td><td>{escape(CRITERIA[v.criterion].label)}</td>"
        f'<td><span class="word {v.word.split()[0]}">{v.word}</span></td>'
        f"<td>{escape(v.sentence)}</td>"
        f'<td class="quiet">{escape(v.source)}</td></tr>'
        for v in result.verdicts
    )
    head = "<tr><th>where</th><th>what</th><th>verdict</th><th>why</th><th>target from</th></tr>"
    warnings = "".join(f"<li>{escape(d)}</li>" for d in result.scenario.warnings)
    return f"<table>{head}{rows}</table>" + (
        f"<p>To look at:</p><ul>{warnings}</ul>" if warnings else ""
    )


def uses_table(all_uses):
    """All uses of one installation side by side.

    Parameters
    ----------
    all_uses : AllUses
        Every use evaluated [-]

    Returns
    -------
    html : str
        A table, one row a use, and a sentence on the whole
    """
    rows = ""
    for name, r in all_uses.results.items():
        sti = min(a.sti_p10 for a in r.areas)
        spread = max(max(a.coverage_range_db) for a in r.areas)
        arrivals = max(
            1000 * float(np.percentile(r.arrival_spread_s[a.points], 90)) for a in r.areas
        )
        spare = min((float(m.margin_db.min()) for m in r.microphones), default=None)
        good = sum(v.word == "meets" for v in r.verdicts)
        first = worst_verdict(r.verdicts)
        why = (
            ""
            if first.word == "meets"
            else (
                f"{first.area + ', ' if first.area else ''}{CRITERIA[first.criterion].label}:"
                f" {first.sentence}"
            )
        )
        rows += (
            f'<tr><td>{escape(name)}</td><td><span class="word'
            f' {r.word.split()[0]}">{r.word}</span></td>'
            f'<td class="num">{good} of {len(r.verdicts)}</td><td class="num">{spread:.1f}</td><td'
            f' class="num">{sti:.2f}</td>'
            f'<td class="num">{arrivals:.0f}</td><td'
            f' class="num">{"no microphone" if spare is None else f"{spare:+.1f}"}</td><td>'
            f"{escape(why)}</td></tr>"
        )
    head = (
        '<tr><th>use</th><th>worst verdict</th><th class="num">hold</th><th class="num">evenness'
        ' [dB]</th><th class="num">STI</th><th class="num">arrivals [ms]</th><th class="num">spare'
        " gain [dB]</th><th>what is worst</th></tr>"
    )
    whole = (
        "<p>The same loudspeakers in every use,"
        f" {ROOMS[next(iter(all_uses.results.values())).room]}; the worst verdict over all of them:"
        f" <b>{all_uses.word}</b>.</p>"
    )
    return (
        f"{whole}<table><caption>The weakest area or microphone of each"
        f" use</caption>{head}{rows}</table>"
    )


def sureness_table(sureness):
    """Every criterion with its range, the chance that it holds, and what matters most.

    Parameters
    ----------
    sureness : Sureness
        Of ``design.uncertainty.how_sure`` [-]

    Returns
    -------
    html : str
        Two sentences and a table, what is least likely to hold first
    """
    ranges = sorted(sureness.ranges, key=lambda r: r.chance)
    least, rows = ranges[0], ""
    for r in ranges:
        c = CRITERIA[r.criterion]
        matters = "" if r.most is None else f"{UNKNOWN[r.most]} (alone {c.text(r.alone[r.most])})"
        rows += (
            f"<tr><td>{escape(r.area or 'the hall')}</td><td>{escape(c.label)}</td><td"
            f" class='num'>{c.text(r.value)}</td><td class='num'>{c.number(r.low)} to"
            f" {c.text(r.high)}</td><td>{_span(r)}</td><td class='num'>{c.text(r.target)}</td><td"
            f" class='num'>{100 * r.chance:.0f} %</td><td>{matters}</td></tr>"
        )
    u = sureness.unknowns
    taken = (
        f"One standard deviation taken: absorption {u.absorption_pct:g} % of each finish, noise"
        f" {u.noise_db:g} dB, {u.occupancy_pct:g} % of the places of each area, aim {u.aim_deg:g}°"
        f" and sensitivity {u.sensitivity_db:g} dB of each loudspeaker. {sureness.draws} draws, by"
        " formula, without echoes."
    )

    def one(r):
        return (
            f"<b>{escape(CRITERIA[r.criterion].label)}</b>"
            f"{f' ({escape(r.area)})' if r.area else ''}, in {100 * r.chance:.0f} of 100 draws"
            + (f"; what matters most is {UNKNOWN[r.most]}" if r.most else "")
        )

    words = f"<p>{escape(sureness.use)}, least likely to hold: {one(least)}.</p>"
    unsettled = [r for r in ranges if 0.1 < r.chance < 0.9]
    if unsettled:
        words += f"<p>Most open: {one(min(unsettled, key=lambda r: abs(r.chance - 0.5)))}.</p>"
    head = (
        '<tr><th>where</th><th>what</th><th class="num">as designed</th><th class="num">8 of 10'
        ' draws lie in</th><th>against the target</th><th class="num">asked for</th><th'
        ' class="num">holds in</th><th>what matters most</th></tr>'
    )
    return f'{words}<table>{head}{rows}</table><p class="quiet">{taken}</p>'


def _span(r, width=150):
    """A range as a bar, the design as a dot, the target as a line."""
    low, high = min(r.low, r.value, r.target), max(r.high, r.value, r.target)

    def at(v):
        return 5 + (width - 10) * (v - low) / max(high - low, 1e-9)

    bar = (
        f'<rect x="{at(r.low):.1f}" y="5" width="{max(at(r.high) - at(r.low), 1.5):.1f}" height="6"'
        f' fill="{QUIET}" opacity="0.45"/>'
    )
    mark = (
        f'<line x1="{at(r.target):.1f}" x2="{at(r.target):.1f}" y1="1" y2="15" stroke="{INK}"'
        ' stroke-width="2"/>'
    )
    dot = f'<circle cx="{at(r.value):.1f}" cy="8" r="3" fill="{INK}"/>'
    return (
        f'<svg width="{width}" height="16" role="img" aria-label="range against'
        f' target">{bar}{mark}{dot}</svg>'
    )


def options_table(options, first):
    """Options side by side: headline figures, what differs from the first, what is beaten.

    Parameters
    ----------
    options : sequence of Option
        At least one [-]
    first : Option
        The one that the others are compared with [-]

    Returns
    -------
    html : str
        Tables; better and worse are told by a sign and in bold, a beaten option in gray and in
        words
    """
    by = dict(zip([o.name for o in options], dominated(options), strict=True))
    head = "".join(
        f'<th class="num">{escape(o.name)}'
        f"{' (compared with)' if o is first and len(options) > 1 else ''}</th>"
        for o in options
    )
    rows = ""
    for h in HEADLINES:
        cells = ""
        for o in options:
            value, base = o.headlines[h.key], first.headlines[h.key]
            text = told(h, value)
            if (
                o is not first
                and o.room == first.room
                and None not in (value, base)
                and value != base
            ):
                sign = "better" if (value - base) * h.better > 0 else "worse"
                text = f"<b>{text}</b> {'▲' if sign == 'better' else '▼'} {sign}"
            cells += f'<td class="num{" quiet" if by[o.name] else ""}">{text}</td>'
        rows += f"<tr><td>{escape(h.words)}{f' [{h.unit}]' if h.unit else ''}</td>{cells}</tr>"
    room = "".join(f'<td class="num quiet">{ROOMS[o.room]}</td>' for o in options)
    beaten_words = (
        (
            f"{escape(by[o.name])} is at least as good in everything"
            if by[o.name]
            else "nothing beats it in everything"
        )
        for o in options
    )
    verdict = "".join(f'<td class="num">{words}</td>' for words in beaten_words)
    if any(o.room != first.room for o in options):
        rows += (
            f'<tr><td colspan="{len(options) + 1}" class="quiet">Figures by formula and of the'
            " traced room are not compared: trace them all.</td></tr>"
        )
    rows += f"<tr><td>figures from the</td>{room}</tr><tr><td>worth looking at?</td>{verdict}</tr>"
    apart = ""
    for o in options:
        if o is not first:
            found = told_apart(first.scenario, o.scenario)
            cells = "".join(
                f"<tr><td>{escape(what)}</td><td>{escape(a)}</td><td>{escape(b)}</td></tr>"
                for what, a, b in found[:APART]
            )
            more = (
                f'<tr><td class="quiet">and {len(found) - APART} more</td><td></td><td></td></tr>'
                if len(found) > APART
                else ""
            )
            none = "" if found else "<tr><td>nothing</td><td></td><td></td></tr>"
            apart += (
                "<table><caption>What"
                f" differs</caption><tr><th>what</th><th>{escape(first.name)}</th><th>"
                f"{escape(o.name)}</th></tr>{cells}{more}{none}</table>"
            )
    return (
        "<table><caption>Options, all uses; prices are the price"
        f" book's</caption><tr><th></th>{head}</tr>{rows}</table>{apart}"
    )


APART = 14  # differences listed


def schedule_table(schedule):
    """A schedule as a table with its note.

    Parameters
    ----------
    schedule : Schedule
        Of ``equipment.schedules.schedules`` [-]

    Returns
    -------
    html : str
        A table
    """

    def number(v):
        return isinstance(v, int | float) and not isinstance(v, bool)

    def cell(v):
        return f'<td class="num">{v:,.10g}</td>' if number(v) else f"<td>{escape(str(v))}</td>"

    head = "".join(f"<th>{escape(c)}</th>" for c in schedule.columns)
    rows = "".join("<tr>" + "".join(cell(v) for v in row) + "</tr>" for row in schedule.rows)
    note = f'<p class="quiet">{escape(schedule.note)}</p>' if schedule.note else ""
    return (
        "<div"
        f' class="wide"><table><caption>{escape(schedule.title)}</caption><tr>{head}</tr>{rows}'
        f"</table></div>{note}"
    )


def landing_table(result):
    """Where the energy of each loudspeaker lands first.

    Parameters
    ----------
    result : Result
        An evaluation [-]

    Returns
    -------
    html : str
        A table, one row a loudspeaker, one column a part of the room
    """
    shown = [k for k in range(len(result.parts)) if result.first_incidence[:, k].max() >= 0.005]
    listeners = {a.name for a in result.areas}
    head = "".join(
        f'<th class="num">{escape(result.parts[k])}'
        f"{' (listeners)' if result.parts[k] in listeners else ''}</th>"
        for k in shown
    )
    rows = ""
    for s, c in enumerate(result.scenario.loudspeakers):
        cells = "".join(
            f'<td class="num">{100 * result.first_incidence[s, k]:.0f} %</td>' for k in shown
        )
        state = "" if result.playing[s] else " (off in this use)"
        rows += f"<tr><td>{escape(c.tag)}{state}</td>{cells}</tr>"
    return (
        "<table><caption>Where each loudspeaker's sound lands first (500 Hz to 4 kHz, share of all"
        f" it radiates)</caption><tr><th>loudspeaker</th>{head}</tr>{rows}</table>"
    )


def room_table(result, units):
    """Reverberation by octave, volume, and the finishes with their sources.

    Parameters
    ----------
    result : Result
        An evaluation [-]
    units : str
        "m" or "ft" [-]

    Returns
    -------
    html : str
        Tables
    """

    def numbers(values, form):
        return "".join(f'<td class="num">{v:{form}}</td>' for v in values)

    head = "".join(f'<th class="num">{label}</th>' for label in LABELS)
    room = result.configuration.room
    volume = f"{room.volume:,.0f} m³" if units == "m" else f"{room.volume / FOOT**3:,.0f} ft³"
    used = sorted(
        {n for s in room.surfaces for n in (s.finish, s.full) if n}
        | {t.finish for t in result.scenario.treatments}
    )
    finishes = "".join(
        f"<tr><td>{escape(n)}</td>{numbers(FINISHES[n].absorption, '.2f')}<td"
        f' class="quiet">{escape(FINISHES[n].source)}</td><td'
        f' class="num">{FINISHES[n].scattering:.2f}</td><td'
        f' class="quiet">{escape(FINISHES[n].scattering_source)}</td></tr>'
        for n in used
    )
    traced = ""
    if result.room == "traced":
        times = result.decay_times

        def row(name, key):
            return f"<tr><td>{name}</td>{numbers(times[key], '.2f')}</tr>"

        traced = (
            row("traced, early decay EDT [s]", "edt")
            + row("traced, T20 [s]", "t20")
            + row("traced, T30 [s]", "t30")
        )
    return (
        f"<table><caption>Reverberation as occupied, {volume}</caption><tr><th>octave"
        f" [Hz]</th>{head}</tr>"
        f"<tr><td>Eyring with air [s]</td>{numbers(result.rt, '.2f')}</tr>"
        f"<tr><td>Sabine with air [s]</td>{numbers(result.rt_sabine, '.2f')}</tr>"
        f"{traced}<tr><td>reverberant speech level"
        f" [dB]</td>{numbers(result.reverberant_db, '.0f')}</tr>"
        f"<tr><td>noise [dB]</td>{numbers(result.noise_db, '.0f')}</tr></table>"
        f"{_bent(result)}"
        "<table><caption>Absorption coefficients and scattering"
        f" used</caption><tr><th>finish</th>{head}<th>source</th>"
        f'<th class="num">scattering</th><th>source</th></tr>{finishes}</table>'
    )


def _bent(result):
    """A warning when the traced decay goes on much longer than it began."""
    if result.room == "statistical":
        return (
            "<p>Whether sound goes on bouncing between bare walls, no formula says; the traced room"
            " does.</p>"
        )
    words = bent_decay(result)
    return (
        f"<p><b>Long late decay.</b> {escape(words)}</p>"
        if words
        else (
            "<p>The traced decay is even: what is late dies away about as fast as what is"
            " early.</p>"
        )
    )


def limits():
    """What the model cannot say, and the cautions.

    Returns
    -------
    html : str
        Two lists
    """
    cautions = "".join(f"<li>{c}</li>" for c in CAUTIONS)
    unsaid = "".join(f"<li>{c}</li>" for c in LIMITS)
    return (
        f"<p><b>Cautions</b></p><ul>{cautions}</ul><p><b>What the model cannot"
        f" say</b></p><ul>{unsaid}</ul>"
    )
