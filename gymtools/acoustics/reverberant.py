"""The reverberant field: what the room adds to the direct sound, by the diffuse-field formula or
traced.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, compiled, counting, decay, intelligibility, late_modulation, tracing
from ..physics.arrivals import PULSE_S
from ..physics.remembered import Remembered
from ..physics.sources import Sources

TAIL_S = 0.5  # reverberant sound counts so long in the echo criterion [s]
FOLLOWED_S = 3.0  # from the signal on: the longest way and delay before it, and the tail [s]
PARTS = 5  # of the rays, whose scatter tells the error of a decay time
REMEMBERED = 8  # sets of listeners whose decay is kept


@dataclass(frozen=True, kw_only=True, eq=False)
class DiffuseField:
    """The statistical room: the same level everywhere, one exponential decay in each octave, which
    begins for each loudspeaker with its own direct sound.
    """

    energy: np.ndarray  # what each loudspeaker feeds (source, band) [re 20 uPa squared]
    rt: np.ndarray  # reverberation time (band,) [s]
    room, rays, ringing = "statistical", "", 1.0  # the same for ``TracedField``

    def raised(self, gain_db):
        """The same field with all loudspeakers turned up.

        Parameters
        ----------
        gain_db : float or array
            Gain, one number or (band,) [dB]

        Returns
        -------
        field : DiffuseField
            With more energy (or less)
        """
        return replace(self, energy=self.energy * bands.to_energy(gain_db))

    def at(self, points):
        """Energy of the reverberant sound.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        energy : ndarray
            (point, band) float32 [re 20 uPa squared]
        """
        energy = self.energy.sum(axis=0).astype(np.float32)
        return np.broadcast_to(energy, (len(points), len(energy)))

    def by_source(self, points):
        """Energy of the reverberant sound of each loudspeaker.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        energy : ndarray
            (source, point, band) [re 20 uPa squared]
        """
        shape = (len(self.energy), len(points), self.energy.shape[1])
        return np.broadcast_to(self.energy[:, None], shape)

    def modulation(self, direct, arrival_s, points):
        """Modulation transfer of direct and reverberant sound together.

        Parameters
        ----------
        direct : array
            Direct sound (source, point, band) [re 20 uPa squared]
        arrival_s : array
            Time of arrival (source, point) [s]
        points : array
            (point, 3) [m]

        Returns
        -------
        mtf : ndarray
            (point, band, modulation), 0 to 1 [-]

        Sources
        -------
        ``physics.intelligibility.modulation_transfer``: a complex sum of arrivals and exponential
        tails.
        """
        late = np.broadcast_to(self.energy[:, None].astype(np.float32), direct.shape)
        return intelligibility.modulation_transfer(direct, arrival_s, reverberant=late, rt=self.rt)

    def mean_index(self, direct, arrival_s, points, heard):
        """Transmission index of direct and reverberant sound together, mean over the modulations.

        Parameters
        ----------
        direct : array
            Direct sound (source, point, band) [re 20 uPa squared]
        arrival_s : array
            Time of arrival (source, point) [s]
        points : array
            (point, 3) [m]
        heard : array
            Share of the speech in all that is heard (point, band), 0 to 1 [-]

        Returns
        -------
        index : ndarray
            (point, band), 0 to 1 [-]

        Sources
        -------
        As ``modulation``.
        """
        if not compiled.available():
            mtf = self.modulation(direct, arrival_s, points)
            return intelligibility.mean_index(mtf * heard[..., None].astype(mtf.dtype))
        on = self.energy.any(axis=1)
        turns = 2j * np.pi * intelligibility.MODULATION * self.rt[:, None]
        tail = late_modulation.packed(1 / (1 + turns[None] / intelligibility.DECAY))
        corners = np.zeros((len(points), 4), np.int64), np.full((len(points), 4), 0.25, np.float32)
        return late_modulation.mean_index(
            direct[on],
            _delay(arrival_s[on]),
            corners,  # of one zone everywhere
            (self.energy[on], np.repeat(tail[None], on.sum(), axis=0), self.energy.sum(0)[None]),
            heard,
        )

    def tail(self, points, band, arrival_s, absorbed):
        """Reverberant sound in one octave as many small arrivals, without the first reflections.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        band : int
            Index of the octave [-]
        arrival_s : array
            Arrival of the direct sound (source, point) [s]
        absorbed : float
            Mean absorption of the room, which the first reflections have met, 0 to 1 [-]

        Returns
        -------
        energy : ndarray
            (step, point) [re 20 uPa squared]
        time : ndarray
            (step, point) [s]

        Notes
        -----
        What all loudspeakers give within a step is one arrival, however many they are: the
        criterion does not weigh energy in proportion.

        Sources
        -------
        Exponential decay of a diffuse field, begun where the first reflections end.
        """
        steps = round(TAIL_S / PULSE_S)
        on = self.energy[:, band] > 0
        if not on.any():
            return np.zeros((2, steps, len(points)))
        own_s = _delay(arrival_s[on])[:, None]  # (source, 1, point)
        edges_s = PULSE_S * np.arange(steps + 1)[:, None]  # (edge, 1)
        since_s = np.maximum(edges_s - own_s, 0.0)  # (source, edge, point)
        arrived = -np.expm1(-intelligibility.DECAY * since_s / self.rt[band])
        energy = np.tensordot(self.energy[on, band], np.diff(arrived, axis=1), 1)
        return energy * (1 - absorbed), arrival_s[on].min(axis=0) + edges_s[1:]


@dataclass(frozen=True, kw_only=True, eq=False)
class RoomResponse:
    """What the room answers to one loudspeaker that radiates 1 in every octave."""

    trace: tracing.Trace
    # means over parts of the rays and the zones of a layer, for the error: (layer, bin, band) each
    parts: list
    way: np.ndarray  # of the direct sound to the center of each zone (zone,) [m]
    speed: float  # of sound [m/s]

    @cached_property
    def _courses(self):
        return Remembered(REMEMBERED)

    @cached_property
    def _steps(self):
        return Remembered(REMEMBERED)

    @cached_property
    def _part_courses(self):
        return Remembered(REMEMBERED)

    @cached_property
    def energy(self):
        """Reverberant energy (zone, band) [1/m2]."""
        return self.trace.reflected.sum(axis=1)

    @cached_property
    def modulated(self):
        """Modulated reverberant energy from the direct arrival on (zone, band, modulation),
        complex64 [1/m2].
        """
        edges_s = counting.EDGES / self.speed
        return decay.modulation(self.trace.reflected, edges_s, self.way / self.speed)

    @cached_property
    def packed(self):
        """The same for ``late_modulation.mean_index``."""
        return late_modulation.packed(self.modulated)

    def stretched(self, factor):
        """The same answer, stretched in time after the direct sound.

        Parameters
        ----------
        factor : float or array
            How many times as long it takes, one number or (band,) [-]

        Returns
        -------
        response : RoomResponse
            Without a new trace
        """

        def late(energy, way):
            return decay.stretched(energy, counting.EDGES, way, factor)

        names = ("reflected", "mirrored")
        trace = replace(self.trace, **{n: late(getattr(self.trace, n), self.way) for n in names})
        on_average = np.full(len(self.parts[0]), self.way.mean())
        return replace(self, trace=trace, parts=[late(part, on_average) for part in self.parts])

    def course(self, shares):
        """Course of the reverberant sound, mean over zones.

        Parameters
        ----------
        shares : array
            How much each zone counts (zone,) [-]

        Returns
        -------
        energy : ndarray
            (bin, band) [1/m2]
        """
        return self._courses.get(
            shares, lambda: np.tensordot(shares, self.trace.reflected.astype(float), 1)
        )

    def steps(self, band, delay_s):
        """Reverberant energy in one octave in steps of ``PULSE_S``, beyond the first mirror images.

        Parameters
        ----------
        band : int
            Index of the octave [-]
        delay_s : float
            Of the loudspeaker [s]

        Returns
        -------
        energy : ndarray
            From the time that the signal comes in, for ``FOLLOWED_S`` (zone, step) [1/m2]

        Notes
        -----
        Even within a bin.
        """
        return self._steps.get(np.array([band, delay_s]), lambda: self._in_steps(band, delay_s))

    def _in_steps(self, band, delay_s):
        edges = counting.EDGES / self.speed + delay_s
        beyond = self.trace.reflected[..., band] - self.trace.mirrored[..., band]  # (zone, bin)
        until = np.concatenate([np.zeros((len(beyond), 1)), np.cumsum(beyond, axis=1)], axis=1)
        at = np.clip(PULSE_S * np.arange(round(FOLLOWED_S / PULSE_S) + 1), edges[0], edges[-1])
        low = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(edges) - 2)
        share = (at - edges[low]) / (edges[low + 1] - edges[low])
        return np.diff(until[:, low] + share * (until[:, low + 1] - until[:, low]), axis=1)

    def part_courses(self, shares):
        """The same of each part of the rays alone.

        Parameters
        ----------
        shares : array
            How much each layer counts (layer,) [-]

        Returns
        -------
        energy : ndarray
            (part, bin, band) [1/m2]
        """
        return self._part_courses.get(
            shares, lambda: np.array([np.tensordot(shares, part, 1) for part in self.parts])
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedField:
    """The traced room: level and decay in every zone of the air over the listeners, each
    loudspeaker apart, from traced rays.
    """

    sources: Sources  # at the level that is played
    zones: counting.Zones  # in which sound was counted
    responses: dict  # RoomResponse by index of the loudspeaker; those left out are silent
    error_db: float  # standard error of the level in the worst zone [dB]
    rays: str  # as for ``evaluate``: whether all have been followed
    ringing: float = 1.0  # by how much it is said to ring longer than the rays do [-]
    # what each loudspeaker feeds the room, re what it fed as it was traced (source, band) [-]
    share: float | np.ndarray = 1.0
    room = "traced"  # its word in ``evaluate``

    @cached_property
    def _decays(self):
        """Decay of all loudspeakers together, by points."""
        return Remembered(REMEMBERED)

    @cached_property
    def _left_out(self):
        """The same with each part of the rays left out, by points."""
        return Remembered(REMEMBERED)

    @cached_property
    def fed(self):
        """What each loudspeaker radiates into the room that was traced (source, band) [re 20 uPa
        squared, m2].
        """
        return self.sources.radiated * self.share

    @property
    def heard(self):
        """Indices of the loudspeakers that were traced (traced,)."""
        return np.array(list(self.responses), int)

    def _rows(self, name):
        """An array of every trace, zero for silent loudspeakers (source, ...)."""
        traces = {n: getattr(r.trace, name) for n, r in self.responses.items()}
        found = np.zeros((len(self.sources), *next(iter(traces.values())).shape), np.float32)
        for n, trace in traces.items():
            found[n] = trace
        return found

    @cached_property
    def reflected(self):
        """Sound after one surface or more, per radiated energy (source, zone, bin, band)
        [1/m2].
        """
        return self._rows("reflected")

    @cached_property
    def mirrored(self):
        """Its part that has met one surface only, as a mirror (source, zone, bin, band) [1/m2]."""
        return self._rows("mirrored")

    @cached_property
    def absorbed(self):
        """Share of each loudspeaker's energy that ends in a surface (source, surface, band), 0 to 1
        [-].
        """
        return self._rows("absorbed")

    @cached_property
    def air(self):
        """The share that ends in the air (source, band), 0 to 1 [-]."""
        return self._rows("air")

    def ringing_longer(self, factor):
        """The same room, ringing so many times as long.

        Parameters
        ----------
        factor : float or array
            Of its decay times, over 0, one number or (band,); less than 1 for a shorter decay [-]

        Returns
        -------
        field : TracedField
            What has been followed, stretched in time after the direct sound, so that a bent decay
            stays as bent as it is; its level follows

        Sources
        -------
        Worked by hand: at one power and volume the reverberant energy goes as the decay time
        (Sabine).
        """
        responses = {n: r.stretched(factor) for n, r in self.responses.items()}
        return replace(self, responses=responses, ringing=self.ringing * factor)

    def at_gains_of(self, sources, zones):
        """The same loudspeakers with other gains and delays.

        Parameters
        ----------
        sources : Sources
            The same loudspeakers at the same positions
        zones : Zones
            Of the gym they are in

        Returns
        -------
        field : TracedField
            Without a new trace

        Raises
        ------
        ValueError
            A loudspeaker hangs or looks elsewhere, is off in one and on in the other, or the gym is
            another
        """
        same = [
            np.array_equal(getattr(self.sources, key), getattr(sources, key))
            for key in ("position", "axes", "playing")
        ]
        if not (all(same) and zones is self.zones):
            raise ValueError(
                "this room was traced for other loudspeakers or another use. Give room = 'traced'."
            )
        return replace(self, sources=sources)

    def raised(self, gain_db):
        """The same field with all loudspeakers turned up.

        Parameters
        ----------
        gain_db : float or array
            Gain, one number or (band,) [dB]

        Returns
        -------
        field : TracedField
            With more energy (or less)
        """
        return replace(self, sources=self.sources.raised(gain_db))

    @property
    def edges_s(self):
        """Edges of the bins (bin + 1,) [s]."""
        return counting.EDGES / self.sources.speed

    @cached_property
    def by_zone(self):
        """Energy of the reverberant sound (zone, band) [re 20 uPa squared]."""
        radiated = self.fed
        return sum(radiated[n] * response.energy for n, response in self.responses.items())

    def at(self, points):
        """Energy of the reverberant sound, between the zones by straight lines.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        energy : ndarray
            (point, band) float32 [re 20 uPa squared]
        """
        return (self.zones.weights(points) @ self.by_zone).astype(np.float32)

    def by_source(self, points):
        """Energy of the reverberant sound of each loudspeaker.

        Parameters
        ----------
        points : array
            (point, 3) [m]

        Returns
        -------
        energy : ndarray
            (source, point, band) [re 20 uPa squared]
        """
        weights, radiated = self.zones.weights(points), self.fed
        energy = np.zeros((len(self.sources), len(points), radiated.shape[1]))
        for n, response in self.responses.items():
            energy[n] = weights @ (radiated[n] * response.energy)
        return energy

    def modulation(self, direct, arrival_s, points):
        """Modulation transfer of direct and reverberant sound together.

        Parameters
        ----------
        direct : array
            Direct sound (source, point, band) [re 20 uPa squared]
        arrival_s : array
            Time of arrival (source, point) [s]
        points : array
            (point, 3) [m]

        Returns
        -------
        mtf : ndarray
            (point, band, modulation) float32, 0 to 1 [-]

        Notes
        -----
        In every zone the reverberant sound of each loudspeaker keeps its course after that
        loudspeaker's direct arrival; between the zones it is mixed by straight lines.

        Sources
        -------
        IEC 60268-16:2020, annex A: Fourier transform of the energy that arrives, over its sum.
        """
        heard, radiated = self.heard, self.fed
        return late_modulation.transfer(
            direct[heard],
            _delay(arrival_s)[heard],
            self.zones.weights(points),
            [radiated[n][:, None] * r.modulated for n, r in self.responses.items()],
            direct.sum(axis=0) + self.at(points),
        )

    def mean_index(self, direct, arrival_s, points, heard):
        """Transmission index of direct and reverberant sound together, mean over the modulations.

        Parameters
        ----------
        direct : array
            Direct sound (source, point, band) [re 20 uPa squared]
        arrival_s : array
            Time of arrival (source, point) [s]
        points : array
            (point, 3) [m]
        heard : array
            Share of the speech in all that is heard (point, band), 0 to 1 [-]

        Returns
        -------
        index : ndarray
            (point, band), 0 to 1 [-]

        Sources
        -------
        As ``modulation``.
        """
        if not compiled.available():
            mtf = self.modulation(direct, arrival_s, points)
            return intelligibility.mean_index(mtf * heard[..., None].astype(np.float32))
        on = self.heard
        if not len(on):
            return np.zeros(heard.shape, np.float32)
        packed = np.stack([r.packed for r in self.responses.values()])
        return late_modulation.mean_index(
            direct[on],
            _delay(arrival_s)[on],
            self.zones.corners(points),
            (self.fed[on], packed, self.by_zone),
            heard,
        )

    def early_share(self, points, within_s, octaves):
        """Share of the reverberant sound that comes soon after its loudspeaker's direct sound.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        within_s : float
            How soon [s]
        octaves : slice
            Octaves that count

        Returns
        -------
        share : float
            Of all reverberant sound that reaches the points, 0 to 1 [-]
        """
        soon, whole = 0.0, 0.0
        radiated, shares = self.fed, self.zones.shares(points)
        for n, response in self.responses.items():
            energy = response.trace.reflected[..., octaves] @ radiated[n, octaves]  # (zone, bin)
            energy = shares[:, None] * energy
            early = counting.MIDDLES < response.way[:, None] + within_s * self.sources.speed
            soon, whole = soon + energy[early].sum(), whole + energy.sum()
        return float(soon / whole)

    def decay_times(self, points, measure):
        """Decay time of the reverberant sound that reaches some points, all loudspeakers together
        with their delays.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        measure : str
            "edt", "t20" or "t30"

        Returns
        -------
        time : ndarray
            (band,), NaN where the decay was not followed far enough [s]

        Raises
        ------
        ValueError
            An unknown measure

        Sources
        -------
        ISO 3382-1:2009, by backward integration: ``physics.decay.decay_time``.
        """
        together = self._decays.get(np.asarray(points), lambda: self._together(points))
        return decay.decay_time(together, self.edges_s, measure)

    def _together(self, points):
        """Decay of all loudspeakers with their delays, mean over some points (bin, band)."""
        shares, radiated = self.zones.shares(points), self.fed
        energy = np.array([r.course(shares) * radiated[n] for n, r in self.responses.items()])
        return decay.delayed(energy, self.edges_s, self.sources.delay_s[self.heard]).sum(axis=0)

    def decay_errors(self, points, measure):
        """Standard error of a decay time, from how much it varies with the rays.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        measure : str
            "edt", "t20" or "t30"

        Returns
        -------
        error : ndarray
            (band,), NaN where the decay was not followed far enough [s]

        Raises
        ------
        ValueError
            An unknown measure

        Sources
        -------
        Jackknife over parts of the rays; e.g. B. Efron, The Jackknife, the Bootstrap and Other
        Resampling Plans, SIAM 1982 (from memory).
        """
        count = min(len(r.parts) for r in self.responses.values())
        if count < 2:
            return np.full(len(self.sources.decay), np.nan)
        rest = self._left_out.get(np.asarray(points), lambda: self._without_each(points, count))
        times = decay.decay_time(rest, self.edges_s, measure)  # (part, band)
        return np.sqrt((count - 1) / count * ((times - times.mean(axis=0)) ** 2).sum(axis=0))

    def _without_each(self, points, count):
        """``_together`` with each part of the rays left out in turn (bin, part, band)."""
        shares = self.zones.layer_means(self.zones.shares(points)) * self.zones.counts.prod(axis=1)
        radiated = self.fed
        energy = np.array(  # (traced, part, bin, band)
            [r.part_courses(shares)[:count] * radiated[n] for n, r in self.responses.items()]
        )
        flat = energy.swapaxes(1, 2).reshape(len(energy), energy.shape[2], -1)
        together = decay.delayed(flat, self.edges_s, self.sources.delay_s[self.heard]).sum(axis=0)
        together = together.reshape(len(together), count, -1)
        return np.maximum(together.sum(axis=1, keepdims=True) - together, 0.0)

    def tail(self, points, band, arrival_s, absorbed):
        """Reverberant sound in one octave as many small arrivals, without the first reflections.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        band : int
            Index of the octave [-]
        arrival_s : array
            Not needed here: the rays know when they arrive (source, point) [s]
        absorbed : float
            Not needed here: the rays know what they have lost [-]

        Returns
        -------
        energy : ndarray
            (step, point) [re 20 uPa squared]
        time : ndarray
            (step, point) [s]

        Notes
        -----
        All loudspeakers together, in steps of ``PULSE_S``: what the echo criterion can tell apart.
        """
        delay_s, radiated = self.sources.delay_s, self.fed[:, band]
        first = min(r.way.min() / r.speed + delay_s[n] for n, r in self.responses.items())
        begin = int(first / PULSE_S)
        part = slice(begin, begin + round(TAIL_S / PULSE_S))
        by_zone = sum(
            radiated[n] * r.steps(band, delay_s[n])[:, part] for n, r in self.responses.items()
        )
        energy = (self.zones.weights(points) @ by_zone).T
        time = PULSE_S * (begin + np.arange(len(energy)) + 0.5)
        return energy, np.broadcast_to(time[:, None], energy.shape)


def _delay(arrival_s):
    """Arrivals after the first one (source, point) [s]."""
    return (arrival_s - np.min(arrival_s, axis=0)).astype(np.float32)
