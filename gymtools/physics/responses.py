"""Responses that are listened through: their octaves, and a program through them."""

from functools import lru_cache

import numpy as np
from scipy import fft

from . import bands
from .impulse import ORDER
from .playback import RATE


@lru_cache(maxsize=8)
def _filters(length):
    """What the octave filters of ``physics.impulse`` let through of an energy spectrum, re what
    they let through of a pulse that leaves everything as it is (band, frequency) float32.
    """
    warped = np.tan(np.pi * fft.rfftfreq(length)[:-1])  # of the bilinear transform
    low, high = np.tan(np.pi * bands.EDGES.T / RATE)[..., None]
    with np.errstate(divide="ignore"):
        off = (warped**2 - low * high) / ((high - low) * warped)
    passed = np.zeros((len(bands.EDGES), length // 2 + 1))
    passed[:, :-1] = (1 + off ** (2 * ORDER)) ** -2.0
    passed = (passed / passed.sum(axis=1, keepdims=True)).astype(np.float32)
    passed.setflags(write=False)
    return passed


def octave_gain(response):
    """What a response does to the energy of each octave.

    Parameters
    ----------
    response : array
        (..., sample) at ``RATE`` [-]

    Returns
    -------
    gain : ndarray
        Energy (..., band) re a response of one sample of 1, through the octave filters of
        ``physics.impulse`` [-]
    """
    response = np.asarray(response)
    length = 1 << int(np.ceil(np.log2(max(response.shape[-1], 1024))))  # few lengths: kept
    spectrum = fft.rfft(response, n=length, axis=-1)
    energy = spectrum.real**2 + spectrum.imag**2
    return energy @ _filters(length).T


def convolved(program, response):
    """A program as it sounds through a response.

    Parameters
    ----------
    program : array
        (sample,) at ``RATE`` [any linear]
    response : array
        (channel, sample) [-]

    Returns
    -------
    sound : ndarray
        (channel, sample), as long as both together [as program]
    """
    whole = len(program) + response.shape[1] - 1
    length = fft.next_fast_len(whole, real=True)
    one = fft.rfft(np.asarray(program, response.dtype), n=length)
    return fft.irfft(fft.rfft(response, n=length, axis=1) * one, n=length, axis=1)[:, :whole]
