"""Options side by side in tables."""

from html import escape

from ...design.comparing import differing_values
from ...design.options import HEADLINES, dominated
from ..theme import room_words
from .markup import Num, QuietNum, table

LISTED = 14  # differences listed per option


def options_table(options, first, *, noun="option"):
    """Options side by side: headline figures, what differs from the first, which is bettered.

    Parameters
    ----------
    options : sequence of Option
        At least one
    first : Option
        The one that the others are compared with
    noun : str
        What each of them is called

    Returns
    -------
    html : str
        Tables; better and worse have a sign and bold type, an option that another one betters in
        every figure is gray and says so
    """
    bettered = dict(zip([o.name for o in options], dominated(options), strict=True))
    several = len(options) > 1
    head = ["", *(Num(_title(o, first if several else None)) for o in options)]
    rows = [
        [
            escape(h.words) + (f" [{h.unit}]" if h.unit else ""),
            *((QuietNum if bettered[o.name] else Num)(_figure(h, o, first)) for o in options),
        ]
        for h in HEADLINES
    ]
    rows.append(["figures from", *(QuietNum(room_words(o)) for o in options)])
    rows.append(["costs from", *(QuietNum(escape(o.prices)) for o in options)])
    rows.append(["worth looking at?", *(Num(_worth(bettered[o.name], noun)) for o in options)])
    note = ""
    if any(not _comparable(o, first) for o in options):
        note = (
            '<p class="quiet">Figures of few rays and of all are not compared: follow all rays of'
            f" every {noun}.</p>"
        )
    apart = "".join(_apart(first, o) for o in options if o is not first)
    caption = f"{noun.capitalize()}s, all uses"
    return f"{table(caption, head, rows)}{note}{apart}"


def _title(option, first):
    return escape(option.name) + (" (compared with)" if option is first else "")


def _figure(headline, option, first):
    """A headline figure, with a sign where it differs from the first option's."""
    value, base = option.headlines[headline.key], first.headlines[headline.key]
    text = escape(headline.text(value, option.currency))
    alike = option is first or None in (value, base) or value == base
    if alike or not _comparable(option, first):
        return text
    sign = "▲ better" if (value - base) * headline.better > 0 else "▼ worse"
    return f"<b>{text}</b> {sign}"


def _comparable(one, other):
    """Whether figures of two options come from the same rays."""
    return (one.room, one.rays) == (other.room, other.rays)


def _worth(name, noun):
    if name:
        return f"no: {escape(name)} is at least as good in every figure"
    return f"yes: not bettered by any other {noun}"


def _apart(first, other):
    """What differs between two options."""
    found = [
        [escape(text) for text in row] for row in differing_values(first.scenario, other.scenario)
    ]
    rows = found[:LISTED] or [["nothing", "", ""]]
    if len(found) > LISTED:
        rows = [*rows, [f"and {len(found) - LISTED} more", "", ""]]
    return table("What differs", ["what", escape(first.name), escape(other.name)], rows)
