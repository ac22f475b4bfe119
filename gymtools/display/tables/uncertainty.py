"""How sure every figure is, as a table."""

from html import escape

from ...acoustics.criteria import CRITERIA, in_sentence
from ...design.input_errors import WORDS as UNKNOWN
from ..theme import INK, QUIET
from .markup import Num, table

BAR, EDGE = 150, 5  # width of a range as drawn, and what is left free at its ends [px]
OPEN = (0.1, 0.9)  # chances between these are worth a look [-]


def sureness_table(sureness, explained=True, grouped=False):
    """Every criterion with its range, the chance that it meets its target, and what matters most.

    Parameters
    ----------
    sureness : Uncertainty
        Of ``design.uncertainty.how_sure``
    explained : bool
        Whether what was drawn is said below
    grouped : bool
        Whether what matters most is said once for all checks, not beside each

    Returns
    -------
    html : str
        Two sentences and a table, what is least likely to meet its target first
    """
    ranges = sorted(sureness.ranges, key=lambda r: r.chance)
    words = f"<p>{escape(sureness.use)}, least likely to meet its target: {_one(ranges[0])}.</p>"
    unsettled = [r for r in ranges if OPEN[0] < r.chance < OPEN[1]]
    if unsettled:
        words += (
            f"<p>Most uncertain: {_one(min(unsettled, key=lambda r: abs(r.chance - 0.5)))}.</p>"
        )
    head = [
        "where",
        "what",
        Num("as designed"),
        Num("8 of 10 draws lie in"),
        "against the target",
        Num("target"),
        Num("meets it in"),
        "what matters most",
    ]
    rows = list(map(_row, ranges))
    if grouped:
        words += f"<p>{_causes(ranges)}</p>"
        head, rows = head[:-1], [row[:-1] for row in rows]
    note = f'<p class="quiet">{_assumed(sureness)}</p>' if explained else ""
    return f"{words}{table('', head, rows)}{note}"


def _assumed(sureness):
    u = sureness.spread
    wider = ""
    if sureness.assumed:
        names = escape(", ".join(sureness.assumed))
        wider = f" Drawn wider, as nobody has confirmed them: {names}."
    return (
        f"One standard deviation assumed: {u.decay_pct:.0f} % of the decay that the model gives,"
        f" absorption {u.absorption_pct:g} % of each finish, scattering {u.scattering_pct:g} %,"
        f" noise {u.noise_db:g} dB, {u.occupancy_pct:g} % of the seats of each area, aim"
        f" {u.aim_deg:g}°"
        f" and sensitivity {u.sensitivity_db:g} dB of each loudspeaker, directivity"
        f" {u.directivity_db:g} dB of each type that was not measured. {sureness.draws} draws,"
        f" without echoes.{wider}"
    )


def _one(r):
    """A criterion, its area and its chance in one clause."""
    where = f" ({escape(r.area)})" if r.area else ""
    cause = f"; {UNKNOWN[r.most]} matters most" if r.most else ""
    return (
        f"<b>{escape(CRITERIA[r.criterion].label)}</b>{where}, in {100 * r.chance:.0f} of 100"
        f" draws{cause}"
    )


def _causes(ranges):
    """What matters most, with the checks for which it does."""
    found = {}
    for r in ranges:
        if r.most:
            found.setdefault(UNKNOWN[r.most], {})[in_sentence(CRITERIA[r.criterion].label)] = None
    said = "; ".join(f"{cause} for {', '.join(checks)}" for cause, checks in found.items())
    return escape(f"What matters most: {said}." if said else "Nothing drawn matters to any check.")


def _row(r):
    c = CRITERIA[r.criterion]
    matters = f"{UNKNOWN[r.most]} (alone {c.text(r.alone[r.most])})" if r.most else ""
    return [
        escape(r.area or "the gym"),
        escape(c.label),
        Num(c.text(r.value)),
        Num(f"{c.number(r.low)} to {c.text(r.high)}"),
        _bar(r),
        Num(c.text(r.target)),
        Num(f"{100 * r.chance:.0f} %"),
        matters,
    ]


def _bar(r):
    """A range as a bar, the design as a dot, the target as a line."""
    low, high = min(r.low, r.value, r.target), max(r.high, r.value, r.target)

    def at(value):
        return EDGE + (BAR - 2 * EDGE) * (value - low) / max(high - low, 1e-9)

    width = max(at(r.high) - at(r.low), 1.5)
    drawn = (
        (
            f'<rect x="{at(r.low):.1f}" y="5" width="{width:.1f}" height="6" fill="{QUIET}"'
            ' opacity="0.45"/>'
        ),
        (
            f'<line x1="{at(r.target):.1f}" x2="{at(r.target):.1f}" y1="1" y2="15" stroke="{INK}"'
            ' stroke-width="2"/>'
        ),
        f'<circle cx="{at(r.value):.1f}" cy="8" r="3" fill="{INK}"/>',
    )
    return (
        f'<svg width="{BAR}" height="16" role="img" aria-label="range against'
        f' target">{"".join(drawn)}</svg>'
    )
