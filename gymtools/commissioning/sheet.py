"""The entry sheet of a test plan, and what comes back: good rows are used, bad ones are named."""

import re
from dataclasses import dataclass, replace

import numpy as np

from ..equipment.schedules import Schedule
from ..physics import bands
from ..venue.reading_files import name_of, one_line
from .kinds import OLD_KEYS, present_key
from .readings import in_octaves, one_value
from .site_files import SiteFile, merged_within, sheets

OCTAVES = tuple(f"{f:g} Hz" if f < 1000 else f"{f / 1000:g} kHz" for f in bands.NOMINAL)
COLUMNS = (
    "reading",
    "kind",
    "use",
    "subject",
    "position",
    "where",
    "unit",
    *OCTAVES,
    "value",
    "remark",
)
SIGNS = {"+": 1.0, "-": -1.0, "\u2212": -1.0, "\u2013": -1.0}
POLARITIES = {  # words for them, as people write them
    **dict.fromkeys(("ok", "out", "outward", "plus", "positive", "right", "correct"), 1.0),
    **dict.fromkeys(("in", "inward", "minus", "negative", "wrong", "reversed"), -1.0),
    **dict.fromkeys(("none", "silent", "dead", "0"), 0.0),  # no sound
}
LEAST = 3  # octaves, for a reading in octaves to be of use
MORE = None  # column of what has none
MOST_NAMED = 5  # merged blocks
AGREE_DB = 2.0  # the octaves' sum and the dB(A) beside them
MOST_ELSEWHERE = 10  # rows of other positions that are named one by one
FOREIGN = 3  # rows of other positions alone, by which a sheet is another gym's
NUMBER = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*(dB\(A\)|dBA|dB|ms|s|STI)?")
THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")  # or a decimal comma
MILLISECONDS = {"ms": 1.0, "s": 1000.0}
WORDS = re.compile(r"[0-9]+(?:[.,][0-9]+)?|[^\W\d_]+")
OLD_WORDS = {"centre": "center", "place": "seat"}  # of sheets filled before the trade's names
OLD_COLUMNS = {"test": "kind", "place": "position"}  # the same
SCHOOL = re.compile(r"(?:.* |)School: (.+)\.")  # in the note
TITLE = re.compile(r"(.+): Readings")  # over a workbook's table
# the plan that a sheet is of, in the same note; uses divided by USES
PLAN = re.compile(r"(?:.* |)Form: (full|short)\. Uses: (.+?)\. School: .+\.")
USES = "; "


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """What was measured."""

    readings: tuple  # of Reading, those that were measured, in the order of the plan
    remarks: dict  # by the key of a reading
    bad: tuple  # sentences, one for each row that cannot be used
    missing: tuple  # keys of the plan without a reading
    files: tuple = ()  # SiteFile of every file from the site
    # keys of readings in which a loudspeaker sounded by itself, though it shares a channel
    by_themselves: tuple = ()

    @property
    def measured(self):
        """Measured values by the key of a reading, each (8,) [its unit]."""
        return {r.key: r.measured for r in self.readings}

    @property
    def ambient_db(self):
        """Ambient noise (7,) [dB], None unless all octaves were read."""
        ambient = self.measured.get("ambient")
        return ambient[:7] if ambient is not None and np.isfinite(ambient[:7]).all() else None


def filled_sheet(plan, measured, *, remarks=None, bad=(), files=(), by_themselves=()):
    """Readings of a plan with what was measured.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``
    measured : dict
        Measured values (8,) by the key of a reading
    remarks : dict, optional
        By the key of a reading
    bad : sequence of str
        What could not be used, in sentences
    files : sequence of SiteFile
        From which it comes
    by_themselves : sequence of str
        Keys of readings in which a loudspeaker sounded by itself, though it shares a channel

    Returns
    -------
    sheet : Sheet
        Keys that the plan does not have are left out
    """
    return Sheet(
        readings=tuple(
            replace(
                r,
                measured=np.asarray(measured[r.key], float),
                playing=(r.subject,) if r.key in by_themselves else r.playing,
            )
            for r in plan.readings
            if r.key in measured
        ),
        remarks=dict(remarks or {}),
        bad=tuple(bad),
        missing=tuple(r.key for r in plan.readings if r.key not in measured),
        files=tuple(files),
        by_themselves=tuple(by_themselves),
    )


def entry_sheet(plan):
    """Table to be filled in on site.

    Parameters
    ----------
    plan : TestPlan
        Of ``commissioning.plan.plan``

    Returns
    -------
    sheet : Schedule
        A row for each reading; empty where something is to be written
    """
    rows = [
        (
            r.key,
            r.kind.label,
            r.use,
            subject_words(r),
            r.position.tag,
            r.position.words,
            _unit_words(r.kind),
            *([""] * (len(OCTAVES) + 2)),
        )
        for r in plan.readings
    ]
    note = (
        "Leave empty what was not measured. Noise, reverberation time and levels in octaves;"
        " everything else under value. Keep the first seven columns and this line as they are."
        f" Form: {plan.form}. Uses: {USES.join(plan.leads)}. School: {plan.scenario.name}."
    )
    return Schedule(title="Readings", columns=COLUMNS, rows=tuple(rows), note=note)


def subject_words(reading):
    """What a reading is about, and what sounds beside it.

    Parameters
    ----------
    reading : Reading
        Of a plan

    Returns
    -------
    words : str
        "W1 with W2" where the two share a channel
    """
    beside = reading.others if reading.kind.key in ("alone", "polarity") else ()
    return f"{reading.subject} with {', '.join(beside)}" if beside else reading.subject


def _unit_words(kind):
    """Unit of a kind of test, for the entry sheet."""
    return "dB, or dB(A) under value" if kind.dba else kind.unit


def plan_of_sheet(path):
    """Form and uses of the plan that an entry sheet was made from, as its last line states them.

    Parameters
    ----------
    path : str or Path
        As for ``read_sheet``

    Returns
    -------
    form : str or None
        "full" or "short"; None where the sheet does not say
    uses : list of str or None
        Names; None where the sheet does not say

    Raises
    ------
    ValueError
        The file is no table that can be read
    FileNotFoundError
        There is no such file
    """
    # an empty sheet beside the filled one is of the same plan, or of none
    for table in filter(_has_head, sheets(path).tables):
        for _, row in table:
            found = PLAN.fullmatch(row[0].strip()) if row else None
            if found:
                return found[1], found[2].split(USES)
    return None, None


def read_sheet(path, plan):
    """Read a filled entry sheet.

    Parameters
    ----------
    path : str or Path
        CSV (commas, semicolons or tabs; decimal commas where it has semicolons or tabs) or XLSX;
        sheets with the older names of kinds and octaves are read too
    plan : TestPlan
        From which it was made

    Returns
    -------
    sheet : Sheet
        Good rows, and what is wrong with each other one; rows of other positions, kinds or units
        than the plan's are not used

    Raises
    ------
    ValueError
        The file is no entry sheet, holds two, or is that of another school
    FileNotFoundError
        There is no such file
    """
    found, name = sheets(path, len(plan.readings)), name_of(path)
    table = _entry_table(found.tables, name)
    _check_school(table, plan, name)
    rows = _rows(table, name, may_move=found.merged is None)
    used, bad = _used(rows, plan, name)
    measured = used["measured"]
    if rows and found.merged:
        for block in merged_within(found.merged, rows[0][0], rows[-1][0])[:MOST_NAMED]:
            bad.append(f"{name}: cells {block} are merged; only the first of them is read.")
    words = f"{len(measured)} readings"
    if found.beyond:
        words += f"; line {found.beyond} lies too far below them and was not read"
    files = [SiteFile(name=name, used=bool(measured), words=words)]
    return filled_sheet(plan, **used, bad=bad, files=files)


class _Foreign(ValueError):
    """A row that is about something else than this plan."""


def _used(rows, plan, name):
    """What ``filled_sheet`` takes, and a sentence for each row that is not used."""
    measured, remarks, by_themselves, bad, elsewhere, strange = {}, {}, [], [], [], 0
    for line, row in rows:
        if not _is_filled(row):
            continue
        try:
            _check_cells(row)
            reading = _planned(row["reading"], plan, measured)
            moved = _moved(reading, row)
            if moved:
                elsewhere.append(f"{name}, line {line}: {moved}.")
                continue
            measured[reading.key] = _values(reading, row)
            if reading.others and _plain(row.get("subject", "")) == _plain(reading.subject):
                by_themselves.append(reading.key)
            if row.get("remark"):
                remarks[reading.key] = row["remark"]
        except ValueError as error:
            strange += isinstance(error, _Foreign)
            bad.append(f"{name}, line {line}: {one_line(error)}.")
    fits = any(any(c.isdigit() for c in plan.reading(k).position.words) for k in measured)
    if not fits and len(elsewhere) + strange >= FOREIGN:
        raise ValueError(
            f"{name}: no row of it fits the positions of this plan. Is it the entry sheet of"
            " another school, or of another revision of the design?"
        )
    used = dict(measured=measured, remarks=remarks, by_themselves=by_themselves)
    return used, _summary(elsewhere, name) + bad


def _summary(elsewhere, name):
    """Rows that were filled for other positions: how many, and the first of them."""
    if not elsewhere:
        return []
    more = len(elsewhere) - MOST_ELSEWHERE
    return [
        f"{name}: {len(elsewhere)} of its rows are not those of this plan and are not used. Was it"
        " made from another revision of the design?",
        *elsewhere[:MOST_ELSEWHERE],
        *(
            [f"{name}: {more} more rows are of other positions, kinds or units."]
            if more > 0
            else []
        ),
    ]


def _is_filled(row):
    return any(row[c] for c in (*OCTAVES, "value"))


def _entry_table(tables, name):
    """The one table of a file that is an entry sheet; an empty copy beside it does not count."""
    found = [table for table in tables if _has_head(table)]
    if len(found) > 1:
        filled = [t for t in found if any(_is_filled(row) for _, row in _rows(t, name, False))]
        if len(filled) > 1:
            raise ValueError(
                f"{name}: {len(filled)} of its sheets hold readings. Put all readings into one."
            )
        found = filled or found
    return (found or tables)[0]


def _check_school(table, plan, name):
    """Refuse the entry sheet of another school, where the sheet says whose it is."""
    head = next((n for n, (_, row) in enumerate(table) if _is_head(row)), 0)
    titles = [TITLE.fullmatch(row[0].strip()) for _, row in table[:head] if row]
    notes = [SCHOOL.fullmatch(row[0].strip()) for _, row in table[head:] if row]
    for found in filter(None, (*titles, *notes)):
        check_school(found[1], plan.scenario.name, (name, "the entry sheet", "this plan is"))


def check_school(written, school, words):
    """Refuse a sheet of another school.

    Parameters
    ----------
    written : str
        Name of a school on the sheet
    school : str
        Name of the one that is meant
    words : tuple of str
        The file's name, what it is, and what is of the school that is meant, with its verb

    Raises
    ------
    ValueError
        They are not the same, whatever their case, spaces and marks
    """
    name, sheet, ours = words
    if _plain(written) != _plain(school):
        raise ValueError(
            f"{name}: is {sheet} of '{one_line(written)[:60]}', and {ours} of"
            f" '{one_line(school)[:60]}'. Where only the name changed, change it in the sheet too."
        )


def _plain(text):
    """Words and numbers of a text, whatever its case, spaces and marks."""
    found = WORDS.findall(one_line(text).casefold())
    return [float(w.replace(",", ".")) if w[0].isdigit() else OLD_WORDS.get(w, w) for w in found]


def _moved(reading, row):
    """What a row says of its reading that the plan says otherwise, "" when nothing."""
    kind = row.get("kind", "")
    known = [_plain(reading.kind.label), _plain(reading.kind.key)]
    old = OLD_KEYS.get(kind.casefold().partition(" ")[0])  # e.g. of "spare gain"
    if kind and _plain(kind) not in known and old != reading.kind.key:
        return f"'{reading.key}': kind is '{kind[:60]}', and the plan's is '{reading.kind.label}'"
    position = reading.position
    planned = {
        "position": (position.tag, position.earlier_tag),
        "where": (position.words, *position.earlier),
        "unit": (_unit_words(reading.kind),),
    }
    for column, known in planned.items():
        written = row.get(column, "")
        if written and _plain(written) not in [_plain(words) for words in known if words]:
            return f"'{reading.key}': {column} is '{written[:90]}', and the plan's is '{known[0]}'"
    return ""


def _has_head(table):
    """Whether a table has the heading of an entry sheet."""
    return any(_is_head(row) for _, row in table)


def _is_head(row):
    return bool(row) and row[0].strip().lower() == COLUMNS[0]


def _check_cells(row):
    """Refuse a row of which cells moved, or were not calculated."""
    if MORE in row:
        raise ValueError(
            f"'{row['reading'][:60]}': has {row[MORE]} more cells than the heading (a decimal comma"
            " where commas divide the cells?)"
        )
    open_cells = [c for c in ("reading", *OCTAVES, "value") if row[c].startswith("=")]
    if open_cells:
        raise ValueError(
            f"'{row['reading'][:60]}': {', '.join(open_cells)}: a formula without a stored value."
            " Open the workbook in a spreadsheet and save it once"
        )


def _rows(table, file, may_move):
    """Numbered rows under the head of the table, by the names of its columns."""
    head = next((n for n, (_, row) in enumerate(table) if _is_head(row)), None)
    if head is None:
        raise ValueError(
            f"{file}: there is no line that begins '{COLUMNS[0]}'. Is it the entry sheet of the"
            " test plan?"
        )
    # older sheets have "1k Hz"
    names = [re.sub(r"^(\d)k Hz$", r"\1 kHz", c.strip()) for c in table[head][1]]
    names = [c if OLD_COLUMNS.get(c, c) in names else OLD_COLUMNS.get(c, c) for c in names]
    absent = [c for c in ("reading", "value", *OCTAVES) if c not in names]
    if absent:
        raise ValueError(f"{file}: missing column {', '.join(absent)}.")
    twice = [c for c in COLUMNS if names.count(c) > 1]
    if twice:
        raise ValueError(f"{file}: column {twice[0]} is there twice. Keep one.")
    return [(line, _row(names, cells, may_move)) for line, cells in table[head + 1 :]]


def _row(names, cells, may_move):
    """Cells by column; under MORE how many there are beyond the heading of a CSV file."""
    row = dict.fromkeys(names, "") | dict(zip(names, map(_tidy, cells), strict=False))
    more = len(cells) - len(names)
    return row | ({MORE: more} if may_move and more > 0 else {})


def _tidy(cell):
    return one_line(cell).strip()


def _planned(text, plan, measured):
    """The reading that a row is about."""
    key = present_key(text.removeprefix("'"))
    reading = plan.reading(key)
    if reading is None:
        raise _Foreign(f"'{key[:60]}' is no reading of this plan")
    if reading.key in measured:
        raise ValueError(f"'{key}' is there twice; the first counts")
    return reading


def _values(reading, row):
    """What a row holds (8,): octaves, or the single value."""
    if reading.kind.key == "polarity":
        return one_value(_sign(reading, row["value"]))
    single = _number(reading, "value", row["value"]) if row["value"] else np.nan
    if not reading.kind.octaves:
        if any(row[c] for c in OCTAVES):
            raise ValueError(f"'{reading.key}': is one value, and octaves are filled in")
        return one_value(single)
    octaves = np.array([_number(reading, c, row[c]) if row[c] else np.nan for c in OCTAVES])
    count = int(np.isfinite(octaves).sum())
    if count == 0 and reading.kind.dba:
        return one_value(single)
    if count < LEAST:
        other = ", or dB(A) under value" if reading.kind.dba else ""
        raise ValueError(
            f"'{reading.key}': {count} octaves are too few. Give {LEAST} at least{other}"
        )
    if reading.kind.dba and count == len(OCTAVES):
        _check_sum(reading, octaves, single)
    return in_octaves(octaves)  # a value beside them only checks them


def _sign(reading, text):
    """Polarity as a number."""
    written = text.removeprefix("'").strip()
    sign = SIGNS.get(written[:1], POLARITIES.get(written.rstrip(".!").casefold()))
    if sign is None:
        raise ValueError(
            f"'{reading.key}': value = '{text[:40]}' is neither + nor - (or ok, out,"
            " in; none where it is silent)"
        )
    return sign


def _check_sum(reading, octaves, single):
    """Refuse a value in dB(A) that is not the sum of the octaves beside it."""
    total = float(bands.a_weighted(octaves))
    if abs(total - single) > AGREE_DB:  # never when no value was given: NaN
        raise ValueError(
            f"'{reading.key}': the octaves add up to {total:.1f} dB(A), and value says {single:g}"
        )


def _number(reading, column, text):
    """A number that can be meant, in the unit of its kind."""
    low, high = reading.kind.limits
    own = "dB(A)" if reading.kind.dba and column == "value" else reading.unit
    found = NUMBER.fullmatch(text.removeprefix("'").replace("\u2212", "-").strip())
    if not found:
        raise ValueError(f"'{reading.key}': {column} = '{text[:40]}' is not a number")
    unit = "dB(A)" if found[2] == "dBA" else found[2] or own
    if unit == "ms" and THOUSANDS.fullmatch(found[1]):
        raise ValueError(
            f"'{reading.key}': {column} = '{text[:40]}' may be {found[1].replace(',', '.')} ms or"
            f" {found[1].replace(',', '')} ms. Write it without a comma"
        )
    value = float(found[1].replace(",", "."))
    if unit != own:
        if not {unit, own} <= set(MILLISECONDS):
            raise ValueError(
                f"'{reading.key}': {column} = '{text[:40]}' is in {unit}, and {own} is expected"
            )
        value = value * MILLISECONDS[unit] / MILLISECONDS[own]
    if not low <= value <= high:
        raise ValueError(
            f"'{reading.key}': {column} = {value:g} is outside {low:g} to {high:g}"
            f" {reading.unit}. {reading.kind.slip}".rstrip(". ")
        )
    return value
