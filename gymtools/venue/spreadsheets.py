"""Texts that a spreadsheet shows and does not run."""

import re

# a text that begins so would be run; full-width forms are taken for the plain ones by some
FORMULA = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
NUMBER = re.compile(r"-\d+([.,]\d+)?", re.ASCII)  # a negative one runs nothing
UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
GUARD = "'"


def as_text(value):
    """A cell that a spreadsheet shows and does not run.

    Parameters
    ----------
    value : any
        Of a table: a cell, a heading, a title or a note

    Returns
    -------
    value : any
        Text that would be a formula gets an apostrophe in front, characters that no file of tables
        can hold become spaces; numbers stay, also those written as text
    """
    if not isinstance(value, str):
        return value
    value = UNWRITABLE.sub(" ", value)
    return GUARD + value if FORMULA.match(value) and not NUMBER.fullmatch(value) else value


def as_written(text):
    """A cell as it was before it was guarded.

    Parameters
    ----------
    text : str
        Of a table written with ``as_text``

    Returns
    -------
    text : str
        Without the apostrophe that ``as_text`` put in front
    """
    bare = text.removeprefix(GUARD)
    return bare if as_text(bare) == text else text
