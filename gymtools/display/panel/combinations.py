"""All combinations of a few choices: evaluated into a table, the best of them kept."""

import re
from html import escape
from math import prod

import ipywidgets as w

from ...design.options import AS_IT_IS, HEADLINES, choices, dominated_by, headlines
from ...design.sweep_table import set_aside
from ...design.sweeping import sweep, variations
from .. import tables
from .controls import show_only
from .page import with_folder

RATE = 7.0  # variations a second on a common machine, for the estimate that is shown
LISTED = 12  # designs; the table on the disk has them all
TITLE = "All combinations of a few choices"


class Combinations:
    """Lists of choices, and what came of all their combinations.

    Parameters
    ----------
    panel : Meeting
        Holds the state, and the folder where the table is written
    pins : Pins
        Where the best are kept
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
        self.best_button = _button("Keep the best of them", "170px", self.pin_best)
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
        """Keep those combinations that no other betters, the fewest failures first, as many as
        there is room for; every design once.
        """
        heads = {r["key"]: headlines(r) for r in self.sure}
        for row, scenario in self._distinct(self.sure):
            others = {key: h for key, h in heads.items() if key != row["key"]}
            name = self._name(row)
            if dominated_by(heads[row["key"]], others) or name in self._pins.names:
                continue
            if not self._pins.full:
                self._pins.keep(name, scenario, row["rays"])

    def _name(self, row):
        words = [row[axis] for axis in self._swept[1]]
        return ", ".join(word for word in words if word != AS_IT_IS) or AS_IT_IS

    def _distinct(self, rows):
        """Rows with their scenarios, the fewest failures first and then by score; of combinations
        that make one design the one that changes least.
        """
        axes = self._swept[1]
        made = {tuple(words.values()): scenario for words, scenario in variations(*self._swept)}
        chosen, seen = [], {}

        def order(row):
            changed = sum(row[axis] != AS_IT_IS for axis in axes)
            return _failing(row), row["rays"] != "full", row["penalty"], changed

        for row in sorted(rows, key=order):
            scenario = made[tuple(row[axis] for axis in axes)]
            alike = seen.setdefault((_failing(row), row["cost"]), [])
            if scenario not in alike:
                alike.append(scenario)
                chosen.append((row, scenario))
        return chosen

    def _summary(self, name):
        refused = [r["refused"] for r in self.rows if r["refused"]]
        axes = self._swept[1]
        whole = prod(len(c) for c in axes.values())
        where = escape(with_folder(self.panel.folder / name))
        words = (
            f"<p>{len(self.rows)} of {whole} combinations are in {where}; {len(refused)} of"
            f" them are not possible{f', e.g. {escape(refused[0])}' if refused else ''}.</p>"
        )
        aside = set_aside(self.panel.folder / name)
        if aside.exists():
            words += (
                f"<p>Rows of other states of the scenario are in {escape(with_folder(aside))}.</p>"
            )
        return words + self._list_of_designs()

    def _list_of_designs(self):
        """Distinct designs, the fewest failures first; the present one is always among them."""
        possible = [r for r in self.rows if not r["refused"]]
        designs, present = self._distinct(possible), self._swept[0]
        listed = designs[:LISTED] + [d for d in designs[LISTED:] if d[1] == present]
        head = "<th></th>" + "".join(f"<th>{escape(axis)}</th>" for axis in self._swept[1])
        head += "".join(f'<th class="num">{escape(h.words)}</th>' for h in HEADLINES)
        rows = "".join(f"<tr>{self._row(r, s == present)}</tr>" for r, s in listed)
        caption = "Designs that differ, the fewest failures first"
        if more := len(designs) - len(listed):
            caption += f"; {more} more, none with fewer failures, are in the table"
        return (
            f"<table><caption>{caption}</caption><tr>{head}<th>figures from</th></tr>{rows}</table>"
        )

    def _row(self, row, present):
        figures, money = headlines(row), self.panel.prices.currency
        cells = [f"<td>{'<b>present</b>' if present else ''}</td>"]
        cells += [f"<td>{escape(row[axis])}</td>" for axis in self._swept[1]]
        for h in HEADLINES:
            cells.append(f'<td class="num">{escape(h.text(figures[h.key], money))}</td>')
        rays = "all rays" if row["rays"] == "full" else "few rays"
        return "".join(cells) + f"<td>{rays}</td>"


def _failing(row):
    return row["checks"] - row["met"] - row["close"]


def _button(words, width, act):
    button = w.Button(description=words, layout={"width": width})
    button.on_click(lambda _: act())
    return button
