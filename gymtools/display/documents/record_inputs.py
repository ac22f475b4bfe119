"""What a record rests on: the gym and its seats, finishes, uses, targets, loudspeaker types."""

from html import escape

import numpy as np

from ...acoustics.criteria import CRITERIA
from ...physics.bands import LABELS
from ...venue.assumptions import assumed_values
from ...venue.finishes import FINISHES
from ...venue.locations import spot
from ...venue.measured_room import by_octave, state_words
from ...venue.typed_values import value_text
from ...venue.units import area_text
from ..charts.loudspeaker import mark
from ..tables.markup import Num, Quiet, table
from ..tables.room import SCATTERING, scattering_text
from .page import quoted

SHOWN = (2, 3, 4)  # octaves of absorption printed: 500 Hz, 1 and 2 kHz


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
        _gym(scenario),
        _finishes(scenario, decision.results.values()),
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


def _gym(s):
    say, hall = s.say, s.hall
    temperature = value_text(s.air.temperature_c, "°C", s.units)
    rows = [
        ("length", say(hall.length)),
        ("width", say(hall.width)),
        ("wall height", say(hall.height)),
        ("clear under joists", say(hall.clear_height)),
        *_joists(hall, say),
        ("court", escape(s.court) + _lies(s)),
        ("air", f"{temperature}, {s.air.humidity_pct:g} % relative humidity"),
    ]
    rows += [*_seats(s), *_hung(s)]
    rows += [
        (
            f"treatment of the {t.surface}",
            f"{area_text(t.area, s.units)} of {escape(t.finish)}"
            + (", already there" if t.existing else ""),
        )
        for t in s.treatments
    ]
    return table("The gym and its seats", ("what", "value"), rows)


def _seats(s):
    """Rows of the bleachers, the chairs and the side courts."""
    say = s.say
    rows = [
        (
            f"bleachers '{quoted(b.name)}'",
            (
                f"{b.side} side, {b.rows} rows of {say(b.row_run)}, rise {say(b.row_rise)},"
                f" {say(b.length)} long, {b.seats} seats{_as_used(b, say)}"
            ),
        )
        for b in s.banks
    ]
    rows += [
        (
            f"chairs '{quoted(f.name)}'",
            f"{say(f.length)} by {say(f.width)}, {f.seats} seats{_divided(f, say)}",
        )
        for f in s.floor_seats
    ]
    rows += [
        (f"side court '{quoted(c.name)}'", f"{say(c.court.length)} by {say(c.court.width)}")
        for c in s.side_courts
    ]
    return rows


def _hung(s):
    """Rows of balconies, tracks, fixtures and the divider."""
    say = s.say
    rows = [
        (
            f"balcony '{quoted(b.name)}'",
            f"{b.side} side, {say(b.length)} by {say(b.depth)} at {say(b.height)}, {b.seats} seats",
        )
        for b in s.balconies
    ]
    rows += [
        (
            f"running track '{quoted(t.name)}'",
            f"{', '.join(t.sides)} side, {say(t.depth)} deep at {say(t.height)}",
        )
        for t in s.tracks
    ]
    rows += [
        (
            f"fixture '{quoted(f.name)}'",
            f"{f.number} of {say(f.length)} x {say(f.depth)} x {say(f.height)} at {say(f.bottom)},"
            f" {escape(f.finish)}{', movable' if f.movable else ''}",
        )
        for f in s.fixtures
    ]
    if s.divider:
        way = ("across", "along")[s.divider.axis]
        loss = ", ".join(f"{x:.0f}" for x in s.divider.transmission_db)
        rows.append(("divider", f"{way} the gym at {say(s.divider.at)}, holds back {loss} dB"))
    return rows


def _joists(hall, say):
    """The row of the joists, where they are known."""
    if hall.joist_spacing is None:
        return []
    return [("joists", f"along the {hall.joists_along}, one every {say(hall.joist_spacing)}")]


def _lies(s):
    """Where the court lies, if not in the middle of the gym along it."""
    words = ", turned across the gym" if s.court_turned else ""
    if s.court_x or s.court_y:
        words += f", its middle {spot((s.court_x, s.court_y), s.units)}"
    return words


def _as_used(bank, say):
    """What of a bank is not as a plain one against its wall."""
    words = f", {say(bank.setback)} from the wall" if bank.setback else ""
    words += f", on a mezzanine at {say(bank.base_height)}" if bank.base_height else ""
    words += f", {bank.rows_out} rows pulled out" if bank.open and bank.folded else ""
    return words + _divided(bank, say)


def _divided(seats, say):
    """Aisles and wheelchair spaces among some seats."""
    words = f", {seats.aisles} aisles of {say(seats.aisle_width)}" if seats.aisles else ""
    spaces = seats.wheelchair_spaces
    return words + (f", {spaces} wheelchair spaces" if spaces else "")


def _finishes(s, results):
    surfaces = [x for r in results for x in r.configuration.room.surfaces]
    used = {n for x in surfaces for n in (x.finish, x.full) if n} | {t.finish for t in s.treatments}
    rows = [
        (
            escape(name),
            *(Num(f"{FINISHES[name].absorption[b]:.2f}") for b in SHOWN),
            Quiet(escape(FINISHES[name].source)),
            Num(scattering_text(FINISHES[name])),
            Quiet(escape(FINISHES[name].scattering_source)),
        )
        for name in sorted(used)
    ]
    head = ("finish", *(Num(f"absorption, {octave}") for octave in ("500 Hz", "1 kHz", "2 kHz")))
    head += ("source", Num(SCATTERING), "source")
    return table("Finishes, and where their values come from", head, rows)


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
    return table("Uses", head, [_use(u) for u in s.uses])


def _use(u):
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
        quoted(", ".join(u.microphones) or "none"),
    )


def _targets(targets):
    rows = []
    for c in CRITERIA.values():
        if c.target:
            target = c.target_in(targets)
            value = c.follows if target is None else c.text(target)
            rows.append((escape(c.label), value, escape(c.source_in(targets))))
    return table("Targets, and where they come from", ("criterion", "target", "source"), rows)


def _types(s):
    types = {c.type.name: c.type for c in s.loudspeakers}.values()
    rows = [
        (quoted(t.name), escape(t.description), quoted(mark(t)), Quiet(quoted(t.source)))
        for t in types
    ]
    return table("Loudspeaker types", ("type", "what", "directivity", "source"), rows)
