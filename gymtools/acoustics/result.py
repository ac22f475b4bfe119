"""The result of one evaluation: about a dozen fields, all else is computed when first asked for."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, intelligibility, reverberation
from ..physics.decay import RANGES
from ..physics.sources import Sources
from ..venue.scenario import Scenario
from ..venue.uses import Use, on_court
from . import landing
from .arrivals import arrival_spread_s, echoes, image_shift_deg, talker_position
from .criteria import WORDS, judge, worst_word
from .divided import half
from .feedback import feedback_margins
from .reverberant import DiffuseField, TracedField
from .room_decay import room_decay

NEAR_DB = 3.0  # either way of the mean: seats this near to it count as even [dB]
TIE_DB = 0.001  # seats that differ by less are equally quiet; the first of them is named [dB]


@dataclass(frozen=True, kw_only=True, eq=False)
class AreaSummary:
    """What one audience area gets."""

    name: str
    weight: float
    points: slice  # of the result's arrays
    mean_db: float  # direct level, energy sum of 1, 2 and 4 kHz, mean over the seats [dB]
    # seats that no loudspeaker that plays can see: they hear it around edges
    out_of_sight: int
    coverage_range_db: tuple  # 5th to 95th percentile of the direct level at 1, 2 and 4 kHz [dB]
    within_3db: float  # share of seats within 3 dB of the mean, 0 to 1 [-]
    quietest_db: float  # lowest seat re the mean [dB]
    quietest: int  # its index in the result's arrays
    quietest_seat: str  # in words
    speech_dba: float  # mean over the seats [dB(A)]
    speech_to_noise_db: float  # of the mean [dB]
    sti_median: float
    sti_p10: float  # 10th percentile: what 9 of 10 seats reach


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Result:
    """One evaluation: P points, S loudspeakers, seven octaves."""

    scenario: Scenario
    use: Use
    sources: Sources  # at the level that reaches the target
    spans: dict  # by audience area: slice of the points
    points: np.ndarray  # (P, 3) [m]
    direct: np.ndarray  # direct sound of each loudspeaker (S, P, 7) [re 20 uPa squared]
    distance: np.ndarray  # (S, P) [m]
    seen: np.ndarray  # whether nothing stands between, for loudspeakers that play (S, P)
    total: np.ndarray  # direct and reverberant energy (P, 7) [re 20 uPa squared]
    reverberant: DiffuseField | TracedField  # what the room adds: by formula, or traced
    room_eq_db: np.ndarray  # how far each octave is turned down for all loudspeakers (7,) [dB]
    gain_db: float  # of all loudspeakers over 1 W into their sensitivity [dB]
    draft: bool  # some seats only, so that nothing is judged
    # speech of a use on the other side of a divider, mean over the listeners; None without one (7,)
    # [re 20 uPa squared]
    spill: np.ndarray | None = None

    @property
    def room(self):
        """Which room it is: "statistical" or "traced"."""
        return self.reverberant.room

    @property
    def ringing(self):
        """How many times as long it rings as the model says, for ranges [-]."""
        return self.reverberant.ringing

    @property
    def rays(self):
        """Rays that it is traced with, "few" or "full"; "" by formula."""
        return self.reverberant.rays

    def __repr__(self):
        return f"<Result: {self.scenario.name}, {self.use.name}, {self.room} room>"

    # ---- the room

    @cached_property
    def configuration(self):
        """The gym as it stands in the use (HallConfiguration)."""
        return self.scenario.configuration(self.use.name)

    @cached_property
    def surfaces(self):
        """The room as the formulas need it (Surfaces)."""
        return self.scenario.surfaces(self.use)

    @property
    def absorption(self):
        """Absorption coefficients (surface, 7) [-]."""
        return self.surfaces.absorption

    @cached_property
    def rt(self):
        """Reverberation time after Eyring, with air (7,) [s]."""
        return self._reverberation_time("eyring")

    @cached_property
    def rt_sabine(self):
        """Reverberation time after Sabine, with air (7,) [s]."""
        return self._reverberation_time("sabine")

    def _reverberation_time(self, formula):
        room, side = self.configuration.room, self.scenario.side(self.use)
        if side is not None:  # the listeners' half
            room = half(self.configuration, self.surfaces, side)
        return statistical_time(room, self.absorption, self.sources, formula)

    @cached_property
    def decay_times(self):
        """Decay times of the loudspeakers' reverberant sound over the listeners by name: "edt",
        "t20", "t30", each (7,) [s]; by formula all alike.
        """
        if self.room == "statistical":
            return dict.fromkeys(RANGES, self.rt)
        return {m: self.reverberant.decay_times(self.listeners, m) for m in RANGES}

    @cached_property
    def decay_errors(self):
        """Standard errors of the decay times by name, from how much they vary with the rays, each
        (7,) [s]; by formula all 0.
        """
        if self.room == "statistical":
            return dict.fromkeys(RANGES, np.zeros_like(self.rt))
        return {m: self.reverberant.decay_errors(self.listeners, m) for m in RANGES}

    @cached_property
    def own_decay(self):
        """The gym's own decay with its people, as it would be measured (RoomDecay)."""
        return self._decay(self.use)

    def decay_with(self, occupied):
        """The gym's own decay with some people in it.

        Parameters
        ----------
        occupied : dict
            Share of the seats that are taken, by area; empty for nobody

        Returns
        -------
        decay : RoomDecay
            As it would be measured
        """
        return self._decay(replace(self.use, occupied=occupied))

    def _decay(self, use):
        found = room_decay(self.scenario, use, room=self.room, rays=self.rays or "full")
        return found if np.all(self.ringing == 1.0) else found.longer(self.ringing)

    @property
    def rt_mid(self):
        """Its reverberation time, mean of 500 Hz, 1 and 2 kHz [s]."""
        return self.own_decay.middle

    @property
    def rt_mid_error(self):
        """Standard error of ``rt_mid`` [s]."""
        return self.own_decay.middle_error

    @cached_property
    def parts(self):
        """Names of the parts of the room, each once."""
        return tuple(dict.fromkeys(self.configuration.room.parts))

    @cached_property
    def first_incidence(self):
        """Share of each loudspeaker's sound, 500 Hz to 4 kHz, that meets each part of the room
        first (S, part) [-].
        """
        room = self.configuration.room
        # (source, surface, band)
        shares = landing.first_incidence(self.sources, room.polygons, self.scenario.memory)
        by_part = np.array([[p == part for p in room.parts] for part in self.parts], float)
        return shares[:, :, bands.SPEECH].mean(axis=2) @ by_part.T

    @cached_property
    def best_incidence(self):
        """Largest share of each loudspeaker's sound, 500 Hz to 4 kHz, that turning it could send
        onto listeners first (S,); 0 for one that is off [-].
        """
        room, listening = self.configuration.room, self.listening_parts
        return landing.best_shares(self.sources, room, listening, self.scenario.memory)

    # ---- levels

    @cached_property
    def area(self):
        """Name of the audience area of each point (P,)."""
        sizes = [span.stop - span.start for span in self.spans.values()]
        return np.repeat(list(self.spans), sizes)

    @cached_property
    def level_db(self):
        """Level of the direct sound (P, 7) [dB]."""
        return bands.to_level(self.direct.sum(axis=0))

    @cached_property
    def in_sight(self):
        """Whether each seat sees a loudspeaker that plays, and hears it (P,)."""
        return self.seen.any(axis=0) & np.isfinite(self.level_db).any(axis=1)

    @cached_property
    def total_db(self):
        """Level of direct and reverberant sound (P, 7) [dB]."""
        return bands.to_level(self.total)

    @cached_property
    def reverberant_db(self):
        """Level of the reverberant sound, mean over the listeners (7,) [dB]."""
        mean = mean_over(self.reverberant.at(self.points), self.spans, self.weights)
        return bands.to_level(mean)

    @cached_property
    def noise_db(self):
        """Noise at the listeners, with the speech of a use beside it (7,) [dB]."""
        if self.spill is None:
            return self.use.noise
        return bands.to_level(bands.to_energy(self.use.noise) + self.spill)

    @property
    def spill_db(self):
        """Speech of the use beside it at the listeners (7,) [dB]; -inf without one."""
        return bands.to_level(np.zeros(7) if self.spill is None else self.spill)

    @property
    def spill_dba(self):
        """The same [dB(A)]."""
        return float(bands.a_weighted(self.spill_db))

    @cached_property
    def speech_dba(self):
        """Speech, direct and reverberant (P,) [dB(A)]."""
        return bands.a_weighted(self.total_db)

    @cached_property
    def speech_to_noise_db(self):
        """Speech over the noise (P,) [dB]."""
        return self.speech_dba - float(bands.a_weighted(self.noise_db))

    @property
    def playing(self):
        """Which loudspeakers are on (S,)."""
        return self.sources.playing

    @cached_property
    def loudspeaker_gain_db(self):
        """Each loudspeaker's gain over 1 W into its sensitivity (S,) [dB]; -inf when it is off."""
        settings = [self.use.group_setting(c.group) for c in self.scenario.loudspeakers]
        return np.where(self.playing, [s.gain_db for s in settings], -np.inf) + self.gain_db

    @cached_property
    def sti(self):
        """Speech transmission index (P,) [-]."""
        heard = intelligibility.audible(self.total_db, self.noise_db)
        index = self.reverberant.mean_index(self.direct, self.arrival_s, self.points, heard)
        return intelligibility.from_transmission_index(index)

    # ---- time

    @cached_property
    def arrival_s(self):
        """Arrival of the direct sound of each loudspeaker, its delay included (S, P) [s]."""
        return self.distance / self.sources.speed + self.sources.delay_s[:, None]

    @cached_property
    def arrival_spread_s(self):
        """Time between the direct arrivals within 10 dB of the strongest (P,) [s]."""
        return arrival_spread_s(self.direct, self.arrival_s)

    @cached_property
    def image_shift_deg(self):
        """Angle between the talker and the loudspeaker that leads (P,) [deg]; None without
        a talker.
        """
        talker = talker_position(self.scenario, self.use, self.configuration)
        if talker is None:
            return None
        positions = self.sources.position, self.points, talker
        return image_shift_deg(self.direct, self.arrival_s, *positions)

    @cached_property
    def echoes(self):
        """Late arrivals at a sample of seats (Echoes)."""
        return echoes(self)

    # ---- what is judged

    @property
    def weights(self):
        """Weight of each audience area that listens, by name [-]."""
        return listening(self.use, self.spans)

    @property
    def listening_parts(self):
        """Parts of the room on which people listen, each once: the court for half of it too."""
        return tuple(dict.fromkeys("court" if on_court(n) else n for n in self.weights))

    @cached_property
    def listeners(self):
        """Points of the areas that listen (point, 3) [m]."""
        return np.concatenate([self.points[self.spans[name]] for name in self.weights])

    @cached_property
    def areas(self):
        """AreaSummary of every audience area that listens."""
        areas = self.configuration.areas
        return tuple(self._summary(areas[name], w) for name, w in self.weights.items())

    @cached_property
    def microphones(self):
        """FeedbackMargin of every open microphone."""
        return feedback_margins(self)

    @cached_property
    def verdicts(self):
        """A Verdict for each criterion, area by area; none of a draft. Echoes are not judged with
        few rays: where few arrive, each of them looks like an echo.
        """
        return () if self.draft else judge(self, echoes=self.rays != "few")

    @property
    def word(self):
        """The worst verdict."""
        return worst_word(v.word for v in self.verdicts)

    @property
    def fails(self):
        """Verdicts whose target is not met."""
        return tuple(v for v in self.verdicts if not v.meets)

    @property
    def worst_sti(self):
        """STI that 9 of 10 seats reach in the weakest area [-]."""
        return min(a.sti_p10 for a in self.areas)

    @property
    def worst_coverage_range_db(self):
        """Widest coverage range of any area and octave [dB]."""
        return max(max(a.coverage_range_db) for a in self.areas)

    @property
    def worst_feedback_margin_db(self):
        """Feedback margin of the weakest microphone, at its worst position [dB]; None without
        one.
        """
        return min((float(m.margin_db.min()) for m in self.microphones), default=None)

    def summary(self, name):
        """Summary of an audience area.

        Parameters
        ----------
        name : str
            Area of the use

        Returns
        -------
        summary : AreaSummary
            One of ``areas``
        """
        return next(a for a in self.areas if a.name == name)

    def _summary(self, area, weight):
        span = self.spans[area.name]
        octaves = self.level_db[span, bands.COVERAGE]
        level = bands.sum_levels(octaves)  # 1, 2 and 4 kHz together
        heard = np.isfinite(level)
        quietest = int(np.argmax(level <= level.min() + TIE_DB))
        if heard.any():
            octaves, level = octaves[heard], level[heard]
        else:
            octaves, level = np.zeros((1, 3)), np.zeros(1)
        mean = float(level.mean())
        low, high = np.percentile(octaves, [5, 95], axis=0)
        tenth, median = np.percentile(self.sti[span], [10, 50])
        return AreaSummary(
            name=area.name,
            weight=weight,
            points=span,
            mean_db=mean,
            coverage_range_db=tuple((high - low).tolist()),
            within_3db=float((np.abs(level - mean) <= NEAR_DB).mean()),
            out_of_sight=area.seats_of(~self.in_sight[span]),
            quietest_db=float(level.min() - mean),
            quietest=int(span.start + quietest),
            quietest_seat=area.seat_words(quietest, self.scenario.units),
            speech_dba=float(self.speech_dba[span].mean()),
            speech_to_noise_db=float(self.speech_to_noise_db[span].mean()),
            sti_median=float(median),
            sti_p10=float(tenth),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class AllUses:
    """One installation judged on everything the school does in the gym."""

    scenario: Scenario
    results: dict  # Result by the name of the use

    @property
    def word(self):
        """The worst verdict over all uses."""
        return worst_word(r.word for r in self.results.values())

    @property
    def weakest(self):
        """Verdicts whose target is not met, worst first: (use, Verdict)."""
        misses = [(name, v) for name, r in self.results.items() for v in r.fails]
        return sorted(misses, key=lambda pair: -WORDS.index(pair[1].word))


def statistical_time(room, absorption, sources, formula):
    """Reverberation time by a formula, with air.

    Parameters
    ----------
    room : Room
        The room as surfaces
    absorption : array
        Of the surfaces (surface, 7), 0 to 1 [-]
    sources : Sources
        Loudspeakers, for the air they play in
    formula : str
        "eyring" or "sabine"

    Returns
    -------
    rt : ndarray
        (7,) [s]

    Raises
    ------
    ValueError
        An unknown formula

    Sources
    -------
    Eyring or Sabine, as in ``physics.reverberation.reverberation_time``.
    """
    return reverberation.reverberation_time(
        room.volume,
        room.area,
        absorption,
        air=sources.decay,
        speed_of_sound=sources.speed,
        formula=formula,
    )


def listening(use, names):
    """Weights of the audience areas that listen in a use.

    Parameters
    ----------
    use : Use
        The use
    names : iterable of str
        Areas of the gym in that use

    Returns
    -------
    weights : dict
        Weight by name, all above 0
    """
    return {name: w for name, w in use.listens.items() if name in names and w > 0}


def mean_over(energy, spans, weights):
    """Weighted mean over the audience areas that listen.

    Parameters
    ----------
    energy : array
        At the points (point, band) [any linear]
    spans : dict
        Slice of the points by area
    weights : dict
        Weight by area

    Returns
    -------
    mean : ndarray
        (band,) [as energy]
    """
    shares = np.array(list(weights.values())) / sum(weights.values())
    return shares @ np.array([energy[spans[n]].mean(axis=0, dtype=float) for n in weights])
