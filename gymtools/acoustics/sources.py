"""The loudspeakers of a scenario in one use, as arrays for the kernels."""

from functools import lru_cache

import numpy as np

from ..physics import air, bands, geometry, intelligibility
from ..physics.sources import Sources


def sources(scenario, use):
    """The loudspeakers of a scenario in one use, fed with speech at 1 W.

    Parameters
    ----------
    scenario : Scenario
        The scenario
    use : Use
        One of its uses

    Returns
    -------
    sources : Sources
        Each type equalized flat on its axis; gains and delays of the use applied
    """
    loudspeakers, (decay, speed) = scenario.loudspeakers, through_air(scenario.air)
    settings = [use.group_setting(c.group) for c in loudspeakers]
    playing = np.array([s.on for s in settings])
    types = list({id(c.type): c.type for c in loudspeakers}.values())
    level_db = np.array(  # at 1 m on the axis (source, band)
        [c.type.response_db + s.gain_db for c, s in zip(loudspeakers, settings, strict=True)]
    )
    return Sources(
        position=np.array([c.position for c in loudspeakers]),
        axes=geometry.rotation(
            [c.pan_deg for c in loudspeakers], [c.downtilt_deg for c in loudspeakers]
        ),
        balloons=tuple(t.balloon for t in types),
        kind=np.array([types.index(c.type) for c in loudspeakers]),
        on_axis=bands.to_energy(level_db + intelligibility.SPEECH_SPECTRUM_DB) * playing[:, None],
        delay_s=np.array([s.delay_ms / 1000 for s in settings]),
        playing=playing,
        decay=decay,
        speed=speed,
        leak_db=np.array([c.leak_db for c in loudspeakers]),
    )


@lru_cache(maxsize=64)
def through_air(weather):
    """How sound travels through the air of a hall.

    Parameters
    ----------
    weather : Air
        Its temperature, humidity and pressure

    Returns
    -------
    decay : ndarray
        Energy decay (band,), not to be changed [1/m]
    speed : float
        Speed of sound [m/s]

    Sources
    -------
    ISO 9613-1, by ``physics.air``.
    """
    loss_db = air.attenuation(
        bands.EXACT,
        temperature_c=weather.temperature_c,
        humidity_pct=weather.humidity_pct,
        pressure_kpa=weather.pressure_kpa,
    )
    decay = air.decay_constant(loss_db)
    decay.setflags(write=False)
    return decay, float(air.speed_of_sound(weather.temperature_c))
