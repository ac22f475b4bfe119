"""Options as controls: pin what stands, take in all combinations of a few choices, compare, and go
back to one.
"""

import re
from html import escape
from math import prod

import ipywidgets as w

from ...acoustics.evaluate import evaluate
from ...design.decision import decide
from ...design.options import AS_IT_IS, HEADLINES, choices, dominated_by, headlines, option
from ...design.sweeping import sweep, variations
from .. import scene, tables
from ..charts import options as options_chart
from ..documents.handover import folder_name, write_record
from ..jobs import Aside, Fit, LiveFigure
from ..theme import QUIET

MOST = 6  # options that can be compared at a glance
RATE = 7.0  # variations a second on this machine's like, for the estimate that is shown
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
ABOUT = (
    "Pin what stands now, change something, pin again. Figures are of all uses, the weakest counts;"
    " the small maps show the use and the quantity of the picture."
)


class OptionsPanel:
    """Controls of the options; ``box`` is what the page shows.

    Parameters
    ----------
    base : callable
        Gives the scenario as it stands [-]
    looked_at : callable
        Gives use, quantity and units of the picture [-]
    take : callable
        Called with a scenario to go on from [-]
    folder : Path
        Where the table of all combinations is written [-]
    """

    def __init__(self, base, looked_at, take, folder):
        self.base, self.looked_at, self.take, self.folder = base, looked_at, take, folder
        self.options, self.rows, self.axes = [], [], {}
        self.aside, self._then = Aside(self._told, self._done, self._failed), None

        def button(words, width, act):
            return self._button(words, width, act)

        self.name = w.Text(
            value="A",
            description="Name",
            layout=w.Layout(width="260px"),
            style=dict(description_width="50px"),
        )
        self.pin_button = button("Pin this state", "130px", self.pin)
        self.trace_button = button("Trace them all", "130px", self.trace)
        self.file_button = button("Put it on file", "130px", lambda: self.put_on_file(False))
        self.file_button.tooltip = (
            "Write the decision record with the chosen option, the others beside it, and all"
            " schedules and drawings"
        )
        self.replace_button = button("Replace the files", "140px", lambda: self.put_on_file(True))
        self.replace_button.layout.display = "none"
        self.chosen = w.Dropdown(
            options=[],
            description="Option",
            layout=w.Layout(width="240px"),
            style=dict(description_width="50px"),
        )
        self.show_button = button("Show it", "90px", self.show)
        self.drop_button = button("Remove it", "100px", self.drop)
        self.words, self.table = w.HTML(), w.HTML()
        self.words.add_class("gt-options-words")
        self.stand, self.lists = w.VBox([], layout=w.Layout(width="100%")), {}
        self.stand.add_class("gt-stand")
        self.find, self.halt = (
            button("Evaluate them all", "150px", self.generate),
            button("Stop here", "110px", self.aside.stop),
        )
        self.best_button = button("Pin the best of them", "170px", self.pin_best)
        self.count, self.bar = (
            w.HTML(),
            w.FloatProgress(min=0, max=1, layout=w.Layout(width="260px", visibility="hidden")),
        )
        self.found = w.HTML()
        self._many = w.HBox([], layout=w.Layout(flex_flow="row wrap"))
        generated = w.Accordion(
            [
                w.VBox(
                    [
                        self._many,
                        w.HBox([self.find, self.halt, self.best_button, self.count]),
                        self.found,
                    ]
                )
            ],
            selected_index=None,
        )
        generated.set_title(0, "All combinations of a few choices")
        generated.observe(
            lambda change: self.offer() if change["new"] == 0 else None, names="selected_index"
        )
        self.generated = generated
        hint = w.HTML(f'<span style="color:{QUIET}">{ABOUT}</span>')
        self.box = w.VBox(
            [
                hint,
                w.HBox(
                    [
                        self.name,
                        self.pin_button,
                        self.chosen,
                        self.show_button,
                        self.drop_button,
                        self.trace_button,
                        self.file_button,
                        self.replace_button,
                        self.bar,
                    ]
                ),
                self.words,
                self.aside.error,
                self.table,
                self.stand,
                generated,
            ]
        )
        self._draw()

    def _button(self, words, width, act):
        made = w.Button(description=words, layout=w.Layout(width=width))
        made.on_click(lambda _: act())
        return made

    def _say(self, words):
        self.words.value = f'<span style="color:{QUIET}">{words}</span>' if words else ""

    # ---- pinned options
    # -----------------------------------------------------------------------------------

    def pin(self):
        """Keep the present state as an option."""
        try:
            self._keep(self.name.value.strip(), self.base())
        except ValueError as error:
            self._say(f"<b>Not possible:</b> {escape(str(error))}")

    def _keep(self, name, scenario):
        if not name:
            raise ValueError("an option needs a name. Give it one, or a letter.")
        if name in [o.name for o in self.options]:
            raise ValueError(f"there is an option '{name}'. Give another name, or remove it first.")
        if len(self.options) >= MOST:
            raise ValueError(
                f"{MOST} options are as many as can be compared at a glance. Remove one first."
            )
        self._take([*self.options, option(name, scenario)])
        taken = {o.name for o in self.options}
        self.name.value = next((letter for letter in LETTERS if letter not in taken), "")
        self._say(f"Pinned as {escape(name)}.")

    def _take(self, options):
        """Have these options from now on; when they cannot be drawn everything stays as it was."""
        before, self.options = self.options, options
        try:
            self._draw()
        except Exception:
            self.options = before
            raise

    def show(self):
        """Go on from the chosen option."""
        if self.chosen.value is not None:
            self.take(self._one().scenario)
            self._say(f"The controls and the picture show {escape(self.chosen.value)}.")

    def drop(self):
        """Remove the chosen option."""
        if self.chosen.value is not None:
            name = self.chosen.value
            gone = self._one()
            self._take([o for o in self.options if o is not gone])
            self._say(f"Removed {escape(name)}.")

    def trace(self):
        """Judge every option in the traced room, in all uses."""
        if self.aside.running or not self.options:
            return
        kept = list(self.options)

        def work(tell, stop):
            done = []
            for k, o in enumerate(kept):
                if stop():
                    break
                done.append((o, option(o.name, o.scenario, room="traced")))
                tell(k + 1, len(kept))
            return done

        def then(found):
            # one that was removed meanwhile, or pinned anew under its name, is another
            anew = {id(old): new for old, new in found}
            self._take([anew.get(id(o), o) for o in self.options])
            self._say(
                "Figures are of the traced room."
                if all(o.room == "traced" for o in self.options)
                else "Some of them are traced now, not all."
            )

        self._start("Tracing every option in every use.", work, then)

    def put_on_file(self, overwrite):
        """Write the decision record: the chosen option against the others, with all schedules and
        drawings.

        Parameters
        ----------
        overwrite : bool
            Whether files of an earlier time may be replaced [-]
        """
        if self.aside.running or not self.options:
            return
        options, chosen, folder = (
            {o.name: o.scenario for o in self.options},
            self.chosen.value,
            self.folder,
        )

        def work(tell, stop):
            if (folder / folder_name(options[chosen])).exists() and not overwrite:
                raise FileExistsError(
                    f"the folder {folder_name(options[chosen])} exists. Say that its files may be"
                    " replaced, or move it away."
                )
            decision = decide(options, chosen, progress=lambda share: tell(share, 1))
            return write_record(decision, folder, overwrite=overwrite)

        self.replace_button.layout.display = "none"
        words = (
            f"Writing the record with {escape(chosen)} chosen; the room is traced in every use of"
            " every option, which takes a minute or two."
        )
        self._start(
            words,
            work,
            lambda found: self._say(
                f"{len(found)} files are in {escape(found[0].parent.name)}; open record.html in any"
                " browser."
            ),
        )

    def _one(self):
        return next(o for o in self.options if o.name == self.chosen.value)

    def _draw(self):
        names = [o.name for o in self.options]
        kept = self.chosen.value if self.chosen.value in names else (names[-1] if names else None)
        self.chosen.options = names
        self.chosen.value = kept
        for button in (self.show_button, self.drop_button, self.trace_button, self.file_button):
            button.disabled = not names
        self.best_button.disabled = not self.rows
        if not names:
            self.table.value, self.stand.children = (
                tables.card('<p class="quiet">Nothing is pinned yet.</p>'),
                [],
            )
            return
        self.table.value = tables.card(tables.options_table(self.options, self.options[0]))
        self.redraw()

    def redraw(self):
        """Draw lines and maps anew, for the use and the quantity of the picture."""
        if not self.options:
            return
        use, quantity, units = self.looked_at()

        def known(s):
            return use if use in [u.name for u in s.uses] else s.uses[0].name

        results = [
            evaluate(o.scenario, known(o.scenario), follow_echoes=False) for o in self.options
        ]
        if quantity == "image_shift" and any(r.image_shift_deg is None for r in results):
            quantity = "speech"
        views = [scene.View(result=r, quantity=quantity, units=units) for r in results]
        behind = [headlines(r) for r in self.rows if not r["refused"]]
        self.stand.children = [LiveFigure(options_chart.figure(self.options, views, behind)), Fit()]

    # ---- all combinations
    # -----------------------------------------------------------------------------------

    def offer(self):
        """Fill the lists of choices for the scenario as it stands."""
        try:
            self.axes = choices(self.base())
        except ValueError as error:
            self._say(f"<b>Not possible:</b> {escape(str(error))}")
            return
        chosen, self.lists = {axis: box.index for axis, box in self.lists.items()}, {}
        for axis, words in self.axes.items():
            box = w.SelectMultiple(
                options=list(words),
                value=[AS_IT_IS],
                rows=8,
                layout=w.Layout(width="330px" if axis == "arrangement" else "210px"),
            )
            box.observe(lambda _: self._counted(), names="value")
            box.index = chosen.get(axis, (0,))
            self.lists[axis] = box
        self._many.children = [
            w.VBox([w.HTML(f"<b>{axis[0].upper() + axis[1:]}</b> (several: hold Ctrl)"), box])
            for axis, box in self.lists.items()
        ]
        self._counted()

    def offer_again(self):
        """Say the choices in other units; what was chosen stays chosen."""
        if self.lists:
            self.offer()

    def _counted(self):
        count = prod(len(box.value) for box in self.lists.values())
        self.count.value = (
            f"{count} combinations, about {max(count / RATE, 1):.0f} s"
            if count
            else "Choose at least one in every list."
        )
        self.find.disabled, self.halt.disabled = (
            count == 0 or self.aside.running,
            not self.aside.running,
        )

    def generate(self):
        """Evaluate all combinations of what is chosen, into a table in the folder."""
        if self.aside.running or not self.lists:
            return
        try:
            scenario = self.base()
        except ValueError as error:
            self._say(f"<b>Not possible:</b> {escape(str(error))}")
            return
        offered = {axis: list(found.items()) for axis, found in choices(scenario).items()}
        self.axes = {
            axis: dict(offered[axis][k] for k in box.index) for axis, box in self.lists.items()
        }
        school = re.sub(r"[^a-z0-9]+", "-", scenario.name.lower()).strip("-") or "school"
        axes, file = self.axes, self.folder / f"{school}-combinations.csv"
        self._swept = scenario

        def work(tell, stop):
            return sweep(scenario, axes, file=file, progress=tell, stop=stop)

        def then(rows):
            self.rows = rows
            self.found.value = tables.card(self._summary(file.name))
            self._draw()

        self.found.value = ""
        self._start("Evaluating; every row is written as soon as it is there.", work, then)

    def pin_best(self):
        """Pin those combinations that nothing beats in everything, the best of them first, as many
        as there is room for.
        """
        made = {
            tuple(words.values()): scenario
            for words, scenario in variations(self._swept, self.axes)
        }
        for row in self._best():
            words = [row[axis] for axis in self.axes]
            name = ", ".join(word for word in words if word != AS_IT_IS) or AS_IT_IS
            if len(self.options) < MOST and name not in [o.name for o in self.options]:
                self._keep(name, made[tuple(words)])

    def _best(self):
        """Rows that nothing beats, by score."""
        heads = {r["key"]: headlines(r) for r in self.rows if not r["refused"]}
        free = [
            r
            for r in self.rows
            if not r["refused"]
            and not dominated_by(heads[r["key"]], {k: h for k, h in heads.items() if k != r["key"]})
        ]
        return sorted(free, key=lambda r: r["penalty"])

    # ---- work beside the page
    # -----------------------------------------------------------------------------------

    def _run(self, running):
        self.bar.layout.visibility, self.bar.value = ("visible" if running else "hidden"), 0.0
        self.find.disabled, self.halt.disabled = running, not running
        self.trace_button.disabled = self.file_button.disabled = running or not self.options

    def _told(self, done, whole):
        self.bar.value = done / whole

    def _start(self, words, work, then):
        """Begin work beside the page; ``then`` is called with what it returns."""
        self._run(True)
        self._say(words)
        self._then = then
        self.aside.start(work)

    def _done(self, found):
        self._run(False)
        self._say("")
        self._then(found)

    def _failed(self, error):
        self._run(False)
        self.replace_button.layout.display = (
            "inline-flex" if isinstance(error, FileExistsError) else "none"
        )
        self._say(f"<b>Not possible:</b> {escape(str(error))}")

    def _summary(self, name):
        refused = [r for r in self.rows if r["refused"]]
        whole = prod(len(c) for c in self.axes.values())
        best = self._best()[:8]
        words = (
            f"<p>{len(self.rows)} of {whole} combinations are in {escape(name)}; {len(refused)} of"
            " them cannot be"
        )
        words += f", e.g. {escape(refused[0]['refused'])}" if refused else ""
        head = "".join(f"<th>{escape(axis)}</th>" for axis in self.axes) + "".join(
            f'<th class="num">{escape(h.words)}</th>' for h in HEADLINES
        )
        rows = ""
        for r in best:
            figures = headlines(r)
            rows += (
                "<tr>"
                + "".join(f"<td>{escape(r[a])}</td>" for a in self.axes)
                + "".join(f'<td class="num">{h.text(figures[h.key])}</td>' for h in HEADLINES)
                + "</tr>"
            )
        return (
            f"{words}.</p><table><caption>Beaten by nothing in everything, the best"
            f" first</caption><tr>{head}</tr>{rows}</table>"
        )
