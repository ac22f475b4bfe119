"""What was measured in the gym that is there, and what its absorption was fitted to."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..physics import bands
from .arguments import number
from .quantity import Thing, quantity
from .texts import shown
from .uses import Use, checked_rows, standing_bank

OCTAVES = tuple(str(f) for f in bands.NOMINAL)  # as keys of a table
STANDING = 10  # people who measure and need no seat: they change nothing
MISSED = 0.10  # of a measured time: a fit that stays further off has not reached it
SAME = 0.01  # times that differ by less are the same, as a share
LIKELY = {"s": "Milliseconds given by mistake?", "dB": "", "%": "Give percent, not a fraction."}


def octave_table(name, table, unit, low, high):
    """A value for each octave that has one, refused when it cannot be.

    Parameters
    ----------
    name : str
        What it is, for messages
    table : dict
        By octave in Hz, as text or number: ``{"125": 2.9, "500": 2.3}`` [unit]
    unit : str
        Unit of the values
    low, high : float
        Closed limits [unit]

    Returns
    -------
    table : dict
        Float by octave, in the order of the octaves [unit]

    Raises
    ------
    ValueError
        A key is no octave, or a value no number within the limits
    """
    given = {str(key): value for key, value in table.items()}
    if len(given) < len(table):
        raise ValueError(f"{name}: an octave is given twice. Keep one of them.")
    for key in given:
        if key not in OCTAVES:
            raise ValueError(
                f"{name}: {shown(key)} is no octave. Write one of {', '.join(OCTAVES)} (Hz);"
                " leave out what was not measured."
            )
    return {
        octave: number(f"{name} {octave}", given[octave], low, high, unit, LIKELY[unit])
        for octave in OCTAVES
        if octave in given
    }


def by_octave(table):
    """A table of octaves as an array.

    Parameters
    ----------
    table : dict
        Of ``octave_table`` [any]

    Returns
    -------
    values : ndarray
        (7,); NaN where there is none [as table]
    """
    return np.array([table.get(octave, np.nan) for octave in OCTAVES])


def octaves_of(values, digits):
    """An array as a table of octaves.

    Parameters
    ----------
    values : array
        (7,); NaN where there is none [any]
    digits : int
        Decimals that are kept [-]

    Returns
    -------
    table : dict
        By octave in Hz [as values]
    """
    pairs = zip(OCTAVES, np.asarray(values, float).tolist(), strict=True)
    return {octave: round(value, digits) for octave, value in pairs if np.isfinite(value)}


@dataclass(frozen=True, kw_only=True)
class MeasuredRoom(Thing):
    """What was measured in the gym as it stood, with the treatments that are ``existing``.

    ``closed`` names banks that were pushed back, ``pulled_out`` gives how many rows of others were
    out, ``set_up`` names the chairs and portable stages that stood, as of a use; ``people`` sat
    evenly on the seats that there were. ``t20_s``, ``edt_s`` and ``noise_db`` are tables by octave
    in Hz; what was not measured is left out. Where an octave has T20 and EDT, T20 counts.
    """

    t20_s: dict = field(default_factory=dict)
    edt_s: dict = field(default_factory=dict)
    noise_db: dict = field(default_factory=dict)
    noise_dba: float | None = quantity("dB(A)", 10, 110, default=None)
    people: int = quantity("count", 0, 20_000, default=0)
    closed: tuple = ()
    pulled_out: dict = field(default_factory=dict)
    set_up: tuple = ()
    curtain_open: bool = True
    positions: int = quantity(
        "count",
        1,
        200,
        default=1,
        hint="Combinations of source and microphone over which the times are averaged.",
    )
    where: str = ""
    date: str = ""
    note: str = ""

    def __post_init__(self):
        super().__post_init__()
        for key, *limits in (
            ("t20_s", "s", 0.1, 15),
            ("edt_s", "s", 0.1, 15),
            ("noise_db", "dB", -20, 120),
        ):
            object.__setattr__(self, key, octave_table(key, getattr(self, key), *limits))
        object.__setattr__(self, "pulled_out", checked_rows(self.pulled_out))
        if not (self.t20_s or self.edt_s):
            raise ValueError(
                "no decay is given. Write t20_s or edt_s by octave, e.g. t20_s = { 500 = 2.3 }."
            )

    @property
    def times(self):
        """Time of each octave, T20 before EDT (7,); NaN where none was measured [s]."""
        t20, edt = by_octave(self.t20_s), by_octave(self.edt_s)
        return np.where(np.isfinite(t20), t20, edt)

    @property
    def early(self):
        """Whether the time of each octave is an EDT (7,)."""
        return np.isnan(by_octave(self.t20_s)) & np.isfinite(by_octave(self.edt_s))


@dataclass(frozen=True, kw_only=True)
class RoomFit(Thing):
    """What the factors of absorption and scattering were fitted to: tables by octave in Hz."""

    measured_s: dict
    fitted_s: dict  # time that the fitted room gives
    spread_pct: dict  # what is left unknown of a time that it predicts: one standard deviation

    def __post_init__(self):
        super().__post_init__()
        for key, *limits in (
            ("measured_s", "s", 0.1, 15),
            ("fitted_s", "s", 0.05, 30),
            ("spread_pct", "%", 0, 200),
        ):
            object.__setattr__(self, key, octave_table(key, getattr(self, key), *limits))


def state_words(scenario):
    """How the gym stood when it was measured, in words.

    Parameters
    ----------
    scenario : Scenario
        With a measured room

    Returns
    -------
    words : str
        "as measured: bleachers open, curtain open, nobody in it"
    """
    room = scenario.measured_room
    said = []
    if scenario.banks:
        closed = [b.name for b in scenario.banks if b.name in room.closed]
        some = f"{', '.join(closed)} closed, other bleachers open" if closed else "bleachers open"
        said.append("bleachers closed" if len(closed) == len(scenario.banks) else some)
    said += [f"{rows} rows of {name} pulled out" for name, rows in room.pulled_out.items()]
    said += [f"{', '.join(room.set_up)} set out"] if room.set_up else []
    if scenario.stage is not None:
        said.append(f"curtain {'open' if room.curtain_open else 'closed'}")
    said.append(f"{room.people} people in it" if room.people else "nobody in it")
    return f"as measured: {', '.join(said)}"


def as_measured(scenario):
    """The gym as it stood when it was measured.

    Parameters
    ----------
    scenario : Scenario
        With a measured room

    Returns
    -------
    scenario : Scenario
        With one use, called "as measured", and the treatments that were there
    """
    room = scenario.measured_room
    seats = sum(thing.seats for thing in _seating(scenario))
    share = min(room.people / seats, 1.0) if seats else 0.0
    use = Use(
        name="as measured",
        target_dba=70.0,  # nothing that is said of the room depends on it
        noise_dba=40.0,
        listens={"court": 1.0},
        occupied={thing.name: share for thing in _seating(scenario)} if share else {},
        closed=room.closed,
        pulled_out=room.pulled_out,
        set_up=room.set_up,
        curtain_open=room.curtain_open,
    )
    there = tuple(t for t in scenario.treatments if t.existing)
    nothing = dict(measured_room=None, room_fit=None, text=None)
    return replace(scenario, uses=(use,), treatments=there, **nothing)


def _seating(scenario):
    """Banks, balconies and chairs with seats as it was measured."""
    room = scenario.measured_room
    banks = [b for b in (standing_bank(b, room) for b in scenario.banks) if b.open]
    chairs = [f for f in scenario.floor_seats if f.name in room.set_up]
    return [*banks, *(b for b in scenario.galleries if b.rows), *chairs]


def _movable(scenario):
    """Fixtures that are there in some uses only."""
    return [f for f in scenario.fixtures if f.movable]


def check_measured(scenario):
    """Refuse a measured room that does not fit the scenario.

    Parameters
    ----------
    scenario : Scenario
        Perhaps with a measured room

    Raises
    ------
    ValueError
        A bank, chairs or a stage is unknown; more people than seats; a fit to nothing
    """
    room = scenario.measured_room
    if room is None:
        if scenario.room_fit is not None:
            raise ValueError(
                "room_fit is given without measured_room, which it was fitted to. Give both, or"
                " take both out."
            )
        return
    there = {
        "closed": [b.name for b in scenario.banks],
        "pulled_out": [b.name for b in scenario.banks],
        "set_up": [
            t.name for t in (*scenario.floor_seats, *scenario.portable_stages, *_movable(scenario))
        ],
    }
    for key, known in there.items():
        for name in getattr(room, key):
            if name not in known:
                raise ValueError(
                    f"measured_room: {key}: {shown(name)} is unknown. Known:"
                    f" {', '.join(known) or 'none'}."
                )
    for bank in scenario.banks:
        if room.pulled_out.get(bank.name, 0) > bank.rows:
            raise ValueError(
                f"measured_room: {room.pulled_out[bank.name]} rows of '{bank.name}' are pulled out,"
                f" which has {bank.rows}."
            )
    seats = sum(thing.seats for thing in _seating(scenario))
    if room.people > seats + STANDING:
        raise ValueError(
            f"measured_room: people = {room.people}, but only {seats} seats stood there. Set up the"
            " chairs, or open the banks, on which they sat."
        )


def measured_warnings(scenario):
    """What should be looked at in a measured room.

    Parameters
    ----------
    scenario : Scenario
        Perhaps with a measured room

    Returns
    -------
    warnings : list of str
        Sentences: the room is not fitted to what was measured, or a use is quieter than the gym
    """
    room, fit = scenario.measured_room, scenario.room_fit
    if room is None:
        return []
    if fit is None:
        found = [
            "The gym was measured, but its absorption is not fitted to that: predictions still"
            " start from published values."
        ]
    elif not _same(by_octave(fit.measured_s), room.times):
        found = [
            "What was measured in the gym has changed since its absorption was fitted. Fit it"
            " again."
        ]
    else:
        found = [*_missed(fit), *_unfitted(scenario)]
    return [*found, *_quieter(scenario)]


def _same(one, other):
    """Whether two sets of times are alike, gaps at the same octaves."""
    gaps = np.isnan(one) & np.isnan(other)
    return bool(np.all(gaps | (np.abs(one - other) <= SAME * np.abs(other))))


def _missed(fit):
    """Octaves that the fit does not reach."""
    off = np.abs(np.log(by_octave(fit.fitted_s) / by_octave(fit.measured_s)))
    octaves = ", ".join(o for o, missed in zip(OCTAVES, off > MISSED, strict=True) if missed)
    if not octaves:
        return []
    return [
        f"At {octaves} Hz no likely finishes ring as was measured: look at the readings and at what"
        " was built before you trust a prediction there."
    ]


def _unfitted(scenario):
    """Finishes of the gym that came after it was fitted."""
    surfaces = as_measured(scenario).room.surfaces
    names = sorted({s.finish for s in surfaces} - set(scenario.absorption_factors))
    return [
        f"'{name}' was not in the gym when its absorption was fitted to what was measured. Fit it"
        " again."
        for name in names
    ]


def _quieter(scenario):
    """Uses that are said to be quieter than the gym was with nobody talking."""
    room = scenario.measured_room
    measured = room.noise_dba
    if measured is None and len(room.noise_db) == len(OCTAVES):
        measured = float(bands.a_weighted(by_octave(room.noise_db)))
    if measured is None:
        return []
    return [
        f"Use '{use.name}': a noise of {noise:.0f} dB(A) is asked for, but the gym alone was"
        f" measured at {measured:.0f} dB(A)."
        for use in scenario.uses
        if (noise := float(bands.a_weighted(use.noise))) < measured - 0.5
    ]
