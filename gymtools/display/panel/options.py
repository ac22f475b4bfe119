"""Kept designs: keep what stands, compare, put the chosen one on file, and go back to one."""

import datetime
from html import escape

import ipywidgets as w

from ...acoustics.evaluate import evaluate
from ...commissioning.plan_time import timed_parts
from ...design.decision import decide
from ...design.offer import offer
from ...design.options import headlines, option
from ...design.revisions import Issue
from ...equipment.schedules import parts
from ...venue.writing_files import refuse_existing, revisions_sentence
from .. import scene, tables
from ..charts import options as options_chart
from ..documents.handover import folder_name, write_record
from ..documents.letter import MOST_OPTIONS, PROPOSED_REASON, write_letter
from ..documents.specification.files import write_specification
from ..jobs import HIDDEN, SHOWN, Job, not_possible
from ..live import FigureFrame
from ..theme import missing_quantity, shown_quantity
from .combinations import Combinations
from .controls import show_only
from .page import quiet, with_folder
from .pins import MOST, Pins
from .section import Section

ABOUT = (
    "Keep the present design, change something, and keep again. Each criterion shows its worst"
    " value over all uses; the small maps show the use and the quantity of the picture."
)
TO_THE_SCHOOL = (
    "Write the letter to the school: the chosen design against the others in plain words, with the"
    " price as a spreadsheet beside it"
)
TO_BIDDERS = (
    "Write the specification of the chosen design for bidders and inspectors, as a page and for a"
    " word processor"
)
LETTER_THERE = "The letter is in {}: letter.html, with price.xlsx beside it."
WITH_SOUND = (
    "A seat of the use that is shown can be heard in the record; more than a megabyte for each"
    " design"
)
NO_DAY = "Write the date as 2026-11-26: year, month, day. Or leave it empty."
ON_FILE = (
    "Write the decision record with the chosen design, the others beside it, and all schedules and"
    " drawings"
)


# of the letter: what, what happens where it is left empty, and the width of the box
LETTER_WORDS = (
    ("Letter to", "a line to write on", "300px"),
    ("Date", "e.g. 2026-11-26", "220px"),
)


class OptionsTab(Section):
    """Kept designs side by side, and all combinations of a few choices."""

    key, title = "options", "Compare"

    def _begin(self):
        self.pins = Pins(self.panel.prices, self._draw)
        self.job = Job(self._done, refused=self._refused)
        self.job.bar.layout.width = "260px"
        self.job.words.add_class("gt-options-words")
        self._then = None
        self.combinations = Combinations(self.panel, self.pins, self.work, self.refuse)

    @property
    def options(self):
        """Kept designs, in order."""
        return self.pins.options

    @property
    def kept(self):
        """Names and scenarios of what is kept."""
        return self.pins.kept

    @property
    def words(self):
        """The line of words."""
        return self.job.words

    def _make(self):
        narrow = dict(description_width="50px")
        self.name = w.Text("A", description="Name", layout={"width": "260px"}, style=narrow)
        self.chosen = w.Dropdown(description="Kept", layout={"width": "240px"}, style=narrow)
        self.pin_button = _button("Keep this design", "140px", self.pin)
        self.show_button = _button("Go on from it", "110px", self.show)
        self.drop_button = _button("Remove it", "100px", self.drop)
        self.trace_button = _button("All rays for all", "130px", self.trace)
        self.reason = w.Text(description="Reason", layout={"width": "330px"}, style=narrow)
        self.reason.placeholder = "why this one, in your own words"
        self.file_button = _button("Put it on file", "130px", lambda: self.put_on_file(False))
        self.file_button.tooltip = ON_FILE
        again = _button("Replace the files", "140px", lambda: self._write_again())
        again.layout.display = HIDDEN
        self.replace_button = again
        self._make_writers()
        self.job.starts_with(self.trace_button, *self.writers, *self.combinations.starters)
        self.table, self.stand = w.HTML(), w.VBox(layout={"width": "100%"})
        self._draw()
        pinned = [self.name, self.pin_button, self.chosen, self.show_button, self.drop_button]
        work = [self.trace_button, again, self.job.halt, self.job.bar]
        on_file = [self.reason, self.file_button, self.with_sound]
        papers = [*on_file, *self.letter_words, *self.writers[1:]]
        return w.VBox(
            [
                w.HTML(quiet(ABOUT)),
                w.HBox([*pinned, *work], layout={"flex_flow": "row wrap"}),
                w.HBox(papers, layout={"flex_flow": "row wrap"}),
                self.job.words,
                self.job.error,
                self.table,
                self.stand,
                self.combinations.box,
            ]
        )

    def _make_writers(self):
        """What goes with the record, and buttons of letter and specification with its words."""
        self.letter_button = _button("Write the letter", "130px", lambda: self.write_letter(False))
        self.letter_button.tooltip = TO_THE_SCHOOL
        own = "Write the specification"
        self.text_button = _button(own, "170px", lambda: self.write_specification(False))
        self.text_button.tooltip = TO_BIDDERS
        self.with_sound = w.Checkbox(description="with sound", indent=False, tooltip=WITH_SOUND)
        self.with_sound.layout.width = "110px"
        self.writers = self.file_button, self.letter_button, self.text_button
        self.letter_words = [
            w.Text(description=words, placeholder=empty, layout={"width": wide})
            for words, empty, wide in LETTER_WORDS
        ]

    # ---- what is shown

    def _render(self, state, answer):
        self.combinations.render(state, answer)
        self._enable()

    def redraw(self):
        """Draw lines and maps anew."""
        self.fill(self.panel.state, self.panel.answer)

    def _fill(self, state, answer):
        """Draw lines and maps for the use and the quantity of the picture."""
        if not self.options:
            return
        results = []
        for o in self.options:
            use = state.use if state.use in [u.name for u in o.scenario.uses] else None
            results.append(evaluate(o.scenario, use, rays=o.rays))
        missing = [r for r in results if missing_quantity(r, state.quantity)]
        quantity = shown_quantity(missing[0] if missing else results[0], state.quantity)
        views = [scene.View(result=r, quantity=quantity, units=state.units) for r in results]
        behind = [headlines(r) for r in self.combinations.sure]
        figure = options_chart.figure(self.options, views, behind)
        show_only(self.stand, [FigureFrame(figure)])

    def reprice(self):
        """Price what is kept anew; what is under way is given up; see ``Section.reprice``."""
        self.job.discard()
        self.combinations.reprice()
        self._enable()
        try:
            self.pins.reprice()
        except ValueError as error:
            self.refuse(error)
        else:
            self.restore(self.pins.waiting)

    def _draw(self):
        names = self.pins.names
        kept = self.chosen.value if self.chosen.value in names else (names[-1] if names else None)
        self.chosen.options = names
        self.chosen.value = kept
        self._enable()
        if not names:
            nothing = '<p class="quiet">No design is kept yet.</p>'
            self.table.value = tables.card(nothing)
            show_only(self.stand, [])
            return
        self.table.value = tables.card(
            tables.options_table(self.options, self.options[0], noun="kept design")
        )
        self.redraw()

    def _enable(self):
        """Buttons rest where there is nothing for them to do."""
        nothing, possible = not self.options, self.panel.answer.possible
        self.pin_button.disabled = not possible
        self.show_button.disabled = nothing or not possible
        self.drop_button.disabled = nothing
        for button in (self.trace_button, *self.writers):
            button.disabled = nothing or self.job.running
        self.combinations.enable(self.job.running or not possible)

    # ---- keeping

    def pin(self):
        """Keep the present design under the name that is given."""
        self.keep(self.name.value.strip())

    def keep(self, name):
        """Keep the present state under a name.

        Parameters
        ----------
        name : str
            Of its own

        Returns
        -------
        refusal : str
            Why it was not kept; empty where it was
        """
        try:
            self.pins.keep(name, self.panel.state.scenario, self.panel.answer.rays)
        except ValueError as error:
            self.refuse(error)
            return str(error)
        self.name.value = self.pins.free_letter
        self._say(f"Kept as {escape(name)}.")
        return ""

    def show(self):
        """Go on from the chosen design."""
        name = self.chosen.value
        if name is not None:
            self.go_on_from(self.pins.one(name))

    def go_on_from(self, kept):
        """Go on from a kept design, as a step of the history.

        Parameters
        ----------
        kept : Option
            One of those that are kept
        """
        new = {"start": kept.scenario}
        if kept.scenario.name != self.panel.start.name:  # kept before another school was opened
            new |= {"file": "", "file_units": kept.scenario.units}
        self.panel.update(**new)
        self._say(f"The controls and the picture show {escape(kept.name)}.")

    def drop(self):
        """Remove the chosen design."""
        name = self.chosen.value
        if name is not None:
            self.pins.drop(name)
            self._say(f"Removed {escape(name)}.")

    # ---- work in a thread

    def restore(self, designs):
        """Keep the designs of an earlier meeting beside those of this one.

        Parameters
        ----------
        designs : list of tuple
            Names and scenarios
        """
        room = MOST - len(self.options)
        fresh = [d for d in designs if d[0] not in self.pins.names]
        self.pins.wait_for(fresh[:room])
        if not self.pins.waiting:
            return
        try:
            book = self.panel.prices.book
        except ValueError as error:
            self.refuse(error)
            return
        waiting = list(self.pins.waiting)

        def work(tell, stop):
            done = []
            for k, (name, scenario) in enumerate(waiting):
                if stop():
                    break
                own = timed_parts(parts(scenario, prices=book, rays="few"))
                done.append(option(name, scenario, rays="few", prices=book, made=own))
                tell(k + 1, len(waiting))
            return done

        def then(found):
            self.pins.waiting = waiting[len(found) :]
            self.pins.take([*self.options, *found])
            self.name.value = self.pins.free_letter

        self.work("Evaluating the designs that were kept.", work, then)

    def trace(self):
        """Judge every kept design with all rays, in all uses."""
        pinned = list(self.options)
        if not pinned:
            return
        try:
            book = self.panel.prices.book
        except ValueError as error:
            self.refuse(error)
            return

        def work(tell, stop):
            done = []
            for k, o in enumerate(pinned):
                if stop():
                    break
                own = timed_parts(parts(o.scenario, prices=book))
                done.append((o, option(o.name, o.scenario, prices=book, made=own)))
                tell(k + 1, len(pinned))
            return done

        def then(found):
            self.pins.swap(found)
            sure = all(o.rays == "full" for o in self.options)
            some = "All rays have been followed for some of them, not for all."
            self._say("All rays have been followed." if sure else some)

        self.work("Following all rays of every kept design in every use.", work, then)

    def put_on_file(self, overwrite):
        """Write the decision record: the chosen option against the others, with all schedules and
        drawings.

        Parameters
        ----------
        overwrite : bool
            Whether files of an earlier time may be replaced
        """
        if not self.options:
            return
        try:
            prices = self.panel.prices.book
        except ValueError as error:
            self.refuse(error)
            return
        options, chosen = {o.name: o.scenario for o in self.options}, self.chosen.value
        folder, name = self.panel.folder, folder_name(options[chosen])
        heard = self.panel.state.use if self.with_sound.value else ""
        issue = Issue(reason=self.reason.value, heard=heard)

        def work(tell, stop):
            if not overwrite:  # before the minutes that it takes
                refuse_existing(folder / name)
            decision = decide(options, chosen, prices=prices, progress=tell, stop=stop)
            if decision is None or stop():  # the last moment: a record is written whole
                return None
            return write_record(decision, folder, overwrite=overwrite, issue=issue)

        def then(paths):
            if paths is None:
                self._say("Stopped. Nothing was written.")
                return
            where = escape(with_folder(paths[0].parent))
            kept = escape(revisions_sentence(paths[0].parent))
            self._say(f"{len(paths)} files are in {where}; open record.html in any browser. {kept}")

        self._write_again = lambda: self.put_on_file(True)
        self.replace_button.layout.display = HIDDEN
        words = (
            f"Writing the record with {chosen} chosen. All rays are followed in every use of every"
            " kept design."
        )
        self.work(words, work, then)

    def write_letter(self, overwrite):
        """Write the letter to the school: the chosen option against the first others that are kept.

        Parameters
        ----------
        overwrite : bool
            Whether files of an earlier time may be replaced
        """
        if not self.options:
            return
        recipient, day = (box.value.strip() for box in self.letter_words)
        reason = self.reason.value.strip()
        try:
            prices, date = self.panel.prices.book, datetime.date.fromisoformat(day) if day else None
        except ValueError as error:
            self.refuse(error if self.panel.prices.refusal else NO_DAY)
            return
        chosen, folder = self.chosen.value, self.panel.folder
        others = [o for o in self.options if o.name != chosen][: MOST_OPTIONS - 1]
        options = {o.name: o.scenario for o in (self.pins.one(chosen), *others)}
        given = dict(recipient=recipient, reason=reason, date=date)

        def work(tell, stop):
            if not overwrite:  # before the time that it takes
                refuse_existing(folder / folder_name(options[chosen], "letter"))
            offered = offer(options, chosen, prices=prices, progress=tell, stop=stop)
            if offered is None or stop():
                return None
            return write_letter(offered, folder, overwrite=overwrite, **given)

        self._write_again = lambda: self.write_letter(True)
        self.replace_button.layout.display = HIDDEN
        against = f" against {escape(', '.join(o.name for o in others))}" if others else ""
        words = f"Writing the letter: {escape(chosen)}{against}. All rays are followed."
        own = "" if reason or not others else f" {PROPOSED_REASON}"
        self.work(words, work, lambda paths: self._written(paths, f"{LETTER_THERE}{own}"))

    def write_specification(self, overwrite):
        """Write the specification of the chosen option, with the date of the box beside it.

        Parameters
        ----------
        overwrite : bool
            Whether files of an earlier time may be replaced
        """
        if not self.options:
            return
        day = self.letter_words[1].value.strip()
        try:
            prices, date = self.panel.prices.book, datetime.date.fromisoformat(day) if day else None
        except ValueError as error:
            self.refuse(error if self.panel.prices.refusal else NO_DAY)
            return
        chosen, folder = self.pins.one(self.chosen.value), self.panel.folder

        def work(tell, stop):
            if not overwrite:  # before the time that it takes
                refuse_existing(folder / folder_name(chosen.scenario, "specification"))
            made = parts(chosen.scenario, prices=prices, progress=tell, stop=stop)
            if made is None or stop():
                return None
            return write_specification(made, folder, overwrite=overwrite, date=date)

        def then(paths):
            self._written(paths, "The specification is in {}: specification.html and .docx.")

        self._write_again = lambda: self.write_specification(True)
        self.replace_button.layout.display = HIDDEN
        words = f"Writing the specification of {escape(chosen.name)}. All rays are followed."
        self.work(words, work, then)

    def _written(self, paths, words):
        """Say where the files are."""
        if paths is None:
            self._say("Stopped. Nothing was written.")
            return
        where = escape(with_folder(paths[0].parent))
        kept = escape(revisions_sentence(paths[0].parent))
        self._say(f"{words.format(where)} {kept}")

    def work(self, words, work, then):
        """Begin work in a thread; nothing happens while other work is under way.

        Parameters
        ----------
        words : str
            What is said meanwhile
        work : callable
            For ``Job.start``
        then : callable
            Called with what it returns
        """
        if not self.job.running:
            self._then = then
            self.job.start(work, words)

    def refuse(self, error):
        """Say a refusal.

        Parameters
        ----------
        error : Exception
            What was refused
        """
        self._say(not_possible(error))

    def _say(self, words):
        self.job.words.value = quiet(words)

    def _done(self, found):
        self._say("")
        self._enable()
        self._then(found)

    def _refused(self, error):
        self._enable()
        exists = isinstance(error, FileExistsError)
        self.replace_button.layout.display = SHOWN if exists else HIDDEN
        self.refuse(error)


def _button(words, width, act):
    button = w.Button(description=words, layout={"width": width})
    button.on_click(lambda _: act())
    return button
