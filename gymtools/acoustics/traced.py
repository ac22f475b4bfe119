"""Tracing the room for a scenario: pass by pass, each loudspeaker for itself, so that only what
moved is traced again.
"""

import zlib
from dataclasses import dataclass, field
from threading import Lock

import numpy as np

from ..physics import tracing
from .reverberant import TracedField
from .sources import sources

# every loudspeaker gets as many before an answer is given, then as many again while the error is
# too large
PASSES = 5
MOST = 40  # passes
RAYS_PER = 15.0  # volume of hall for each ray of a pass [m3]
WANTED_DB = 0.3  # standard error of the late level in the worst zone [dB]
SEED = 20
STORED = 128  # traced loudspeakers that are kept


@dataclass(eq=False)
class _Traced:
    """What is known of one loudspeaker at one place in one room; shared by all who trace it."""

    total: tracing.Trace | None = None  # mean of all passes so far
    steps: dict = field(default_factory=dict)  # the mean after so many passes
    zones: list = field(default_factory=list)  # energy by zone and band of every pass
    lock: Lock = field(default_factory=Lock)

    def add(self, number, trace):
        """Take in a pass, unless somebody else has brought it already."""
        with self.lock:
            if number != len(self.zones):
                return
            self.total = trace if number == 0 else tracing.joined(self.total, number, trace)
            if number + 1 in (PASSES, 2 * PASSES, 4 * PASSES, MOST):
                self.steps[number + 1] = self.total
            self.zones.append(trace.reflected.sum(axis=1))

    def known(self, wanted):
        """Mean and energy by pass after the passes wanted, or as far as it has come."""
        with self.lock:
            return self.steps.get(wanted, self.total), np.array(self.zones[:wanted])


def rays(volume):
    """Rays of one pass: the larger the hall, the fewer of them meet a zone.

    Parameters
    ----------
    volume : float
        Of the hall [m3]

    Returns
    -------
    count : int
        For one loudspeaker [-]
    """
    return int(np.clip(volume / RAYS_PER, 200, 3000))


class Tracing:
    """The room of one use being traced for all loudspeakers that play.

    What has been traced before is used again: gains, delays, noise and targets need no new trace,
    and of several loudspeakers only those that moved are traced. The answer depends on the inputs
    alone, not on what was traced before.

    Parameters
    ----------
    scenario : Scenario
        The scenario
    use : str, optional
        Name of a use; the first when left out
    """

    def __init__(self, scenario, use=None):
        self.scenario, self.use = scenario, scenario.use(use)
        self.configuration = scenario.configuration(self.use.name)
        self.sources = sources(scenario, self.use)
        self.surfaces = scenario.surfaces(self.use)
        surroundings = (
            self.configuration,
            self.surfaces.met_absorption.tobytes(),
            self.surfaces.scattering.tobytes(),
            self.sources.decay.tobytes(),
        )
        self.playing = np.flatnonzero(self.sources.playing)
        hung = [scenario.loudspeakers[n] for n in self.playing]
        keys = [
            (*surroundings, c.type, tuple(c.position.tolist()), c.pan_deg, c.downtilt_deg)
            for c in hung
        ]
        store = scenario.memory.cache("traced loudspeakers", STORED)
        known = store.get_many(keys, lambda missing: [_Traced() for _ in missing])
        self._traced = dict(zip(self.playing.tolist(), known, strict=True))
        self.wanted = PASSES

    def _missing(self):
        """Loudspeakers with fewer passes than wanted, the least traced first; more are wanted while
        the error is too large.
        """
        while True:
            missing = [n for n in self.playing if len(self._traced[n].zones) < self.wanted]
            if missing or self.wanted >= MOST or self.error_db <= WANTED_DB:
                return sorted(missing, key=lambda n: len(self._traced[n].zones))
            self.wanted *= 2

    @property
    def ready(self):
        """Whether every loudspeaker has the passes that are wanted so far."""
        return not self._missing()

    @property
    def progress(self):
        """Share of the passes that are done, 0 to 1."""
        done = sum(min(len(t.zones), self.wanted) for t in self._traced.values())
        return done / (self.wanted * max(len(self.playing), 1))

    @property
    def started(self):
        """Whether every loudspeaker has been traced at least once, so that there is something to
        show.
        """
        return all(t.zones for t in self._traced.values())

    def next_pass(self, stop=None):
        """Trace the next pass of the least traced loudspeaker; changes nothing, so that it may run
        beside the rest.

        Parameters
        ----------
        stop : callable, optional
            Asked at every reflection; when it answers true the pass is given up

        Returns
        -------
        found : tuple or None
            For ``add``; None when it was given up, or nothing is missing
        """
        missing = self._missing()
        if not missing:
            return None
        n = missing[0]
        c = self.scenario.loudspeakers[n]
        # chance of its own
        own = zlib.crc32(
            repr(
                (c.type.name, np.round(c.position, 6).tolist(), c.pan_deg, c.downtilt_deg)
            ).encode()
        )
        number = len(self._traced[n].zones)
        trace = tracing.trace(
            self.sources.some([n]),
            self.surfaces,
            self.configuration.zones,
            tracing.Rays(
                count=rays(self.surfaces.volume), rng=np.random.default_rng([SEED, number, own])
            ),
            stop=stop,
        )
        return None if trace is None else (n, number, trace)

    def add(self, found):
        """Keep what a pass found.

        Parameters
        ----------
        found : tuple
            Of ``next_pass``
        """
        n, number, trace = found
        self._traced[n].add(number, trace)

    def run(self):
        """Trace until the answer is good enough.

        Returns
        -------
        field : TracedField
            The late field
        """
        while not self.ready:
            found = self.next_pass()
            if found is not None:  # else another thread has brought the last one meanwhile
                self.add(found)
        return self.field

    @property
    def _known(self):
        """Trace and energy by pass of every playing loudspeaker: after the passes wanted, or as far
        as it has come.
        """
        for n in self.playing:
            yield n, *self._traced[n].known(self.wanted)

    @property
    def error_db(self):
        """Standard error of the late level at the present gains, pooled over the octaves, in the
        worst zone [dB].
        """
        power = self.sources.radiated
        if min((len(t.zones) for t in self._traced.values()), default=0) < 2:
            return np.inf if len(self.playing) else 0.0
        total, variance = 0.0, 0.0
        for n, _, passes in self._known:
            total = total + power[n] * passes.mean(axis=0)  # (zone, band)
            variance = variance + power[n] ** 2 * passes.var(axis=0, ddof=1) / len(passes)
        relative = np.sqrt((variance / total**2).mean(axis=1)).max()
        return float(10 / np.log(10) * relative)

    @property
    def field(self):
        """The late field as far as it has been traced."""
        # others may have traced the same: then as many passes as are needed stand ready
        self._missing()
        known = {n: trace for n, trace, _ in self._known}
        return TracedField.of(self.sources, self.configuration.zones, known, error_db=self.error_db)
