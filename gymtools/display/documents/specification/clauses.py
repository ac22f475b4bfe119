"""A specification as a model: three parts of numbered articles, clauses and tables. What a page and
a word processor's file show is written from it, and nowhere else.
"""

from dataclasses import dataclass, field
from functools import cached_property


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure or name of the design, with where it comes from."""

    value: object  # as its source has it
    text: str  # as it is printed, with its unit
    source: tuple  # e.g. ("target", "sti"); ("practice", key) is computed from nothing

    def __str__(self):
        return self.text


class Cited(str):
    """Title of a standard, or number of a schedule or a drawing: its digits are no figures."""


@dataclass(frozen=True)
class To:
    """A reference to an article or a table of the same specification."""

    key: str


@dataclass(frozen=True, kw_only=True)
class Clause:
    """One duty or fact in a sentence or two."""

    words: tuple  # str, Figure, Cited and To in their order


@dataclass(frozen=True, kw_only=True)
class Table:
    """A numbered table."""

    key: str
    title: str
    columns: tuple  # as cells
    rows: tuple  # of cells: a str, a Figure, or a tuple of both


@dataclass(frozen=True, kw_only=True)
class Article:
    """Clauses and tables under one heading."""

    key: str
    title: str
    blocks: tuple  # Clause and Table


@dataclass(frozen=True, kw_only=True)
class Part:
    """General, products or execution."""

    title: str
    articles: tuple


@dataclass(frozen=True, kw_only=True, eq=False)
class Specification:
    """The whole text; ``numbers`` gives what its articles and tables are cited by."""

    school: str
    units: str  # of the school, "m" or "ft": they decide the paper
    issued: tuple  # (what, Figure or "") for the lines under the title
    parts: tuple
    numbers: dict = field(init=False)

    def __post_init__(self):
        found, tables = {}, 0
        for p, part in enumerate(self.parts, 1):
            for a, article in enumerate(part.articles, 1):
                found[article.key] = f"article {p}.{a}"
                for block in article.blocks:
                    if isinstance(block, Table):
                        tables += 1
                        found[block.key] = f"Table {tables}"
        object.__setattr__(self, "numbers", found)

    @cached_property
    def figures(self):
        """Every Figure of the text and its tables, in their order (tuple)."""
        cells = []
        for part in self.parts:
            for article in part.articles:
                for block in article.blocks:
                    if isinstance(block, Clause):
                        cells.append(block.words)
                    else:
                        cells += [*block.columns, *(cell for row in block.rows for cell in row)]
        return tuple(w for cell in cells for w in words_of(cell) if isinstance(w, Figure))

    def text(self, cell):
        """What a clause or a cell says.

        Parameters
        ----------
        cell : Clause, str, Figure, To or tuple
            Of this specification

        Returns
        -------
        text : str
            With references put in
        """
        words = cell.words if isinstance(cell, Clause) else words_of(cell)
        return "".join(self.numbers[w.key] if isinstance(w, To) else str(w) for w in words)

    def numbered(self, part):
        """Articles of one part with the numbers of their blocks.

        Parameters
        ----------
        part : int
            From 1 [-]

        Returns
        -------
        articles : list of tuple
            (number, Article, list of (number, block)); a clause as "2.3.1", a table as "Table 4"
        """
        found = []
        for a, article in enumerate(self.parts[part - 1].articles, 1):
            count, blocks = 0, []
            for block in article.blocks:
                count += isinstance(block, Clause)
                own = f"{part}.{a}.{count}" if isinstance(block, Clause) else ""
                blocks.append((own or self.numbers[block.key], block))
            found.append((f"{part}.{a}", article, blocks))
        return found


def words_of(cell):
    """Words of a cell.

    Parameters
    ----------
    cell : str, Figure, To or tuple
        One word, or several

    Returns
    -------
    words : tuple
        Of str, Figure, Cited and To
    """
    return cell if isinstance(cell, tuple) else (cell,)


def clause(*words):
    """A clause from its words.

    Parameters
    ----------
    words : str, Figure, Cited or To
        In their order

    Returns
    -------
    clause : Clause
        Of an article
    """
    return Clause(words=words)


def listed(figures):
    """Figures with commas between them.

    Parameters
    ----------
    figures : sequence of Figure
        At least one

    Returns
    -------
    cell : tuple
        Words
    """
    return tuple(w for f in figures for w in (", ", f))[1:]
