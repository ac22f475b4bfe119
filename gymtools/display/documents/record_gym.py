"""The gym that a record rests on: its size, what stands and hangs in it, and the finish of every
surface.
"""

from html import escape

from ...venue.finishes import FINISHES
from ...venue.locations import spot
from ...venue.typed_values import value_text
from ...venue.units import area_text
from ..tables.markup import Num, table
from ..tables.room import SCATTERING, scattering_text
from .page import quoted

LEAST_AREA = 0.5  # of a surface that is listed [m2]
SHOWN = (2, 3, 4)  # octaves of absorption printed: 500 Hz, 1 and 2 kHz


def gym(page, decision):
    """Put the gym, its seats and its surfaces at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    scenario, results = decision.chosen.scenario, decision.results
    page.add(_gym(scenario), _surfaces(scenario, results), _finishes(scenario, results.values()))


def _gym(s):
    say, hall = s.say, s.hall
    temperature = value_text(s.air.temperature_c, "°C", s.units)
    rows = [
        ("length (west to east)", say(hall.length)),
        ("width (south to north)", say(hall.width)),
        ("wall height", say(hall.height)),
        *_ridge(hall, say),
        ("clear under joists", say(hall.clear_height)),
        *_joists(hall, say),
        ("court", escape(s.court) + _lies(s)),
        ("air", f"{temperature}, {s.air.humidity_pct:g} % relative humidity"),
    ]
    rows += [*_stages(s), *_seats(s), *_hung(s)]
    rows += [
        (
            f"treatment of the {t.surface}",
            f"{area_text(t.area, s.units)} of {escape(t.finish)}"
            + (", already there" if t.existing else ""),
        )
        for t in s.treatments
    ]
    return table("The gym, and what stands and hangs in it", ("what", "value"), rows)


def _ridge(hall, say):
    """The row of the ridge, where the roof has one."""
    return [] if hall.ridge_height is None else [("ridge", say(hall.ridge_height))]


def _stages(s):
    """Rows of the built-in stage and the portable ones."""
    say, rows = s.say, []
    if s.stage is not None:
        t = s.stage
        off = f", {say(abs(t.offset))} off the middle" if t.offset else ""
        words = (
            f"{t.side} side, opening {say(t.width)} by {say(t.opening_height)}{off},"
            f" {say(t.depth)} deep, floor at {say(t.floor_height)}; floor {t.floor}, sides and back"
            f" {t.surrounds}, ceiling {t.ceiling}, front {t.front}, curtain {t.curtain}"
        )
        rows.append(("stage", escape(words)))
    rows += [
        (
            f"portable stage '{quoted(p.name)}'",
            f"{say(p.length)} by {say(p.width)}, {say(p.height)} high, {escape(p.finish)}",
        )
        for p in s.portable_stages
    ]
    return rows


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


def _surfaces(s, results):
    """Every surface of the room with its finish, its largest area, and the uses it stands in."""
    areas, uses = {}, {}
    for use, result in results.items():
        for x in result.configuration.room.surfaces:
            if x.area >= LEAST_AREA:
                key = x.name, _finish_words(x)
                areas[key] = max(float(x.area), areas.get(key, 0.0))
                uses.setdefault(key, []).append(use)
    rows = [
        (
            quoted(name),
            escape(finish),
            Num(area_text(area, s.units)),
            "all"
            if len(uses[name, finish]) == len(results)
            else quoted(", ".join(uses[name, finish])),
        )
        for (name, finish), area in areas.items()
    ]
    head = ("surface", "finish", Num("area, largest of its uses"), "in uses")
    return table("Every surface and its finish", head, rows)


def _finish_words(surface):
    """The finish of a surface; seats have one without and one with people."""
    if not surface.full:
        return surface.finish
    return f"{surface.finish} without people, {surface.full} with them"


def _finishes(s, results):
    """Figures of each finish; sources are numbered, as several finishes share one."""
    surfaces = [x for r in results for x in r.configuration.room.surfaces]
    used = {n for x in surfaces for n in (x.finish, x.full) if n} | {t.finish for t in s.treatments}
    sources = {}

    def cited(source):
        return f"[{sources.setdefault(source, len(sources) + 1)}]"

    rows = [
        (
            escape(name),
            *(Num(f"{FINISHES[name].absorption[b]:.2f}") for b in SHOWN),
            cited(FINISHES[name].source),
            Num(scattering_text(FINISHES[name])),
            cited(FINISHES[name].scattering_source),
        )
        for name in sorted(used)
    ]
    head = ("finish", *(Num(f"absorption, {octave}") for octave in ("500 Hz", "1 kHz", "2 kHz")))
    head += ("source", Num(SCATTERING), "source")
    listed = "".join(f"<li>{escape(source)}</li>" for source in sources)
    return (
        table("Finishes: what they absorb and scatter, 0 nothing to 1 everything", head, rows)
        + f'<ol class="sources">{listed}</ol>'
    )
