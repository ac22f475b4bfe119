"""Revisions of a record: what one keeps for the next, and what has changed since."""

import datetime
import json
import warnings
from dataclasses import dataclass, replace

from ..acoustics.criteria import CRITERIA, WORDS
from ..equipment.prices import money
from ..venue.files import load
from ..venue.reading_files import file_text, one_line
from ..venue.writing_files import earlier_folders
from .comparing import differing_values

RECORD, KEPT, SCENARIO = "record.html", "record.json", "scenario.toml"  # files of a record's folder
FORMAT = 1  # of what is kept
MORE_DIGITS = 3  # decimals more than usual, at most, that tell two figures apart
MOST_BYTES = 4_000_000  # of what is kept
FIELDS = {
    "revision": int,
    "date": str,
    "prepared_for": str,
    "chosen": str,
    "total": (int, float),
    "currency": str,
    "prices": str,
    "inputs_hash": str,
    "verdicts": list,
}


@dataclass(frozen=True, kw_only=True)
class Issue:
    """What of a record or of drawings nobody can compute; what is not given is a line to write
    on.
    """

    revision: int | str = 1
    date: datetime.date | None = None
    prepared_for: str = ""
    reason: str = ""  # why this option, in the designer's own words
    drawn_by: str = ""
    checked_by: str = ""
    files: tuple = ()  # (option, name of the file it was read from)
    heard: str = ""  # use of which a seat can be listened to in the record


@dataclass(frozen=True, kw_only=True, eq=False)
class Earlier:
    """A record that was written before."""

    revision: int
    date: str = ""
    prepared_for: str = ""
    kept: dict | None = None  # as of ``kept_text``; None where it cannot be read
    scenario: object = None  # None where its file cannot be read


@dataclass(frozen=True, kw_only=True)
class Reworded:
    """A check whose word has changed, or that is judged in one of two records only."""

    use: str
    check: str  # with its area
    was: tuple  # (figure, word); empty where it was not judged
    now: tuple

    @property
    def steps(self):
        """By how many words it has become better; 0 where it is new or gone [-]."""
        if not (self.was and self.now):
            return 0
        return WORDS.index(self.was[1]) - WORDS.index(self.now[1])


@dataclass(frozen=True, kw_only=True, eq=False)
class Changes:
    """What has changed since an earlier record."""

    since: Earlier
    values: tuple  # (what, was, is now) of the scenario
    verdicts: tuple  # Reworded
    moved: int  # figures that changed by more than their rounding, but not their word
    money: str  # what the total was and is; empty where it has not changed
    bill: tuple  # (line, was, is now) in words; None where the earlier bill was not kept
    chosen: str  # what was chosen before; empty where it is the same name


def dated(issue, date):
    """An issue with a date, where it has none of its own.

    Parameters
    ----------
    issue : Issue
        Of a record
    date : datetime.date or None
        As given

    Returns
    -------
    issue : Issue
        With its own date, else the other one, else none
    """
    return replace(issue, date=issue.date or date)


def total_of(decision):
    """Total of a decision's bill.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``

    Returns
    -------
    total : float
        In the price book's currency [currency]
    """
    return float(sum(line.total for line in decision.parts.lines))


def kept_text(decision, issue):
    """What a record keeps for the next one.

    Parameters
    ----------
    decision : Decision
        Of ``design.decision.decide``
    issue : Issue
        Of the record

    Returns
    -------
    text : str
        JSON; the same decision and issue give the same text
    """
    verdicts = [
        [use, v.criterion, v.area, round(float(v.value), 6), v.word]
        for use, result in decision.results.items()
        for v in result.verdicts
    ]
    kept = dict(
        format=FORMAT,
        revision=issue.revision,
        date=issue.date.isoformat() if issue.date else "",
        prepared_for=issue.prepared_for,
        chosen=decision.chosen.name,
        total=round(total_of(decision), 2),
        currency=decision.parts.currency,
        prices=decision.prices,
        inputs_hash=decision.inputs_hash,
        lines=[
            [x.kind, x.item, round(x.quantity, 2), x.unit, round(x.total, 2)]
            for x in decision.parts.lines
        ],
        verdicts=verdicts,
    )
    return json.dumps(kept, ensure_ascii=False, indent=1) + "\n"


def earlier_record(folder):
    """The newest record that was written before, in a folder's place or among its revisions.

    Parameters
    ----------
    folder : str or Path
        Of the record that is to be written

    Returns
    -------
    earlier : Earlier or None
        None where there is none; with its number alone where what it keeps cannot be read
    """
    found = [path for path in earlier_folders(folder) if (path / RECORD).is_file()]
    for place in found[:1]:
        kept = _read(place / KEPT)
        if kept is None:
            return Earlier(revision=len(found))
        return Earlier(
            revision=kept["revision"],
            date=kept["date"],
            prepared_for=kept["prepared_for"],
            kept=kept,
            scenario=_scenario(place / SCENARIO),
        )
    return None


def _read(path):
    """What a record has kept; None where it cannot be read."""
    try:
        kept = json.loads(file_text(path, "record", MOST_BYTES))
        if kept["format"] != FORMAT or any(
            not isinstance(kept[key], kind) or isinstance(kept[key], bool)
            for key, kind in FIELDS.items()
        ):
            return None
        if not _are_lines(kept.setdefault("lines", None)):  # older records kept no bill
            return None
        for use, criterion, area, value, word in kept["verdicts"]:
            texts = all(isinstance(text, str) for text in (use, criterion, area, word))
            if not texts or not isinstance(value, int | float):
                return None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return kept


def _are_lines(lines):
    """Whether lines of a bill can be read; None are."""
    return lines is None or all(
        all(isinstance(text, str) for text in (kind, item, unit))
        and all(isinstance(x, int | float) for x in (quantity, total))
        for kind, item, quantity, unit, total in lines
    )


def _scenario(path):
    """The scenario of an earlier record; None where it cannot be read any more."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of words that have been renamed since
            return load(path)
    except (OSError, ValueError):
        return None


def changes_since(earlier, decision):
    """What has changed since an earlier record.

    Parameters
    ----------
    earlier : Earlier
        Of ``earlier_record``; what it keeps could be read
    decision : Decision
        What is decided now

    Returns
    -------
    changes : Changes
        In words and numbers, lengths in the units of the present scenario
    """
    kept, now = earlier.kept, decision.chosen
    values = ()
    if earlier.scenario is not None:
        pairs = differing_values(now.scenario, earlier.scenario)
        values = tuple((what, was, new) for what, new, was in pairs)
    verdicts, moved = _verdicts(kept["verdicts"], decision.results)
    return Changes(
        since=earlier,
        values=values,
        verdicts=verdicts,
        moved=moved,
        money=_money(kept, total_of(decision), decision.parts.currency),
        bill=_bill(kept, decision.parts),
        chosen="" if kept["chosen"] == now.name else one_line(kept["chosen"]),
    )


def _verdicts(kept, results):
    """Every check whose word has changed, and how many other figures have moved."""
    known = [row for row in kept if row[1] in CRITERIA and row[4] in WORDS]
    was = {(u, c, area): (v, word) for u, c, area, v, word in known}
    now = {
        (u, v.criterion, v.area): (float(v.value), v.word)
        for u, result in results.items()
        for v in result.verdicts
    }
    found, moved = [], 0
    for use, criterion, area in {**was, **now}:
        c = CRITERIA[criterion]
        before, after = was.get((use, criterion, area), ()), now.get((use, criterion, area), ())
        if before[1:] == after[1:]:
            moved += c.text(before[0]) != c.text(after[0])
            continue
        check = f"{c.label}, {area}" if area else c.label
        before, after = _told_apart(c, before, after)
        found.append(Reworded(use=use, check=check, was=before, now=after))
    return tuple(found), moved


def _told_apart(criterion, *judged):
    """Figures as they are shown, with the decimals that tell two of different words apart."""
    more = 0
    if all(judged) and judged[0][0] != judged[1][0]:
        while more < MORE_DIGITS and len({criterion.text(v, more) for v, _ in judged}) == 1:
            more += 1
    return [(criterion.text(one[0], more), one[1]) if one else () for one in judged]


def _bill(kept, parts):
    """Lines of the bill that are new, gone or changed: (line, was, is now); None where the earlier
    one was not kept.
    """
    if kept["lines"] is None:
        return None
    was = _lines(kept["lines"], kept["currency"])
    rows = [[x.kind, x.item, round(x.quantity, 2), x.unit, x.total] for x in parts.lines]
    now = _lines(rows, parts.currency)
    return tuple(
        (f"{kind}: {item}", "; ".join(was.get(key, ())), "; ".join(now.get(key, ())))
        for key in {**was, **now}
        for kind, item in [key]
        if was.get(key) != now.get(key)
    )


def _lines(rows, currency):
    """Quantity and total in words by (kind, item), each a list: one item may have several lines."""
    found = {}
    for kind, item, quantity, unit, total in rows:
        words = f"{quantity:g} {unit}".strip()
        key = one_line(kind), one_line(item)
        found.setdefault(key, []).append(f"{words}, {money(total, currency)}")
    return found


def _money(kept, total, currency):
    """What a total was and is, in words."""
    before, after = money(kept["total"], kept["currency"]), money(total, currency)
    if kept["currency"] != currency:
        return f"The price was {before} and is {after}, in another currency."
    if before == after:
        return ""
    more = f"{money(abs(total - kept['total']), currency)}"
    more += " more" if total > kept["total"] else " less"
    return f"The price was {before} and is {after}: {more}."


def counted(changes):
    """How much has changed, in one sentence.

    Parameters
    ----------
    changes : Changes
        Of ``changes_since``

    Returns
    -------
    words : str
        Gains and losses by the words of the checks
    """
    better = sum(x.steps > 0 for x in changes.verdicts)
    worse = sum(x.steps < 0 for x in changes.verdicts)
    other = len(changes.verdicts) - better - worse
    said = [f"{better} check{'s' * (better != 1)} gained"] * bool(better)
    said += [f"{worse} lost"] * bool(worse)
    said += [f"{other} {'is' if other == 1 else 'are'} new or gone"] * bool(other)
    words = ", ".join(said) or "No check changed its word"
    return f"{words}; {changes.moved} other figures moved, each with the same word as before."


def next_issue(issue, earlier):
    """An issue with the number that follows an earlier record.

    Parameters
    ----------
    issue : Issue
        As it was given
    earlier : Earlier or None
        Of ``earlier_record``

    Returns
    -------
    issue : Issue
        Revision 1 where there is no earlier one
    """
    return replace(issue, revision=1 if earlier is None else earlier.revision + 1)
