"""One question on the page: what is typed, how it was understood, and whether it is assumed."""

from html import escape

import ipywidgets as w

from ...venue.questions import (
    BY_NAME,
    NOT_SURE,
    answer_words,
    typed_words,
    understood,
)
from ...venue.typed_values import digits, read_value
from ..jobs import HIDDEN, SHOWN

LABEL, FIELD = "250px", "392px"
STATES = {
    "assumed": "assumed",
    "not sure": "not sure: assumed",
    "usual": "as usual",
    "confirmed": "",
}


class Answer:
    """A row of the form.

    Parameters
    ----------
    form : FormSection
        Holds the page
    question : Question
        What is asked
    options : tuple of str
        Names that it may be answered with, where the question has no list of its own
    """

    def __init__(self, form, question, options=()):
        self.form, self.question = form, question
        self.options = options or question.choices
        self._showing = self._refused = False
        letter = f"{question.letter}:  " if question.letter else ""
        self.label = f"{letter}{question.label}"
        self.said = w.HTML()
        self.said.add_class("gt-said")
        self.button = w.Button(layout={"width": "76px"})
        self.button.on_click(lambda _: self._turn())
        self.field = self._make()
        self.box = w.HBox([self.field, self.button, self.said])
        for name in ("gt-slider", "gt-answer"):
            self.box.add_class(name)

    # ---- what stands

    def show(self, school):
        """Show the answer that a school holds; what was refused stays as it was typed.

        Parameters
        ----------
        school : NewSchool
            Of the page
        """
        state = school.state(self.question.key)
        for name in STATES:
            change = self.box.add_class if name == state else self.box.remove_class
            change(f"gt-{name.replace(' ', '-')}")
        self._button(school, state)
        if self._refused:
            return
        self._showing = True
        value = school.value(self.question.key)
        if self.question.unit == "choice":  # a list opens whole only from an empty box
            self.field.placeholder = "" if value is None else str(value)
            value = value if state == "confirmed" else None
        self._fill(value, school.units)
        self._showing = False
        self._say(school, state)

    def _say(self, school, state):
        """How the answer was understood, or that it is assumed."""
        value, words = school.value(self.question.key), STATES[state]
        echo = ""
        if self.question.unit in ("m", "m2", "°C") and value is not None:
            echo = answer_words(self.question, value, school.units)
        elif self.question.unit == "choice" and state != "confirmed" and value is not None:
            echo = str(value)
        if state == "usual" and value is None:
            words = ""
        if self.question.key in school.missing:
            words = "to answer"
        self.said.remove_class("gt-refused")
        self.said.value = escape(" ".join(part for part in (words, echo) if part))

    def _button(self, school, state):
        """The button confirms what is assumed, or takes an answer back."""
        key = self.question.key
        taken = key in school.answers
        offered = state in ("assumed", "not sure", "usual") or (taken and not self._needed(school))
        self.button.description = "Assume" if taken and state == "confirmed" else "Confirm"
        self.button.tooltip = f"{self.button.description}: {self.question.label}"
        shown = offered and (taken or school.value(key) is not None)
        self.button.layout.visibility = "visible" if shown else "hidden"

    def _needed(self, school):
        return self.question.required and school.copied is None

    def _turn(self):
        """Confirm, or take back."""
        self._refused = False
        page, key = self.form.page, self.question.key
        if self.button.description == "Confirm":
            page.set(page.school.confirmed(key))
        else:
            page.set(page.school.without(key))

    # ---- what is typed

    def _take(self, value):
        self._refused = False
        page = self.form.page
        page.set(page.school.with_answer(self.question.key, value))

    def refuse(self, error):
        """Say what cannot be understood; the text stays.

        Parameters
        ----------
        error : Exception
            Why
        """
        self._refused = True
        self.said.add_class("gt-refused")
        self.said.value = escape(f"Not taken: {error}")

    def _typed(self, change):
        if self._showing:
            return
        page, text = self.form.page, change["new"]
        question = self.question
        if not text.strip() and not question.optional:
            self._refused = False
            page.set(page.school.without(question.key))
            return
        try:
            value = understood(question, text, page.school.units)
        except ValueError as error:
            self.refuse(error)
            return
        self._take(value)

    def _make(self):
        """The field that is typed in."""
        kind = w.Combobox if self.question.unit == "choice" else w.Text
        more = {}
        if kind is w.Combobox:
            offered = (NOT_SURE, *self.options) if self.question.may_be_unsure else self.options
            more = {"options": tuple(offered), "ensure_option": False}
        field = kind(
            description=self.label,
            continuous_update=False,
            style={"description_width": LABEL},
            layout={"width": FIELD},
            **more,
        )
        field.observe(self._typed, names="value")
        return field

    def _fill(self, value, units):
        self.field.value = typed_words(self.question, value, units)


class YesNo(Answer):
    """A question that is answered with a tick."""

    def _make(self):
        field = w.Checkbox(description=self.label, indent=False, layout={"width": FIELD})
        field.observe(self._ticked, names="value")
        return field

    def _ticked(self, change):
        if not self._showing:
            self._take(bool(change["new"]))

    def _fill(self, value, units):
        self.field.value = bool(value)


class Several(Answer):
    """A question that is answered with some of several names."""

    def _make(self):
        heading = w.HTML(escape(self.label), layout={"width": LABEL})
        heading.add_class("gt-question")
        self.ticks = {
            name: w.Checkbox(
                description=name, indent=False, layout={"width": "auto", "margin": "0 10px 0 0"}
            )
            for name in self.options
        }
        for tick in self.ticks.values():
            tick.observe(self._ticked, names="value")
        row = w.HBox(list(self.ticks.values()), layout={"flex_flow": "row wrap"})
        field = w.HBox([heading, row], layout={"width": "auto", "min_width": FIELD})
        field.add_class("gt-several")
        return field

    def _ticked(self, _change):
        if not self._showing:
            self._take(tuple(name for name, tick in self.ticks.items() if tick.value))

    def _fill(self, value, units):
        for name, tick in self.ticks.items():
            tick.value = name in (value or ())


class ByName(Answer):
    """A number for each of several names; one that is left empty has none."""

    def _make(self):
        heading = w.HTML(f"{escape(self.label)}:")
        heading.add_class("gt-question")
        self.fields = {
            name: w.Text(
                description=name,
                continuous_update=False,
                style={"description_width": "180px"},
                layout={"width": "300px"},
            )
            for name in self.options
        }
        for field in self.fields.values():
            field.observe(self._typed_one, names="value")
        return w.VBox([heading, *self.fields.values()])

    def _typed_one(self, _change):
        if self._showing:
            return
        unit, found = BY_NAME[self.question.unit], {}
        for name, field in self.fields.items():
            if not field.value.strip():
                continue
            try:
                found[name] = read_value(field.value, unit, "m")
            except ValueError as error:
                self.refuse(f"{name}: {error}")
                return
        if self.question.unit == "rows":
            found = {name: int(rows) for name, rows in found.items()}
        self._take(found)

    def _fill(self, value, units):
        for name, field in self.fields.items():
            number = (value or {}).get(name)
            field.value = "" if number is None else digits(float(number), 0)


def answer(form, question, options=()):
    """The row that suits a question.

    Parameters
    ----------
    form : FormSection
        Holds the page
    question : Question
        What is asked
    options : tuple of str
        Names that it may be answered with, where it has no list of its own

    Returns
    -------
    row : Answer
        Empty until it is shown
    """
    kinds = {"yes": YesNo, "choices": Several, **dict.fromkeys(BY_NAME, ByName)}
    return kinds.get(question.unit, Answer)(form, question, options)


def shown(widget, there):
    """Show a widget, or take it out of the page.

    Parameters
    ----------
    widget : Widget
        Any
    there : bool
        Whether it is shown
    """
    widget.layout.display = SHOWN if there else HIDDEN
