"""Criteria that a design is judged by. Each one is defined here, once, and nowhere else.

A ``Criterion`` says what is measured, against which target, from which source, how near a miss is
"close", and in which words a verdict on it is explained. ``judge`` asks all of them.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from ..physics import bands, feedback, intelligibility, reverberation
from ..venue.hall import TREATABLE
from ..venue.locations import spot
from ..venue.targets import Targets
from ..venue.units import to_file
from .feedback import limit_name
from .model_error import range_of_decay

WORDS = ("meets", "close", "misses", "out of reach")  # from best to worst
# of the reverberation
SPORTS_HALL = "DIN 18041:2016, group A5 (sports halls, empty), by volume, as printed in a handbook"
SPEECH_HALL = (
    "DIN 18041:2016, group A2 (speech, with its people), by volume, as printed in a handbook"
)
LARGEST_A2 = 5000  # volume for which it is given [m3]
BEYOND = "; drawn on beyond its largest volume"
OWN_FIGURE = "set for this school"
# share of what aim can send onto people that a good design sends there [%]; common practice, no
# source: 15 of the 17 uses of the shipped schools do, and 5 with every loudspeaker 15 deg too high
WELL_AIMED = 60.0
NINE_OF_TEN = 90  # percentile of the seats by which arrivals and echoes are judged [%]


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """One criterion in one area, at one microphone or in the whole room."""

    criterion: str  # key of ``CRITERIA``
    area: str  # or microphone; "" for the room
    value: float  # in ``unit``
    target: float  # in ``unit``
    unit: str
    place: str  # where it is worst, in words; "" where it has no place
    word: str  # one of ``WORDS``
    source: str  # where the target comes from
    facts: dict = field(default_factory=dict, compare=False, repr=False)  # for the sentence
    # seat where it is worst, as an index of the result's points; None where it is of no seat
    point: int | None = field(default=None, compare=False, repr=False)

    @property
    def meets(self):
        """Whether the target is met."""
        return self.word == WORDS[0]

    @property
    def sentence(self):
        """The reason in words and meters; ``Criterion.sentence`` takes other units."""
        return CRITERIA[self.criterion].sentence(self, "m")


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """Value of a criterion in one area, at one microphone or in the room."""

    area: str = ""
    value: float  # in the criterion's unit
    error: float = 0.0  # standard error of the value: nearer to the target is "close" [unit]
    target: float | None = None  # where it is not the scenario's
    source: str = ""  # of that target
    place: str = ""
    reachable: bool = True  # whether any design could meet the target
    facts: dict = field(default_factory=dict)
    point: int | None = None  # of the result's points: the seat where it is worst


@dataclass(frozen=True, kw_only=True)
class Question:
    """What a school asks of every use; every criterion belongs to one of them."""

    key: str
    plain: str  # for people outside the trade
    term: str  # the trade's
    nothing: str = "nobody listens in this use"  # why a use may have nothing to judge

    @property
    def criteria(self):
        """Keys of the criteria that answer it, in the order of the verdicts."""
        return tuple(key for key, c in CRITERIA.items() if c.question == self.key)

    def verdicts(self, verdicts):
        """Those of some verdicts that answer it.

        Parameters
        ----------
        verdicts : iterable of Verdict
            Of one use

        Returns
        -------
        verdicts : tuple of Verdict
            In their order
        """
        return tuple(v for v in verdicts if CRITERIA[v.criterion].question == self.key)


# in the order of the board: what is heard, what disturbs, what may not happen, where sound goes
QUESTIONS = MappingProxyType(
    {
        q.key: q
        for q in (
            Question(key="loud", plain="Loud enough?", term="speech-to-noise ratio"),
            Question(key="even", plain="Even?", term="coverage uniformity"),
            Question(key="clear", plain="Clear?", term="intelligibility, STI"),
            Question(key="together", plain="Together?", term="arrival-time spread"),
            Question(key="echo", plain="Echo-free?", term="echo criterion"),
            Question(key="ringing", plain="Ringing short enough?", term="reverberation time"),
            Question(
                key="microphones",
                plain="Microphones safe?",
                term="feedback margin",
                nothing="no microphone is open in this use",
            ),
            Question(key="loudest", plain="Not too loud?", term="loudest seat"),
            Question(key="people", plain="Sound on people?", term="first incidence"),
        )
    }
)


def in_words(margin, *, close, shown):
    """Margins as numbers of their words, by the one rule that verdicts, plans and counts of seats
    follow: what prints as its target meets it.

    Parameters
    ----------
    margin : array
        On the good side of a target, of any shape [unit]
    close, shown : float
        As ``Criterion`` has them [unit]

    Returns
    -------
    numbers : ndarray
        0 meets, 1 close, 2 misses, in the shape of ``margin`` [-]
    """
    return np.where(margin >= -shown, 0, np.where(margin >= -close, 1, 2))


@dataclass(frozen=True, kw_only=True)
class Criterion:
    """One thing that a design is judged by."""

    key: str
    question: str  # key of ``QUESTIONS``: the one that it answers
    scope: str  # "area", "microphone" or "room": what one verdict is on
    label: str  # on screen and in documents
    plain: str  # the question, for people outside the trade
    trouble: str  # what a miss means, for people outside the trade
    unit: str
    target: str  # field of ``Targets``; "" where the target is always 0
    source: str  # of the target
    better: int  # 1: more is better, -1: less is better
    close: float  # a miss by no more than this is "close" [unit]
    shown: float  # half the last digit shown: no verdict turns on less [unit]
    measure: Callable = field(repr=False)  # result -> Measurements
    sentence: Callable = field(repr=False)  # (verdict, units) -> words
    # (verdict) -> the same for people outside the trade, to follow "Worst (game):"
    plain_sentence: Callable = field(repr=False)
    abbreviation: str = ""  # of what is measured, where the trade has one
    follows: str = ""  # what a target that is left out follows from
    follows_echoes: bool = False  # its measure follows reflections, which takes a while

    def margin(self, value, target):
        """Margin of a value on the good side of a target.

        Parameters
        ----------
        value, target : float
            Both [unit]

        Returns
        -------
        margin : float
            Negative for a miss [unit]
        """
        return self.better * (value - target)

    def steps(self, value, target):
        """The margin in steps of ``close``, so that criteria compare.

        Parameters
        ----------
        value, target : float
            Both [unit]

        Returns
        -------
        steps : float
            Negative for a miss [-]
        """
        return self.margin(value, target) / self.close

    def word(self, value, target):
        """How a value compares with its target; whether the target is out of reach is left open.

        Parameters
        ----------
        value, target : float
            Both [unit]

        Returns
        -------
        word : str
            "meets", "close" or "misses"
        """
        margin = self.margin(value, target)
        return WORDS[int(in_words(margin, close=self.close, shown=self.shown))]

    @property
    def quantity(self):
        """What is measured, in as few words as the trade has for it."""
        return self.abbreviation or in_sentence(self.label)

    @property
    def digits(self):
        """Decimals of a value as it is shown [-]."""
        return 2 if self.shown < 0.01 else 1 if self.shown < 0.1 else 0

    def text(self, value, more=0):
        """A value as it is shown, with its unit.

        Parameters
        ----------
        value : float
            Value [unit]
        more : int
            Decimals more than usual [-]

        Returns
        -------
        words : str
            E.g. "6.3 dB"
        """
        return f"{self.number(value, more)} {self.unit}".rstrip()

    def number(self, value, more=0):
        """A value as it is shown, without its unit.

        Parameters
        ----------
        value : float
            Value [unit]
        more : int
            Decimals more than usual [-]

        Returns
        -------
        words : str
            E.g. "6.3"
        """
        return f"{value:.{self.digits + more}f}"

    def target_in(self, targets):
        """The target that a scenario asks for.

        Parameters
        ----------
        targets : Targets
            Of the scenario

        Returns
        -------
        target : float or None
            None where it follows from the room [unit]
        """
        return getattr(targets, self.target) if self.target else 0.0

    def source_in(self, targets):
        """Source of the target that a scenario asks for.

        Parameters
        ----------
        targets : Targets
            Of the scenario

        Returns
        -------
        source : str
            The criterion's own, or that the school asks for another figure
        """
        default = Targets.__dataclass_fields__[self.target].default if self.target else 0.0
        return self.source if self.target_in(targets) == default else OWN_FIGURE

    def judge(self, result):
        """Verdicts of one evaluation.

        Parameters
        ----------
        result : Result
            Of ``evaluate``

        Returns
        -------
        verdicts : list of Verdict
            One for each area or microphone, or for the room
        """
        targets = result.scenario.targets
        return [self._verdict(m, targets) for m in self.measure(result)]

    def _verdict(self, measured, targets):
        target = self.target_in(targets) if measured.target is None else measured.target
        word = self.word(measured.value, target)
        if abs(measured.value - target) < measured.error:
            word = WORDS[1]
        if word != WORDS[0] and not measured.reachable:
            word = WORDS[3]
        return Verdict(
            criterion=self.key,
            area=measured.area,
            value=measured.value,
            target=target,
            unit=self.unit,
            place=measured.place,
            word=word,
            source=measured.source or self.source_in(targets),
            facts=measured.facts,
            point=measured.point,
        )


# ---- coverage: the direct sound over one area


def _first(area, values):
    """Index, among the result's points, of the largest of an area's values (point,)."""
    return int(area.points.start + np.argmax(values))


def _furthest(area, level_db):
    """Index of the seat whose level (point,) is furthest from the area's mean, either way; seats
    out of sight are judged as such.
    """
    heard = np.isfinite(level_db)
    mean = level_db[heard].mean() if heard.any() else 0.0
    return _first(area, np.where(heard, np.abs(level_db - mean), -1.0))


def _in_sight(result):
    for a in result.areas:
        if a.out_of_sight:
            hidden = ~result.in_sight[a.points]
            yield Measurement(area=a.name, value=float(a.out_of_sight), point=_first(a, hidden))


def _coverage_range(result):
    for a in result.areas:
        octave = int(np.argmax(a.coverage_range_db))
        facts = dict(octave=bands.NAMES[bands.COVERAGE][octave], band=bands.COVERAGE.start + octave)
        yield Measurement(
            area=a.name,
            value=a.coverage_range_db[octave],
            facts=facts,
            point=_furthest(a, result.level_db[a.points, facts["band"]]),
        )


def _within_3db(result):
    for a in result.areas:
        level_db = bands.sum_levels(result.level_db[a.points, bands.COVERAGE])
        value = 100 * a.within_3db
        yield Measurement(area=a.name, value=value, point=_furthest(a, level_db))


def _quietest(result):
    for a in result.areas:
        yield Measurement(
            area=a.name, value=-a.quietest_db, place=a.quietest_seat, point=a.quietest
        )


# ---- speech: direct and reverberant sound together


def _speech_to_noise(result):
    targets, noise = result.scenario.targets, float(bands.a_weighted(result.noise_db))
    need = noise + targets.speech_to_noise_db
    for a in result.areas:
        yield Measurement(
            area=a.name,
            value=a.speech_to_noise_db,
            reachable=need <= targets.loudest_dba,
            point=_first(a, -result.speech_dba[a.points]),
            facts=dict(speech=a.speech_dba, noise=noise, need=need, loudest=targets.loudest_dba),
        )


def _speech_to_noise_words(v, _units):
    f = v.facts
    if v.word == WORDS[3]:
        return (
            f"the noise is {f['noise']:.0f} dB(A); {v.target:g} dB over it would be"
            f" {f['need']:.0f} dB(A), above the {f['loudest']:g} dB(A) allowed at any seat"
        )
    return (
        f"{f['speech']:.0f} dB(A) of speech over {f['noise']:.0f} dB(A) of noise:"
        f" {v.value:+.1f} dB; target {v.target:g} dB or more"
    )


def _plain_speech_to_noise(v):
    side = "above" if v.value >= 0 else "below"
    return (
        f"speech reaches the {v.area} {abs(v.value):.1f} dB {side} the noise; it should be"
        f" {v.target:g} dB above"
    )


def _sti(result):
    targets = result.scenario.targets
    for a in result.areas:
        best = _sti_without_reverberation(result, a)
        facts = dict(median=a.sti_median, best=best, loudest=targets.loudest_dba)
        yield Measurement(
            area=a.name,
            value=a.sti_p10,
            reachable=best >= targets.sti,
            facts=facts,
            point=_first(a, -result.sti[a.points]),
        )


def _sti_words(v, _units):
    f = v.facts
    if v.word == WORDS[3]:
        return (
            f"over this noise even a room without any reverberation gives at most {f['best']:.2f},"
            f" at any level up to {f['loudest']:g} dB(A); target {v.target:.2f}"
        )
    return (
        f"9 of 10 seats reach {v.value:.2f}, half of them {f['median']:.2f}; target"
        f" {v.target:.2f} or more"
    )


def _sti_without_reverberation(result, area):
    """Best STI that this noise allows at any level up to the loudest that is allowed."""
    perfect = np.ones((7, len(intelligibility.MODULATION)))
    loudest = result.scenario.targets.loudest_dba
    levels = np.append(np.arange(area.speech_dba, loudest, 3.0), [area.speech_dba, loudest])
    speech = intelligibility.SPEECH_SPECTRUM_DB + levels[:, None]
    return float(intelligibility.sti(perfect, speech_db=speech, noise_db=result.noise_db).max())


def _loudest(result):
    listened = np.concatenate([np.arange(a.points.start, a.points.stop) for a in result.areas])
    at = listened[int(np.argmax(result.speech_dba[listened]))]
    value, place = float(result.speech_dba[at]), str(result.area[at])
    yield Measurement(value=value, place=place, point=int(at))


# ---- time: arrivals and echoes


def _arrival_spread(result):
    for a in result.areas:
        spread_s = result.arrival_spread_s[a.points]
        value = 1000 * float(np.percentile(spread_s, NINE_OF_TEN))
        yield Measurement(area=a.name, value=value, point=_first(a, spread_s))


def _echo(result):
    echoes = result.echoes
    facts = dict(late=echoes.reached(echoes.late_db), error=echoes.error)
    yield Measurement(
        value=echoes.reached(echoes.criterion),
        error=facts["error"],
        facts=facts,
        point=int(echoes.points[np.argmax(echoes.criterion)]),
    )


# ---- microphones


def _feedback_margin(result):
    units = result.scenario.units
    for m in result.microphones:
        place = spot(m.positions[m.worst], units) if len(m.positions) > 1 else ""
        facts = dict(
            safe_share=m.safe_share,
            open=result.scenario.open_at_once(result.use),
            of=len(result.microphones),
            open_db=m.open_mics_db,
            peak_db=float(m.peak_allowance_db[m.worst]),
            octave=bands.NAMES[m.band[m.worst]],
            limited_by=limit_name(result, m.limited_by[m.worst]),
            needed=m.needed_gain_db,
            threshold=m.threshold_db,
        )
        value = float(m.margin_db[m.worst])
        name = f"microphone '{m.microphone.name}'"
        yield Measurement(area=name, value=value, place=place, facts=facts)


def _feedback_words(v, _units):
    f = v.facts
    at = f" at {v.place} ({100 * f['safe_share']:.0f} % of its floor is safe)" if v.place else ""
    kept = f"the {feedback.STABILITY_MARGIN_DB:g} dB margin"
    if f["open_db"]:
        kept += f" and {f['open_db']:.0f} dB for {f['open']} open microphones"
    if f["open"] < f["of"]:
        kept += f" (automatic mixing: one of {f['of']} microphones open at a time)"
    reserve = f"{v.value:.1f} dB in reserve" if v.value >= 0 else f"{-v.value:.1f} dB short"
    return (
        f"{reserve}{at} after {kept}: needs {f['needed']:+.0f} dB from its microphone to the"
        f" listeners, feedback begins at {f['threshold']:+.0f} dB ({f['peak_db']:.0f} dB for peaks"
        f" included), first at {f['octave']}, limited by {f['limited_by']}"
    )


def _plain_feedback(v):
    if v.value >= 0:
        return f"{v.area} has {v.value:.1f} dB in reserve before feedback"
    return f"{v.area} lacks {-v.value:.1f} dB to be safe from feedback"


# ---- the room


def _on_listeners(result):
    names = result.listening_parts
    power = (result.sources.on_axis / result.sources.q)[:, bands.SPEECH].sum(axis=1)
    power = power / power.sum()
    landed = result.first_incidence
    share = {p: 100 * float(power @ landed[:, k]) for k, p in enumerate(result.parts)}
    stray = max((p for p in share if p not in names), key=share.get)
    value = sum(share.get(name, 0.0) for name in names)
    best = 100 * float(power @ result.best_incidence)
    target = result.scenario.targets.on_listeners_pct
    yield Measurement(
        value=value,
        target=best * WELL_AIMED / 100 if target is None else target,
        facts=dict(stray=stray, stray_pct=share[stray], best=best),
    )


def _rt(result):
    scenario, use, volume = result.scenario, result.use, result.configuration.room.volume
    target, source = reverberation_target(scenario, use)
    people = use.occupied if use.judged_as == "speech" else {}
    decay = result.decay_with(people)
    missing = 0.0
    if CRITERIA["rt"].margin(decay.middle, target) < -CRITERIA["rt"].shown:
        missing = reverberation.K / reverberation.C * volume * (1 / target - 1 / decay.middle)
    bare = _untreated(result)
    facts = dict(
        missing_m2=missing,
        bare_m2=bare,
        error=decay.middle_error,
        people=bool(people),
        kind=use.judged_as,
        said=bool(use.kind),
        own=source == OWN_FIGURE,
        beyond=source.endswith(BEYOND),
        likely=_likely(scenario, decay.middle),
    )
    yield Measurement(
        value=decay.middle,
        error=decay.middle_error,
        target=target,
        source=source,
        reachable=missing <= bare,
        facts=facts,
    )


def _likely(scenario, time):
    """Range of a time as measured, 8 of 10; None where the room is fitted to a measurement [s]."""
    if scenario.room_fit is not None:
        return None
    return tuple(float(end) for end in range_of_decay(time))


def reverberation_target(scenario, use):
    """What the reverberation of a use is judged by.

    Parameters
    ----------
    scenario : Scenario
        The gym
    use : Use
        One of its uses: its kind says which standard fits

    Returns
    -------
    target : float
        Longest time wanted, mean of 500 Hz, 1 and 2 kHz: of sports with nobody in the gym, of
        speech with its people [s]
    source : str
        The school's own figure, for this use or for all; else a standard
    """
    own = use.rt_s or scenario.targets.rt_s
    if own:
        return own, OWN_FIGURE
    volume = scenario.configuration(use.name).room.volume
    if use.judged_as == "sports":
        return float(reverberation.sports_hall_target(volume)), SPORTS_HALL
    beyond = BEYOND if volume > LARGEST_A2 else ""
    return float(reverberation.speech_hall_target(volume)), SPEECH_HALL + beyond


def _untreated(result):
    """Roof and walls that no treatment covers yet, which most could absorb [m2]."""
    surfaces = result.configuration.room.surfaces
    there = sum(s.area for s in surfaces if s.part in TREATABLE)
    return there - sum(t.area for t in result.scenario.treatments)


def _rt_words(v, units):
    f = v.facts
    error = f" ± {max(f['error'], 0.05):.1f}" if f["error"] else ""
    state = "with its people in it" if f["people"] else "with nobody in it"
    standard = "sports-hall formula" if f["kind"] == "sports" else "speech-hall formula"
    by = "the school's own figure" if f["own"] else f"the German {standard} (DIN 18041)"
    if f["beyond"]:
        by += f", drawn on beyond its {LARGEST_A2:,} m³"
    words = (
        f"{v.value:.1f}{error} s (500 Hz to 2 kHz) {state}; target {v.target:.1f} s or less by {by}"
    )
    if not f["said"] and not f["own"]:
        listens = "people listen" if f["kind"] == "sports" else "nobody listens"
        words += f", as {listens} on the court"
    if abs(v.value - v.target) < f["error"]:
        words += ". The target lies within the error of the rays"
    if f["missing_m2"] and f["likely"]:
        low, high = f["likely"]
        words += (
            f". Measured it may be {low:.1f} to {high:.1f} s, in 8 of 10 gyms: measure one decay"
            " before treatment is bought"
        )
    if f["missing_m2"]:
        area, bare = (
            f"{to_file(f[key], 'm2', units):,.0f} {units}²" for key in ("missing_m2", "bare_m2")
        )
        words += f". No loudspeaker changes this: it takes about {area} more of full absorption"
        if v.word == WORDS[3]:
            words += f", and roof and walls have only {bare} left to treat"
    return words


def _echo_words(v, _units):
    error = f" ± {max(v.facts['error'], 0.005):.2f}" if v.facts["error"] else ""
    words = (
        f"at 9 of 10 seats the echo criterion is {v.value:.2f}{error} or less; target"
        f" {v.target:g} (1.0 disturbs half of all listeners, 0.9 one in ten)"
    )
    if np.isfinite(v.facts["late"]):
        words += (
            f"; the strongest arrival later than 50 ms is {-v.facts['late']:.0f} dB or more below"
            " the strongest early one"
        )
    return words


# in the order of the verdicts
CRITERIA = MappingProxyType(
    {
        c.key: c
        for c in (
            Criterion(
                key="in_sight",
                question="even",
                scope="area",
                label="In sight of a loudspeaker",
                plain="Does every seat hear a loudspeaker directly?",
                trouble="some seats hear no loudspeaker directly",
                unit="seats",
                target="",
                source="common practice, no source",
                better=-1,
                close=0.5,
                shown=0.5,
                measure=_in_sight,
                sentence=lambda v, _: (
                    f"{v.value:.0f} seats hear direct sound only around an edge: something stands"
                    " between them and every loudspeaker that plays"
                ),
                plain_sentence=lambda v: (
                    f"{v.value:.0f} seats of the {v.area} have no loudspeaker in sight; none should"
                ),
            ),
            Criterion(
                key="coverage_range",
                question="even",
                scope="area",
                label="Coverage uniformity",
                plain="Even?",
                trouble="some seats are clearly louder than others",
                unit="dB",
                target="coverage_range_db",
                source="common practice: within 3 dB either way, no source",
                better=-1,
                close=1.0,
                shown=0.05,
                measure=_coverage_range,
                sentence=lambda v, _: (
                    f"9 of 10 seats differ by up to {v.value:.1f} dB at {v.facts['octave']} (direct"
                    f" sound); target {v.target:g} dB or less"
                ),
                plain_sentence=lambda v: (
                    f"9 of 10 seats of the {v.area} differ by up to {v.value:.1f} dB; aim"
                    f" {v.target:g} dB"
                ),
            ),
            Criterion(
                key="within_3db",
                question="even",
                scope="area",
                label="Seats within 3 dB of the mean",
                plain="Even?",
                trouble="too many seats are louder or quieter than the rest",
                unit="%",
                target="within_3db_pct",
                source="common practice, no source",
                better=1,
                close=5.0,
                shown=0.5,
                measure=_within_3db,
                sentence=lambda v, _: (
                    f"{v.value:.0f} % of the seats are within 3 dB of the area's mean (direct"
                    f" sound); target {v.target:g} % or more"
                ),
                plain_sentence=lambda v: (
                    f"only {v.value:.0f} % of the seats of the {v.area} are about as loud as the"
                    f" rest; it should be {v.target:g} %"
                ),
            ),
            Criterion(
                key="quietest",
                question="even",
                scope="area",
                label="Quietest seat",
                plain="Even?",
                trouble="one seat is much quieter than the rest",
                unit="dB",
                target="quietest_seat_db",
                source="common practice, no source",
                better=-1,
                close=1.0,
                shown=0.05,
                measure=_quietest,
                sentence=lambda v, _: (
                    f"{v.place} is {v.value:.1f} dB below the area's mean (direct sound); allowed:"
                    f" {v.target:g} dB"
                ),
                plain_sentence=lambda v: (
                    f"the quietest seat of the {v.area} is {v.value:.1f} dB below the rest;"
                    f" {v.target:g} dB is allowed"
                ),
            ),
            Criterion(
                key="speech_to_noise",
                question="loud",
                scope="area",
                label="Speech-to-noise ratio",
                plain="Loud enough over the crowd?",
                trouble="the noise is too loud for speech to stand out",
                unit="dB",
                target="speech_to_noise_db",
                source="common practice: at least 10 dB(A), 15 for full intelligibility, no source",
                better=1,
                close=1.0,
                shown=0.05,
                measure=_speech_to_noise,
                sentence=_speech_to_noise_words,
                plain_sentence=_plain_speech_to_noise,
            ),
            Criterion(
                key="arrival_spread",
                question="together",
                scope="area",
                label="Arrival-time spread",
                plain="Do loudspeakers arrive together?",
                trouble="loudspeakers are heard one after the other",
                unit="ms",
                target="arrival_ms",
                source="common practice: 30 ms between sources of similar level, after Haas (1951)",
                better=-1,
                close=5.0,
                shown=0.5,
                measure=_arrival_spread,
                sentence=lambda v, _: (
                    f"at 9 of 10 seats the loudspeakers that matter arrive within {v.value:.0f} ms;"
                    f" target {v.target:g} ms or less"
                ),
                plain_sentence=lambda v: (
                    f"loudspeakers reach the {v.area} {v.value:.0f} ms apart; it should be"
                    f" {v.target:g} ms or less"
                ),
            ),
            Criterion(
                key="sti",
                question="clear",
                scope="area",
                label="Speech intelligibility (STI)",
                plain="How clear are announcements?",
                trouble="words are hard to understand at some seats",
                abbreviation="STI",
                unit="",
                target="sti",
                source=(
                    "IEC 60268-16 Ed. 5 (2020), annex G: 0.50, the target for voice alarm; 0.54 for"
                    " good public address"
                ),
                better=1,
                close=0.03,  # a just noticeable step
                shown=0.005,
                measure=_sti,
                sentence=_sti_words,
                plain_sentence=lambda v: (
                    f"speech reaches the {v.area} at STI {v.value:.2f}; it should be {v.target:.2f}"
                ),
            ),
            Criterion(
                key="feedback_margin",
                question="microphones",
                scope="microphone",
                label="Feedback margin",
                plain="Microphone safe?",
                trouble="a microphone is about to ring",
                unit="dB",
                target="feedback_margin_db",
                source=(
                    "Sound Reinforcement Handbook, 5.3.1: run 6 dB below ringing; nothing asked"
                    " beyond it"
                ),
                better=1,
                close=1.0,
                shown=0.05,
                measure=_feedback_margin,
                sentence=_feedback_words,
                plain_sentence=_plain_feedback,
            ),
            Criterion(
                key="loudest",
                question="loudest",
                scope="room",
                label="Loudest seat",
                plain="Not too loud?",
                trouble="it is too loud near a loudspeaker",
                unit="dB(A)",
                target="loudest_dba",
                source="judgment: short announcements at the nearest seats, no source",
                better=-1,
                close=1.0,
                shown=0.05,
                measure=_loudest,
                sentence=lambda v, _: (
                    f"{v.value:.1f} dB(A) at the loudest seat ({v.place}); allowed: {v.target:g}"
                    " dB(A)"
                ),
                plain_sentence=lambda v: (
                    f"the loudest seat gets {v.value:.1f} dB(A); {v.target:g} dB(A) is allowed"
                ),
            ),
            Criterion(
                key="on_listeners",
                question="people",
                scope="room",
                label="Sound onto people",
                plain="Does the sound land on people?",
                trouble="much of the sound misses the people",
                unit="%",
                target="on_listeners_pct",
                source=(
                    f"common practice, no source: {WELL_AIMED:g} % of what the same loudspeakers"
                    " reach aimed at best"
                ),
                better=1,
                close=5.0,
                shown=0.5,
                measure=_on_listeners,
                follows="by what aim can reach",
                sentence=lambda v, _: (
                    f"{v.value:.0f} % of the sound (500 Hz to 4 kHz) lands on listeners first,"
                    f" {v.facts['stray_pct']:.0f} % on the {v.facts['stray']}; aimed at best these"
                    f" loudspeakers reach {v.facts['best']:.0f} %; target {v.target:.0f} % or more"
                ),
                plain_sentence=lambda v: (
                    f"{v.value:.0f} % of the sound lands on people first; it should be"
                    f" {v.target:.0f} %"
                ),
            ),
            Criterion(
                key="rt",
                question="ringing",
                scope="room",
                label="Reverberation time",
                plain="How long does the gym ring?",
                trouble="the gym rings too long",
                unit="s",
                target="rt_s",
                source=f"sports: {SPORTS_HALL}; speech: {SPEECH_HALL}",
                better=-1,
                close=0.15,
                shown=0.05,
                measure=_rt,
                follows="by volume",
                sentence=_rt_words,
                plain_sentence=lambda v: (
                    f"the gym rings for {v.value:.1f} s; it should be {v.target:.1f} s or less"
                ),
            ),
            Criterion(
                key="echo",
                question="echo",
                scope="room",
                label="Echo criterion",
                plain="Is there an echo?",
                trouble="echoes may be heard",
                unit="",
                target="echo",
                source=(
                    "Dietsch and Kraak, Acustica 60 (1986): speech, 50 % of listeners disturbed"
                    " at 1.0"
                ),
                better=-1,
                close=0.03,
                shown=0.005,
                measure=_echo,
                sentence=_echo_words,
                follows_echoes=True,
                plain_sentence=lambda v: (
                    f"an echo may be heard, {v.value:.2f} by the echo criterion; it should be"
                    f" {v.target:g} or less"
                ),
            ),
        )
    }
)


def in_sentence(label):
    """A label inside a sentence, or as the heading of a column.

    Parameters
    ----------
    label : str
        E.g. that of a criterion

    Returns
    -------
    words : str
        Begins with a small letter
    """
    return label[0].lower() + label[1:]


def judge(result, *, echoes=True):
    """Verdicts of one evaluation.

    Parameters
    ----------
    result : Result
        Of ``evaluate``
    echoes : bool
        Whether echoes are judged too: their reflections take a while to follow

    Returns
    -------
    verdicts : tuple of Verdict
        Area by area, then the microphones, then the room
    """
    order = {a.name: n for n, a in enumerate(result.areas)}
    asked = [c for c in CRITERIA.values() if echoes or not c.follows_echoes]
    of_areas = [v for c in asked if c.scope == "area" for v in c.judge(result)]
    rest = [v for c in asked if c.scope != "area" for v in c.judge(result)]
    return (*sorted(of_areas, key=lambda v: order[v.area]), *rest)


def worst_word(words):
    """The worst of several words.

    Parameters
    ----------
    words : iterable of str
        Each one of ``WORDS``

    Returns
    -------
    word : str
        The worst
    """
    return max(words, key=WORDS.index)


def worst_verdict(verdicts):
    """The verdict with the worst word, and of these the one furthest on the bad side of its target.

    Parameters
    ----------
    verdicts : sequence of Verdict
        At least one

    Returns
    -------
    verdict : Verdict
        Margins are compared in steps of the criterion's ``close``; where all meet, the one that
        does so least
    """
    worst = worst_word(v.word for v in verdicts)
    return min(
        (v for v in verdicts if v.word == worst),
        key=lambda v: CRITERIA[v.criterion].steps(v.value, v.target),
    )
