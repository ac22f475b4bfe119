"""The tracer in whole arrays: all rays go from surface to surface together."""

import numpy as np

from .counting import EDGES, MIDDLES, Tally
from .geometry import first_hit


def follow(source, launched, surfaces, zones, rays, stop=None):
    """Follow rays, all of them from surface to surface together.

    Parameters
    ----------
    source : Sources
        One loudspeaker
    launched : tuple of ndarray
        Directions (ray, 3) and energies (ray, band) [-]
    surfaces : Surfaces
        The room
    zones : Zones
        Where sound is counted
    rays : Rays
        By which chance, how far; its chance has launched the rays already
    stop : callable, optional
        Asked at every reflection

    Returns
    -------
    tally : Tally or None
        None when it was given up
    """
    flight = _Flight(source, launched, surfaces, rays)
    while len(flight.at):
        if stop is not None and stop():
            return None
        flight.to_the_next_surface(zones)
        before = flight.heard.sum(axis=1)
        flight.reflect()
        flight.drop_weak(before)
    return flight.tally(zones)


class _Flight:
    """Rays on their way, row by row, and the sums of what has become of the others."""

    ROWS = (
        *("at", "direction", "way", "energy", "heard", "start", "once", "leaving"),
        *("leading", "likely", "met"),
    )

    def __init__(self, source, launched, surfaces, rays):
        self.polygons, self.rays = surfaces.polygons, rays
        self.absorption, self.scattering, self.passed, self.passing, self.decay = (
            np.asarray(v, np.float32)
            for v in (
                surfaces.met_absorption,
                surfaces.octave_scattering,
                surfaces.passed,
                surfaces.passing,
                source.decay,
            )
        )
        self.passes = self.passed.any(axis=1)  # whether a surface lets anything through
        self.direction, self.energy = launched
        self.at = np.tile(np.asarray(source.position[0], np.float32), (rays.count, 1))
        self.way = np.zeros(rays.count, np.float32)
        self.heard = self.energy.copy()  # with the air on the way (ray, band)
        self.start = self.energy.sum(axis=1)
        self.once = np.zeros(rays.count, bool)  # met one surface only, as a mirror
        self.met = np.zeros(rays.count, bool)  # met a surface that it did not go through
        # octave that draws whether the ray scatters
        self.leading = np.arange(rays.count) % len(self.decay)
        # how likely each octave would have gone this way, re their mean (ray, band)
        self.likely = np.ones_like(self.energy)
        self.leaving = np.full(rays.count, -1)  # surface that the ray comes from
        self.order = 0  # surfaces met or gone through
        self.air, self.left = np.zeros(len(self.decay)), np.zeros(len(self.decay))
        self.absorbed = np.zeros((len(self.polygons), len(self.decay)))
        self.counted = []

    def keep(self, rows):
        """Go on with some of the rays."""
        if not rows.all():
            for name in self.ROWS:
                setattr(self, name, getattr(self, name)[rows])

    def to_the_next_surface(self, zones):
        """Count what passes through the zones; give up rays that meet nothing or have gone far."""
        index, step = first_hit(
            self.at, self.direction[:, None], self.polygons, leaving=self.leaving
        )
        index, step = index[:, 0], step[:, 0]
        if self.met.any():
            self.counted += _count(self, step, zones)
        on = (index >= 0) & (self.way + step <= self.rays.longest)
        if not on.all():
            self.left += self.heard[~on].sum(axis=0, dtype=float)
        self.keep(on)
        self.leaving, step = index[on], step[on]
        self.way = self.way + step
        self.at = self.at + step[:, None] * self.direction

    def reflect(self):
        """Leave part of the energy with the air and the surface, and turn the rays."""
        index, rng = self.leaving, self.rays.rng
        arrived = self.energy * np.exp(np.multiply.outer(self.way, -self.decay))
        self.air += (self.heard - arrived).sum(axis=0, dtype=float)
        taken = arrived * (self.absorption - self.passed)[index]
        for band in range(len(self.decay)):
            self.absorbed[:, band] += np.bincount(
                index, weights=taken[:, band], minlength=len(self.polygons)
            )
        through = self._split(arrived, taken)
        chance = np.where(through, 0, self.scattering[index, self.leading])
        scatters = rng.random(len(index), dtype=np.float32) < chance
        self._weigh(np.where(through[:, None], 0, self.scattering[index]), scatters)
        self.once = ~(scatters | self.met | through)
        self.met |= ~through
        turned = _turned(self.direction, self.polygons.normal[index], scatters, rng)
        self.direction = np.where(through[:, None], self.direction, turned)
        self.order += 1

    def _split(self, arrived, taken):
        """Let some rays go through, for what goes through, the others for what is reflected; the
        leading octave draws which of them (ray,).
        """
        index = self.leaving
        share, heard, through = 1 - self.absorption[index], arrived - taken, self.passes[index]
        if through.any():
            chance, met = self.passing[index], through[:, None]
            drawn = self.rays.rng.random(len(index), dtype=np.float32)
            through = drawn < chance[np.arange(len(index)), self.leading]
            split = np.where(through[:, None], self.passed[index], share)
            likely = np.where(through[:, None], chance, 1 - chance)
            share = np.where(met, split / np.maximum(likely, 1e-6), share)
            heard = arrived * share
            self.left += (arrived - taken - heard).sum(axis=0, dtype=float)
        self.energy, self.heard = self.energy * share, heard
        if self.passes[index].any():
            self._weigh(self.passing[index], through)
        return through

    def _weigh(self, scattering, scatters):
        """Weigh the octaves by how likely each would have gone on as the leading one does."""
        if (scattering == scattering[:, :1]).all():
            return
        likely = self.likely * np.where(scatters[:, None], scattering, 1 - scattering)
        likely /= likely.mean(axis=1, keepdims=True)
        factor = np.divide(likely, self.likely, out=np.zeros_like(likely), where=self.likely > 0)
        self.left += ((1 - factor) * self.heard).sum(axis=0, dtype=float)
        self.energy, self.heard, self.likely = self.energy * factor, self.heard * factor, likely

    def drop_weak(self, before):
        """Drop rays without energy, and part of the weak ones at random: the others stand for
        them.
        """
        strength = self.heard.sum(axis=1)
        kept = strength > 0
        if self.rays.thin:
            weak = strength < self.rays.thin * self.start
            chance = np.where(
                weak, np.sqrt(np.minimum(strength / np.maximum(before, 1e-30), 1)), 1
            ).astype(np.float32)
            kept &= self.rays.rng.random(len(kept), dtype=np.float32) < chance
            raised = 1 / np.maximum(chance, 1e-6)[:, None]
            self.left += self.heard[~kept].sum(axis=0, dtype=float)
            self.left -= ((raised - 1) * self.heard)[kept].sum(axis=0, dtype=float)
            self.energy, self.heard = self.energy * raised, self.heard * raised
        self.keep(kept)

    def tally(self, zones):
        """All that was counted."""
        reflected, mirrored = _binned(self.counted, len(zones), len(self.decay))
        return Tally(reflected, mirrored, self.absorbed, self.air, self.left)


def _turned(direction, normal, scatters, rng):
    """Directions after a surface (ray, 3): as from a mirror, or after Lambert where it scatters."""
    across = (direction * normal).sum(axis=1)
    direction = direction - (2 * across)[:, None] * normal
    lambert = np.flatnonzero(scatters)
    if len(lambert):
        ball = rng.standard_normal((len(lambert), 3), dtype=np.float32)
        ball /= np.linalg.norm(ball, axis=1, keepdims=True)
        # a point of the unit sphere on the side the ray came from, which touches the surface:
        # cosine law, and never quite along it
        side = np.sign(across[lambert])[:, None] * normal[lambert]
        direction[lambert] = ball - side * np.float32(1 + 1e-4)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    return direction


@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def _count(flight, step, zones):
    """What passes through every layer on the way to the next surface: (zone and bin, energy times
    length, once) of each passage.
    """
    found = []
    for corner, inverse, counts, first in zip(
        zones.corner, zones.inverse, zones.counts, zones.first, strict=True
    ):
        here, turn = inverse @ (flight.at - corner).T, inverse @ flight.direction.T  # (edge, ray)
        one, other = -here / turn, (1 - here) / turn
        enter = np.maximum(np.fmin(one, other).max(axis=0), 0)
        leave = np.minimum(np.fmax(one, other).min(axis=0), step)
        ray = np.flatnonzero((leave > enter) & flight.met)
        if not len(ray):
            continue
        length = (leave - enter)[ray]
        point = enter[ray] + length * flight.rays.rng.random(len(ray), dtype=np.float32)
        inside = here[:2, ray] + point * turn[:2, ray]
        cell = np.clip((inside * counts[:, None]).astype(int), 0, counts[:, None] - 1)
        whole = flight.way[ray] + point
        bin = np.minimum(np.searchsorted(EDGES, whole, "right") - 1, len(MIDDLES) - 1)
        decayed = flight.energy[ray] * np.exp(np.multiply.outer(whole, -flight.decay))
        number = first + cell[0] * counts[1] + cell[1]
        found.append((number * len(MIDDLES) + bin, decayed * length[:, None], flight.once[ray]))
    return found


def _binned(counted, zones, bands):
    """Sums of all passages: everything, and what has met one surface only (zone, bin, band)."""
    shape = zones, len(MIDDLES), bands
    if not counted:
        return np.zeros(shape), np.zeros(shape)
    at, amount, once = (np.concatenate(v) for v in zip(*counted, strict=True))

    def sums(a, e):
        return np.stack(
            [np.bincount(a, weights=band, minlength=shape[0] * shape[1]) for band in e.T], axis=-1
        ).reshape(shape)

    return sums(at, amount), sums(at[once], amount[once])
