"""What a record rests on: the gym and its seats, finishes, uses, targets, loudspeaker types."""

from html import escape

import numpy as np

from ...acoustics.criteria import CRITERIA
from ...physics.bands import LABELS
from ...venue.assumptions import assumed_values
from ...venue.measured_room import by_octave, state_words
from ..charts.loudspeaker import mark
from ..tables.markup import Num, Quiet, table
from .page import quoted
from .record_gym import gym


def inputs(page, decision):
    """Put all inputs at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    scenario = decision.chosen.scenario
    page.add(
        "<h2>What it rests on</h2>",
        f"<p>Source of the scenario: {quoted(scenario.source)}.</p>",
        _assumed(scenario),
    )
    gym(page, decision)
    page.add(
        _measured(scenario),
        _corrections(scenario),
        _uses(scenario),
        _targets(scenario.targets),
        _types(scenario),
    )


def _assumed(s):
    """What nobody has confirmed."""
    rows = [(escape(where), escape(value)) for where, value in assumed_values(s)]
    if not rows:
        return ""
    words = (
        "All of this was taken from schools of this size. Confirm it on site before anything is"
        " ordered."
    )
    return f"{table('Assumed, not confirmed', ('what', 'taken as'), rows)}<p>{words}</p>"


def _measured(s):
    """What was measured in the gym that is there, and what its room is fitted to."""
    room = s.measured_room
    if room is None:
        return ""
    said = [x for x in (room.where, room.date, room.note) if x]
    said.append(state_words(s))
    rows = [("measured", *_numbers(room.times, ".2f"))]
    if s.room_fit is not None:
        rows.append(("of the fitted room", *_numbers(by_octave(s.room_fit.fitted_s), ".2f")))
        left = by_octave(s.room_fit.spread_pct)
        rows.append(("left unknown, ± [%]", *_numbers(left, ".0f")))
    caption = "Reverberation time measured in the gym [s]"
    words = quoted("; ".join(said))
    return f"{table(caption, ('octave [Hz]', *map(Num, LABELS)), rows)}<p>{words}.</p>"


def _numbers(values, form):
    """Cells of a number each, a dash where there is none."""
    return [Num(f"{v:{form}}" if v == v else "-") for v in values]


def _corrections(s):
    found = ""
    for what, factors in (
        ("Absorption", s.absorption_factors),
        ("Scattering", s.scattering_factors),
    ):
        if factors:
            rows = [
                (escape(n), *_numbers(np.broadcast_to(f, 7), ".2f")) for n, f in factors.items()
            ]
            head = ("finish, octave [Hz]", *map(Num, LABELS))
            found += table(f"{what} multiplied by", head, rows)
    return found


def _uses(s):
    head = (
        "use",
        "speech level wanted",
        "noise",
        "who listens (weight)",
        "how full",
        "open microphones",
    )
    return table("Uses", head, [_use(s, u) for u in s.uses])


def _use(scenario, u):
    full = ", ".join(f"{a} {100 * share:.0f} %" for a, share in u.occupied.items())
    noise = "by octave"
    if u.noise_dba is not None:
        noise = f"{u.noise_dba:g} dB(A), {u.noise_spectrum}"
    if u.beside:
        noise += f"; and '{u.beside}' on the other side of the divider"
    return (
        quoted(u.name),
        f"{u.target_dba:g} dB(A)",
        escape(noise),
        quoted(", ".join(f"{a} ({w:g})" for a, w in u.listens.items())),
        quoted(full or "nobody"),
        quoted(", ".join(u.microphones) or "none") + _mixed(scenario, u),
    )


def _mixed(scenario, use):
    """That one of several microphones is open at a time."""
    several = len(use.microphones) > 1 and scenario.mixes_automatically(use)
    return " (mixed automatically, one open at a time)" if several else ""


def _targets(targets):
    rows = []
    for c in CRITERIA.values():
        if c.target:
            target = c.target_in(targets)
            side = "at least" if c.better > 0 else "at most"
            value = c.follows
            if target is not None:
                value = f'<span class="nowrap">{side} {escape(c.text(target))}</span>'
            source = Quiet(escape(c.source_in(targets)))
            rows.append((escape(c.plain), escape(c.label), value, source))
    head = ("question", "criterion", "target", "source")
    return table("Targets, what each asks, and where it comes from", head, rows)


def _types(s):
    types = {c.type.name: c.type for c in s.loudspeakers}.values()
    rows = [
        (quoted(t.name), escape(t.description), quoted(mark(t)), Quiet(quoted(t.source)))
        for t in types
    ]
    return table("Loudspeaker types", ("type", "what", "directivity", "source"), rows)
