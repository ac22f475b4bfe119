"""Tables of the package: rows of a CSV file, and looking one up by name."""

import csv
import difflib
import re
from functools import cache
from importlib import resources

from .refusals import UnknownName

MENTIONED = 20  # names in a refusal


def read_table(filename):
    """Rows of one table in ``gymtools/data``.

    Parameters
    ----------
    filename : str
        Name of the CSV file, e.g. "finishes.csv"

    Returns
    -------
    rows : list of dict
        One dict of texts per row, keyed by the header
    """
    with (
        resources.files("gymtools")
        .joinpath("data", filename)
        .open(encoding="utf-8", newline="") as file
    ):
        return list(csv.DictReader(file))


def named(table, name, kind):
    """Entry of a table by name, or a refusal that suggests what it may have meant.

    Parameters
    ----------
    table : dict
        Entries keyed by name
    name : str
        Name looked for
    kind : str
        What the table holds, for the message, e.g. "finish"

    Returns
    -------
    entry : object
        ``table[name]``

    Raises
    ------
    UnknownName
        A ValueError: there is no such entry; what is another word for it is suggested, or else the
        nearest name
    """
    if isinstance(name, str) and name in table:
        return table[name]
    meant = meanings(name, table)
    near = meant or difflib.get_close_matches(str(name).lower(), table, 1)
    known = ", ".join(list(table)[:MENTIONED]) + (" ..." if len(table) > MENTIONED else "")
    hint = f"Did you mean {either(near)}?" if near else f"Known: {known}."
    text = f"{kind} = {name!r} is unknown. {hint}"
    raise UnknownName.of(text, kind, meant, next(iter(table), None))


def meanings(name, table):
    """Names of a table that a word people use may stand for.

    Parameters
    ----------
    name : object
        As somebody wrote it
    table : dict
        Entries keyed by name

    Returns
    -------
    names : list of str
        One where it is understood, several where one has to be chosen, none where it says nothing
    """
    word = " ".join(str(name).replace("_", " ").split()).lower()
    names = [known for known in table if isinstance(known, str)]
    same = [known for known in names if known.lower() == word]
    found = same or [m for m in _synonyms().get(word, ()) if m in table]
    if found:
        return found
    turned = _in_order(word)  # the same words in another order: "CMU, painted"
    same = [known for known in names if _in_order(known) == turned]
    return same or [m for m in _turned_synonyms().get(turned, ()) if m in table]


def either(names):
    """Some names in a question.

    Parameters
    ----------
    names : sequence of str
        At least one

    Returns
    -------
    words : str
        "'a', 'b' or 'c'"
    """
    quoted = [f"'{name}'" for name in names]
    if len(quoted) == 1:
        return quoted[0]
    return f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _in_order(words):
    """Words in the order of the alphabet, by which other orders of them are known."""
    return tuple(sorted(re.findall(r"[^\s,;/]+", words.lower())))


@cache
def _turned_synonyms():
    """Names by the words that people use for them, in any order."""
    return {_in_order(words): means for words, means in _synonyms().items()}


@cache
def _synonyms():
    """Names by the words that people use for them."""
    return {
        row["words"]: tuple(name.strip() for name in row["means"].split(";"))
        for row in read_table("synonyms.csv")
    }
