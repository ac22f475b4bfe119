"""The reverberant field: what the room adds to the direct sound, by the diffuse-field formula or
traced.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, counting, decay, intelligibility
from ..physics.sources import Sources

CHUNK = 500  # points worked on at a time
TAIL_S = 0.5  # traced sound counts so long in the echo criterion [s]
STEP_S, STEPS = 0.005, 60  # a diffuse tail goes into the echo criterion as so many arrivals [s]


@dataclass(frozen=True, kw_only=True, eq=False)
class DiffuseField:
    """The statistical room: the same level everywhere, one exponential decay in each octave."""

    energy: np.ndarray  # (band,) [re 20 uPa squared]
    rt: np.ndarray  # reverberation time (band,) [s]
    room = "statistical"  # its word in ``evaluate``

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
        return np.broadcast_to(self.energy.astype(np.float32), (len(points), len(self.energy)))

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
        return intelligibility.modulation_transfer(
            direct, arrival_s, reverberant=self.at(points), rt=self.rt
        )

    def tail(self, points, band, first_s, absorbed):
        """Reverberant sound in one octave as many small arrivals, without the first reflections.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        band : int
            Index of the octave [-]
        first_s : array
            Arrival of the direct sound (point,) [s]
        absorbed : float
            Mean absorption of the room, which the first reflections have met, 0 to 1 [-]

        Returns
        -------
        energy : ndarray
            (step, point) [re 20 uPa squared]
        time : ndarray
            (step, point) [s]

        Sources
        -------
        Exponential decay of a diffuse field, begun where the first reflections end.
        """
        fall = np.exp(-intelligibility.DECAY * STEP_S / self.rt[band])
        energy = self.energy[band] * (1 - absorbed) * (1 - fall) * fall ** np.arange(STEPS)
        time = first_s + (STEP_S * (np.arange(STEPS) + 1))[:, None]
        return np.broadcast_to(energy[:, None], time.shape), time


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedField:
    """The traced room: level and decay in every zone of the air over the listeners, each
    loudspeaker apart, from traced rays.
    """

    sources: Sources  # at the level that is played
    zones: counting.Zones  # in which sound was counted
    reflected: np.ndarray  # per radiated energy (source, zone, bin, band) [1/m2]
    # its part that has met one surface only, as a mirror (source, zone, bin, band) [1/m2]
    mirrored: np.ndarray
    # share of each loudspeaker's energy that ends in a surface (source, surface, band), 0 to 1 [-]
    absorbed: np.ndarray
    air: np.ndarray  # the share that ends in the air (source, band), 0 to 1 [-]
    error_db: float  # standard error of the level in the worst zone [dB]
    room = "traced"  # its word in ``evaluate``

    @classmethod
    def from_traces(cls, sources, zones, traces, *, error_db):
        """The field of several loudspeakers.

        Parameters
        ----------
        sources : Sources
            All loudspeakers
        zones : Zones
            In which sound was counted
        traces : dict
            Trace by index of the loudspeaker; those left out are silent
        error_db : float
            Standard error of the level in the worst zone [dB]

        Returns
        -------
        field : TracedField
            With one row a loudspeaker
        """
        silent = next(iter(traces.values()))  # times 0

        def rows(name):
            return np.stack(
                [getattr(traces.get(n, silent), name) * (n in traces) for n in range(len(sources))]
            )

        return cls(
            sources=sources,
            zones=zones,
            **{name: rows(name) for name in ("reflected", "mirrored", "absorbed", "air")},
            error_db=error_db,
        )

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
        return np.einsum("sb,szb->zb", self.sources.radiated, self.reflected.sum(axis=2))

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
        weights, reverberant = self.zones.weights(points), self.at(points)
        first = np.min(arrival_s, axis=0)
        delay = (arrival_s - first).astype(np.float32)  # (source, point)
        mtf = np.empty((len(points), *self._modulated.shape[2:]), np.float32)
        for start in range(0, len(points), CHUNK):
            part = slice(start, start + CHUNK)
            moving = self._moving(direct[:, part], delay[:, part], weights[part])
            level = direct[:, part].sum(axis=0) + reverberant[part]
            mtf[part] = np.abs(moving) / np.maximum(level, 1e-30)[..., None]
        return np.minimum(mtf, 1.0)

    def _moving(self, direct, delay, weights):
        """Complex modulated energy of all loudspeakers at some points (point, band, modulation)."""
        turn = np.float32(2 * np.pi) * intelligibility.MODULATION.astype(np.float32)
        total = np.zeros((direct.shape[1], *self._modulated.shape[2:]), np.complex64)
        for s in np.flatnonzero(self.sources.playing):
            mixed = weights @ self._modulated[s].reshape(len(self.zones), -1)
            phase = delay[s][:, None] * turn  # (point, modulation)
            shift = np.exp(-1j * phase)[:, None].astype(np.complex64)
            total += (direct[s][..., None] + mixed.reshape(total.shape)) * shift
        return total

    @cached_property
    def _modulated(self):
        """Modulated reverberant energy of every loudspeaker, from its direct arrival on (source,
        zone, band, modulation).
        """
        start_s = self._direct_way / self.sources.speed
        return np.stack(
            [
                (power[:, None] * decay.modulation(energy, self.edges_s, start)).astype(
                    np.complex64
                )
                for power, energy, start in zip(
                    self.sources.radiated, self.reflected, start_s, strict=True
                )
            ]
        )

    @property
    def _direct_way(self):
        """From each loudspeaker to the center of each zone (source, zone) [m]."""
        return np.linalg.norm(self.zones.center - self.sources.position[:, None], axis=-1)

    def _zone_shares(self, points):
        """How much each zone counts in the mean over some points (zone,)."""
        return np.asarray(self.zones.weights(points).mean(axis=0)).ravel()

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
        energy = np.einsum(
            "z,sb,sznb->szn",
            self._zone_shares(points),
            self.sources.radiated[:, octaves],
            self.reflected[..., octaves],
            optimize=True,
        )
        soon = counting.MIDDLES < self._direct_way[..., None] + within_s * self.sources.speed
        return float(energy[soon].sum() / energy.sum())

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
        energy = np.einsum(
            "z,sb,sznb->snb",
            self._zone_shares(points),
            self.sources.radiated,
            self.reflected,
            optimize=True,
        )
        together = decay.delayed(energy, self.edges_s, self.sources.delay_s).sum(axis=0)
        return decay.decay_time(together, self.edges_s, measure)

    def tail(self, points, band, first_s, absorbed):
        """Reverberant sound in one octave as many small arrivals, without the first reflections.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        band : int
            Index of the octave [-]
        first_s : array
            Not needed here: the rays know when they arrive (point,) [s]
        absorbed : float
            Not needed here: the rays know what they have lost [-]

        Returns
        -------
        energy : ndarray
            (source and bin, point) [re 20 uPa squared]
        time : ndarray
            (source and bin, point) [s]
        """
        sources, weights = self.sources, self.zones.weights(points)
        energy, time = [], []  # of each source (bin, point), (bin,)
        for s in np.flatnonzero(sources.playing):
            beyond_first = self.reflected[s, ..., band] - self.mirrored[s, ..., band]  # (zone, bin)
            energy.append((weights @ (beyond_first * sources.radiated[s, band])).T)
            time.append(counting.MIDDLES / sources.speed + sources.delay_s[s])
        energy, time = np.concatenate(energy), np.concatenate(time)
        heard = (energy > 0).any(axis=1) & (time < time.min() + TAIL_S)
        energy = energy[heard]
        return energy, np.broadcast_to(time[heard, None], energy.shape)
