"""The specification of a design: its three parts from one evaluation."""

from .clauses import Specification
from .execution import execution
from .figures import schedule_titles, stated
from .general import general
from .products import products


def specification(made, *, drawings=None, date=None, revision=""):
    """Specification text of a design.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``
    drawings : sequence of tuple, optional
        (number, title) of every drawing that goes with it; one for every use when left out
    date : datetime.date, optional
        Of issue; a line to write on when left out
    revision : str
        Letter or number of this issue; a line to write on when left out

    Returns
    -------
    specification : Specification
        For ``html_writer`` and ``word_writer``
    """
    scenario, titles = made.scenario, schedule_titles(made)
    drawings = drawings_of(made) if drawings is None else drawings
    given = {"Issued on": date and date.isoformat(), "Revision": revision, "Prepared by": ""}
    issued = tuple((what, stated(v, "given", what) if v else "") for what, v in given.items())
    return Specification(
        school=scenario.name,
        units=scenario.units,
        issued=issued,
        parts=(general(made, titles, drawings), products(made, titles), execution(made, titles)),
    )


def drawings_of(made):
    """Drawings that go with a design.

    Parameters
    ----------
    made : Parts
        Of ``equipment.schedules.parts``

    Returns
    -------
    drawings : list of tuple
        (number, title), in the order in which they are written
    """
    from ..drawings import drawing_set  # slow to load

    return [(sheet.number, sheet.title) for sheet in drawing_set(made)]
