"""What a figure depends on, in a few characters: the scenario with everything that it names,
prices, the package and the libraries that it computes with.
"""

import hashlib
from importlib import metadata
from pathlib import Path

import numpy as np

from ..equipment.prices import example_prices
from ..physics.tracing import present_engine
from ..venue.quantity import file_fields

PACKAGE = Path(__file__).parents[1]
# whatever a figure may come from: no room above this one, see DEVELOPERS.md
ROOMS = ("physics", "venue", "acoustics", "equipment", "design", "data")
LENGTH = 16  # of a fingerprint [characters]
LIBRARIES = ("numpy", "scipy", "numba")


def digest(what):
    """What tells some things from any others, at full length.

    Parameters
    ----------
    what : any
        As for ``fingerprint``

    Returns
    -------
    text : str
        SHA-256, 64 hexadecimal digits
    """
    return hashlib.sha256(repr(what).encode("utf-8", "backslashreplace")).hexdigest()


def fingerprint(what):
    """What tells some things from any others.

    Parameters
    ----------
    what : any
        Plain things, whose ``repr`` says everything

    Returns
    -------
    text : str
        LENGTH hexadecimal digits
    """
    return digest(what)[:LENGTH]


def contents(scenario):
    """Everything that a scenario says, and everything that its loudspeaker files say.

    Parameters
    ----------
    scenario : Scenario
        Any

    Returns
    -------
    contents : list
        For ``fingerprint``
    """
    fields = [(f.name, getattr(scenario, f.name)) for f in file_fields(scenario)]
    measured = [
        (t, None if t.measured_db is None else _of_bytes(np.ascontiguousarray(t.measured_db)))
        for t in scenario.measured_types
    ]
    return [*fields, measured]


def _of_bytes(array):
    """An array, whose repr leaves out its middle."""
    return array.shape, array.dtype.str, hashlib.sha256(array.tobytes()).hexdigest()


def prices_of(book):
    """Everything that a price book says.

    Parameters
    ----------
    book : PriceBook or None
        None stands for the package's invented one

    Returns
    -------
    contents : list
        For ``fingerprint``
    """
    book = book or example_prices()
    return [book.name, sorted(book.prices.items())]


def package():
    """Fingerprint of the package's code and data, and of the libraries' versions, as they were
    imported, and of what follows the rays.

    Returns
    -------
    text : str
        Other code, data, libraries or another engine give another one
    """
    return fingerprint((IMPORTED, present_engine()))


def check_package():
    """Refuse a package whose files have changed since it was imported: its tables are read when
    they are first needed, so that nobody can say which of them a figure comes from.

    Raises
    ------
    ValueError
        Another file stands on the disk
    """
    if _on_disk() != IMPORTED:
        raise ValueError(
            "the files of gymtools have changed since it was imported, so that no row can say which"
            " version it is of. Restart Python (the kernel) and begin again."
        )


def _on_disk():
    """Fingerprint of what stands on the disk now."""
    files = sorted(
        p
        for room in ROOMS
        for p in (PACKAGE / room).rglob("*")
        if p.is_file() and p.suffix in (".py", ".csv", ".npz", ".npy", ".toml")
    )
    parts = [(p.relative_to(PACKAGE).as_posix(), _of_file(p)) for p in files]
    return fingerprint((parts, *map(metadata.version, LIBRARIES)))


def _of_file(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


IMPORTED = _on_disk()  # with the import, before anybody can have changed a file
