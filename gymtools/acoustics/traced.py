"""Tracing the room of a use pass by pass and loudspeaker by loudspeaker, so that only what moved is
traced again.
"""

from dataclasses import dataclass, field, replace
from threading import Lock

import numpy as np

from ..physics import bands, tracing
from ..physics.cores import on_all_cores
from ..venue.arguments import one_of
from . import landing
from .reverberant import PARTS, RoomResponse, TracedField
from .sources import sources

FEW = 2  # passes of every loudspeaker where a design is looked for
FULL = 10  # where figures are stated; doubled while an error is too large
MOST = 80  # passes at most
RAYS = ("few", "full")
RAYS_PER = 30.0  # volume of the gym for each ray of a pass [m3]
FEWEST_RAYS, MOST_RAYS = 100, 1500  # of a pass
WANTED_DB = 0.3  # standard error of the reverberant level in the worst zone [dB]
KEPT = (FEW, FULL, 2 * FULL, 4 * FULL, MOST)  # numbers of passes whose mean is kept
SEED = 20
STORED = 128  # traced loudspeakers that are kept


@dataclass(eq=False)
class _TracedLoudspeaker:
    """Passes of one loudspeaker at one position in one room; shared by all who trace it."""

    sums: tracing.Passes = field(default_factory=tracing.Passes)
    means: dict = field(default_factory=dict)  # the mean by number of passes
    passes: list = field(default_factory=list)  # energy of every pass (zone, band)
    courses: list = field(default_factory=list)  # mean over a layer's zones (layer, bin, band)
    responses: dict = field(default_factory=dict)  # RoomResponse by number of passes
    lock: Lock = field(default_factory=Lock)

    def add(self, number, trace, zones):
        """Take in a pass, unless another thread has brought it already."""
        with self.lock:
            if number != len(self.passes):
                return
            self.sums.add(trace)
            if number + 1 in KEPT:
                self.means[number + 1] = self.sums.mean
            self.passes.append(trace.reflected.sum(axis=1))
            self.courses.append(zones.layer_means(trace.reflected))

    def response(self, trace, wanted, way, speed):
        """The room's answer of a trace; those of the numbers of passes that are wanted are kept,
        and the last of another.
        """
        with self.lock:
            number = wanted if trace is self.means.get(wanted) else 0
            kept = self.responses.get(number)
            if kept is None or kept.trace is not trace:
                parts = [
                    np.mean(self.courses[k:wanted:PARTS], axis=0)
                    for k in range(min(PARTS, len(self.courses[:wanted])))
                ]
                kept = RoomResponse(trace=trace, parts=parts, way=way, speed=speed)
                self.responses[number] = kept
            return kept

    def after(self, wanted):
        """Mean and energy by pass (pass, zone, band) after so many passes, or as far as it is."""
        with self.lock:
            return self.means.get(wanted) or self.sums.mean, np.array(self.passes[:wanted])


class Nearby:
    """The room of one use for loudspeakers that are turned from how they were traced: how much each
    feeds it follows what the first surface leaves of its sound. For ``evaluate``, in a search.

    Parameters
    ----------
    scenario : Scenario
        The scenario as it is traced, with few rays
    use : str
        Name of a use
    """

    def __init__(self, scenario, use):
        self.scenario, self.use = scenario, scenario.use(use)
        self.field = Tracing(scenario, use, rays="few").run()
        self.left = self._left(self.field.sources)

    def _left(self, sources):
        """Share of each loudspeaker's sound that remains after the first surface (source, band)."""
        surfaces = self.scenario.surfaces(self.use)
        return landing.remaining_share(sources, surfaces, self.scenario.memory)

    def fits(self, scenario):
        """Whether loudspeakers of another scenario are turned at most.

        Parameters
        ----------
        scenario : Scenario
            Made from the traced one by a change

        Returns
        -------
        fits : bool
            They hang where they were traced, and the same ones play
        """
        here = sources(scenario, scenario.use(self.use.name))
        return all(
            np.array_equal(getattr(here, key), getattr(self.field.sources, key))
            for key in ("position", "playing")
        )

    def at_gains_of(self, sources, zones):
        """The room for loudspeakers that look elsewhere.

        Parameters
        ----------
        sources : Sources
            At the same positions
        zones : Zones
            Of the gym they are in

        Returns
        -------
        field : TracedField
            Without a new trace
        """
        share = self._left(sources) / np.maximum(self.left, 1e-9)
        return replace(self.field, sources=sources, share=share)


def ray_count(volume):
    """Rays of one pass: the larger the gym, the fewer of them meet a zone.

    Parameters
    ----------
    volume : float
        Of the gym [m3]

    Returns
    -------
    count : int
        For one loudspeaker [-]
    """
    return int(np.clip(volume / RAYS_PER, FEWEST_RAYS, MOST_RAYS))


class Tracing:
    """The room of one use being traced for all loudspeakers that play.

    Passes are kept in the scenario's memory: gains, delays, noise and targets need no new trace,
    and of several loudspeakers only those that moved are traced. The answer depends on the inputs
    alone, not on what was traced before.

    Parameters
    ----------
    scenario : Scenario
        The scenario
    use : str, optional
        Name of a use; the first when left out
    rays : str
        "full": until the errors are small enough, for what is stated; "few": a tenth of them or
        less, for a search

    Raises
    ------
    ValueError
        An unknown use, or unknown rays
    """

    def __init__(self, scenario, use=None, *, rays="full"):
        self.rays = one_of("rays", rays, RAYS)
        self.scenario, self.use = scenario, scenario.use(use)
        self.configuration = scenario.configuration(self.use.name)
        self.sources = sources(scenario, self.use)
        self.surfaces = scenario.surfaces(self.use)
        self.playing = np.flatnonzero(self.sources.playing)
        self.wanted = FULL if rays == "full" else FEW
        traced = scenario.memory.cache("traced loudspeakers", STORED).get_many(
            self._keys(), lambda missing: [_TracedLoudspeaker() for _ in missing]
        )
        self._traced = dict(zip(self.playing.tolist(), traced, strict=True))

    def _keys(self):
        """All that the passes of each playing loudspeaker depend on."""
        surroundings = (
            self.configuration,
            self.surfaces.met_absorption.tobytes(),
            self.surfaces.scattering.tobytes(),
            self.sources.decay.tobytes(),
            self.sources.speed,
        )
        playing = [(n, self.scenario.loudspeakers[n]) for n in self.playing.tolist()]
        return [
            (*surroundings, n, c.type, tuple(c.position.tolist()), c.pan_deg, c.downtilt_deg)
            for n, c in playing
        ]

    def _missing(self):
        """Loudspeakers with fewer passes than wanted, the least traced first; more are wanted while
        the error is too large.
        """
        while True:
            missing = [n for n in self.playing if len(self._traced[n].passes) < self.wanted]
            if missing or self.rays == "few" or self.wanted >= MOST or self.error_db <= WANTED_DB:
                return sorted(missing, key=lambda n: len(self._traced[n].passes))
            self.wanted *= 2

    @property
    def ready(self):
        """Whether every loudspeaker has the passes that are wanted so far."""
        return not self._missing()

    @property
    def progress(self):
        """Share of the wanted passes that are done, 0 to 1 [-]."""
        done = sum(min(len(t.passes), self.wanted) for t in self._traced.values())
        return done / (self.wanted * max(len(self.playing), 1))

    @property
    def started(self):
        """Whether every loudspeaker has been traced at least once, so that ``field`` is there."""
        return all(t.passes for t in self._traced.values())

    def next_pass(self, stop=None):
        """Trace the next pass of the least traced loudspeaker; changes nothing, so that it may run
        in a thread.

        Parameters
        ----------
        stop : callable, optional
            Asked before the pass at least, in arrays at every reflection; a true answer abandons it

        Returns
        -------
        traced : tuple or None
            For ``add``; None for an abandoned pass, or with nothing missing
        """
        missing = self._missing()
        if not missing:
            return None
        return self._pass(missing[0], len(self._traced[missing[0]].passes), stop)

    def _pass(self, n, number, stop=None):
        """One pass of one loudspeaker, for ``add``; None for an abandoned one."""
        # chance of its own for every loudspeaker and pass, the same at every run and wherever the
        # loudspeaker hangs: what moves a little changes the picture a little
        rng = np.random.default_rng([SEED, number, n])
        trace = tracing.trace(
            self.sources.some([n]),
            self.surfaces,
            self.configuration.zones,
            tracing.Rays(count=ray_count(self.surfaces.volume), rng=rng),
            stop=stop,
        )
        return None if trace is None else (n, number, trace)

    def add(self, traced):
        """Keep a pass.

        Parameters
        ----------
        traced : tuple
            Of ``next_pass``
        """
        n, number, trace = traced
        self._traced[n].add(number, trace, self.configuration.zones)

    def run(self, stop=None):
        """Trace until the answer is good enough.

        Parameters
        ----------
        stop : callable, optional
            Asked before every pass at least; a true answer ends it, and what was traced is kept

        Returns
        -------
        field : TracedField or None
            The reverberant field; None when it was ended
        """
        while not self.ready:
            due = [
                (n, number)
                for n in self.playing
                for number in range(len(self._traced[n].passes), self.wanted)
            ]
            for traced in self._passes(due, stop):
                if traced is None:
                    return None
                self.add(traced)
        return self.field

    def _passes(self, due, stop):
        """Some passes in their order, worked on side by side; None for an abandoned one."""
        share = on_all_cores if len(due) > FEW else map  # threads would take longer
        yield from share(lambda which: self._pass(*which, stop), due)

    def _after_wanted(self):
        """Index, trace and energy by pass (pass, zone, band) of every playing loudspeaker: after
        the passes wanted, or as far as it is.
        """
        for n in self.playing:
            yield n, *self._traced[n].after(self.wanted)

    @property
    def error_db(self):
        """Standard error of the reverberant level at the present gains, pooled over the octaves, in
        the worst zone [dB].
        """
        power = self.sources.radiated
        if min((len(t.passes) for t in self._traced.values()), default=0) < 2:
            return np.inf if len(self.playing) else 0.0
        total, variance = 0.0, 0.0  # (zone, band)
        for n, _, passes in self._after_wanted():
            total = total + power[n] * passes.mean(axis=0)
            variance = variance + power[n] ** 2 * passes.var(axis=0, ddof=1) / len(passes)
        # a zone may be without sound in an octave: where little comes back at all
        share = np.divide(variance, total**2, out=np.zeros_like(total), where=total > 0)
        relative = np.sqrt(share.mean(axis=1)).max()
        return float(bands.E_FOLD_DB * relative)

    @property
    def field(self):
        """The reverberant field as far as it is traced (TracedField)."""
        # another thread may have traced the same: then more passes may be there and wanted
        rays = self.rays if self.ready else "few"
        return TracedField(
            sources=self.sources,
            zones=self.configuration.zones,
            responses={
                n: self._traced[n].response(trace, self.wanted, self._way(n), self.sources.speed)
                for n, trace, _ in self._after_wanted()
            },
            error_db=self.error_db,
            rays=rays,
        )

    def _way(self, n):
        """From a loudspeaker to the center of each zone (zone,) [m]."""
        return np.linalg.norm(self.configuration.zones.center - self.sources.position[n], axis=1)
