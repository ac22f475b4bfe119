"""The late field: what the room adds to the direct sound, by formula (even over the hall) or
traced.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..physics import bands, decay, intelligibility, tracing
from ..physics.sources import Sources

CHUNK = 500  # points worked on at a time
LATEST = 0.5  # of traced sound in the echo criterion [s]
STEP, STEPS = 0.005, 60  # of an even tail that is told as many small arrivals [s]


@dataclass(frozen=True, kw_only=True, eq=False)
class DiffuseField:
    """The same level everywhere and one exponential decay in each octave: the statistical room."""

    energy: np.ndarray  # (band,) [re 20 uPa squared]
    rt: np.ndarray  # (band,) [s]
    room = "statistical"

    def raised(self, gain_db):
        """The same with all loudspeakers turned up.

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
        """Energy of the late sound.

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
        """Modulation that is left of direct and late sound together.

        Parameters
        ----------
        direct : array
            (source, point, band) [re 20 uPa squared]
        arrival_s : array
            (source, point) [s]
        points : array
            (point, 3) [m]

        Returns
        -------
        mtf : ndarray
            (point, band, modulation) [-]
        """
        return intelligibility.modulation_transfer(
            direct, arrival_s, reverberant=self.at(points), rt=self.rt
        )

    def tail(self, points, band, first_s, absorbed):
        """Late sound in one octave as many small arrivals, without what first reflections as from
        mirrors carry.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        band : int
            Octave [-]
        first_s : array
            Arrival of the direct sound (point,) [s]
        absorbed : float
            Mean absorption of the room, which the first reflections have behind them [-]

        Returns
        -------
        energy : ndarray
            (step, point) [re 20 uPa squared]
        time : ndarray
            (step, point) [s]
        """
        fall = np.exp(-intelligibility.DECAY * STEP / self.rt[band])
        energy = self.energy[band] * (1 - absorbed) * (1 - fall) * fall ** np.arange(STEPS)
        time = first_s + (STEP * (np.arange(STEPS) + 1))[:, None]
        return np.broadcast_to(energy[:, None], time.shape), time


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedField:
    """Level and decay zone by zone, each loudspeaker for itself, from traced rays."""

    sources: Sources
    zones: tracing.Zones
    reflected: np.ndarray  # per radiated energy (source, zone, bin, band) [1/m2]
    # that part of it which has met one surface only, as a mirror (source, zone, bin, band) [1/m2]
    mirrored: np.ndarray
    absorbed: np.ndarray  # where the energy of each loudspeaker ends (source, surface, band) [-]
    air: np.ndarray  # what the air takes of it (source, band) [-]
    error_db: float  # standard error of the late level in the worst zone [dB]
    room = "traced"

    @classmethod
    def of(cls, sources, zones, traces, *, error_db):
        """The field of several loudspeakers.

        Parameters
        ----------
        sources : Sources
            All loudspeakers
        zones : Zones
            Where sound was counted
        traces : dict
            Trace by number of the loudspeaker; those left out are silent
        error_db : float
            Standard error [dB]

        Returns
        -------
        field : TracedField
            With one row a loudspeaker
        """
        one = next(iter(traces.values()))

        def rows(name):
            return np.stack(
                [
                    getattr(traces.get(n, one), name) * (n in traces)
                    for n in range(len(sources.position))
                ]
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
            The loudspeakers, as the rays left them
        zones : Zones
            Of the hall they are in

        Returns
        -------
        field : TracedField
            Refused when a loudspeaker stands or looks elsewhere, is off in one and on in the other,
            or the hall is another
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
        """The same with all loudspeakers turned up.

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
        """Edges of the bins [s]."""
        return tracing.EDGES / self.sources.speed

    @cached_property
    def by_zone(self):
        """Energy of the late sound (zone, band) [re 20 uPa squared]."""
        return np.einsum("sb,szb->zb", self.sources.radiated, self.reflected.sum(axis=2))

    def at(self, points):
        """Energy of the late sound, between the zones by straight lines.

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
        """Modulation that is left of direct and late sound together.

        Parameters
        ----------
        direct : array
            (source, point, band) [re 20 uPa squared]
        arrival_s : array
            (source, point) [s]
        points : array
            (point, 3) [m]

        Returns
        -------
        mtf : ndarray
            (point, band, modulation), float32 [-]

        Notes
        -----
        The late sound of each loudspeaker keeps its course from zone to zone as told from that
        loudspeaker's direct arrival; between the zones it is mixed by straight lines.
        """
        weights, moving = self.zones.weights(points), self._moving
        late, shape = (
            self.at(points),
            (len(points), len(moving[0][0]), len(intelligibility.MODULATION)),
        )
        mtf = np.empty(shape, np.float32)
        turn = np.float32(2 * np.pi) * intelligibility.MODULATION.astype(np.float32)
        first = np.min(arrival_s, axis=0)
        for start in range(0, len(points), CHUNK):
            part = slice(start, start + CHUNK)
            total = np.zeros((len(first[part]), *shape[1:]), np.complex64)
            for s in np.flatnonzero(self.sources.playing):
                phase = (arrival_s[s, part] - first[part]).astype(np.float32)[
                    :, None
                ] * turn  # (point, modulation)
                mixed = (weights[part] @ moving[s].reshape(len(self.zones), -1)).reshape(
                    total.shape
                )
                total += (direct[s, part, :, None] + mixed) * np.exp(-1j * phase)[:, None].astype(
                    np.complex64
                )
            level = direct[:, part].sum(axis=0) + late[part]
            mtf[part] = np.abs(total) / np.maximum(level, 1e-30)[..., None]
        return np.minimum(mtf, 1.0)

    @cached_property
    def _moving(self):
        """Modulated late energy of every loudspeaker, from its direct arrival on (source, zone,
        band, modulation).
        """
        power, found = self.sources.radiated, []
        for s, energy in enumerate(self.reflected):
            start = (
                np.linalg.norm(self.zones.center - self.sources.position[s], axis=1)
                / self.sources.speed
            )
            found.append(
                (power[s][:, None] * decay.modulation(energy, self.edges_s, start)).astype(
                    np.complex64
                )
            )
        return found

    def early_share(self, points, within_s, octaves):
        """Share of the late sound that comes soon after the direct sound of its own loudspeaker.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        within_s : float
            How soon [s]
        octaves : slice
            Which octaves

        Returns
        -------
        share : float
            Of all late sound that reaches the points, 0 to 1 [-]
        """
        weight = np.asarray(self.zones.weights(points).mean(axis=0)).ravel()
        energy = np.einsum(
            "z,sb,sznb->szn",
            weight,
            self.sources.radiated[:, octaves],
            self.reflected[..., octaves],
            optimize=True,
        )
        # (source, zone)
        direct = np.linalg.norm(self.zones.center - self.sources.position[:, None], axis=-1)
        soon = tracing.MIDDLES < direct[..., None] + within_s * self.sources.speed
        return float(energy[soon].sum() / energy.sum())

    def decay_times(self, points, measure):
        """Decay time of the late sound that reaches some points, all loudspeakers together with
        their delays.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        measure : str
            As for ``physics.decay.decay_time``

        Returns
        -------
        time : ndarray
            (band,), NaN where the decay was not followed far enough [s]
        """
        weight = np.asarray(self.zones.weights(points).mean(axis=0)).ravel()
        energy = np.einsum(
            "z,sb,sznb->snb", weight, self.sources.radiated, self.reflected, optimize=True
        )
        return decay.decay_time(
            decay.delayed(energy, self.edges_s, self.sources.delay_s).sum(axis=0),
            self.edges_s,
            measure,
        )

    def tail(self, points, band, first_s, absorbed):
        """Late sound in one octave as many small arrivals, without what has met one surface only,
        as a mirror.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        band : int
            Octave [-]
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
        weights, playing = self.zones.weights(points), np.flatnonzero(self.sources.playing)
        energy, time = [], []
        for s in playing:
            rest = (
                self.reflected[s, ..., band] - self.mirrored[s, ..., band]
            ) * self.sources.radiated[s, band]  # (zone, bin)
            energy.append((weights @ rest).T)
            time.append(
                np.broadcast_to(
                    (tracing.MIDDLES / self.sources.speed + self.sources.delay_s[s])[:, None],
                    energy[-1].shape,
                )
            )
        energy, time = np.concatenate(energy), np.concatenate(time)
        heard = (energy > 0).any(axis=1) & (time[:, 0] < time[:, 0].min() + LATEST)
        return energy[heard], time[heard]
