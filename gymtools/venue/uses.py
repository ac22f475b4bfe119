"""What the school does in the gym: who listens, how full it is, how noisy, how loud, and which
loudspeakers play.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from ..physics.checks import whole, within
from .arguments import kind_of, number, one_of
from .hall import SIDES
from .quantity import Thing, quantity
from .spectra import octave_levels

KINDS = ("sports", "speech")  # of uses


def checked_rows(pulled_out):
    """Numbers of rows that are out, refused when they cannot be.

    Parameters
    ----------
    pulled_out : dict
        Number of rows by the name of a bank

    Returns
    -------
    pulled_out : dict
        Whole numbers, 0 where the bank is closed

    Raises
    ------
    ValueError
        One of them is no whole number from 0 to 60
    """
    hint = "Give a number of rows."
    return {
        bank: whole(f"pulled_out '{bank}'", rows, 0, 60, hint) for bank, rows in pulled_out.items()
    }


def on_court(name):
    """Whether an audience area is the court, or half of it in a divided gym.

    Parameters
    ----------
    name : str
        Name of the area

    Returns
    -------
    on_court : bool
        "court", or that and a side
    """
    return name == "court" or name in {f"court {side}" for side in SIDES}


@dataclass(frozen=True, kw_only=True)
class GroupSetting(Thing):
    """How one loudspeaker group plays in one use."""

    on: bool = True
    gain_db: float = quantity("dB", -60, 20, default=0.0)
    delay_ms: float = quantity("ms", 0, 500, default=0.0, hint="Seconds given by mistake?")

    def __post_init__(self):
        super().__post_init__()
        if not isinstance(self.on, bool):
            raise ValueError(f"on = {self.on!r} must be true or false.")


@dataclass(frozen=True, kw_only=True)
class Use(Thing):
    """One use of the gym.

    ``listens`` gives each listening area its weight, ``occupied`` the share of its seats taken;
    groups that ``groups`` does not name play at gain 0 and no delay. The noise is an overall level
    with a named spectrum, or seven octave levels. ``closed`` names banks pushed back, ``set_up``
    the chairs, portable stages and movable fixtures that stand in this use, ``microphones`` the
    ones that are open. ``pulled_out`` gives how many rows of a bank that is not closed are out; 0
    closes it. Where it is ``divided`` the divider is drawn; ``beside`` names the use that goes on
    at the same time on its other side, whose speech is noise here. ``kind`` says by which target
    its reverberation is judged: "sports" (games, classes) or "speech" (assemblies, graduations,
    shows); ``rt_s`` is the school's own figure. ``automatic_mixing`` keeps one of its microphones
    open at a time; left out, the equipment says.
    """

    name: str
    target_dba: float = quantity(
        "dB(A)", 40, 110, hint="Mean speech level wanted at the listeners."
    )
    noise_dba: float | None = quantity("dB(A)", 10, 110, default=None)
    noise_spectrum: str = "ventilation"
    noise_db: tuple | None = None
    listens: dict = field(default_factory=dict)
    occupied: dict = field(default_factory=dict)
    groups: dict = field(default_factory=dict)
    closed: tuple = ()
    pulled_out: dict = field(default_factory=dict)
    set_up: tuple = ()
    curtain_open: bool = True
    microphones: tuple = ()
    divided: bool = False
    beside: str | None = None
    kind: str | None = None
    automatic_mixing: bool | None = None
    rt_s: float | None = quantity("s", 0.3, 10, default=None, hint="Milliseconds given by mistake?")

    def __post_init__(self):
        super().__post_init__()
        if self.kind is not None:
            one_of("kind", self.kind, KINDS)
        if not isinstance(self.curtain_open, bool):
            raise ValueError(f"curtain_open = {self.curtain_open!r} must be true or false.")
        if not isinstance(self.divided, bool):
            raise ValueError(f"divided = {self.divided!r} must be true or false.")
        if self.beside is not None and not self.divided:
            raise ValueError(
                f"beside = '{self.beside}': the gym is not divided. Add divided = true."
            )
        for word in ("closed", "set_up", "microphones"):
            if not all(isinstance(name, str) for name in getattr(self, word)) or isinstance(
                getattr(self, word), str
            ):
                raise ValueError(f"{word} must be a list of names in quotes.")
        if (self.noise_dba is None) == (self.noise_db is None):
            raise ValueError(
                "give the noise either as noise_dba with noise_spectrum, or as noise_db in seven"
                " octaves."
            )
        for group, setting in self.groups.items():
            kind_of(f"groups '{group}'", setting, GroupSetting, "Give a table of its settings.")
        octave_levels(self.noise_spectrum, 50.0)
        if self.noise_db is not None:
            if len(self.noise_db) != 7:
                raise ValueError(
                    f"noise_db has {len(self.noise_db)} values, not one for each of the seven"
                    " octaves 125 Hz to 8 kHz."
                )
            object.__setattr__(
                self, "noise_db", tuple(within("noise_db", self.noise_db, -20, 120, "dB").tolist())
            )
        for area, share in self.occupied.items():
            number(f"occupied '{area}'", share, 0, 1, "", "Give a share from 0 to 1, not percent.")
        object.__setattr__(self, "pulled_out", checked_rows(self.pulled_out))
        for area, weight in self.listens.items():
            number(f"listens '{area}'", weight, 0, 100, "", "A weight cannot be negative.")

    @property
    def judged_as(self):
        """Its kind, one of ``KINDS``; where it says none, "sports" if people listen on the court,
        else "speech".
        """
        court = any(on_court(name) and weight > 0 for name, weight in self.listens.items())
        return self.kind or ("sports" if court else "speech")

    @property
    def noise(self):
        """Noise at the listeners, seven octaves (band,) [dB]."""
        return (
            octave_levels(self.noise_spectrum, self.noise_dba)
            if self.noise_db is None
            else np.array(self.noise_db)
        )

    def group_setting(self, group):
        """How a group plays.

        Parameters
        ----------
        group : str
            Name of the group

        Returns
        -------
        setting : GroupSetting
            On at gain 0 and no delay when the use does not name the group
        """
        return self.groups.get(group, GroupSetting())


def standing_bank(bank, use):
    """A bank as it stands in a use.

    Parameters
    ----------
    bank : Bank
        As the gym has it
    use : Use or MeasuredRoom
        What says how it stands: its ``closed`` and ``pulled_out``

    Returns
    -------
    bank : Bank
        Closed, or with so many rows out; the same one where the use says nothing about it
    """
    out = use.pulled_out.get(bank.name)
    if bank.open and (bank.name in use.closed or out == 0):
        return replace(bank, open=False)
    if out is None or not bank.open or min(out, bank.rows) == bank.rows_out:
        return bank
    # the scenario refuses more rows than there are; until then all are out
    return replace(bank, pulled_out=min(out, bank.rows))
