"""The loudspeakers of a scenario as arrays, ready for the formulas: where they hang, what they
radiate, when.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..physics import air, bands, field, geometry, intelligibility


@dataclass(frozen=True, kw_only=True, eq=False)
class Sources:
    """All loudspeakers in one use, in the order of ``scenario.loudspeakers``; those that are off
    radiate nothing.
    """

    position: np.ndarray  # (source, 3) [m]
    axes: np.ndarray  # (source, 3, 3) rows: front, left, up [-]
    types: list
    kind: np.ndarray  # which of the types (source,)
    on_axis: np.ndarray  # energy at 1 m on the axis (source, band) [re 20 uPa squared]
    delay_s: np.ndarray  # (source,) [s]
    playing: np.ndarray  # (source,)
    decay: np.ndarray  # of the air (band,) [1/m]
    speed: float  # of sound [m/s]

    @property
    def q(self):
        """Directivity factor (source, band) [-]."""
        return bands.to_energy(np.array([t.index_db for t in self.types]))[self.kind]

    @property
    def radiated(self):
        """Energy radiated in all directions, at 1 m over the whole sphere (source, band) [re 20 uPa
        squared, m2].
        """
        return 4 * np.pi * self.on_axis / self.q

    def raised(self, gain_db):
        """The same, all turned up by a gain.

        Parameters
        ----------
        gain_db : float or array
            Gain, one number or (band,) [dB]

        Returns
        -------
        sources : Sources
            With more (or less) on the axis
        """
        return replace(self, on_axis=self.on_axis * bands.to_energy(gain_db))

    def direct(self, points, blocking=None):
        """Direct sound at points.

        Parameters
        ----------
        points : array
            (point, 3) [m]
        blocking : Polygons, optional
            What may stand in the way; nothing when left out [m]

        Returns
        -------
        energy : ndarray
            (source, point, band) float32 [re 20 uPa squared]
        distance : ndarray
            (source, point) [m]
        """
        free = None
        if blocking is not None:
            free = np.zeros((len(self.position), len(points)), bool)
            free[self.playing] = geometry.in_sight(self.position[self.playing], points, blocking)
        tables = [t.table for t in self.types]
        return field.direct_energy(
            points, self.position, self.axes, tables, self.kind, self.on_axis, self.decay, free=free
        )


def sources(scenario, use):
    """The loudspeakers of a scenario in one use, fed with speech at 1 W.

    Parameters
    ----------
    scenario : Scenario
        The scenario [-]
    use : Use
        One of its uses [-]

    Returns
    -------
    sources : Sources
        Each type equalized flat on its axis; gains and delays of the use applied
    """
    loudspeakers, weather = scenario.loudspeakers, scenario.air
    group_settings = [use.group_setting(c.group) for c in loudspeakers]
    playing = np.array([d.on for d in group_settings])
    types = list({id(c.type): c.type for c in loudspeakers}.values())
    level = np.array(
        [c.type.response_db + d.gain_db for c, d in zip(loudspeakers, group_settings, strict=True)]
    )
    loss = air.attenuation(
        bands.EXACT,
        temperature_c=weather.temperature_c,
        humidity_pct=weather.humidity_pct,
        pressure_kpa=weather.pressure_kpa,
    )
    return Sources(
        position=np.array([c.position for c in loudspeakers]),
        axes=geometry.rotation(
            [c.pan_deg for c in loudspeakers], [c.downtilt_deg for c in loudspeakers]
        ),
        types=types,
        kind=np.array([types.index(c.type) for c in loudspeakers]),
        on_axis=bands.to_energy(level + intelligibility.SPEECH_SPECTRUM_DB) * playing[:, None],
        delay_s=np.array([d.delay_ms / 1000 for d in group_settings]),
        playing=playing,
        decay=air.decay_constant(loss),
        speed=float(air.speed_of_sound(weather.temperature_c)),
    )
