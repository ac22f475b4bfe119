"""The form: five answers that every school begins with, and behind folds all a file can say."""

from html import escape

import ipywidgets as w

from ...venue import files
from ...venue.microphones import MICROPHONE_TYPES
from ...venue.new_school import kinds_of
from ...venue.questions import Question, first_questions, questions_of
from ...venue.seating import FloorSeats
from ...venue.usual import made_of
from .answers import Answer, answer

# folds of the form: heading, and the tables that they ask about
FOLDS = (
    ("Gym, finishes and air", ("hall", "air")),
    ("Court", ("", "side_courts")),
    ("Bleachers", ("banks",)),
    ("Chairs and stages", ("floor_seats", "stage", "portable_stages")),
    ("Balconies and running track", ("balconies", "tracks")),
    ("What hangs and stands in the gym", ("fixtures",)),
    ("Divider", ("divider",)),
    ("Panels and padding by area", ("treatments",)),
    ("What the school does there", ("uses",)),
    ("Microphones", ("microphones",)),
    ("Targets", ("targets",)),
)
THINGS = {  # what the things of a table are called
    "side_courts": "side court",
    "banks": "bank of bleachers",
    "floor_seats": "block of chairs",
    "stage": "built-in stage",
    "portable_stages": "portable stage",
    "balconies": "balcony or gallery",
    "tracks": "running track",
    "fixtures": "thing",
    "divider": "curtain",
    "treatments": "treatment",
    "uses": "use",
    "microphones": "microphone",
    "targets": "targets of its own",
}
CHAIRS = Question(key="chairs", label="Chairs in all", unit="count", low=1, high=20000)


class FormSection:
    """The first step of the page.

    Parameters
    ----------
    page : NewSchoolPage
        Holds the school
    """

    title = "The school"

    def __init__(self, page):
        self.page = page
        self.first = First(self)
        self.folds = [Fold(self, heading, tables) for heading, tables in FOLDS]
        self.accordion = w.Accordion([fold.box for fold in self.folds], selected_index=None)
        self.accordion.observe(lambda _: self.show(), names="selected_index")
        self.box = w.VBox([self.first.box, self.accordion])
        self.box.add_class("gt-form")

    def show(self):
        """Show the school: the first questions, and the fold that is open."""
        school = self.page.school
        self.first.show(school)
        self.accordion.layout.display = "none" if school.missing else ""
        assumed = school.assumed
        faults = {fault.name for fault in self.page.faults}
        for number, fold in enumerate(self.folds):
            words = fold.words(school, assumed, faults)
            if self.accordion.titles[number : number + 1] != (words,):
                self.accordion.set_title(number, words)
        opened = self.accordion.selected_index
        if opened is not None and not school.missing:
            self.folds[opened].show(school)

    def answers(self):
        """Rows that stand on the page, by key; for scripts and tests.

        Returns
        -------
        rows : dict of Answer
            Of the first questions and of the fold that is open
        """
        rows = dict(self.first.rows)
        if self.accordion.selected_index is not None:
            rows |= self.folds[self.accordion.selected_index].rows
        return rows

    def open(self, table):
        """Open the fold that asks about a table.

        Parameters
        ----------
        table : str
            Of the file
        """
        number = next(n for n, (_, tables) in enumerate(FOLDS) if table in tables)
        self.accordion.selected_index = number
        self.show()

    def options(self, question):
        """Names that a question may be answered with, as the school is.

        Parameters
        ----------
        question : Question
            One whose names are those of the school's things

        Returns
        -------
        names : tuple of str
            Empty where it has a list of its own
        """
        school, field = self.page.school, question.key.rpartition(".")[2]
        if question.unit == "choices" and question.choices:
            return question.choices
        stages = (*(["stage"] if school.things("stage") else []), *school.things("portable_stages"))
        found = {
            "closed": school.things("banks"),
            "pulled_out": school.things("banks"),
            "set_up": (*school.things("floor_seats"), *school.things("portable_stages"))
            + tuple(n for n in school.things("fixtures") if school.value(f"fixtures.{n}.movable")),
            "microphones": school.things("microphones"),
            "beside": school.things("uses"),
            "on": ("floor", *stages),
            "walks": ("court", "floor", *stages, *school.things("side_courts")),
            "listens": self._areas(),
            "occupied": tuple(n for n in self._areas() if not n.startswith("court")),
        }
        return found.get(field, ())

    def _areas(self):
        """Audience areas that the school has in some use."""
        school = self.page.school
        seats = (*school.things("banks"), *school.things("floor_seats"))
        seats += tuple(n for n in school.things("balconies"))
        halves = ()
        if school.things("divider"):
            along = school.value("divider.y") is not None
            halves = ("court south", "court north") if along else ("court west", "court east")
        tracks = tuple(
            f"{name} {side}"
            for name in school.things("tracks")
            if school.value(f"tracks.{name}.people")
            for side in school.value(f"tracks.{name}.sides") or ()
        )
        return (*seats, *school.things("side_courts"), "court", *halves, *tracks)


class Chairs(Answer):
    """Row that asks how many chairs there are; rows of equal length hold some more than asked."""

    def _say(self, school, state):
        super()._say(school, state)
        blocks = [made_of(FloorSeats, table) for table in school.tables.get("floor_seats", ())]
        said = [
            f"{block.seats:,} seats: {block.rows} rows of {block.seats_in_row}"
            for block in blocks
            if block is not None
        ]
        self.said.value = escape("; ".join(said)) or self.said.value


class First:
    """What every school begins with.

    Parameters
    ----------
    form : FormSection
        Holds the page
    """

    def __init__(self, form):
        self.form = form
        self.rows = {q.key: answer(form, q) for q in first_questions()}
        self.note = w.HTML()
        self.box = w.VBox([self.note, *(row.box for row in self.rows.values())])
        self.box.add_class("gt-first")

    def show(self, school):
        """Show the answers.

        Parameters
        ----------
        school : NewSchool
            Of the page
        """
        left = len(school.missing)
        words = "Five answers, then the gym is drawn; all else is assumed until you confirm it."
        if school.copied is not None:
            words = "Every value is that of the file until you change it; what is assumed says so."
        elif not left:
            words = "The gym is drawn. Open what you know better; the rest stays assumed."
        elif left < 5:
            words = f"{left} more answer{'s' if left > 1 else ''}, then the gym is drawn."
        self.note.value = f"<b>{words}</b>"
        for key, row in self.rows.items():
            row.box.layout.display = "none" if school.copied is not None and "." not in key else ""
            row.show(school)


class Fold:
    """Questions about some tables of the file, made when they are first opened.

    Parameters
    ----------
    form : FormSection
        Holds the page
    heading : str
        Of the fold
    tables : tuple of str
        That it asks about
    """

    def __init__(self, form, heading, tables):
        self.form, self.heading, self.tables = form, heading, tables
        self.box, self.rows = w.VBox(), {}
        self._stands, self._opened = None, set()

    def words(self, school, assumed, faults):
        """Heading, with how much is assumed and whether something does not fit.

        Parameters
        ----------
        school : NewSchool
            Of the page
        assumed : sequence of str
            Its assumed keys
        faults : set of str
            Names of what does not fit

        Returns
        -------
        words : str
            "Bleachers: 2, 12 values assumed"
        """
        if school.missing:
            return self.heading
        names = [n for t in self.tables if t and t not in ("hall", "air") for n in school.things(t)]
        own = [key for key in assumed if self._is_own(key)]
        parts = []
        if len(self.tables) > 1 or self.tables[0] in files.MANY:
            parts += [str(len(names))] if self.tables[0] not in ("hall", "") and names else []
        parts += [f"{len(own)} assumed"] if own else []
        if any(name in faults for name in [*names, *(t for t in self.tables if t in files.ONE)]):
            parts.append("does not fit")
        return f"{self.heading}: {', '.join(parts)}" if parts else self.heading

    def _is_own(self, key):
        table, _, rest = key.partition(".")
        return (table if rest else "") in self.tables

    def show(self, school):
        """Show what stands; rows are made anew where things were added or left out.

        Parameters
        ----------
        school : NewSchool
            Of the page
        """
        if self._stands is None:  # what is looked at first stands open
            table = next((t for t in self.tables if t and school.things(t)), "")
            self._opened |= {(table, name) for name in school.things(table)[:1] if table}
        stands = self._present(school)
        if stands != self._stands:
            self._stands = stands
            self._build(school)
        for row in self.rows.values():
            row.show(school)

    def _present(self, school):
        """What decides which rows there are."""
        things = tuple((table, school.things(table)) for table in self.tables if table)
        named = ()
        if self.tables == ("uses",) or self.tables == ("microphones",):
            beside = ("banks", "floor_seats", "balconies", "portable_stages", "fixtures", "divider")
            named = tuple((t, school.things(t)) for t in (*beside, "microphones", "uses", "tracks"))
        return things, named, frozenset(self._opened)

    def _build(self, school):
        """Rows of every thing, and what can be added."""
        self.rows, parts = {}, []
        for table in self.tables:
            if table in ("hall", "air", ""):
                heading = {"air": "Air", "": ""}.get(table, "")
                parts += [w.HTML(f"<b>{heading}</b>")] if heading else []
                parts += self._questions(table, "")
                continue
            if table == "floor_seats":
                row = self.rows["chairs"] = Chairs(self.form, CHAIRS)
                parts.append(row.box)
            for name in school.things(table):
                parts.append(self._thing(table, name))
            adder = self._adder(school, table)
            if adder is not None:
                parts.append(adder)
        self.box.children = tuple(parts)

    def _questions(self, table, name):
        """Boxes of the rows of one thing."""
        taken, made = self.form.first.rows, []
        for question in questions_of(table, name):
            if question.key in taken or question.key == "name":
                continue
            row = answer(self.form, question, self.form.options(question))
            self.rows[question.key] = row
            made.append(row.box)
        return made

    def _thing(self, table, name):
        """A thing with its rows behind a fold of its own."""
        called = name or THINGS[table]
        opened = (table, name) in self._opened
        head = w.ToggleButton(
            value=opened,
            description=f"{'▾' if opened else '▸'} {called}",
            tooltip=f"{'Fold' if opened else 'Unfold'} {called}",
        )
        head.add_class("gt-thing")
        head.observe(lambda change: self._unfold(table, name, change["new"]), names="value")
        gone = w.Button(description="Remove", tooltip=f"Remove {called}", layout={"width": "80px"})
        gone.on_click(lambda _: self._remove(table, name))
        bar = w.HBox([head, gone])
        bar.add_class("gt-thing-bar")
        return w.VBox([bar, *(self._questions(table, name) if opened else [])])

    def _unfold(self, table, name, opened):
        change = self._opened.add if opened else self._opened.discard
        change((table, name))
        self.form.show()

    def _remove(self, table, name):
        page = self.form.page
        self._opened.discard((table, name))
        page.set(page.school.without_thing(table, name))

    def _adder(self, school, table):
        """A list of what can be added, and the button that adds it; None where there is no more."""
        if table in files.ONE and school.things(table):
            return None
        kinds = kinds_of(table) or (THINGS[table],)
        if table == "microphones":
            kinds = tuple(MICROPHONE_TYPES)
        what = w.Dropdown(
            options=kinds,
            description=f"Add a {THINGS[table]}" if table != "targets" else "Add",
            style={"description_width": LABEL_OF_ADDER},
            layout={"width": "400px"},
        )
        button = w.Button(
            description="Add", tooltip=f"Add this {THINGS[table]}", layout={"width": "80px"}
        )
        button.on_click(lambda _: self.add(table, what.value))
        row = w.HBox([what, button])
        row.add_class("gt-adder")
        return row

    def add(self, table, kind):
        """Add a thing and open it.

        Parameters
        ----------
        table : str
            Of the file
        kind : str
            One of its presets
        """
        page = self.form.page
        before = page.school.things(table)
        school = page.school.with_thing(table, kind)
        if table == "microphones":
            name = school.added[-1][1]
            school = school.with_answer(f"microphones.{name}.type", kind)
        new = [name for name in school.things(table) if name not in before]
        self._opened |= {(table, name) for name in new}
        page.set(school)
        self.form.page.say(f"Added: {escape(', '.join(n or THINGS[table] for n in new))}.")


LABEL_OF_ADDER = "170px"
