"""The record's figures: options, the room, every use with its verdicts and maps, uncertainty."""

from html import escape

from ...acoustics.criteria import CRITERIA, in_sentence
from ...acoustics.room_comparison import bent_decay, bent_decay_sentence
from ...design.comparing import loudspeaker_list
from ...design.losses import served
from ...design.options import HEADLINES
from ...equipment.loudness import loudness
from ...physics.bands import LABELS
from ...venue.uses import on_court
from .. import scene, tables
from ..charts import plans
from ..tables.markup import Num, table
from ..theme import QUANTITIES
from .page import quoted

MAPS = ("speech", "sti", "feedback_margin", "arrival_spread")  # quantities drawn for every use
MAP = dict(width=520, height=400)  # of a map: two stand beside each other, also on paper [px]
SCREEN = dict(width=1040, height=620)  # of the picture that can be turned [px]


def options(page, decision):
    """Put the options and why the others lost at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add("<h2>Options considered</h2>")
    head = ["figure"] + [
        Num(f"{quoted(o.name)}{' (chosen)' if o is decision.chosen else ''}")
        for o in decision.options
    ]
    rows = [
        [
            escape(h.words + (f" [{h.unit}]" if h.unit else "")),
            *(Num(escape(h.text(o.headlines[h.key], o.currency))) for o in decision.options),
        ]
        for h in HEADLINES
    ]
    page.add(table("Options side by side", head, rows))
    for o in decision.options[1:]:
        page.add(
            f"<h3>Why not {quoted(o.name)}</h3>",
            "".join(f"<p>{escape(reason)}</p>" for reason in decision.reasons[o.name]),
            f"<p class='quiet'>Its loudspeakers: {quoted(loudspeaker_list(o.scenario))}.</p>",
        )
    if len(decision.options) == 1:
        page.add("<p>No other option was considered.</p>")


def room(page, decision):
    """Put the reverberation of every use at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add(
        "<h2>How the gym rings</h2>",
        "<p>The textbook formula is a cross-check; nothing is judged by it. It takes sound to be"
        " alike everywhere, so that it meets what absorbs more often than it does between walls"
        " that send it to and fro.</p>",
        tables.measured_table(decision.chosen.scenario),
    )
    for name, result in decision.results.items():
        own = result.own_decay
        rows = [("EDT [s]", own.edt), ("T20 [s]", own.t20), ("T30 [s]", own.t30)]
        rows.append(("T20, standard error of the rays [s]", own.t20_error))
        if result.use.judged_as == "sports" and result.use.occupied:
            empty = result.decay_with({}).t20
            rows.append(("T20 with nobody in it, which is judged [s]", empty))
        rows.append(("textbook formula (Eyring with air), as a cross-check [s]", result.rt))
        page.add(
            table(
                f"Reverberation time as occupied, {quoted(name)}",
                ("octave [Hz]", *map(Num, LABELS)),
                [(words, *(Num(f"{v:.2f}") for v in values)) for words, values in rows],
            )
        )
        words = bent_decay_sentence(bent_decay(result))
        if words:
            page.add(f"<p>{escape(words)}</p>")


def uses(page, decision):
    """Put every use with its verdicts and maps at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    for n, (name, result) in enumerate(decision.results.items()):
        page.add(f"<h2>{quoted(name[0].upper() + name[1:])}</h2>", _verdicts(result))
        if n == 0:
            _add_picture(page, name, result)
        _add_maps(page, name, result)
        page.add(_level_in_reserve(result, decision.parts))


def _verdicts(result):
    rows = [
        (
            quoted(v.area or "the gym"),
            escape(CRITERIA[v.criterion].label),
            f'<span class="word">{v.word}</span>',
            escape(CRITERIA[v.criterion].sentence(v, result.scenario.units)),
        )
        for v in result.verdicts
    ]
    head = ("where", "what", "verdict", "why")
    return table("Every verdict, and why", head, rows)


def _add_picture(page, name, result):
    view = scene.View(result=result, quantity="speech", units=result.scenario.units)
    page.figure(
        scene.figure(view).update_layout(**SCREEN),
        f"The gym in 3D, plan and section, {name}: speech level. Turn it with the mouse; on paper"
        " see the plans below.",
        screen=True,
    )


def _add_maps(page, name, result):
    units = result.scenario.units
    for quantity in MAPS:
        if quantity != "feedback_margin" or result.microphones:
            view = scene.View(result=result, quantity=quantity, units=units)
            page.figure(plans.plan(view).update_layout(**MAP), f"{name}: {_caption(quantity)}")
    seats = sectioned_area(result)
    if seats:
        page.figure(
            plans.cut(
                scene.View(result=result, quantity="speech", units=units, area=seats)
            ).update_layout(**MAP),
            f"{name}: section through {seats}, axis and edges of the loudspeaker that serves it,"
            " speech level along the rows",
        )


def sectioned_area(result):
    """The seats that a section of a use goes through: those of the audience of which the largest
    share lacks clear words; of several alike the chairs on the floor, then the largest area.

    Parameters
    ----------
    result : Result
        An evaluation

    Returns
    -------
    name : str or None
        Of the area; None where nobody listens but on the court
    """
    found = {name: n for name, n in served(result).items() if not on_court(name)}
    areas = result.configuration.areas
    return max(
        found,
        key=lambda name: (
            round(float((found[name] > 0).mean()), 2),
            areas[name].kind == "floor",
            areas[name].seats,
        ),
        default=None,
    )


def _caption(key):
    q = QUANTITIES[key]
    if key == "feedback_margin":
        said = f"{q.label} of a hand-held microphone; inside the heavy line it is about to ring"
    else:
        said = f"{q.label} at every seat, lines {f'{q.step:g} {q.unit}'.rstrip()} apart"
    return escape(in_sentence(said))


def _level_in_reserve(result, parts):
    x = loudness(result, parts.amplification)
    return (
        f"<p>The system can reach {x.reach_dba:.0f} dB(A), {x.spare_db:+.1f} dB over the level"
        f" wanted; {quoted(x.tag)} limits it ({x.limited_by}). The loudest seat gets"
        f" {x.loudest_dba:.0f} dB(A).</p>"
    )


def uncertainty(page, decision):
    """Put the ranges of every use at the end.

    Parameters
    ----------
    page : Page
        Of the record
    decision : Decision
        What was decided
    """
    page.add("<h2>How sure the figures are</h2>")
    last = [*decision.uncertainty][-1]
    for use, sureness in decision.uncertainty.items():  # what they share is said once
        made = tables.sureness_table(sureness, explained=use == last, grouped=True)
        page.add(f'<div class="wide">{made}</div>')
