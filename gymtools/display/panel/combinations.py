"""All combinations of a few choices: evaluated into a table, the best of them pinned."""

import re
from html import escape
from math import prod

import ipywidgets as w

from ...design.options import AS_IT_IS, HEADLINES, choices, dominated_by, headlines
from ...design.sweep_table import set_aside
from ...design.sweeping import sweep, variations
from .. import tables
from .controls import show_only

RATE = 7.0  # variations a second on a common machine, for the estimate that is shown
TITLE = "All combinations of a few choices"


class Combinations:
    """Lists of choices, and what came of all their combinations.

    Parameters
    ----------
    panel : Meeting
        Holds the state, and the folder where the table is written
    pins : Pins
        Where the best are pinned
    work : callable
        Begins work in a thread: (words, work, then)
    refuse : callable
        Called with a refusal
    """

    def __init__(self, panel, pins, work, refuse):
        self.panel, self._pins, self._work, self._refuse = panel, pins, work, refuse
        self.rows, self.axes, self.lists = [], {}, {}
        self._swept = None  # scenario and axes of the rows
        self._units, self._busy = None, False
        self.find = _button("Evaluate them all", "150px", self.generate)
        self.best_button = _button("Pin the best of them", "170px", self.pin_best)
        self.count, self.found = w.HTML(), w.HTML()
        self._many = w.HBox([], layout={"flex_flow": "row wrap"})
        buttons = w.HBox([self.find, self.best_button, self.count])
        self.box = w.Accordion([w.VBox([self._many, buttons, self.found])], selected_index=None)
        self.box.set_title(0, TITLE)
        self.box.observe(self._opened, names="selected_index")

    @property
    def starters(self):
        """Buttons that begin work."""
        return (self.find,)

    def enable(self, running):
        """Buttons rest where there is nothing for them to do.

        Parameters
        ----------
        running : bool
            Work is under way
        """
        self._busy = running
        self.best_button.disabled = not self.rows
        self._counted()

    def render(self, state, answer):
        """Show a state: the choices are said in its units, and what was chosen stays chosen.

        Parameters
        ----------
        state : PanelState
            What the controls are set to
        answer : Answer
            What is shown
        """
        if self.lists and state.units != self._units:
            self.offer()

    def _opened(self, change):
        if change["new"] == 0:
            self.offer()

    def offer(self):
        """Fill the lists of choices for the scenario as it stands."""
        try:
            self.axes = choices(self.panel.state.scenario)
        except ValueError as error:
            self._refuse(error)
            return
        self._units = self.panel.state.units
        chosen = {axis: box.index for axis, box in self.lists.items()}
        self.lists = {
            axis: self._list(axis, words, chosen.get(axis, (0,)))
            for axis, words in self.axes.items()
        }
        titled = [
            w.VBox([w.HTML(f"<b>{axis[0].upper() + axis[1:]}</b> (several: hold Ctrl)"), box])
            for axis, box in self.lists.items()
        ]
        show_only(self._many, titled)
        self._counted()

    def _list(self, axis, words, index):
        width = "330px" if axis == "arrangement" else "210px"
        box = w.SelectMultiple(
            options=list(words), value=[AS_IT_IS], rows=8, layout={"width": width}
        )
        box.index = index
        box.observe(lambda _: self._counted(), names="value")
        return box

    def _counted(self):
        if not self.lists:
            self.find.disabled = self._busy
            return
        count = prod(len(box.value) for box in self.lists.values())
        about = f"{count} combinations, about {max(count / RATE, 1):.0f} s"
        self.count.value = about if count else "Choose at least one in every list."
        self.find.disabled = count == 0 or self._busy

    def generate(self):
        """Evaluate all combinations of what is chosen, into a table in the folder."""
        if not self.lists:
            return
        try:
            scenario, prices = self.panel.state.scenario, self.panel.prices.book
        except ValueError as error:
            self._refuse(error)
            return
        offered = {axis: list(found.items()) for axis, found in choices(scenario).items()}
        axes = {axis: dict(offered[axis][k] for k in box.index) for axis, box in self.lists.items()}
        school = re.sub(r"[^a-z0-9]+", "-", scenario.name.lower()).strip("-") or "school"
        file = self.panel.folder / f"{school}-combinations.csv"

        def work(tell, stop):
            return sweep(scenario, axes, file=file, prices=prices, progress=tell, stop=stop)

        def then(rows):
            self.rows, self._swept = rows, (scenario, axes)
            self.found.value = tables.card(self._summary(file.name))
            self._pins.take(self._pins.options)

        self.reprice()
        self._work("Evaluating; every row is written as soon as it is there.", work, then)

    def reprice(self):
        """What was found is outdated; the table on the disk stays."""
        self.rows, self.found.value = [], ""
        self.best_button.disabled = True

    @property
    def sure(self):
        """Rows that have been evaluated with all rays."""
        return [r for r in self.rows if not r["refused"] and r["rays"] == "full"]

    def pin_best(self):
        """Pin those combinations that no other betters, the best of them first, as many as there is
        room for.
        """
        made = {tuple(words.values()): scenario for words, scenario in variations(*self._swept)}
        for row in self._best():
            words = [row[axis] for axis in self._swept[1]]
            name = ", ".join(word for word in words if word != AS_IT_IS) or AS_IT_IS
            if not self._pins.full and name not in self._pins.names:
                self._pins.keep(name, made[tuple(words)], row["rays"])

    def _best(self):
        """Rows that no other betters, by score."""
        heads = {r["key"]: headlines(r) for r in self.sure}

        def bettered(key):
            return dominated_by(heads[key], {k: h for k, h in heads.items() if k != key})

        free = [r for r in self.sure if not bettered(r["key"])]
        return sorted(free, key=lambda r: r["penalty"])

    def _summary(self, name):
        refused = [r["refused"] for r in self.rows if r["refused"]]
        axes = self._swept[1]
        whole = prod(len(c) for c in axes.values())
        words = (
            f"<p>{len(self.rows)} of {whole} combinations are in {escape(name)}; {len(refused)} of"
            f" them are not possible{f', e.g. {escape(refused[0])}' if refused else ''}.</p>"
        )
        aside = set_aside(self.panel.folder / name)
        if aside.exists():
            words += f"<p>Rows of other states of the scenario are in {escape(aside.name)}.</p>"
        head = "".join(f"<th>{escape(axis)}</th>" for axis in axes)
        head += "".join(f'<th class="num">{escape(h.words)}</th>' for h in HEADLINES)
        rows = "".join(f"<tr>{self._row(r)}</tr>" for r in self._best()[:8])
        caption = (
            f"<caption>Of the best {len(self.sure)}, with all rays: not bettered by any other, the"
            " best first</caption>"
        )
        return f"{words}<table>{caption}<tr>{head}</tr>{rows}</table>"

    def _row(self, row):
        figures, money = headlines(row), self.panel.prices.currency
        choice = "".join(f"<td>{escape(row[axis])}</td>" for axis in self._swept[1])
        return choice + "".join(
            f'<td class="num">{escape(h.text(figures[h.key], money))}</td>' for h in HEADLINES
        )


def _button(words, width, act):
    button = w.Button(description=words, layout={"width": width})
    button.on_click(lambda _: act())
    return button
