"""A survey sheet that came back: what of it is understood, and every cell that is not."""

import re
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from openpyxl.utils import get_column_letter

from ..venue.finishes import FINISHES
from ..venue.measured_room import MeasuredRoom, octaves_of
from ..venue.new_school import NewSchool
from ..venue.questions import NOT_SURE, parts_of, understood
from ..venue.reading_files import inside, name_of, one_line
from ..venue.spreadsheets import as_written
from ..venue.tables import meanings
from ..venue.texts import shown
from ..venue.typed_values import read_value
from .decays import Decay, MeanDecay, decays_in, mean_decay, refused_lines
from .existing import existing_item
from .sheet import check_school
from .site_files import SiteFile, merged_within, sheets
from .survey import (
    BLANKS,
    EQUIPMENT,
    OCTAVES,
    PRINTED,
    READ,
    READINGS,
    blanks,
    usual_finishes,
    words_of,
)

KIND = "survey sheet"
HEADINGS = (BLANKS[0], READ[0], EQUIPMENT[0])  # first columns of its tables
# columns by which a heading is known, wherever they stand: of answers, readings, equipment
KNOWN_BY = {
    "answers": {"what", "measured"},
    "readings": {"reading", "500 Hz"},
    "equipment": {"what", "condition"},
}
TEST_PLAN = {"reading", "kind", "subject"}  # columns of another sheet
COLUMNS = {"answers": BLANKS, "readings": READ, "equipment": EQUIPMENT}
STATES = ("corrected", "confirmed", "noted", "not sure", "not measured")  # of an answer
MOST_NAMED = 5  # merged blocks
UNSURE = (NOT_SURE, "?", "??", "unknown", "don't know", "unsure")
LEAVES = ("", "n/a", "na", "-", "--", "not measured", "no access", *UNSURE)
CONFIRMS = ("ok", "okay", "x", "yes", "right", "correct", "as assumed", "\u2713", "\u2714")
# what is assumed, or what stands beside it: the first only where nothing does
SAME = ("same", "the same", "same as above", "as above", "above", "ditto", "do", '"', "''")
ABSENT = ("none", "no", "flat", "flat roof", "as the walls")  # of what a gym need not have
DATE = " (a date or time)"  # behind a cell that is no text and no number
SCHOOL = re.compile(r"(?:.* |)School: (.+)\.")  # in a note
TITLES = re.compile(r"(.+): (?:School|Noise and decay|Existing equipment)")
# units in which a bare length may have been meant, where it is outside its limits
MEANT = ("ft", "m", "in", "cm", "mm")
# of a length that was written over that which was assumed: one may be in other units
ODD = {"meters": 0.3048, "feet": 1 / 0.3048, "inches": 12.0}
ODD_WITHIN = 0.02
FAR = 3.0  # times what was assumed, or as much less: to be looked at again    judgment, no source
KINDS = {
    **dict.fromkeys(("noise", "background", "ambient"), "noise"),
    **dict.fromkeys(("t20", "t30", "rt60", "rt", "t60", "decay"), "t20"),
    **dict.fromkeys(("edt", "early"), "edt"),
    **dict.fromkeys(("pop", "balloon", "burst", "recording", "clap"), "pop"),
}
LIMITS = {"noise": ("dB", -20, 120, "Not dB?"), "t20": ("s", 0.1, 15, "Milliseconds?")}
ALL, NONE = ("all", "everything"), ("none", "no", "nothing", "0")
# how banks, and what is set out, stood during the readings, in other words than their names
STOOD = {
    "closed": {
        "closed",
        "pushed",
        "back",
        "in",
        "folded",
        "stacked",
        "shut",
        "retracted",
        "collapsed",
    },
    "set_up": {"out", "set", "up"},
}
AWAY = {
    "closed": {"open", "opened", "out", "pulled", "extended"},
    "set_up": {"away", "put", "stored"},
}
EVERY = {
    *("yes", "all", "both", "of", "them", "everything", "fully"),
    *("bleachers", "banks", "chairs", "were"),
}
ON_CENTER = re.compile(r"\s*\b(?:o\.? ?c|c\.? ?/ ?c|c ?-? ?c|on cent(?:er|re)s?)\.?$", re.I)
ALONG = {  # joists of a plan with north up, along which side of the gym they run
    **dict.fromkeys(("ew", "we", "eastwest", "westeast"), "length"),
    **dict.fromkeys(("ns", "sn", "northsouth", "southnorth"), "width"),
}
CURTAIN = {
    **dict.fromkeys(("yes", "y", "true", "open", "opened", "drawn back", "yes open"), True),
    **dict.fromkeys(
        ("no", "n", "false", "closed", "drawn", "shut", "no closed", "not open"), False
    ),
}


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One blank as it came back."""

    cell: str  # where it stands
    name: str  # what was asked
    read: str  # as it was written
    was: str  # what was assumed or known
    now: str  # what counts from now on
    state: str  # one of ``STATES``; "noted" where there was nothing that could be assumed


@dataclass(frozen=True, kw_only=True, eq=False)
class SurveyRead:
    """What a survey sheet says; nothing in it was changed on the way."""

    school: NewSchool  # with its answers
    answers: tuple  # of Answer, in the order of the sheet
    measured: MeasuredRoom | None  # what was measured in the gym, where a decay was
    decays: tuple  # of Decay, written and recorded
    mean: MeanDecay | None
    noise: tuple  # of NoiseReading
    items: tuple  # of ExistingItem
    bad: tuple  # a sentence for everything that is not used
    unclear: tuple  # of how the gym stood meanwhile: what was answered and is not understood
    doubts: tuple  # a sentence for everything that is used and should be looked at again
    files: tuple  # of SiteFile


@dataclass(frozen=True, kw_only=True, eq=False)
class NoiseReading:
    """Noise of the gym as somebody read it."""

    name: str
    who: str  # who was in the gym and what ran
    octaves_db: np.ndarray  # (7,); NaN where there is none [dB]
    level_dba: float | None  # [dB(A)]


def read_survey(path, school, *, folder=None):
    """Read a survey sheet that was filled in.

    Parameters
    ----------
    path : str or Path
        XLSX, or CSV with the three tables one under the other; columns and rows may have moved
    school : NewSchool
        Of which it was printed
    folder : str or Path, optional
        Where the recordings lie that it names; that of the sheet when left out

    Returns
    -------
    survey : SurveyRead
        Good rows are used; every other one is named with its cell

    Raises
    ------
    ValueError
        The file is no survey sheet, or that of another school
    FileNotFoundError
        There is no such file
    """
    found, name = sheets(path, kind=KIND, headings=HEADINGS), name_of(path)
    _check_schools(found.tables, school, name)
    reading = _Reading(school, Path(folder) if folder is not None else Path(path).parent)
    names = found.names if len(found.tables) > 1 else ("",)
    pairs = zip(found.tables, names, strict=True)
    tables = [_table(table, sheet, found.merged is None) for table, sheet in pairs]
    rows = [row for table in tables for row in table]
    if not rows:
        raise ValueError(
            f"{name}: there is no heading with {' and '.join(map(repr, BLANKS[2:5:2]))}. Is it the"
            " survey sheet of this school?"
        )
    for row in rows:
        reading.take(row)
    lines = [row.line for row in rows]
    for block in merged_within(found.merged or (), min(lines), max(lines))[:MOST_NAMED]:
        reading.bad.append(f"Cells {block} are merged; only the first of them is read.")
    return reading.result(name)


def _check_schools(tables, school, name):
    """Refuse the sheet of another school, and another kind of sheet."""
    for table in tables:
        for _, row in table:
            heads = {_heading(cell) for cell in row}
            if heads >= TEST_PLAN:
                raise ValueError(
                    f"{name}: is the entry sheet of a test plan, and no survey sheet. Read it with"
                    " the finished design."
                )
            for cell in row:
                text = as_written(cell).strip()
                written = TITLES.fullmatch(text) or SCHOOL.fullmatch(text)
                if written:
                    check_school(
                        written[1], school.name, (name, "the survey sheet", "this is that")
                    )


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A row under a heading."""

    table: str  # one of ``KNOWN_BY``
    sheet: str  # its name, "" where there is one alone
    line: int
    cells: dict  # texts by column
    at: dict  # number of each column
    more: int = 0  # cells beyond the heading, of a CSV file

    def cell(self, column):
        """Where a cell stands, in words."""
        where = f"{get_column_letter(self.at[column] + 1)}{self.line}" if column in self.at else ""
        where = f"cell {where}" if where else f"line {self.line}"
        return f"{self.sheet}, {where}" if self.sheet else where

    def text(self, column):
        """A cell's text, "" where there is none."""
        return self.cells.get(column, "")

    def printed(self, blank):
        """What the sheet said that was assumed of a blank: perhaps another than now."""
        return self.text(PRINTED) if PRINTED in self.at else blank.words


def _table(table, sheet, may_move):
    """Rows of a sheet, each under the heading that stands over it."""
    found, kind, columns, wide = [], None, {}, 0
    for line, row in table:
        heads = [_heading(cell) for cell in row]
        known = next((k for k, wanted in KNOWN_BY.items() if wanted <= set(heads)), None)
        if known:
            kind, wide = known, len(row)
            columns = {h: n for n, h in reversed(list(enumerate(heads))) if h in COLUMNS[kind]}
            continue
        if kind is None:
            continue
        cells = {
            c: as_written(one_line(row[n])).strip() for c, n in columns.items() if n < len(row)
        }
        named = any(cells.get(column) for column in columns if column != "remark")
        if named and not any(SCHOOL.fullmatch(text) for text in cells.values()):
            more = max(len(row) - wide, 0) if may_move else 0
            found.append(
                _Row(table=kind, sheet=sheet, line=line, cells=cells, at=columns, more=more)
            )
    return found


def _heading(cell):
    """A heading as the sheet has it, whatever somebody made of it."""
    text = " ".join(as_written(one_line(cell)).strip().lower().split())
    octave = re.fullmatch(r"(\d+(?:[.,]\d+)?) ?(k)? ?(?:hz)?", text)
    if octave:
        frequency = float(octave[1].replace(",", ".")) * (1000 if octave[2] else 1)
        text = f"{frequency:g} hz" if frequency < 1000 else f"{frequency / 1000:g} khz"
    known = {c.lower(): c for columns in COLUMNS.values() for c in columns}
    return known.get(text, text)


class _Reading:
    """What a sheet says, as it is gathered."""

    def __init__(self, school, folder):
        self.school, self.folder, self.start = school, folder, school
        self.blanks = blanks(school)
        self.answers, self.decays, self.noise, self.items = [], [], [], []
        self.bad, self.doubts, self.files, self.state = [], [], [], {}
        self.taken, self.unclear = set(), {}

    def take(self, row):
        """Take a row, or name it."""
        if row.more:
            self.bad.append(
                f"Line {row.line}: has {row.more} more cells than the heading (a decimal comma"
                " where commas divide the cells?); not used."
            )
            return
        getattr(self, f"take_{row.table}")(row)

    # ---- answers

    def take_answers(self, row):
        """Take an answer, or name it."""
        text = row.text("measured")
        blank = self._blank(row)
        if blank is None:
            if text or row.text("remark"):
                self.bad.append(self._unknown_words(row))
            return
        if not text:
            written = row.text("assumed")
            # a sheet that was printed earlier holds what was assumed then
            if written and written != row.printed(blank):
                words = f"what is assumed was written over with {shown(written)}"
                self._name(row, "assumed", f"{words}. Write it under 'measured'")
            return
        if blank.key in self.taken:
            self._name(row, "measured", f"{blank.name} is there twice; the first counts")
            return
        self.taken.add(blank.key)
        try:
            self._answer(row, blank, text)
        except ValueError as error:
            said = one_line(error).rstrip(".")
            plain = said.removeprefix(f"{blank.name}: ").removeprefix(f"{blank.question.label}: ")
            self._name(row, "measured", f"{blank.name}: {plain}")

    def _blank(self, row):
        """The blank that a row is about: by its letter and thing, or by its words."""
        letter, of, what = row.text("letter").upper(), row.text("of").lower(), row.text("what")
        those = [b for b in self.blanks if b.of.lower() == of or not of]
        by_words = [b for b in those if _plain(b.question.label) == _plain(what)]
        by_letter = [b for b in those if b.letter and b.letter == letter]
        found = [b for b in by_words if not letter or b.letter == letter] if what else by_letter
        if not of and len(found) > 1:  # of several things the gym comes first
            found = [b for b in found if not b.of]
        return found[0] if len(found) == 1 else None

    def _unknown_words(self, row):
        """What is said of a row that is about nothing that was asked."""
        said = " ".join(t for t in (row.text("letter"), row.text("of"), row.text("what")) if t)
        where = row.cell("what" if "what" in row.cells else "measured")
        return f"{where}: {shown(said)} is nothing that this sheet asks of this school; not used."

    def _answer(self, row, blank, text):
        question, text = blank.question, _plain_cell(blank, text)
        plain = text.lower().rstrip(".!")
        if blank.of == READINGS:
            self._take_state(row, blank, text, plain)
            return
        if plain in LEAVES:
            unsure = plain in UNSURE
            # of what the whole school rests on nothing can be assumed
            if unsure and blank.value is not None and not question.required:
                self.school = self.school.with_answer(blank.key, NOT_SURE)
            self._note(row, blank, text, blank.words, NOT_SURE if unsure else "not measured")
            return
        if plain.startswith(SAME[:2]) or plain in SAME:
            self._refuse_same(blank, text)
        value = _value(blank, text, self.school.units, row.printed(blank))
        self.school = self.school.with_answer(blank.key, value)
        now = words_of(question, value, self.school.units) or "none"
        same = value == blank.value or now == blank.words
        self._note(row, blank, text, now, "confirmed" if same else "corrected")
        self._doubt(row, blank, value)

    def _refuse_same(self, blank, text):
        """Refuse "same" where it may mean another thing of that kind."""
        alike = [b for b in self.blanks if _kind(b) == _kind(blank)]
        if len(alike) == 1:
            return
        assumed = f"what is assumed ({blank.words})" if blank.words else "what is assumed"
        other = alike[max(alike.index(blank) - 1, 0)]  # that above it
        other = other if other is not blank else alike[1]
        at = self.school.value(other.key)
        said = words_of(other.question, at, self.school.units) or "as the others"
        beside = f"that of the {other.of or other.name.lower()} ({said})"
        raise ValueError(
            f"{blank.name}: {shown(text)} may mean {assumed} or {beside}. Write ok for the first,"
            " else the value"
        )

    def _take_state(self, row, blank, text, plain):
        """How the gym stood while it was measured."""
        if plain in LEAVES:
            self._note(row, blank, text, "", NOT_SURE if plain in UNSURE else "not measured")
            return
        key = blank.key.partition(".")[2]
        self.unclear[key] = blank.name
        if key in ("closed", "set_up"):
            value = _stood(key, blank, text, self._movable(key))
        elif key == "curtain_open":
            value = _curtain(blank, plain)
        elif key == "people":
            value = _understood(blank, text, self.school.units)
        else:
            value = text[:200]
        del self.unclear[key]
        self.state[key] = value
        said = ", ".join(value) or "none" if isinstance(value, tuple) else str(value)
        if isinstance(value, bool):
            said = "yes" if value else "no"
        self._note(row, blank, text, said, "noted")

    def _movable(self, key):
        """Names that a list may hold."""
        if key == "closed":
            return self.school.things("banks")
        movable = [n for t in ("floor_seats", "portable_stages") for n in self.school.things(t)]
        return (*movable, *self._movable_fixtures())

    def _movable_fixtures(self):
        return tuple(
            n for n in self.school.things("fixtures") if self.school.value(f"fixtures.{n}.movable")
        )

    def _doubt(self, row, blank, value):
        """Say where a length looks as if it were in other units than the sheet's."""
        if blank.question.unit != "m" or not blank.value or not value:
            return
        times = value / blank.value
        unit = next((u for u, factor in ODD.items() if abs(times / factor - 1) < ODD_WITHIN), "")
        if not unit and 1 / FAR < times < FAR:
            return
        ask = f"Is it in {unit}?" if unit else "Look again."
        self.doubts.append(
            f"{row.cell('measured')}: {blank.name}: {row.text('measured')} is used, and is"
            f" {times:.2g} times what was assumed ({blank.words}). {ask}"
        )

    def _note(self, row, blank, text, now, state):
        self.answers.append(
            Answer(
                cell=row.cell("measured"),
                name=blank.name,
                read=text,
                was=blank.words,
                now=now,
                state=state,
            )
        )

    def _name(self, row, column, words):
        end = " Not used." if words.endswith(("?", "!")) else "; not used."
        self.bad.append(f"{row.cell(column)}: {words}{end}")

    # ---- readings

    def take_readings(self, row):
        """Take a row of noise or decay, or name it."""
        filled = [c for c in (*OCTAVES, "dB(A)", "recording") if row.text(c).lower() not in LEAVES]
        if not filled:
            return
        word = re.split(r"[\s\d]", row.text("reading").lower(), maxsplit=1)[0]
        text = row.text("reading").lower()
        kind = next((k for w, k in KINDS.items() if text.startswith(w)), KINDS.get(word))
        if kind is None:
            said = shown(row.text("reading"))
            self._name(row, "reading", f"{said} is no reading. Write noise, T20, EDT or pop")
            return
        values = self._octaves(row, "noise" if kind == "noise" else "t20")
        if kind == "noise":
            self._take_noise(row, values)
        elif np.isfinite(values).any():
            self._take_decay(row, kind, values)
        if row.text("recording").lower() not in LEAVES:
            self._take_recording(row)

    def _octaves(self, row, kind):
        """Values of a row by octave (7,), NaN where there is none."""
        return np.array([self._number(row, column, kind) for column in OCTAVES])

    def _number(self, row, column, kind):
        """A number of a row, NaN where there is none or it cannot be."""
        text = row.text(column)
        if text.lower() in LEAVES:
            return np.nan
        unit, low, high, slip = LIMITS[kind]
        unit = "dB(A)" if column == "dB(A)" else unit
        try:
            if DATE in text or text.startswith("="):
                raise ValueError(f"{shown(text)} is no number.")
            value = read_value(text, unit, "m")
            if not low <= value <= high:
                raise ValueError(f"{value:g} {unit} is outside {low:g} to {high:g} {unit}. {slip}")
        except ValueError as error:
            self._name(row, column, one_line(error).rstrip("."))
            return np.nan
        return value

    def _take_noise(self, row, octaves):
        dba = self._number(row, "dB(A)", "noise")
        if np.isfinite(octaves).any() or np.isfinite(dba):
            self.noise.append(
                NoiseReading(
                    name=row.text("reading"),
                    who=row.text(READ[1]),
                    octaves_db=octaves,
                    level_dba=float(dba) if np.isfinite(dba) else None,
                )
            )

    def _take_decay(self, row, kind, values):
        nothing = np.full(7, np.nan)
        t20, edt = (values, nothing) if kind != "edt" else (nothing, values)
        self.decays.append(Decay(name=row.text("reading"), t20=t20, edt=edt))

    def _take_recording(self, row):
        """Decays of a recording that a row names."""
        name = row.text("recording")
        try:
            decays = decays_in(inside(self.folder, name))
        except (ValueError, OSError) as error:
            said = one_line(error).removeprefix(f"{name}: ").rstrip(".")
            self._name(row, "recording", f"{name}: {said}")
            self.files.append(SiteFile(name=name, used=False, words=said))
            return
        self.decays += [d for d in decays if d.used]
        self.bad += refused_lines(decays)
        used = sum(d.used for d in decays)
        words = f"{used} of {len(decays)} bursts" if len(decays) > 1 else "decay"
        self.files.append(SiteFile(name=name, used=used > 0, words=words))

    # ---- equipment

    def take_equipment(self, row):
        """Take a row of what is there, or name what of it cannot be understood."""
        filled = [c for c in EQUIPMENT if c != "what" and row.text(c)]
        if not filled:
            return  # a kind that is printed and of which nothing was found
        try:
            item, faults = existing_item(row.cells, row.cell, self.school.units)
        except ValueError as error:
            self._name(row, "what", one_line(error).rstrip("."))
            return
        self.bad += [f"{fault.rstrip('.')}; not used." for fault in faults]
        self.items += [item] if item else []

    # ---- the whole

    def result(self, name):
        """What the sheet says."""
        mean = mean_decay(self.decays) if any(d.used for d in self.decays) else None
        try:
            measured = self._measured(mean)
        except ValueError as error:
            measured = None
            self.bad.append(f"What was measured cannot be used: {one_line(error)}")
        count = Counter(a.state for a in self.answers)
        said = [f"{count[state]} {state}" for state in STATES if count[state]]
        said += [f"{len(self.bad)} not used (see below)"] if self.bad else []
        words = ", ".join(said) or "nothing filled in"
        files = [SiteFile(name=name, used=bool(self.answers or self.decays), words=words)]
        return SurveyRead(
            school=self.school,
            answers=tuple(self.answers),
            measured=measured,
            decays=tuple(self.decays),
            mean=mean,
            noise=tuple(self.noise),
            items=tuple(self.items),
            bad=tuple(self.bad),
            unclear=tuple(self.unclear.values()),
            doubts=tuple(self.doubts),
            files=(*files, *self.files),
        )

    def _measured(self, mean):
        """The table of what was measured, None where no decay was."""
        if mean is None:
            return None
        self._say_what_is_taken()
        noise = next(iter(self.noise), None)
        t20, edt = (
            np.where(mean.early, np.nan, mean.times),
            np.where(mean.early, mean.times, np.nan),
        )
        return MeasuredRoom(  # times as every table shows them
            t20_s=octaves_of(t20, 2),
            edt_s=octaves_of(edt, 2),
            noise_db=octaves_of(noise.octaves_db, 1) if noise else {},
            noise_dba=noise.level_dba if noise else None,
            positions=mean.positions,
            note=decay_words(mean),
            **self.state,
        )

    def _say_what_is_taken(self):
        """Say how the gym is taken to have stood where nobody wrote it beside the readings."""
        asked = {b.key.partition(".")[2]: b for b in self.blanks if b.of == READINGS}
        taken = {"people": "nobody was in it", "curtain_open": "the curtain was open"}
        if self.school.things("banks"):
            taken = {"closed": "bleachers were open"} | taken
        for key, words in taken.items():
            name = asked[key].name if key in asked else None
            if name and key not in self.state and key not in self.unclear:
                self.doubts.append(f"{name}: not known; it is taken that {words}.")


def decay_words(mean):
    """How many decays a mean is of, and how far they lie apart.

    Parameters
    ----------
    mean : MeanDecay
        Of ``decays.mean_decay``

    Returns
    -------
    words : str
        A sentence
    """
    count = [int(n) for n in mean.count if n]
    several = f"{min(count)} to {max(count)}" if min(count) < max(count) else str(count[0])
    words = f"Mean of {several} decay{'s' * (max(count) > 1)} in each octave"
    spread = mean.spread[np.isfinite(mean.spread)]
    more = f"; standard deviation {100 * spread.max():.0f} % at most" if len(spread) else ""
    return f"{words}{more}."


def _plain_cell(blank, text):
    """Text of a cell that a spreadsheet has made nothing else of."""
    if DATE in text:
        made = text.partition(" ")[0]
        if blank.question.unit == "text":
            return made
        raise ValueError(
            f"{blank.name}: the spreadsheet has made a date ({made}) of what was written. Write it"
            " again as text, e.g. 12' 6\""
        )
    if text.startswith("="):
        raise ValueError(
            f"{blank.name}: a formula without a stored value. Open the sheet in a spreadsheet and"
            " save it once"
        )
    return text


def _value(blank, text, units, printed):
    """What an answer says; what was assumed when the sheet was printed where it confirms that."""
    question, plain = blank.question, text.lower().rstrip(".!")
    confirms = plain in CONFIRMS or plain in SAME  # "same" only where nothing stands beside it
    if confirms and not (question.unit == "yes" and plain == "yes"):
        if printed == blank.words and (blank.value is not None or question.optional):
            return blank.value
        if not printed and question.optional:
            return None
        if not printed:
            raise ValueError(
                f"{blank.name}: nothing is assumed of it that could be right. Write it"
            )
        return _understood(blank, printed, units)
    if question.optional and plain in ABSENT:
        return None
    return _understood(blank, text, units)


def _understood(blank, text, units):
    """A typed answer; where it is outside its limits, the unit that it may be in is named."""
    question = blank.question
    if question.unit == "choices":
        return _names(blank, text, question.choices)
    if blank.is_finish and not meanings(text, FINISHES):
        usual = ", ".join(usual_finishes(blank))
        raise ValueError(
            f"{blank.name}: {shown(text)} is no finish that is known. Write e.g. {usual}, or not"
            " sure"
        )
    text = _in_usual_words(question, text)
    try:
        return understood(question, text, units)
    except ValueError as error:
        bare = re.fullmatch(r"[\d.,]+( ?\d+ ?/ ?\d+| ?[\u00bc\u00bd\u00be])?", text)
        if question.unit != "m" or not bare:
            raise
        said = one_line(error).rstrip(".")
        for unit in (u for u in MEANT if u != units):
            try:
                understood(question, f"{text} {unit}", units)
            except ValueError:
                continue
            join = "" if said.endswith("?") else "."
            raise ValueError(f"{said}{join} Write {text} {unit} if that is meant") from None
        raise


def _in_usual_words(question, text):
    """A typed answer without what people write beside it: "10 rows", "none" of what is counted,
    "6' o.c.", joists "N-S".
    """
    plain = text.lower().rstrip(".! ")
    if question.unit == "count":
        if plain in (*NONE, "nobody") and question.low == 0:
            return "0"
        number, _, behind = plain.partition(" ")
        labels = {w.rstrip("s") for w in re.findall(r"\w+", question.label.lower())}
        words = re.findall(r"\w+", behind)
        return number if words and {w.rstrip("s") for w in words} <= labels else text
    if question.unit == "m":
        return ON_CENTER.sub("", text).strip()
    if parts_of(question.key)[2] == "joists_along":
        return ALONG.get(re.sub(r"[\W_]+|to", "", plain), text)
    return text


def _stood(key, blank, text, known):
    """Names of what was closed or set out: "yes both", "all pushed back" or a list of them."""
    said = set(re.findall(r"\w+", text.lower()))
    if "both" in said and len(known) != 2:
        raise ValueError(
            f"{blank.name}: {shown(text)}, and there are {len(known)}. Write their names, all or"
            " none"
        )
    words, denied = said - EVERY - {"no", "not"}, bool(said & {"no", "not"})
    if said and not denied and words <= STOOD[key]:
        return tuple(known)
    if said and words <= (STOOD[key] if denied else AWAY[key]):
        return ()
    if said and words <= AWAY[key] and "no" in said:  # "no, both open"
        return ()
    return _names(blank, text, known)


def _curtain(blank, plain):
    """Whether the stage curtain was open."""
    words = re.findall(r"\w+", plain)
    plain = " ".join(w for w in words if w not in ("fully", "was", "curtain"))
    if plain not in CURTAIN:
        raise ValueError(f"{blank.name}: {shown(' '.join(words))} is neither open nor closed")
    return CURTAIN[plain]


def _names(blank, text, known):
    """Names in a list."""
    plain = text.lower().strip()
    if plain in ALL:
        return tuple(known)
    if plain in NONE:
        return ()
    found = []
    for part in re.split(r",|;| and |\n", text):
        said = part.strip().lower()
        begins = [n for n in known if n.lower().startswith(f"{said} ")]  # "north" of its bank
        name = next((n for n in known if n.lower() == said), None)
        name = begins[0] if name is None and len(begins) == 1 else name
        if name is None:
            raise ValueError(
                f"{blank.question.label}: {shown(part.strip())} is unknown. Known:"
                f" {', '.join(known) or 'none'}"
            )
        found.append(name)
    return tuple(found)


def _kind(blank):
    """What is asked of several things alike: a value of each bank, a finish of each wall."""
    table, _, field = parts_of(blank.key)
    return table, "wall" if blank.is_finish and "wall" in field else field


def _plain(text):
    return re.sub(r"[^\w]+", " ", text.casefold()).strip()


def with_measured(scenario, survey):
    """A gym with what a survey measured in it.

    Parameters
    ----------
    scenario : Scenario
        The gym as the survey's answers have it
    survey : SurveyRead
        What came back

    Returns
    -------
    scenario : Scenario
        With its measured room; an earlier fit, which is of other readings, is forgotten

    Raises
    ------
    ValueError
        No decay was measured, what the sheet says of the bleachers or the curtain meanwhile is not
        understood, or what was measured does not fit the gym
    """
    if survey.measured is None:
        raise ValueError("no decay was measured that can be used.")
    if survey.unclear:
        raise ValueError(
            f"the sheet's answer is not understood: {'; '.join(survey.unclear)}. What was measured"
            " rests on it. Correct it in the sheet, and read that again."
        )
    if scenario.room_fit is not None:
        scenario = replace(scenario, room_fit=None, absorption_factors={}, scattering_factors={})
    return replace(scenario, measured_room=survey.measured)
