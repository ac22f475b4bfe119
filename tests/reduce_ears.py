"""Makes the two ears of ``gymtools/data/ears`` from the original set of responses. Run by hand:

python tests/reduce_ears.py MIT_KEMAR_normal_pinna.sofa

All 710 directions stay. A response becomes its minimum phase part and a delay, which together sound
like the original (D. J. Kistler and F. L. Wightman, J. Acoust. Soc. Am. 91 (1992) 1637, from
memory). All are equalized by one and the same filter, after which sound from all directions has at
either ear the level that it has without the head.
"""

import sys
from pathlib import Path

import numpy as np
import sofar
from scipy.signal import resample_poly

from gymtools.physics.head import ear_angles, ear_delay
from gymtools.venue.ears import FILE, ring_shares

RATE, FROM_RATE = 48000, 44100
SAMPLES, FADE = 128, 32  # kept of each response, and faded out at its end [samples]
LENGTH = 4096  # of the transforms [samples]
FREQUENCY = np.fft.rfftfreq(LENGTH, 1 / RATE)
# the loudspeaker of the measurement gave little below and little above [Hz]
LOWEST, HIGHEST = 200.0, 16000.0
SMOOTH = 1 / 6  # width of the mean that smooths the equalization [octave]
LEAD = 24.0  # sound that reaches the middle of the head at 0 is at this sample
STEP = 2.0**-16  # responses are rounded to this, so that the file packs well
FLOOR = 1e-4  # of a magnitude re its largest, so that its logarithm stays finite
ROUNDS = 6  # of correcting the equalization for what cutting and fading changed
FINE = 16  # steps of a sample in which a delay is looked for
# where original and minimum phase are laid on each other, and where time counts most [Hz]
TIMED = (300.0, 2000.0)
DATE = "2026-11-27 00:00:00"
NOTICE = (
    "Copyright 1994 by the MIT Media Laboratory. Provided free with no restrictions on use,"
    " provided the authors are cited when the data is used in any research or commercial"
    " application."
)
CITATION = (
    "W. G. Gardner and K. D. Martin, HRTF measurements of a KEMAR dummy-head microphone, MIT Media"
    " Laboratory, Perceptual Computing, Technical Report 280, 1994; J. Acoust. Soc. Am. 97 (1995)"
    " 3907."
)


def smoothed(energy):
    """Running mean of a spectrum over SMOOTH octaves."""
    total = np.r_[0, np.cumsum(energy)]
    bins = np.arange(len(energy))
    low = np.floor(bins * 2 ** (-SMOOTH / 2)).astype(int)
    high = np.minimum(np.ceil(bins * 2 ** (SMOOTH / 2)).astype(int), len(energy) - 1)
    return (total[high + 1] - total[low]) / (high + 1 - low)


def diffuse(spectra, share):
    """Energy of sound from everywhere, mean of both ears (frequency,)."""
    return smoothed(np.einsum("d,def->f", share, np.abs(spectra) ** 2) / 2)


def completed(magnitude):
    """Responses without what the loudspeaker of the measurement lacked: towards 0 Hz the head
    vanishes, its level difference with the frequency.
    """
    first = np.searchsorted(FREQUENCY, LOWEST)
    weight = FREQUENCY[:first] / FREQUENCY[first]
    magnitude = magnitude.copy()
    magnitude[..., :first] = magnitude[..., first, None] ** weight
    return magnitude


def minimum_phase(magnitude):
    """Responses of minimum phase with these magnitudes, by the cepstrum (..., LENGTH)."""
    magnitude = np.maximum(magnitude, FLOOR * magnitude.max(axis=-1, keepdims=True))
    cepstrum = np.fft.irfft(np.log(magnitude), LENGTH)
    cepstrum[..., 1 : LENGTH // 2] *= 2
    cepstrum[..., LENGTH // 2 + 1 :] = 0
    return np.fft.irfft(np.exp(np.fft.rfft(cepstrum)), LENGTH)


def shortened(responses):
    """First samples of responses, faded out and rounded."""
    window = np.ones(SAMPLES)
    window[-FADE:] = np.cos(np.pi / 2 * (np.arange(FADE) + 0.5) / FADE) ** 2
    return np.round(responses[..., :SAMPLES] * window / STEP) * STEP


def delays(spectra):
    """Delay of each response over its minimum phase part, where they match best (direction, ear)
    [samples].
    """
    low = np.fft.rfft(minimum_phase(np.abs(spectra)))
    band = (FREQUENCY >= TIMED[0]) & (FREQUENCY <= TIMED[1])
    cross = np.where(band, spectra * low.conj(), 0)
    match = np.fft.irfft(cross, LENGTH * FINE)
    return np.argmax(match[..., : LENGTH * FINE // 8], axis=-1) / FINE


def reduced(position, original):
    """Responses of minimum phase, equalized, and their delays."""
    share = ring_shares(position)
    spectra = np.fft.rfft(resample_poly(original, RATE // 300, FROM_RATE // 300, axis=-1), LENGTH)
    late = delays(spectra)
    top = np.searchsorted(FREQUENCY, HIGHEST)
    energy = diffuse(spectra, share)
    energy[top:] = energy[top]
    magnitude = completed(np.abs(spectra) / np.sqrt(energy))
    correction = np.ones(len(FREQUENCY))
    for _ in range(ROUNDS):
        responses = shortened(minimum_phase(magnitude * correction))
        left = diffuse(np.fft.rfft(responses, LENGTH), share)
        left[top:] = left[top]
        correction /= np.sqrt(left)
    return responses, late


def timed(position, late):
    """Delays with the measured difference of both ears; what both have in common, which the
    measurement has off by up to a tenth of a millisecond from ring to ring, is that of a sphere.
    """
    common = ear_delay(ear_angles(*position[:, :2].T)).mean(axis=1, keepdims=True) * RATE
    return LEAD + common + late - late.mean(axis=1, keepdims=True)


def write(path, position, responses, late):
    """The file, as AES69 has it."""
    data = sofar.Sofa("SimpleFreeFieldHRIR")
    for name in ("EmitterDescriptions", "ReceiverDescriptions", "Description"):
        if hasattr(data, name):
            data.delete(name)
    data.Data_IR, data.Data_Delay, data.Data_SamplingRate = responses, late, float(RATE)
    data.SourcePosition = position
    data.ReceiverPosition = np.array([[0, 0.09, 0], [0, -0.09, 0]])[..., None]
    data.GLOBAL_Title = "Responses of a dummy head, reduced and diffuse-field equalized"
    data.GLOBAL_DatabaseName, data.GLOBAL_ListenerShortName = "MIT", "KEMAR, normal pinna"
    data.GLOBAL_License, data.GLOBAL_References = NOTICE, CITATION
    data.GLOBAL_AuthorContact = "Bill Gardner and Keith Martin (original)"
    data.GLOBAL_Organization = "MIT Media Laboratory, Machine Listening Group (original)"
    data.GLOBAL_Comment = (
        f"Resampled to {RATE} Hz, minimum phase of {SAMPLES} samples, equalized;"
        f" sound that reaches the middle of the head at 0 has a delay of {LEAD:g} samples."
    )
    data.GLOBAL_DateCreated = data.GLOBAL_DateModified = DATE
    sofar.write_sofa(str(path), data, compression=9)


def main(original):
    """Read, reduce, write."""
    data = sofar.read_sofa(original, verbose=False)
    position = data.SourcePosition
    responses, late = reduced(position, data.Data_IR)
    write(FILE, position, responses, timed(position, late))
    print(FILE.name, FILE.stat().st_size, "bytes", len(position), "directions")


if __name__ == "__main__":
    main(str(Path(sys.argv[1]).resolve()))
