"""Two ears: what a head makes of sound from any direction, measured on a dummy head."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np

from ..physics.head import ear_angles, ear_delay

FILE = Path(__file__).parents[1] / "data" / "ears" / "dummy_head.sofa"
NOTICE = FILE.with_name("NOTICE.txt")  # whose measurement it is, and what was done to it
TRANSFORM = 256  # length in which responses are delayed [samples]
SAMPLES = 192  # of a delayed response; what follows is silence


@dataclass(frozen=True, kw_only=True, eq=False)
class Ears:
    """Head-related impulse responses of both ears, left first.

    Sound from all directions at once has at either ear the level that a microphone would read
    without the head, in every octave from 125 Hz to 8 kHz.

    Attributes
    ----------
    directions : ndarray
        Azimuth counter-clockwise (to the left) from straight ahead, and elevation (direction, 2)
        [deg]
    impulse : ndarray
        Responses without their delay (direction, ear, sample) [-]
    delay : ndarray
        Of each response (direction, ear) [samples]
    rate : float
        Sampling rate [Hz]
    source : str
        Whose measurement it is
    """

    directions: np.ndarray
    impulse: np.ndarray
    delay: np.ndarray
    rate: float
    source: str

    @property
    def samples(self):
        """Length of what ``responses`` gives.

        Returns
        -------
        samples : int
            For both ears and all directions the same [samples]
        """
        return SAMPLES

    @cached_property
    def lead(self):
        """Sample of a response that belongs to the time at which sound reaches the middle of the
        head: take it off the arrival's own time.

        Returns
        -------
        lead : float
            Delay of sound from straight ahead [samples]
        """
        return float(self.delay[self.nearest(0.0, 0.0)].mean())

    @cached_property
    def _vectors(self):
        return _unit(*self.directions.T)

    @cached_property
    def _spectra(self):
        return np.fft.rfft(self.impulse, TRANSFORM)

    @cached_property
    def _ear_delay(self):
        return ear_delay(ear_angles(*self.directions.T)) * self.rate

    @cached_property
    def share(self):
        """Share of all directions that each one stands for, as sound comes from everywhere.

        Returns
        -------
        share : ndarray
            Sums to 1; the lowest ring stands for all below it (direction,) [-]
        """
        return ring_shares(self.directions)

    def nearest(self, azimuth_deg, elevation_deg):
        """Measured direction that lies nearest.

        Parameters
        ----------
        azimuth_deg : float or array
            Counter-clockwise (to the left) from straight ahead, -360 to 360 [deg]
        elevation_deg : float or array
            Above the horizontal plane, -90 to 90 [deg]

        Returns
        -------
        index : ndarray
            Row of ``directions``, of several that are as near the first, shape of both angles [-]

        Raises
        ------
        ValueError
            An angle outside its range
        """
        ear_angles(azimuth_deg, elevation_deg)  # refuses what is outside
        cosine = _unit(azimuth_deg, elevation_deg) @ self._vectors.T
        return np.argmax(np.round(cosine, 9), axis=-1)  # rounded: ties are the same everywhere

    def responses(self, azimuth_deg, elevation_deg):
        """What both ears hear of an impulse from each of some directions.

        The response is that of the nearest measured direction. Its delay is carried on to the
        direction itself as on a sphere, so that time follows every degree.

        Parameters
        ----------
        azimuth_deg : array
            Counter-clockwise (to the left) from straight ahead, -360 to 360 (n,) [deg]
        elevation_deg : array
            Above the horizontal plane, -90 to 90 (n,) [deg]

        Returns
        -------
        responses : ndarray
            Re sound pressure at the middle of the head without the head; sample ``lead`` belongs to
            the time of arrival there (n, ear, sample) [-]

        Raises
        ------
        ValueError
            An angle outside its range; arrays that are not of one length
        """
        azimuth_deg, elevation_deg = np.asarray(azimuth_deg), np.asarray(elevation_deg)
        if azimuth_deg.ndim != 1 or azimuth_deg.shape != elevation_deg.shape:
            raise ValueError(
                f"azimuths of shape {azimuth_deg.shape} and elevations of shape"
                f" {elevation_deg.shape} name no directions. Give one of each for every arrival."
            )
        index = self.nearest(azimuth_deg, elevation_deg)
        turned = ear_delay(ear_angles(azimuth_deg, elevation_deg)) * self.rate
        late = self.delay[index] + turned - self._ear_delay[index]
        cycles = np.fft.rfftfreq(TRANSFORM)
        phase = np.exp(-2j * np.pi * cycles * late[..., None])
        return np.fft.irfft(self._spectra[index] * phase, TRANSFORM)[..., :SAMPLES]


def ring_shares(directions):
    """Share of all directions that each measured one stands for.

    Parameters
    ----------
    directions : array
        In rings of equal elevation, each with its azimuths evenly spaced; azimuth, elevation and
        whatever follows (direction, 2 or more) [deg]

    Returns
    -------
    share : ndarray
        Sums to 1; rings meet halfway, the lowest stands for all below it (direction,) [-]
    """
    rings, ring, count = np.unique(directions[:, 1], return_inverse=True, return_counts=True)
    edges = np.radians(np.r_[-90, (rings[1:] + rings[:-1]) / 2, 90])
    return (np.diff(np.sin(edges)) / 2 / count)[ring]


def _unit(azimuth_deg, elevation_deg):
    """Unit vectors to the front, left and up (..., 3)."""
    a, e = np.radians(azimuth_deg), np.radians(elevation_deg)
    return np.stack([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e) + 0 * a], axis=-1)


@lru_cache(maxsize=1)
def ears():
    """The two ears that the package has.

    Returns
    -------
    ears : Ears
        Read once

    Sources
    -------
    W. G. Gardner and K. D. Martin, MIT Media Laboratory, Technical Report 280, 1994; AES69-2022.
    ``NOTICE.txt`` beside the file says what was done to it.
    """
    import sofar  # slow to load, and seldom needed

    data = sofar.read_sofa(str(FILE), verify=False, verbose=False)
    arrays = [np.array(v) for v in (data.SourcePosition[:, :2], data.Data_IR, data.Data_Delay)]
    for values in arrays:
        values.setflags(write=False)
    directions, impulse, delay = arrays
    return Ears(
        directions=directions,
        impulse=impulse,
        delay=delay,
        rate=float(np.squeeze(data.Data_SamplingRate)),
        source=data.GLOBAL_References,
    )
