"""What one option loses against another, and for whom: use by use, counted in seats where seats can
be counted.
"""

from dataclasses import dataclass

import numpy as np

from ..acoustics.criteria import CRITERIA, WORDS, in_words, worst_word
from ..venue.seating import seats_of

FEWEST, SHARE = 3, 0.05  # seats, and part of an area's seats, from which a difference is said
MOST_OF = 0.6  # part of the seats in one third of an area from which that third is named
NEARLY_ALL = 0.9  # part of an area from which no third is named
FAILS = WORDS[2:]  # misses, out of reach
ALONG = {(0, -1): "west", (0, 1): "east", (1, -1): "south", (1, 1): "north"}
THIRDS = {  # of the rows, from the first to the last
    "floor": ("front rows", "middle rows", "back rows"),
    "bank": ("lower rows", "middle rows", "upper rows"),
    "balcony": ("front rows", "middle rows", "back rows"),
}
# criteria that are one question to those who sit there
TOGETHER = {"coverage_range": "even", "within_3db": "even", "quietest": "even"}
# where aim sends the sound is heard as one of the others, or not at all
UNHEARD = ("on_listeners",)


@dataclass(frozen=True, kw_only=True, eq=False)
class Standing:
    """How one thing stands in one use: in an area, at a microphone, or in the gym."""

    use: str
    what: str  # key of ``CRITERIA``, or "even"
    area: str  # or microphone; "" for the gym
    word: str  # one of ``WORDS``
    misses: np.ndarray | None  # points that miss (point,); None where seats are not counted
    kind: str = ""  # of the area
    places: np.ndarray | None = None  # thirds of rows and of columns (point, 2), 0 to 2
    sides: tuple = ()  # words for the first and the last third of the columns
    in_area: int = 0  # seats of the area; 0 where every point is one [-]

    @property
    def seats(self):
        """Seats of the area [-]."""
        return 0 if self.misses is None else self.in_area or len(self.misses)

    @property
    def missing(self):
        """Seats that miss [-]."""
        return 0 if self.misses is None else seats_of(self.misses, self.in_area)

    @property
    def fails(self):
        """Whether it is to be said: its check fails, or seats of some number miss."""
        return self.word in FAILS or self.missing >= max(FEWEST, SHARE * self.seats) > 0

    def where(self, which=None):
        """Where most of its seats are.

        Parameters
        ----------
        which : array, optional
            Seats (point,); those that miss when left out [-]

        Returns
        -------
        words : str
            E.g. "upper rows", "west end"; empty where they are all over the area
        """
        which = self.misses if which is None else which
        if self.places is None or not which.any() or which.mean() >= NEARLY_ALL:
            return ""
        rows, columns = self.places[which].T
        for places, words in ((rows, THIRDS[self.kind]), (columns, self.sides)):
            shares = [np.mean(places == third) for third in range(3)]
            third = int(np.argmax(shares))
            if shares[third] >= MOST_OF:
                return words[third]
        return ""


def standings(result):
    """How everything that can be heard stands in one use.

    Parameters
    ----------
    result : Result
        Of ``evaluate``

    Returns
    -------
    standings : dict
        Standing by what it is and where, in the order of the verdicts
    """
    words = {}
    for v in result.verdicts:
        if v.criterion not in UNHEARD:
            key = TOGETHER.get(v.criterion, v.criterion), v.area
            words[key] = worst_word([v.word, words.get(key, v.word)])
    return {key: _standing(result, *key, word) for key, word in words.items()}


def losses(before, after):
    """What is worse in one result than in another.

    Parameters
    ----------
    before, after : Result
        Of the same use

    Returns
    -------
    losses : list of tuple
        (Standing before, Standing after), the ones of most seats first, then what has no seats
    """
    one, other = standings(before), standings(after)
    pairs = [(one[key], other[key]) for key in one if key in other]
    lost = [pair for pair in pairs if _loses(*pair)]
    return sorted(lost, key=lambda pair: pair[0].missing - pair[1].missing)


def _loses(before, after):
    """Whether seats of some number are lost, or the check fails that did not."""
    if after.missing - before.missing >= max(FEWEST, SHARE * after.seats):
        return True
    worse = WORDS.index(after.word) > WORDS.index(before.word)
    return after.word in FAILS and worse and after.missing >= before.missing


def newly(before, after):
    """Seats that miss in one and not in another.

    Parameters
    ----------
    before, after : Standing
        Of the same area

    Returns
    -------
    seats : ndarray
        (point,); those of ``after`` where the two are not of the same seats [-]
    """
    if before.misses is None or before.misses.shape != after.misses.shape:
        return after.misses
    return after.misses & ~before.misses


def served(result):
    """Seats whose words are clear, nearly clear, or lost.

    Parameters
    ----------
    result : Result
        Of ``evaluate``

    Returns
    -------
    numbers : dict
        By listening area: 0 clear, 1 nearly, 2 lost (point,)
    """
    criterion, target = CRITERIA["sti"], result.scenario.targets.sti
    # as maps have the values, or a seat at the edge would count here and not on the plan
    margin = criterion.margin(np.asarray(result.sti, np.float32), target)
    numbers = in_words(margin, close=criterion.close, shown=criterion.shown)
    return {name: numbers[result.spans[name]] for name in result.weights}


def _standing(result, what, area, word):
    misses = _misses(result, what, area)
    if misses is None or area not in result.configuration.areas:
        return Standing(use=result.use.name, what=what, area=area, word=word, misses=None)
    audience = result.configuration.areas[area]
    places = sides = None
    if audience.kind in THIRDS:
        places, sides = _thirds(audience)
    return Standing(
        use=result.use.name,
        what=what,
        area=area,
        word=word,
        misses=misses,
        kind=audience.kind,
        places=places,
        sides=sides or (),
        in_area=audience.seats,
    )


def _misses(result, what, area):
    """Seats of an area that miss the target (point,); None where it is not of seats."""
    if what not in ("sti", "speech_to_noise", "arrival_spread", "in_sight"):
        return None
    span = result.spans[area]
    if what == "in_sight":
        return ~result.in_sight[span]
    values = {
        "sti": lambda: result.sti,
        "speech_to_noise": lambda: result.speech_to_noise_db,
        "arrival_spread": lambda: 1000 * result.arrival_spread_s,
    }[what]()[span]
    criterion = CRITERIA[what]
    target = criterion.target_in(result.scenario.targets)
    return criterion.margin(np.asarray(values, float), target) < -criterion.close


def _thirds(area):
    """In which third of the rows and of the columns each seat is (point, 2), and what the outer
    thirds of the columns are called.
    """
    rows, columns = np.divmod(np.arange(area.rows * area.columns), area.columns)
    thirds = np.stack([3 * rows // area.rows, 3 * columns // area.columns], axis=1)
    across = area.points[area.columns - 1] - area.points[0]
    axis = int(abs(across[1]) > abs(across[0]))
    sign = 1 if across[axis] >= 0 else -1
    ends = f"{ALONG[axis, -sign]} end", "middle", f"{ALONG[axis, sign]} end"
    return thirds, ends
