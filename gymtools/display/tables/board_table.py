"""The uses board on paper: the same rows and cells as on the meeting's screen."""

from html import escape

from ...acoustics.criteria import WORDS
from .board import JudgedUse, board_columns, board_row, board_sentence
from .markup import table

HEAVY = {word: word.split()[0] for word in WORDS}  # class of a word's look


def board_table(results):
    """A row per use and a column per question, each with its word, number and place.

    Parameters
    ----------
    results : dict
        Evaluations by use, with all rays

    Returns
    -------
    html : str
        A sentence over all uses, and a table
    """
    judged = [JudgedUse.of(result) for result in results.values()]
    columns = board_columns()
    head = ["use", *(escape(c["plain"]) for c in columns)]
    rows = [_row(board_row(use)) for use in judged]
    made = table("Every use and every question, the worst of each", head, rows)
    return f'<p>{escape(board_sentence(judged))}</p><div class="board">{made}</div>'


def _row(row):
    name = f'<b>{escape(row["use"])}</b><br><span class="quiet">{escape(row["note"])}</span>'
    return [name, *map(_cell, row["cells"])]


def _cell(cell):
    word = cell["word"]
    lines = [f'<span class="word {HEAVY[word]}">{escape(word)}</span>'] if word else []
    lines += [escape(text) for text in (cell["number"], cell["count"]) if text]
    lines += [f'<span class="quiet">{escape(cell["where"])}</span>'] if cell["where"] else []
    return "<br>".join(lines) or "-"
