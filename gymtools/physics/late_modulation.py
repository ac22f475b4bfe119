"""Modulation that direct sound and the traced sound of a room carry to points."""

import numpy as np

from . import compiled, intelligibility

CHUNK = 500  # points worked on at a time in arrays
WIDE = 8  # octaves of the arrays that go into machine code


def transfer(direct, delay_s, weights, modulated, level):
    r"""Modulation transfer of direct and reverberant sound together.

    .. math:: m = \frac{1}{E} \left| \sum_s (D_s + \sum_z w_z M_{s,z}) e^{-2\pi j F t_s} \right|

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band) [any linear]
    delay_s : array
        Its arrival after the first one's (source, point) [s]
    weights : sparse array
        Of the zones at the points (point, zone) [-]
    modulated : array
        Modulated reverberant energy of each source from its direct arrival on (source, zone, band,
        modulation), complex64 [as direct]
    level : array
        Direct and reverberant energy (point, band) [as direct]

    Returns
    -------
    mtf : ndarray
        (point, band, modulation) float32, 0 to 1 [-]

    Sources
    -------
    IEC 60268-16:2020, A.5.3.
    """
    shape = (*level.shape, len(intelligibility.MODULATION))
    turn = np.float32(2 * np.pi) * intelligibility.MODULATION.astype(np.float32)
    flat = [m.reshape(len(m), -1) for m in modulated]
    mtf = np.empty(shape, np.float32)
    for start in range(0, len(level), CHUNK):
        part = slice(start, start + CHUNK)
        moving = np.zeros((len(level[part]), *shape[1:]), np.complex64)
        for s, zones in enumerate(flat):
            mixed = (weights[part] @ zones).reshape(moving.shape)
            shift = np.exp(-1j * delay_s[s, part, None] * turn)[:, None].astype(np.complex64)
            moving += (direct[s, part, :, None] + mixed) * shift
        mtf[part] = np.abs(moving) / np.maximum(level[part], 1e-30)[..., None]
    return np.minimum(mtf, 1.0)


def mean_index(direct, delay_s, corners, responses, heard):
    """Mean transmission index over the modulations, in machine code.

    Parameters
    ----------
    direct : array
        Direct sound (source, point, band), float32 [any linear]
    delay_s : array
        Its arrival after the first one's (source, point), float32 [s]
    corners : tuple of array
        Zones around each point, and their weights (point, corner), of ``Zones.corners`` [-]
    responses : tuple of array
        What each source radiates (source, band) [as direct], its packed modulation for a source
        that radiates 1 (source, zone, 2, modulation, 8) [-], and the reverberant energy of all of
        them (zone, band) [as direct]
    heard : array
        Speech over all that is heard (point, band) [-]

    Returns
    -------
    index : ndarray
        (point, band) float32, 0 to 1 [-]

    Sources
    -------
    IEC 60268-16:2020, A.5.3 to A.5.6.
    """
    from . import late_modulation_compiled  # slow to load

    radiated, modulated, energy = responses
    index = np.empty(np.shape(heard), np.float32)
    arrivals = np.asarray(direct, np.float32), np.asarray(delay_s, np.float32)
    sent = modulated * _wide(radiated)[:, None, None, None]  # (source, zone, 2, modulation, 8)
    room = sent.reshape(*sent.shape[:2], -1), _wide(energy)
    heard = np.asarray(heard, np.float32)

    def loop(first, end):
        late_modulation_compiled.mean_index((first, end), arrivals, corners, room, heard, index)

    compiled.side_by_side(loop, len(heard))
    return index


def packed(modulated):
    """Modulated energy as the compiled loop reads it.

    Parameters
    ----------
    modulated : array
        (zone, band, modulation), complex [any linear]

    Returns
    -------
    packed : ndarray
        Real and imaginary parts (zone, 2, modulation, 8), float32 [as modulated]
    """
    parts = np.stack([modulated.real, modulated.imag], axis=1)  # (zone, 2, band, modulation)
    return _wide(parts.swapaxes(2, 3))


def _wide(values):
    """With eight octaves, the last empty: whole registers of the processor (..., 8)."""
    wide = np.zeros((*np.shape(values)[:-1], WIDE), np.float32)
    wide[..., : np.shape(values)[-1]] = values
    return wide
