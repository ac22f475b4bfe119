"""What the panel stands at, as one value that never changes, and the history of such values."""

from dataclasses import dataclass, field, fields, replace
from functools import cached_property

from ...venue.hall import TREATABLE, Treatment
from ...venue.paths import by_name, changed, value_at
from ..theme import QUANTITIES

# that can be undone: a long meeting has hundreds. One took 1.5 kB with 33 values changed by hand
MOST_STEPS = 5000
NEAR = 2  # states before and after the present one that keep what was worked out for them
WALKING_MAP = "feedback_margin"  # the quantity that is drawn where a microphone may walk
UNTREATED = "wall panels"  # finish that is offered where nothing is treated yet


@dataclass(frozen=True, kw_only=True)
class PanelState:
    """Everything that the controls of the panel are set to.

    The scenario started from and the changes since are kept apart, so that values which only fit
    together may pass through a combination that cannot be.

    Parameters
    ----------
    start : Scenario
        Started from: a file, an arrangement, an option
    changes : dict
        Values set since, by path with names, e.g. ("groups", "north row", "downtilt_deg") [SI]
    treatments : tuple of Treatment
        One for every surface that can be treated; nothing is treated where its area is 0
    units : str
        Shown: "m" or "ft"
    use, group, area : str
        Names of the use, the group of loudspeakers and the listening area looked at
    quantity : str
        Key of ``theme.QUANTITIES``
    walker : str
        Type of the microphone of the walking map
    facing_deg : float or None
        Where its talker faces; None is the worst way [deg]
    microphone : str
        Open microphone that the map of feedback margin is of; empty for one of the type ``walker``
    seat : int or None
        Which of the result's points is looked at [-]
    worst : bool
        It is the worst seat of what the board was asked
    tab : str
        Key of the tab that is open under the picture
    folded : bool
        The notebook's code is hidden
    trace : bool
        The room is traced when nothing moves
    large : str
        What of the picture fills its frame alone: "space", "drawing", or "" for both side by side
    file : str
        Name of the file that the school was opened from or saved as; empty where there is none
    file_units : str
        "m" or "ft": what the school's file is written in
    price_book : str
        Name of the file that everything is priced by; empty for the package's invented prices
    search : dict
        What the search for a better aim was set to, by the names of its settings
    """

    start: object
    changes: dict = field(default_factory=dict)
    treatments: tuple = ()
    units: str
    use: str
    group: str
    area: str
    quantity: str = "direct 2k"
    walker: str = "hand-held wireless"
    facing_deg: float | None = None
    microphone: str = ""
    seat: int | None = None
    worst: bool = False
    tab: str = "verdicts"
    folded: bool = True
    trace: bool = True
    large: str = ""
    file: str = ""
    file_units: str = ""
    price_book: str = ""
    search: dict = field(default_factory=dict)

    @classmethod
    def of(cls, scenario, file=""):
        """The state in which a scenario is opened.

        Parameters
        ----------
        scenario : Scenario
            To start from
        file : str
            Name of the file that it comes from

        Returns
        -------
        state : PanelState
            Its first use, group and area are looked at
        """
        return cls(
            start=scenario,
            treatments=treatable(scenario),
            units=scenario.units,
            use=scenario.uses[0].name,
            group=scenario.groups[0].name,
            area=scenario.area_names[0],
            file=file,
            file_units=scenario.units,
        )

    @cached_property
    def scenario(self):
        """The scenario as the controls are set; ValueError where that cannot be built."""
        return self._made(self.units)

    @cached_property
    def design(self):
        """The scenario without the units that it is looked at in; None where it cannot be."""
        try:
            return replace(self._made("m"), text=None)
        except ValueError:
            return None

    def _made(self, units):
        changes = dict(self.changes)
        kept = tuple(t for t in self.treatments if t.area > 0)
        if kept != self.start.treatments:
            changes["treatments",] = kept
        changes["units",] = units  # for what is said; a file is saved in the units it came in
        return changed(self.start, changes)

    def value(self, path):
        """Present value of a path: as changed by hand, else as in the scenario started from.

        Parameters
        ----------
        path : tuple
            As for ``venue.paths``, e.g. ("banks", "north bank", "rows")

        Returns
        -------
        value : any
            What the scenario means there [SI]

        Raises
        ------
        ValueError
            Where the path leads nowhere
        """
        path = by_name(self.start, path)
        return self.changes[path] if path in self.changes else value_at(self.start, path)

    def update(self, **new):
        """The state with some of it changed, put in order.

        Another scenario to start from drops the changes and takes its own treatments, unless they
        are given too; another use forgets the seat; a group that is gone gives way to the first.

        Parameters
        ----------
        new : any
            Fields of the state; ``changes`` are added to those that there are

        Returns
        -------
        state : PanelState
            Another one

        Raises
        ------
        ValueError
            Where a name is unknown, in one line
        """
        known = [f.name for f in fields(self)]
        for name in new:
            if name not in known:
                raise ValueError(f"'{name}' is nothing of the panel. Known: {', '.join(known)}.")
        if "start" in new:
            new = {"changes": {}, "treatments": treatable(new["start"])} | new
        elif "changes" in new:
            added = {by_name(self.start, path): value for path, value in new["changes"].items()}
            new["changes"] = {**self.changes, **added}
        if new.get("use", self.use) != self.use:
            new = {"seat": None} | new
        if not {"seat", "changes", "start", "treatments"}.isdisjoint(new):
            new = {"worst": False} | new
        if not {"use", "quantity", "walker", "facing_deg", "start"}.isdisjoint(new):
            new = {"microphone": ""} | new  # the map is of something else
        state = replace(self, **new)
        for name, things in (("use", state.start.uses), ("group", state.start.groups)):
            if name in new:
                _known(name, new[name], [thing.name for thing in things])
        _known("quantity", state.quantity, QUANTITIES)
        _known("units", state.units, ("m", "ft"))
        _known("large", state.large, ("", "space", "drawing"))
        return state._in_order()

    def _in_order(self):
        groups, uses = ([x.name for x in things] for things in (self.start.groups, self.start.uses))
        state = self
        if self.use not in uses:
            state = replace(state, use=uses[0], seat=None)
        if self.group not in groups:
            state = replace(state, group=groups[0])
        return state

    def same_design(self, other):
        """Whether two states are of one design, whatever use, units or quantity is looked at.

        Parameters
        ----------
        other : PanelState
            Another state

        Returns
        -------
        same : bool
            False where either cannot be
        """
        return self.design is not None and self.design == other.design

    def with_design_of(self, other):
        """The state with the design of another one.

        Parameters
        ----------
        other : PanelState
            Gives start, changes and treatments

        Returns
        -------
        state : PanelState
            What is looked at stays
        """
        of_design = ("start", "changes", "treatments", "file", "file_units")
        return replace(self, **{name: getattr(other, name) for name in of_design})._in_order()

    def forget(self):
        """Let go of what was worked out for this state; it is worked out anew when asked for."""
        for name in ("scenario", "design"):
            self.__dict__.pop(name, None)


# looked at, not decided: no step of the history, and an undo leaves it
VIEWED = ("tab", "folded", "trace", "seat", "worst", "large")


def treatable(scenario):
    """What the scenario treats, and an empty entry for every other surface that could be.

    Parameters
    ----------
    scenario : Scenario
        The scenario

    Returns
    -------
    treatments : tuple of Treatment
        With area 0 where nothing is treated
    """
    treated = {t.surface for t in scenario.treatments}
    free = (s for s in TREATABLE if s not in treated)
    empty = (Treatment(surface=s, area=0.0, finish=UNTREATED) for s in free)
    return (*scenario.treatments, *empty)


def _known(what, name, names):
    if name not in names:
        raise ValueError(f"{what} '{name}' is unknown. Known: {', '.join(names)}.")


class History:
    """States that were, oldest first, with undo and redo; bounded.

    Steps that change the same thing in a row become one, until ``close`` is called: a slider that
    is dragged is one step.

    Parameters
    ----------
    state : PanelState
        First state
    most : int
        Steps that are kept [-]
    """

    def __init__(self, state, most=MOST_STEPS):
        self._states, self._now, self._most, self._open = [state], 0, most, None
        self._held = False
        self._gone = 0  # steps at the beginning that are kept no longer

    @property
    def present(self):
        """The state that stands."""
        return self._states[self._now]

    @property
    def held(self):
        """Whether a hand holds what it moves."""
        return self._held

    @property
    def can_undo(self):
        """Whether there is an earlier state."""
        return self._now > 0

    @property
    def can_redo(self):
        """Whether something was undone since the last step."""
        return self._now < len(self._states) - 1

    @property
    def steps(self):
        """Steps that led to the present state, those that are kept no longer among them [-]."""
        return self._gone + self._now

    @property
    def all_states(self):
        """States that are kept, oldest first, those that were undone among them."""
        return tuple(self._states)

    @property
    def so_far(self):
        """States from the present one back to the first that is kept."""
        return tuple(reversed(self._states[: self._now + 1]))

    def add(self, state, what=None):
        """Take a state as the present one; what was undone can no longer be redone.

        Parameters
        ----------
        state : PanelState
            The new state
        what : any
            What it changes; the same in a row is one step
        """
        if state == self.present:
            return
        if _without_view(state) == _without_view(self.present):
            self._states[self._now] = state
            return
        del self._states[self._now + 1 :]
        if what is not None and what == self._open and self._now > 0:
            self._states[self._now] = state
            return
        self._states.append(state)
        gone = max(len(self._states) - self._most - 1, 0)
        del self._states[:gone]
        self._gone += gone
        self._now, self._open = len(self._states) - 1, what
        self._forget_far()

    def go_on_from(self, states, now):
        """Go on from the states of an earlier meeting: they come before those of this one, and the
        one that stood last is the present one again.

        Parameters
        ----------
        states : list of PanelState
            Oldest first
        now : int
            Which of them stood last [-]
        """
        if not self.can_undo and not self.can_redo:  # nothing but looked at since
            self._states, self._now = list(states), now
        else:
            self._states = [*states[: now + 1], *self._states[: self._now + 1], states[now]]
            self._now = len(self._states) - 1
        self._gone, self._open = 0, None
        self._forget_far()

    def amend(self, state):
        """Take a state in the place of the present one, without a step.

        Parameters
        ----------
        state : PanelState
            The same design, e.g. saved under another name
        """
        self._states[self._now] = state

    def drop(self):
        """Forget the present step, if it is the last one: it came back to what was before."""
        if self.can_undo and not self.can_redo:
            self.undo()
            del self._states[self._now + 1 :]

    def hold(self, held):
        """Keep the step open, however long nothing comes, or let it be closed again.

        Parameters
        ----------
        held : bool
            A hand holds what it moves
        """
        self._held = held

    def close(self):
        """What comes next is a step of its own, unless a hand still holds what it moves."""
        if not self._held:
            self._open = None

    def undo(self):
        """Go one step back, if there is one; what is only looked at stays."""
        self._go(-1 if self.can_undo else 0)

    def redo(self):
        """Go one step forward again, if there is one; what is only looked at stays."""
        self._go(1 if self.can_redo else 0)

    def _go(self, step):
        view = {name: getattr(self.present, name) for name in VIEWED}
        same_use = self._states[self._now + step].use == self.present.use
        self._now += step
        self._open = None
        if not same_use:
            view["seat"] = None
        view["worst"] = False  # in another design another one may be
        self._states[self._now] = replace(self.present, **view)
        self._forget_far()

    def _forget_far(self):
        """What was worked out for a state that is left behind is let go of: it takes megabytes."""
        for far in (self._now - NEAR - 1, self._now + NEAR + 1):
            if 0 <= far < len(self._states):
                self._states[far].forget()


def _without_view(state):
    return replace(state, tab="", folded=True, trace=True, seat=None, worst=False, large="")
