"""The scale of a design task: from the brief as it stands to a reference design, and a budget."""

from dataclasses import dataclass, fields
from pathlib import Path

import tomlkit

from ..physics.checks import within
from ..venue.reading_files import MEGABYTE, file_bytes

FAR_STEPS = 6.0  # a verdict that misses by more counts no worse: steps that people just notice [-]
ROOM = 1.25  # of the budget over the reference's cost; common practice, no source [-]
ROUND = 500.0  # budgets are whole multiples of it [the price book's currency]
FOR_MONEY = 0.15  # share of the points that a design loses which spends the whole budget [-]
OVER = 0.25  # share of the budget by which a design may exceed it before no point is left [-]
KIND = "yardstick"


@dataclass(frozen=True, kw_only=True)
class Yardstick:
    """What a brief is worth as it stands, and what a good design of it is worth and costs.

    Raises
    ------
    ValueError
        A number is outside its range, or the reference is no better than the brief
    """

    brief: str  # ``task.brief_id``
    quality_brief: float  # of the brief as it stands, 0 to 1 [-]
    quality_reference: float  # of the reference design, 0 to 1 [-]
    cost_reference: float  # in the price book's currency
    budget: float  # in the price book's currency

    def __post_init__(self):
        for name in ("quality_brief", "quality_reference"):
            within(name, getattr(self, name), 0, 1, "")
        for name in ("cost_reference", "budget"):
            within(name, getattr(self, name), 1, 1e9, "")
        if self.quality_reference - self.quality_brief < 0.02:
            raise ValueError(
                "nothing better than the brief was found, so there is no scale: take another brief."
            )

    def points(self, quality, cost):
        """Points of a design.

        Parameters
        ----------
        quality : float
            Of ``task.judged``, 0 to 1 [-]
        cost : float
            What it costs [the price book's currency]

        Returns
        -------
        points : float
            0 for the brief as it stands, 100 for what is as good as the reference and costs no
            more. A design that spends the whole budget loses ``FOR_MONEY`` of its points; one that
            exceeds it by ``OVER`` has none [-]
        """
        part = (quality - self.quality_brief) / (self.quality_reference - self.quality_brief)
        room = max(self.budget - self.cost_reference, 1.0)
        spent = min(max((cost - self.cost_reference) / room, 0.0), 1.0)
        over = max(cost / self.budget - 1, 0.0)
        money = (1 - FOR_MONEY * spent) * max(0.0, 1 - over / OVER)
        return float(100 * min(max(part, 0.0), 1.0) * money)


def budget_of(cost):
    """Budget of a brief whose reference design has a cost.

    Parameters
    ----------
    cost : float
        Of the reference [the price book's currency]

    Returns
    -------
    budget : float
        A round number [the price book's currency]
    """
    return float(ROUND * round(ROOM * cost / ROUND))


def beside(brief_file):
    """Where the yardstick of a brief lies.

    Parameters
    ----------
    brief_file : str or Path
        File of the brief

    Returns
    -------
    path : Path
        Beside it
    """
    path = Path(brief_file)
    return path.with_name(f"{path.stem}.yardstick")


def read_yardstick(path):
    """Read a yardstick.

    Parameters
    ----------
    path : str or Path
        Its file

    Returns
    -------
    yardstick : Yardstick
        As it was written

    Raises
    ------
    ValueError
        One line: what is wrong with the file
    """
    path = Path(path)
    text = file_bytes(path, KIND, MEGABYTE).decode("utf-8", errors="replace")
    try:
        found = tomlkit.parse(text).unwrap()
    except tomlkit.exceptions.TOMLKitError as error:
        raise ValueError(f"{path.name}: is no TOML: {error}.") from None
    names = {f.name for f in fields(Yardstick)}
    if set(found) != names:
        raise ValueError(f"{path.name}: holds {', '.join(found)}, not {', '.join(sorted(names))}.")
    try:
        return Yardstick(**found)
    except (ValueError, TypeError) as error:
        raise ValueError(f"{path.name}: {error}") from None


def yardstick_text(yardstick, school):
    """A yardstick as a file.

    Parameters
    ----------
    yardstick : Yardstick
        To be written
    school : str
        Name of the brief

    Returns
    -------
    text : str
        TOML
    """
    rows = [f"# Scale of the design task '{school}', made by tests/make_yardstick.py."]
    for f in fields(yardstick):
        value = getattr(yardstick, f.name)
        rows.append(
            f'{f.name} = "{value}"' if isinstance(value, str) else f"{f.name} = {value:.6g}"
        )
    return "\n".join(rows) + "\n"
