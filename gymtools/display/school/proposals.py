"""Designs proposed for a gym: three of them beside each other, what each gives up, and why other
arrangements do not fit.
"""

from dataclasses import fields, replace
from html import escape

import ipywidgets as w

from ...acoustics.criteria import CRITERIA
from ...design.proposals import propose
from ...equipment.prices import INVENTED, money
from .. import scene, tables
from ..charts.design_sketch import design_sketch
from ..jobs import Job
from ..panel.controls import show_only
from ..panel.page import quiet
from ..tables.markup import Num, table
from ..theme import QUANTITIES, shown_quantity

ASK, ASK_AGAIN = "Propose designs", "Propose again"
CHOOSE, CHOSEN = "Choose this design", "Chosen"
ABOUT = (
    "Every arrangement of loudspeakers that fits this gym is tried in all of its uses. The best"
    " five are aimed and balanced; the three with the fewest failing checks are shown. It takes"
    " a minute or two where nothing else runs; Stop keeps what has been found. What you choose"
    " stays yours to change."
)
NOTHING = "Nothing fits this gym yet."
WAITS = "Designs can be proposed once the gym and its uses are complete."
STALE = "Something was changed since these designs were proposed. Propose again."
MOST_FAILS = 5  # lines on what fails, on one card
CARD = {"flex": "1 1 300px", "min_width": "280px", "padding": "6px", "border": "1px solid #c9d1d9"}
GRAY = "gt-stale"


class ProposalsSection:
    """Three designs for a gym to choose from; ``box`` is what a page shows.

    Parameters
    ----------
    page : NewSchoolPage or Meeting's part
        Has ``scenario`` (None while it cannot be) and ``take``; perhaps ``prices``, a PriceBook
    """

    key, title, wide = "proposals", "Propose", True

    def __init__(self, page):
        self.page, self.found, self._asked = page, None, None
        self.job = Job(self._done, on_progress=self._told)
        self.ask = w.Button(description=ASK, layout={"width": "150px"})
        self.ask.on_click(lambda _: self.start())
        self.job.starts_with(self.ask)
        self.choose_buttons = []
        self.heading, self.rest = w.HTML(), w.HTML()
        self.cards = w.HBox([], layout={"flex_flow": "row wrap", "grid_gap": "8px"})
        self.results = w.VBox([self.heading, self.cards, self.rest])
        self.box = w.VBox(
            [
                w.HTML(quiet(ABOUT)),
                w.HBox([self.ask, self.job.halt, self.job.bar]),
                self.job.error,
                self.job.words,
                self.results,
            ]
        )
        self.show()

    def show(self):
        """Show whether there is a gym to propose for, and whether what is shown is of this one."""
        scenario = self.page.scenario
        self.job.allow(scenario is not None)
        if self.job.running:
            if not _same_gym(scenario, self._asked):
                self.job.discard()
            return
        if scenario is None:
            self.job.words.value = quiet(WAITS)
        elif self.job.words.value == quiet(WAITS):
            self.job.words.value = ""
        if self.found is not None:
            self._mark(scenario is not None and _same_gym(scenario, self._asked))

    def reprice(self):
        """Other prices hold from now on: what was priced by the last ones is outdated."""
        self._asked = None
        self.show()

    def start(self):
        """Begin to look for designs."""
        scenario = self.page.scenario
        if scenario is None:
            return
        prices = getattr(self.page, "prices", None)
        self._clear()
        self._asked = scenario

        def work(tell, stop):
            return propose(scenario, progress=tell, stop=stop, prices=prices)

        self.job.start(work, "Trying every arrangement.")

    def _told(self, share, words):
        self.job.show_share(share)
        self.job.say(words)

    def _clear(self):
        self.found, self.choose_buttons = None, []
        self.heading.value = self.rest.value = ""
        self.results.remove_class(GRAY)
        show_only(self.cards, [])

    def _done(self, found):
        self.found = found
        self.job.say("Stopped; these are the designs so far." if found.stopped else "")
        self.heading.value = tables.card(_heading(found))
        show_only(self.cards, [self._card(n, d) for n, d in enumerate(found.best, 1)])
        self.rest.value = tables.card(_others(found), _refused(found))
        self._mark(True)

    def _mark(self, current):
        """Designs of another gym stay, in gray, to be asked for again."""
        (self.results.remove_class if current else self.results.add_class)(GRAY)
        self.ask.description = ASK_AGAIN if not current else ASK
        for button, design in self.choose_buttons:
            chosen = current and _same_design(self.page.scenario, design)
            button.description = CHOSEN if chosen else CHOOSE
            button.disabled = chosen or not current
        if not current:
            self.job.words.value = quiet(STALE)
        elif self.job.words.value == quiet(STALE):
            self.job.words.value = ""

    def _card(self, number, design):
        button = w.Button(
            description=CHOOSE,
            tooltip=f"Choose design {number}: {design.title}",
            layout={"width": "170px"},
        )
        button.on_click(lambda _: self.choose(design))
        self.choose_buttons.append((button, design))
        units, result = design.scenario.units, next(iter(design.results.values()))
        view = scene.View(result=result, quantity=shown_quantity(result, "speech"), units=units)
        low, high = view.values.min(), view.values.max()
        what = f"{QUANTITIES[view.quantity].label}, {result.use.name}"
        colored = f"{what}: {low:.0f} to {high:.0f} {view.unit}"
        drawn = w.HTML(f"{design_sketch(view)}<p>{quiet(escape(colored))}</p>")
        card = w.VBox([w.HTML(_first(number, design)), button, drawn, w.HTML(_words(design))])
        card.layout = CARD
        return card

    def choose(self, design):
        """Take a design: the page goes on with it.

        Parameters
        ----------
        design : ProposedDesign
            One of those that are shown
        """
        if self.page.scenario is None or not _same_gym(self.page.scenario, self._asked):
            self.show()
            return
        self.page.take(design.scenario)
        self.show()


def _same_gym(scenario, asked):
    """Whether two scenarios differ in their loudspeakers at most, which a design replaces."""
    if scenario is None or asked is None or scenario is asked:
        return scenario is not None and scenario is asked
    return all(
        getattr(scenario, f.name) == getattr(asked, f.name)
        for f in fields(scenario)
        if f.compare and f.name not in ("groups", "uses")
    ) and [replace(u, groups={}) for u in scenario.uses] == [
        replace(u, groups={}) for u in asked.uses
    ]


def _same_design(scenario, design):
    """Whether a scenario has the loudspeakers of a design, and plays them in the same way."""
    made = design.scenario
    return scenario.groups == made.groups and scenario.uses == made.uses


def _heading(found):
    """Whether a design meets everything, and how the one that is there stands."""
    if not found.best:
        return f"<p>{NOTHING}</p>"
    first = found.best[0]
    if found.meets:
        said = "No check fails with design 1"
        said += f"; {first.close} {_are(first.close)} close." if first.close else "."
    else:
        said = (
            f"No arrangement meets every target: with the best of them {_fail(first)}. What still"
            " fails is listed below each design; treatment, less noise or another microphone may"
            " help where loudspeakers cannot."
        )
    there = found.present
    as_it_is = ""
    if there is not None:
        as_it_is = (
            f" With the loudspeakers that are there {_fail(there)} ({_cost(there)}). A design that"
            " is chosen replaces them; taking them down is not priced."
        )
    return f"<p>{escape(said + as_it_is)}</p>"


def _are(count):
    return "is" if count == 1 else "are"


def _fail(design):
    """How many checks of a design fail."""
    count = design.failing
    if not count:
        return f"no check of {design.checks} fails"
    return f"{count} of {design.checks} checks {'fails' if count == 1 else 'fail'}"


def _cost(design):
    return money(design.cost, design.currency)


def _hung(design):
    """Loudspeakers by type."""
    each = ", ".join(f"{count} x {name}" for name, count in design.loudspeakers.items())
    total = sum(design.loudspeakers.values())
    return f"{total} loudspeaker{'s' if total > 1 else ''}: {each}"


def _first(number, design):
    """What is compared first: what it is, what fails, what it costs."""
    book = "invented prices" if design.prices == INVENTED else design.prices
    said = _fail(design)
    return tables.card(
        f"<p><b>{number}. {escape(design.title)}</b><br>{escape(_hung(design))}<br>"
        f"<b>{escape(said[0].upper() + said[1:])}. {escape(_cost(design))}</b> ({escape(book)})</p>"
    )


def _words(design):
    """Checks use by use, what the design is for, what it gives up and what fails."""
    rows = [
        [escape(name), Num(str(met)), Num(str(close)), Num(str(failing))]
        for name, (met, close, failing) in design.counts.items()
    ]
    head = ["use", Num("met"), Num("close"), Num("fail")]
    parts = [
        table("", head, rows),
        f"<p>{escape(design.fits)} <i>It gives up:</i> {escape(design.gives_up)}</p>",
        tables.bullets([*_fails(design), *_low(design)]),
    ]
    if design.rays == "few":
        parts.append("<p>Stopped early: figures are rough, echoes are not judged.</p>")
    return tables.card(*parts)


def _fails(design):
    """What fails, one line a criterion with the uses in which it does."""
    lines = {}
    for use, v in design.fails:
        criterion = CRITERIA[v.criterion]
        where = f"{use} ({v.area})" if v.area else use
        value = f"{where}: {criterion.text(v.value)}, target {criterion.text(v.target)}"
        lines.setdefault(criterion.label, []).append(value)
    found = [
        f"<b>{escape(label)}</b> fails: {escape(at[0])}{_more(at)}" for label, at in lines.items()
    ]
    left = len(found) - MOST_FAILS
    return found[:MOST_FAILS] + ([f"and {left} more questions"] if left > 0 else [])


def _low(design):
    """What of a design hangs low over a court, and what people can reach, the first of each."""
    low = [one for one in design.scenario.warnings if one.startswith("Loudspeaker ")]
    kinds = ([s for s in low if " hangs over " in s], [s for s in low if " hangs low " in s])
    return [f"{escape(found[0])}{_more(found)}" for found in kinds if found]


def _more(places):
    return f", and {len(places) - 1} more" if len(places) > 1 else ""


def _others(found):
    """The other arrangements that fit, by their failing checks."""
    if not found.others:
        return ""
    rows = [
        [
            escape(d.title),
            Num(f"{d.failing} of {d.checks}"),
            Num(escape(_cost(d))),
            "aimed, all rays" if d.rays == "full" else "rough: not aimed, echoes not judged",
        ]
        for d in found.others
    ]
    head = ["other arrangements that fit", Num("checks that fail"), Num("cost"), "figures"]
    return table("", head, rows)


def _refused(found):
    """Why other arrangements do not fit."""
    lines = [f"{escape(title)}: {escape(why)}" for title, why in found.refused.items()]
    return f"<p>Do not fit this gym:</p>{tables.bullets(lines)}" if lines else ""
