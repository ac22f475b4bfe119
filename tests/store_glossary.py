"""Writes the notebook of the glossary from its table. Run by hand after the table was edited:

python tests/store_glossary.py
"""

import re
from pathlib import Path

import nbformat

from gymtools.training.glossary import terms

BOOK = Path(__file__).resolve().parent.parent / "workbooks" / "training" / "glossary.ipynb"
TITLE = "\n\n".join(
    (
        "# Glossary",
        "Words of the trade in plain words. Every lesson links here. Look a word up when you meet"
        " it; do not learn the list.",
        "A source is a print or a standard. *Common practice, no source* marks what the trade does"
        " without one. Standards are named from memory; look them up before you quote them.",
        "*Loudspeakers hang over people; AC power, loud sound and emergency announcements can hurt."
        " Nothing here replaces local codes, the authority having jurisdiction, or licensed"
        " structural, electrical and fire-alarm professionals.*",
    )
)


def book():
    """The notebook as the table has it."""
    made = nbformat.v4.new_notebook(
        metadata={
            "kernelspec": dict(
                display_name="Python 3 (ipykernel)", language="python", name="python3"
            )
        }
    )
    title = nbformat.v4.new_markdown_cell(TITLE, id="title", metadata={"tags": ["title"]})
    made.cells = [title] + [
        nbformat.v4.new_markdown_cell(
            term.markdown, id=re.sub(r"[^a-z0-9]+", "-", term.name.lower()).strip("-")
        )
        for term in terms()
    ]
    return made


if __name__ == "__main__":
    nbformat.write(book(), BOOK)
    print(BOOK.name)
