"""A school that is being written down: what is known of it, and what is assumed until then.

The answers are the truth; the file, the drawing and the count of seats follow from them.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType

from . import files
from .arguments import one_of
from .new_text import tables_of, written
from .presets import presets
from .quantity import file_fields
from .questions import (
    NOT_SURE,
    REQUIRED,
    first_questions,
    key_of,
    parts_of,
    questions_of,
)
from .texts import check_name
from .units import UNITS, length_text
from .usual import LEVELS, Usual, fitting
from .usual_uses import CHAIRS, PLATFORM, halves, microphones_of, needs, use_table
from .validation import PARTS

COURT = ("court", "court_x", "court_y", "court_turned")
ALWAYS = ("hall", "air")  # tables that every school is asked about
# tables in which things can be added or left out
CHANGEABLE = (
    *("side_courts", "banks", "floor_seats", "stage", "portable_stages", "balconies", "tracks"),
    *("fixtures", "divider", "treatments", "microphones", "uses", "targets"),
)
# of an assumed thing, what it is called or whom it names is no assumption about the gym
NAMES = ("name", "kind", "listens", "closed", "set_up", "microphones", "beside", "divided")
# a gym that is drawn until there is one    common practice, no source
EXAMPLE = {
    "hall.length": 33.0,
    "hall.width": 26.0,
    "hall.clear_height": 8.0,
    "walls": ("north", "south"),
    "rows": 8,
}
SOURCE = "answered in the form of a new school; what is assumed is listed"


@dataclass(frozen=True, kw_only=True)
class NewSchool:
    """A school of which little or much is known.

    Parameters
    ----------
    name : str
        Of the school
    units : str
        "m" or "ft"
    answers : dict
        What somebody confirmed, by key ("hall.length", "banks.north bank.rows", "walls"), or "not
        sure" [SI, or the question's unit]
    copied : str, optional
        Text of another school's file, which has all that no answer says
    added : tuple of (table, name, preset)
        Things beside those that the school has of itself
    removed : tuple of (table, name)
        Things that it has not
    source : str
        Where the answers come from
    """

    name: str
    units: str = "ft"
    answers: dict = field(default_factory=dict)
    copied: str | None = None
    added: tuple = ()
    removed: tuple = ()
    source: str = ""

    def __post_init__(self):
        check_name("name", self.name)
        if self.units not in UNITS:
            raise ValueError(f"units = '{self.units}' is unknown. Known: {', '.join(UNITS)}.")
        object.__setattr__(self, "answers", MappingProxyType(dict(self.answers)))

    @classmethod
    def of_text(cls, text, *, name=None):
        """A school of another one's file.

        Parameters
        ----------
        text : str
            TOML
        name : str, optional
            Its new name; that of the file when left out

        Returns
        -------
        school : NewSchool
            Everything that the file says is kept, comments too

        Raises
        ------
        FileRefusal
            A ValueError: the text is no TOML, or says no units and no size of the gym
        """
        tables = tables_of(text)
        called = name if name is not None else str(tables.get("name") or "school")
        return cls(name=called, units=tables["units"], copied=text)

    def with_answer(self, key, value):
        """The school with one more answer.

        Parameters
        ----------
        key : str
            As of a question
        value : any
            Confirmed; "not sure" leaves it assumed; None: there is none [SI, or its unit]

        Returns
        -------
        school : NewSchool
            The same otherwise
        """
        return replace(self, answers={**self.answers, key: value})

    def without(self, key):
        """The school without one answer: it is assumed again.

        Parameters
        ----------
        key : str
            As of a question

        Returns
        -------
        school : NewSchool
            The same otherwise
        """
        return replace(self, answers={k: v for k, v in self.answers.items() if k != key})

    def confirmed(self, key):
        """The school with a value that it has taken as an answer.

        Parameters
        ----------
        key : str
            As of a question

        Returns
        -------
        school : NewSchool
            The same otherwise
        """
        return self.with_answer(key, self.value(key))

    def with_thing(self, table, preset="", name=None):
        """The school with one more thing.

        Parameters
        ----------
        table : str
            Of the file, e.g. "fixtures"
        preset : str
            One of ``presets`` of that table
        name : str, optional
            Its name; the preset's, with a number where that is taken, when left out

        Returns
        -------
        school : NewSchool
            The same otherwise

        Raises
        ------
        ValueError
            There is such a thing already, or no such preset
        """
        if preset and presets(table):
            one_of("preset", preset, presets(table))
        if table in files.ONE:
            name = ""
        elif name is None:
            name = self._free_name(preset or table.rstrip("s").replace("_", " "))
        else:
            check_name("name", name)
        if name in self.things(table):
            raise ValueError(f"there is already a '{name}'." if name else f"there is a {table}.")
        if preset == "two classes" and not self.things("divider"):
            return self.with_thing("divider", "curtain").with_thing(table, preset, name)
        kept = tuple(gone for gone in self.removed if gone != (table, name))
        if kept != self.removed and name in replace(self, removed=kept).things(table):
            return replace(self, removed=kept)
        return replace(self, removed=kept, added=(*self.added, (table, name, preset)))

    def _free_name(self, name):
        """A name that no thing has."""
        taken = {*PARTS, *(n for table in CHANGEABLE for n in self.things(table))}
        numbered = (f"{name} {number}" for number in range(2, 1000))
        return name if name not in taken else next(n for n in numbered if n not in taken)

    def without_thing(self, table, name=""):
        """The school without one of its things; uses no longer name it.

        Parameters
        ----------
        table : str
            Of the file
        name : str
            Of the thing; empty where the file has the table once

        Returns
        -------
        school : NewSchool
            The same otherwise
        """
        stem = key_of(table, name, "")
        answers = {k: v for k, v in self.answers.items() if parts_of(k)[:2] != (table, name)}
        kept = tuple(one for one in self.added if one[:2] != (table, name))
        without = replace(self, answers=answers, added=kept)
        if name in without.things(table) or (not name and stem in without._base):
            return replace(without, removed=(*self.removed, (table, name)))
        return without

    def things(self, table):
        """Names of the things of a table.

        Parameters
        ----------
        table : str
            Of the file

        Returns
        -------
        names : tuple of str
            In order; one empty name where the file has the table once and the school has it
        """
        if table in files.ONE:
            return ("",) if table in ALWAYS or table in self.tables else ()
        return tuple(_names_of(self.tables.get(table, ())))

    @property
    def missing(self):
        """Keys of required answers that nobody has given (tuple of str)."""
        if self.copied is not None:
            return ()
        known = [key for key in REQUIRED if self.answers.get(key) is not None]
        no_bleachers = self.answers.get("walls") == ()
        return tuple(
            key for key in REQUIRED if key not in known and not (key == "rows" and no_bleachers)
        )

    @property
    def example(self):
        """The school with common values for required answers that are missing (NewSchool)."""
        return replace(self, answers={**EXAMPLE, **self.answers})

    @property
    def questions(self):
        """All that can be asked about the school as it is (tuple of Question)."""
        found = list(first_questions()) if self.copied is None else []
        known = {q.key for q in found}
        for table in ("", *ALWAYS, *CHANGEABLE):
            for name in [""] if table in ("", *ALWAYS) else self.things(table):
                found += [q for q in questions_of(table, name) if q.key not in known]
        return tuple(found)

    def value(self, key):
        """Value of a key: what was answered, else what is assumed.

        Parameters
        ----------
        key : str
            As of a question

        Returns
        -------
        value : any
            None where there is none [SI, or the question's unit]
        """
        answer = self.answers.get(key, NOT_SURE)
        if answer is not NOT_SURE and answer != NOT_SURE:
            return answer
        table, name, name_of_field = parts_of(key)
        entry = self._entry(table, name)
        if entry is not None and name_of_field in entry:
            return entry[name_of_field]
        if table:
            kinds = {**files.ONE, **files.MANY}
            known = {f.name: f for f in file_fields(kinds[table])} if table in kinds else {}
            default = known[name_of_field].default if name_of_field in known else None
            return default if isinstance(default, (str, int, float, tuple)) else None
        return {"court_x": 0.0, "court_y": 0.0, "court_turned": False}.get(key)

    def _entry(self, table, name):
        """Table of a thing, None where there is none."""
        if not table:
            return self.tables
        if table in files.ONE:
            return self.tables.get(table)
        names = self.things(table)
        return self.tables[table][names.index(name)] if name in names else None

    def state(self, key):
        """Whether a value is known.

        Parameters
        ----------
        key : str
            As of a question

        Returns
        -------
        state : str
            "confirmed", "not sure", "assumed", or "usual" where the file says nothing of it
        """
        answer = self.answers.get(key)
        if key in self.answers:
            return "not sure" if isinstance(answer, str) and answer == NOT_SURE else "confirmed"
        if key in self._assumable:
            return "assumed"
        table, name, name_of_field = parts_of(key)
        entry = self._entry(table, name)
        there = entry is not None and name_of_field in entry
        if self._said_of_all(key):
            return "confirmed"
        if there and self._is_copied(table, name):
            return "confirmed"
        return "assumed" if there else "usual"

    def _said_of_all(self, key):
        """Answer on all bleachers that a value of one of them follows from; empty where none."""
        table, name, name_of_field = parts_of(key)
        if table != "banks" or self.copied is not None or self._is_added(table, name):
            return ""
        said = {"side": "walls", "rows": "rows"}.get(name_of_field, "")
        return said if said in self.answers else ""

    def _is_added(self, table, name):
        return any(one[:2] == (table, name) for one in self.added)

    def _is_copied(self, table, name):
        """Whether a thing, or what the file has once, stands in the file that was copied."""
        if self.copied is None or self._is_added(table, name):
            return False
        return table not in files.MANY or name in _names_of(self._base.get(table, ()))

    @property
    def assumed(self):
        """Keys of values that nobody has confirmed (tuple of str)."""
        return tuple(key for key in self._assumable if self.state(key) != "confirmed")

    @cached_property
    def _assumable(self):
        """Keys that are assumed unless an answer says them."""
        found = []
        if self.copied is not None:
            listed = self._base.get("assumed", ())
            found += [key for key in listed if isinstance(key, str)]
        for table in ("", *ALWAYS, *CHANGEABLE):
            for name in self.things(table) if table else ("",):
                if not self._is_copied(table, name):
                    found += self._keys_assumed(table, name)
        unsure = [k for k, v in self.answers.items() if isinstance(v, str) and v == NOT_SURE]
        return tuple(dict.fromkeys([*found, *unsure]))

    def _keys_assumed(self, table, name):
        """Keys of a thing that come from the size class or a preset."""
        if table in ("targets", "air"):
            return []
        entry = self._entry(table, name) or {}
        fields = COURT if not table else entry
        keys = [key_of(table, name, f) for f in fields if f in entry and f not in NAMES]
        return [key for key in keys if not self._said_of_all(key)]

    @cached_property
    def _base(self):
        """Tables of the file that was copied, in SI; empty where there is none."""
        return {} if self.copied is None else tables_of(self.copied)

    @cached_property
    def tables(self):
        """Tables of the file (dict) [SI]."""
        if self.missing:
            return {"name": self.name, "units": self.units}
        made = self._copied_tables() if self.copied is not None else self._usual_tables()
        made = {k: v for k, v in made.items() if v and k not in ("name", "units")}
        return {"name": self.name, "units": self.units, **made}

    def _known(self):
        """Answers that say something."""
        return {k: v for k, v in self.answers.items() if not (isinstance(v, str) and v == NOT_SURE)}

    def _usual_tables(self):
        """What follows from the answers and the size class."""
        known = self._known()
        usual = Usual(known, self.units)
        hall = usual.hall()
        banks = [b for b in usual.banks(hall) if ("banks", b["name"]) not in self.removed]
        tables = {"source": self.source or SOURCE}
        for key, value in usual.court({"hall": hall, "banks": banks}).items():
            value = known.get(key, value)
            if value:
                tables[key] = value
        tables["hall"] = hall
        air = usual.table("air", "")
        tables |= {"air": air} if air else {}
        tables["banks"] = banks
        self._add(
            usual, tables, [one for one in self.added if one[0] not in ("uses", "microphones")]
        )
        uses = [(use, use) for use in usual.size.uses if ("uses", use) not in self.removed]
        self._set_out(usual, tables, [preset for _, preset in uses])
        self._add_uses(usual, tables, uses)
        return tables

    def _copied_tables(self):
        """What was copied, with the answers, and things added and left out."""
        known = self._known()
        tables = {key: value for key, value in self._base.items() if key != "assumed"}
        hall = {**tables.get("hall", {}), **_own(known, "hall", "")}
        tables["hall"] = {k: v for k, v in hall.items() if v is not None}
        for key, value in known.items():
            if "." not in key and key not in ("walls", "rows", "chairs"):
                tables[key] = value
        for table in [key for key in files.ONE if key != "hall"]:
            if (table, "") in self.removed:
                tables.pop(table, None)
                continue
            own = _own(known, table, "")
            if own or table in tables:
                merged = {**tables.get(table, {}), **own}
                tables[table] = {k: v for k, v in merged.items() if v is not None}
        for table in files.MANY:
            tables[table] = self._copied_list(table, tables.get(table, ()), known)
        if self.added:
            usual = Usual({**_sizes(tables), **known}, self.units)
            beside = [one for one in self.added if one[0] not in ("uses", "microphones")]
            self._add(usual, tables, beside)
            self._add_uses(usual, tables, [])
        return _without_names(tables, self.removed)

    def _copied_list(self, table, entries, known):
        """Things of a copied file, with answers, without those that are gone."""
        kept = []
        for name, entry in zip(_names_of(entries), entries, strict=True):
            if (table, name) not in self.removed:
                merged = {**entry, **_own(known, table, name)}
                kept.append({k: v for k, v in merged.items() if v is not None})
        return kept

    def _add(self, usual, tables, things):
        """Add things of presets to tables."""
        for table, name, preset in things:
            made = {
                k: v for k, v in usual.thing(table, name, preset, tables).items() if v is not None
            }
            if table in files.ONE:
                tables[table] = made
            else:
                tables[table] = [*tables.get(table, ()), made]
            if table == "treatments":
                made.pop("name", None)

    def _set_out(self, usual, tables, uses):
        """Stages and chairs that the uses need, unless they are left out."""
        added = [preset for table, _, preset in self.added if table == "uses"]
        wanted = needs([*uses, *added], tables)
        if "chairs" in self.answers and self.answers["chairs"]:
            wanted = (*wanted, CHAIRS) if CHAIRS not in wanted else wanted
        for name, table in ((PLATFORM, "portable_stages"), (CHAIRS, "floor_seats")):
            there = any(entry["name"] == name for entry in tables.get(table, ()))
            if name in wanted and not there and (table, name) not in self.removed:
                self._add(usual, tables, [(table, name, name)])

    def _add_uses(self, usual, tables, uses):
        """Uses, and the microphones that they open."""
        for table, name, preset in self.added:
            if table == "uses" and preset == "two classes":
                uses = [*uses, *((half, preset) for half in halves(tables))]
            elif table == "uses":
                uses = [*uses, (name, preset)]
        taken = {use.get("name") for use in tables.get("uses", ())}
        uses = [one for one in dict(uses).items() if one[0] not in taken]
        made = [use_table(usual, name, preset, tables) for name, preset in uses]
        tables["uses"] = [*tables.get("uses", ()), *made]
        there = {m.get("name") for m in tables.get("microphones", ())}
        there |= {name for table, name in self.removed if table == "microphones"}
        found = list(tables.get("microphones", ()))
        for name, preset in uses:
            for called, values in microphones_of(preset, name, tables).items():
                if called not in there:
                    there.add(called)
                    found.append(usual.table("microphones", called, **values))
        for table, name, _ in self.added:
            if table == "microphones" and name not in there:
                found.append(usual.thing(table, name, "", tables))
        tables["microphones"] = found

    @property
    def court_words(self):
        """That the bleachers leave no room for a larger court than the assumed one; empty where
        they do (str).
        """
        if self.missing or self.copied is not None or "court" in self._known():
            return ""
        usual, level = Usual(self._known(), self.units), self.tables["court"]
        hall, banks = self.tables["hall"], self.tables["banks"]
        larger = LEVELS[: LEVELS.index(level)][-1:]
        left = usual.free_floor({"hall": hall, "banks": banks})
        without = usual.free_floor({"hall": hall})
        if any(fitting(left, larger)) or not any(fitting(without, larger)):
            return ""
        found = []
        for key, sides, low, high in (
            ("width", {"north", "south"}, *left[2:]),
            ("length", {"east", "west"}, *left[:2]),
        ):
            there = {bank["side"] for bank in banks} & sides
            if there and high - low < hall[key]:
                where = "between the banks" if there == sides else f"beside the {min(there)} bank"
                free = length_text(high - low, self.units).removesuffix(" 0 in")
                found.append(f"{free} are left {where}")
        return f"Court assumed: {level}, since {' and '.join(found)}."

    @cached_property
    def text(self):
        """Text of its file; without required answers only what is known."""
        listed = {"assumed": list(self.assumed)} if self.assumed else {}
        return written({**_first(self.tables), **listed, **self.tables}, self.units, self.copied)

    def draft(self, use=None):
        """The gym as far as it can be drawn, and all that does not fit.

        Parameters
        ----------
        use : str, optional
            Use whose seats and stages stand; everything stands when left out

        Returns
        -------
        configuration : HallConfiguration or None
            None while required answers are missing
        faults : list of Fault
            With the name of each thing
        """
        if self.missing:
            return None, []
        return files.draft(self.text, self.name, use=use)


def _names_of(entries):
    """Names of tables, as keys have them."""
    return [str(e.get("name") or key_of_treatment(entries, n)) for n, e in enumerate(entries)]


def key_of_treatment(entries, number):
    """What a treatment is called: its surface, and which of several.

    Parameters
    ----------
    entries : sequence of dict
        Tables of all treatments
    number : int
        Which of them, from 0 [-]

    Returns
    -------
    name : str
        "east wall", "east wall 2"
    """
    surface = str(entries[number].get("surface", "thing"))
    before = sum(str(entry.get("surface", "thing")) == surface for entry in entries[:number])
    return f"{surface} {before + 1}" if before else surface


def _own(known, table, name):
    """Answers about one thing, by field."""
    found = {}
    for key, value in known.items():
        of, called, name_of_field = parts_of(key)
        if (of, called) == (table, name):
            found[name_of_field] = value
    return found


def _sizes(tables):
    """Sizes of a copied hall, for what is usual in it."""
    hall = tables.get("hall", {})
    return {
        f"hall.{key}": hall[key] for key in ("length", "width", "clear_height") if key in hall
    } | {"walls": ()}


def _first(tables):
    """What stands at the top of the file."""
    return {key: tables[key] for key in ("name", "units", "source", "court") if key in tables}


def _without_names(tables, removed):
    """Tables whose uses do not name what is gone."""
    gone = {name for table, name in removed if table in files.MANY}
    if not gone:
        return tables
    uses = []
    for use in tables.get("uses", ()):
        use = dict(use)
        for key in ("closed", "set_up", "microphones"):
            if key in use:
                use[key] = [name for name in use[key] if name not in gone]
        for key in ("listens", "occupied", "pulled_out"):
            if key in use:
                use[key] = {name: v for name, v in use[key].items() if name not in gone}
        uses.append(use)
    return {**tables, "uses": uses}


def kinds_of(table):
    """Presets of a table that can be added.

    Parameters
    ----------
    table : str
        Of the file

    Returns
    -------
    names : tuple of str
        In order
    """
    return tuple(presets(table))
