"""Words of the course, from one table of the package."""

from dataclasses import dataclass
from functools import lru_cache

from ..venue.tables import read_table


@dataclass(frozen=True)
class Term:
    """A word of the trade in plain words."""

    name: str
    words: str
    source: str  # a print, or "common practice, no source"
    lesson: str  # number of the one that explains it

    @property
    def anchor(self):
        """What stands behind "#" in a link to it: JupyterLab makes it of the heading."""
        return self.name.replace(" ", "-")

    @property
    def markdown(self):
        """Its heading and its words, as the notebook has them."""
        return f"### {self.name}\n\n{self.words} Lesson {self.lesson}.\n\n*Source: {self.source}.*"


@lru_cache(maxsize=1)
def terms():
    """All words of the course.

    Returns
    -------
    terms : tuple of Term
        In the order of the alphabet

    Raises
    ------
    ValueError
        A word is there twice, or lacks its words, its source or its lesson
    """
    found = [
        Term(row["term"], *(row[k] for k in ("words", "source", "lesson")))
        for row in read_table("glossary.csv")
    ]
    for term in found:
        if not all((term.name, term.words, term.source, term.lesson)):
            raise ValueError(f"The word {term.name!r} of the glossary is not complete.")
    if len({term.name.lower() for term in found}) < len(found):
        raise ValueError("A word of the glossary is there twice.")
    return tuple(sorted(found, key=lambda term: term.name.lower()))
