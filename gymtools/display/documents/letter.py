"""The letter to the school: one or two pages in plain words. What was looked at, the options with
their prices, what the cheaper one gives up and for whom, what the school decides, what is not
included.
"""

from html import escape
from pathlib import Path

import numpy as np

from ...commissioning.plan_time import timed_offer
from ...design.losses import FAILS, THIRDS, newly, served
from ...design.plain_reason import (
    TROUBLES,
    clear_shares,
    listed,
    plain_reason,
)
from ...equipment.job_costs import CREW, DAY
from ...equipment.prices import money
from ...equipment.quote import RESERVE_PCT, not_priced
from ...venue.units import area_text
from ...venue.uses import on_court
from ...venue.writing_files import new_folder
from .. import scene
from ..cautions import CAUTIONS
from ..charts.seat_plan import counts_sentence, legend, seat_plan
from ..tables.markup import Num, bullets, table
from .handover import folder_name
from .page import Page, quoted
from .price_sheet import write_prices

MOST_AREAS = 2  # of seats that are counted one by one in a use
MOST_OPTIONS = 3  # that a letter of two pages compares
TALL, LOW = 76, 60  # the picture on paper, beside one other option or more of them [mm]
PAPERS = {"ft": "letter", "m": "A4"}
# for the designer, where the letter is written; the school reads a sentence like any other
PROPOSED_REASON = "The letter's reason is proposed from the figures: read it before it is sent."
BLANK = '<span class="to-write"></span>'
MONTHS = (
    "January February March April May June July August September October November December"
).split()
RUN_BY = {
    "nobody": "nobody: microphones open and close by themselves",
    "teacher": "teachers, without training in sound",
    "trained": "a trained person at every event",
}
COVERED = (  # by kinds of the bill
    ("loudspeakers with all that they hang on", ("loudspeaker", "hanging point")),
    ("guards against balls", ("hanging hardware",)),
    ("amplifiers and their rack", ("amplifier", "rack")),
    ("cable in conduit", ("cable", "conduit", "line transformer")),
    ("microphones with mixer and wall plates", ("microphone", "mixer", "processor", "wall plate")),
    ("antennas", ("antenna",)),
    ("receivers for those who are hard of hearing", ("assistive listening",)),
    ("panels", ("treatment",)),
    ("the contact that mutes the sound in an alarm", ("fire alarm",)),
    ("lift and travel", ("lift hire", "travel")),
    ("the electrical permit", ("permit",)),
    ("measuring and setting up", ("commissioning",)),
    ("spare parts", ("spare",)),
    ("training", ("training",)),
)
NOT_INCLUDED = (
    "strengthening or repair of the structure, if the structural engineer asks for it",
    "changes to the fire-alarm system beyond the contact that mutes the sound",
    "painting and patching, removal of hazardous material, video, scoreboard and network",
    "taxes",
)
PREDICTED = (
    "All of this is predicted: the finished gym is measured and compared with it. The decision"
    " record and the price sheet hold every figure."
)
STYLE = """<style>
@page {{ size: {paper}; margin: 13mm 17mm; }}
body {{ max-width: 700px; font-size: 14.5px; }}
h1 {{ font-size: 21px; margin: 14px 0 6px; }}
h2 {{ font-size: 15.5px; border: 0; margin: 11px 0 2px; padding: 0; break-after: avoid; }}
p, ul {{ margin: 3px 0; }}
ul {{ padding-left: 20px; }}
li {{ margin: 1px 0; break-inside: avoid; }}
.to-write {{
  display: inline-block; min-width: 190px; border-bottom: 1px solid #4a5560; height: 1em;
}}
.head td {{ border: 0; padding: 3px 12px 3px 0; font-size: 14.5px; }}
.head {{ width: auto; margin: 0; }}
figure {{ margin: 8px 0; display: flex; gap: 16px; align-items: center; break-inside: avoid; }}
figure > svg {{ flex: 0 1 auto; max-width: 66%; }}
table {{ font-size: 13.5px; }}
td:first-child {{ max-width: 9em; }}
figcaption {{ flex: 1 1 30%; }}
svg {{ height: auto; }}
figcaption svg {{ vertical-align: -1px; }}
.small {{ font-size: 12.5px; }}
@media print {{
  body {{ font-size: 9.4pt; line-height: 1.3; }}
  table, .head td {{ font-size: 9pt; }}
  table {{ margin: 3px 0 5px; }}
  .small {{ font-size: 8pt; }}
  svg[role] {{ max-height: {high}mm; width: auto; }}
}}
</style>"""


def letter_html(offered, *, recipient="", sender="", date=None, reason=""):
    """Letter to the school as one HTML file.

    Parameters
    ----------
    offered : sequence of Offered
        Of ``design.offer.offer``, the recommended one first
    recipient, sender : str
        Names; a line to write on where they are left out
    date : datetime.date, optional
        Of the letter; a line to write on when left out
    reason : str
        Why the recommended one, in the designer's words; one proposed from the figures when left
        out

    Returns
    -------
    html : str
        Opens offline, runs nothing, prints on the paper of the school's units

    Raises
    ------
    ValueError
        There are more options than a letter compares
    """
    if len(offered) > MOST_OPTIONS:
        raise ValueError(
            f"a letter compares at most {MOST_OPTIONS} options, not {len(offered)}. Leave some out;"
            " the decision record holds them all."
        )
    first = offered[0]
    page = Page(f"{first.scenario.name}: the sound system")
    page.add(
        STYLE.format(paper=PAPERS[first.scenario.units], high=TALL if len(offered) <= 2 else LOW),
        _head(recipient, sender, date),
        f"<h1>{quoted(first.scenario.name)}: the sound system of the gym</h1>",
        _looked_at(offered, reason),
        _options(offered),
        *(_against(first, other) for other in offered[1:]),
        _picture(first),
        _not_reached(first),
        _decisions(offered),
        _included(first),
        '<h2 class="first">Please note</h2>',
        f'<p class="small">{escape(" ".join((*CAUTIONS, PREDICTED)))}</p>',
        f"<p>Sincerely, {quoted(sender) if sender else BLANK}</p>",
    )
    return page.html()


def write_letter(offered, folder, *, overwrite=False, **given):
    """Write the letter and the price sheet beside it, both or nothing.

    Parameters
    ----------
    offered : sequence of Offered
        As for ``letter_html``
    folder : str or Path
        In which a folder for the school is made
    overwrite : bool
        Whether an earlier folder may be replaced; it moves whole into "revisions" beside it
    given : str or datetime.date
        Names, date and reason, as for ``letter_html``

    Returns
    -------
    paths : list of Path
        The letter first

    Raises
    ------
    ValueError
        There are more options than a letter compares
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    scenario = offered[0].scenario
    target = Path(folder) / folder_name(scenario, "letter")
    offered = timed_offer(offered)
    with new_folder(target, overwrite=overwrite) as building:
        html = letter_html(offered, **given)
        (building / "letter.html").write_bytes(html.encode("utf-8"))
        write_prices(
            [o.quote for o in offered],
            building / "price.xlsx",
            school=scenario.name,
            units=scenario.units,
        )
    return [target / "letter.html", target / "price.xlsx"]


# ---- the first half page


def _head(recipient, sender, date):
    """Date and names, as they are given."""
    said = f"{MONTHS[date.month - 1]} {date.day}, {date.year}" if date else BLANK
    rows = (
        ("Date", said),
        ("To", quoted(recipient) if recipient else BLANK),
        ("From", quoted(sender) if sender else BLANK),
    )
    cells = "".join(f"<tr><td>{what}</td><td>{value}</td></tr>" for what, value in rows)
    return f'<table class="head"><tbody>{cells}</tbody></table>'


def _looked_at(offered, reason):
    uses = listed([quoted(name) for name in offered[0].results])
    start = f"<p>We looked at what people hear in your gym when it is used for {uses}."
    name = f"<b>option {quoted(offered[0].name)}</b>"
    if len(offered) == 1:
        return f"{start} We worked out one option: {name}.</p>"
    recommended = f"{start} Of {len(offered)} options we recommend {name}"
    if reason:
        return f"{recommended}, because {quoted(reason.rstrip('.'))}.</p>"
    return f"{recommended}. {quoted(plain_reason(offered))}</p>"


def _options(offered):
    """Options side by side, in money and in listeners."""
    rows = []
    for o in offered:
        low, high = (_rounded(v, o.quote.currency) for v in o.quote.range)
        ours = " (recommended)" if o is offered[0] and len(offered) > 1 else ""
        rows.append(
            (
                f"<b>{quoted(o.name)}</b>{ours}",
                _described(o),
                Num(escape(money(o.quote.price, o.quote.currency))),
                Num(f"{escape(low)} to {escape(high)}"),
                ", ".join(
                    f"{quoted(use)} {100 * share:.0f}"
                    for use, share in clear_shares(o.results).items()
                ),
            )
        )
    head = (
        "option",
        "what it is",
        Num("price with reserve"),
        Num("expect between"),
        "of 100 who listen, words are clear for",
    )
    return table("", head, rows) + f'<p class="quiet">{_price_words(offered[0].quote)}</p>'


def _price_words(quote):
    """Whose prices they are, and what the range means."""
    whose = (
        "Prices are invented examples: they show how options differ, not what a bid will be."
        if quote.invented
        else f"Prices are those of {escape(quote.book_name)}."
    )
    return (
        f"{whose} The price holds {RESERVE_PCT:.0f} % in reserve for what is not known yet; the"
        " range is what bids differ by. Those who stand on the court count among those who listen,"
        " as the use weighs them."
    )


def _described(offered):
    """What an option consists of, in a few words."""
    s = offered.scenario
    stay = sum(g.number for g in s.groups if g.existing)
    count = len(s.loudspeakers) - stay
    words = [f"{count} {'new ' if stay else ''}loudspeaker{'s' * (count != 1)}"] * bool(count)
    if stay:
        found = dict.fromkeys(g.condition or "not tried" for g in s.groups if g.existing)
        words.append(f"{stay} that hang{'s' * (stay == 1)} there already ({', '.join(found)})")
    for finish in dict.fromkeys(t.finish for t in s.treatments if not t.existing):
        area = sum(t.area for t in s.treatments if t.finish == finish and not t.existing)
        words.append(f"{area_text(area, s.units)} of {finish}")
    return escape(", ".join(words))


def _against(first, other):
    """What another option gives up or adds, and for whom."""
    less = first.quote.price - other.quote.price
    amount = escape(money(abs(less), first.quote.currency))
    name, ours = quoted(other.name), quoted(first.name)
    costs = f"costs {amount} {'less' if less > 0 else 'more'} than option {ours}"
    costs = costs if less else f"costs as much as option {ours}"
    worse = [(b, a) for a, b in other.loses_against(first)]
    better = [(b, a) for a, b in first.loses_against(other)]
    title = "adds for its price" if less < 0 else "gives up"
    lists = [
        (f"It {costs}. Worse than with option {ours}:", worse, first.name),
        (f"Better than option {ours}, with which:", better, other.name),
    ]
    if less < 0 and better:
        lists = [
            (f"It {costs}. With option {ours}, and not or less with it:", better, other.name),
            ("On the other hand, with it:", worse, first.name),
        ]
    said = [f"<p>{words}</p>{_troubles(pairs, name)}" for words, pairs, name in lists if pairs]
    if not worse and not (less < 0 and better):
        nobody = "nobody hears worse" if better else "nobody hears better or worse"
        said.insert(0, f"<p>It {costs}. In all that we looked at, {nobody} with it.</p>")
    if faulty := _faulty(other.scenario):
        said.append(
            f"<p>This holds only once {listed(faulty)}, is repaired or replaced; the price holds"
            " neither.</p>"
        )
    return f'<h2 class="first">What option {name} {title}, and for whom</h2>{"".join(said)}'


def _troubles(pairs, other):
    """A list of all troubles: of each where it is, and how many it is with the other option."""
    found = {}
    for here, there in pairs:
        found.setdefault(here.what, []).append((here, there))
    return _bullets(found, quoted(other))


def _bullets(found, other=""):
    """All places of each trouble, use by use."""
    items = []
    for what, pairs in found.items():
        by_use = {}
        for pair in pairs:
            by_use.setdefault(pair[0].use, []).append(pair)
        said = "; ".join(_in_use(use, pairs, other) for use, pairs in by_use.items())
        items.append(f"<b>{TROUBLES[what]}</b>: {said}.")
    return bullets(items)


def _in_use(use, pairs, other):
    """Where a trouble is in one use: several areas of seats are counted together."""
    sit = [(a, b) for a, b in pairs if a.misses is not None and not _on_foot(a)]
    together = sit if len(sit) > MOST_AREAS else []
    said = [_together(together, other)] if together else []
    said += [_place(*pair, other) for pair in pairs if pair not in together]
    said = [words for words in said if words]
    return f"{quoted(use)}, {listed(said)}" if said else quoted(use)


def _together(pairs, other):
    """Seats of several areas as one number, with the names of all."""
    missing, seats = sum(a.missing for a, _ in pairs), sum(a.seats for a, _ in pairs)
    count = f"all {seats:,} seats" if missing == seats else f"{missing:,} of {seats:,} seats"
    words = f"{count} in {listed([quoted(a.area) for a, _ in pairs])}"
    if pairs[0][1] is None:
        return words
    return f"{words} (option {other}: {_none_or(sum(b.missing for _, b in pairs))})"


def _none_or(count):
    return f"{count:,}" if count else "none"


def _place(standing, other=None, name=""):
    """Where a trouble is: seats and area; and how it is with another option."""
    if standing.misses is None:
        where = quoted(standing.area) if standing.area else ""
        return f"{where}{' (less so)' if other is not None and other.word in FAILS else ''}".strip()
    words = f"{_count(standing)}{_where(standing, other)}"
    return words if other is None else f"{words} (option {name}: {_number(other)})"


def _count(standing):
    """How many seats of an area, or how much of the court."""
    area = quoted(standing.area)
    if _on_foot(standing):
        return f"{_number(standing)} of the {area}"
    if standing.missing == standing.seats:
        return f"all {standing.seats:,} seats of the {area}"
    return f"{_number(standing)} of {standing.seats:,} seats of the {area}"


def _number(standing):
    if not standing.missing:
        return "none"
    if _on_foot(standing):
        return f"{100 * standing.missing / standing.seats:.0f} %"
    return _none_or(standing.missing)


def _on_foot(standing):
    """Whether its points are places to stand on, not seats."""
    return standing.kind not in THIRDS or on_court(standing.area)


def _where(standing, other):
    """Where most of the seats are that have the trouble, or have it newly."""
    where = standing.where(standing.misses if other is None else newly(other, standing))
    if not where:
        return ""
    return f", mostly {'at' if where.endswith('end') else 'in'} the {where}"


# ---- the rest


def _picture(offered):
    """The recommended option in the use in which the fewest seats of the audience hear clearly;
    those who stand on the court count only where nobody sits.
    """
    shares = {use: _seated(result) for use, result in offered.results.items()}
    use = min(shares, key=shares.get)
    result = offered.results[use]
    numbers = served(result)
    stand = [quoted(name) for name in numbers if on_court(name)]
    sit = len(stand) < len(numbers)
    marks = "Each mark is about one seat" if sit else "Each mark is somebody who stands there"
    standing = f"; on the {listed(stand)} somebody who stands there" if stand and sit else ""
    share = 100 * clear_shares(offered.results)[use]
    view = scene.View(result=result, quantity="sti", units=offered.scenario.units)
    counts = escape(_sentence(counts_sentence(numbers, result.configuration.areas)))
    return (
        f"<figure>{seat_plan(view, numbers)}<figcaption>{legend()}<br>"
        f"Option {quoted(offered.name)} in {quoted(use)}, the use with the fewest clear words, seen"
        f" from above. {marks}{standing}. Of 100 who listen, words are clear for {share:.0f}."
        f" {counts}."
        "</figcaption></figure>"
    )


def _seated(result):
    """Share of the seats with clear words; of those who stand where nobody sits."""
    found = served(result)
    seats = [numbers for name, numbers in found.items() if not on_court(name)]
    return float((np.concatenate(seats or list(found.values())) == 0).mean())


def _not_reached(offered):
    title = f'<h2 class="first">What option {quoted(offered.name)} does not reach</h2>'
    found = {}
    for standing in offered.fails:
        found.setdefault(standing.what, []).append((standing, None))
    if not found:
        return f"{title}<p>Nothing that we looked at is missed.</p>"
    return f"{title}{_bullets(found)}"


def _decisions(offered):
    """What the school must decide, as far as the design knows it."""
    first, s = offered[0], offered[0].scenario
    asked = [f"Which option, and by when: {BLANK}"]
    if any(not t.existing for t in s.treatments):
        asked.append(
            f"Whether {escape(_treatment(s))} are hung, now or in a later year. What is said here"
            " counts on them."
        )
        if s.room_fit is None:
            asked.append(
                "Whether we measure how long the gym rings before they are ordered. So far it is"
                " computed, and a gym may ring half as long again as computed."
            )
    if faulty := _faulty(s):
        asked.append(
            f"Whether {listed(faulty)}, is repaired or replaced, and by when; the price holds"
            " neither. Until then what is said here does not hold where it plays."
        )
    asked.append(f"Who runs the system. We counted on {RUN_BY[s.equipment.operator]}.")
    days = next((x.quantity for x in first.quote.lines if x.kind == "travel"), None)
    days = days or sum(x.hours for x in first.quote.lines) / (CREW * DAY)
    if days:
        asked.append(
            f"When the gym is free for about {days:.0f} working days with {CREW} fitters and a lift"
            " on its floor."
        )
    asked.append(
        "Who appoints the licensed structural engineer who approves what hangs from the roof, and"
        " who confirms with the fire authority how an alarm mutes the sound."
    )
    return f'<h2 class="first">What the school decides</h2>{bullets(asked)}'


def _faulty(scenario):
    """Loudspeakers that stay and do not play as they should, for a sentence."""
    bad = {"rattles": "rattles", "dead": "is dead"}
    found = [(g, bad[g.condition]) for g in scenario.groups if g.existing and g.condition in bad]
    return [f"the {quoted(g.name)} ({g.number}), which {words}" for g, words in found]


def _treatment(scenario):
    """Panels that are planned, with where they hang."""
    said = []
    for t in scenario.treatments:
        if not t.existing:
            where = "under the roof" if t.surface == "roof" else f"on the {t.surface}"
            said.append(f"{area_text(t.area, scenario.units)} of {t.finish} {where}")
    return listed(said)


def _included(offered):
    """What the price covers, and what it does not."""
    quote, system = offered.quote, offered.amplification
    kinds = list(dict.fromkeys(line.kind for line in quote.lines))
    known = [kind for _, group in COVERED for kind in group]
    covered = [words for words, group in COVERED if any(kind in kinds for kind in group)]
    covered += [kind for kind in kinds if kind not in known]
    circuits = f"{system.circuits} circuit{'s' * (system.circuits > 1)} of AC power at the rack"
    missing = [f"{words} (the price book has no price)" for words in not_priced(quote.book)]
    left = [f"{circuits}, by a licensed electrician", *NOT_INCLUDED, *missing]
    return (
        '<h2 class="first">What the price covers</h2>'
        f"<p>{escape(_sentence(listed(covered)))}.</p>"
        f"<p><b>Not included</b>: {escape('; '.join(left))}.</p>"
    )


def _rounded(amount, currency):
    """An amount to the nearest hundred."""
    return money(round(amount, -2), currency)


def _sentence(words):
    return words[:1].upper() + words[1:]
