"""Published numbers that several tests compare with. They are kept as printed text, so that each keeps its last digit."""

from decimal import Decimal

import numpy as np


def printed(row):
    """Values of a printed row, and half a unit of the last digit of each."""
    cells = [Decimal(cell) for cell in row.split()]
    return np.array(cells, float), np.array([0.5 * 10.0 ** cell.as_tuple().exponent for cell in cells])


def agrees(value, row):
    """Whether every value rounds to its printed cell; a tie may go either way."""
    cells, half = printed(row)
    value = np.asarray(value, float)
    return value.shape == cells.shape and bool(np.all(np.abs(value - cells) <= half * (1 + 1e-9)))


# ISO 9613-2:1996, Table 2: attenuation [dB/km] at 63 Hz ... 8 kHz, 101.325 kPa. Our transcription, compared with
# several public ones. Computed by ISO at EXACT mid-band frequencies.
ISO_9613_2_TABLE_2 = {  # (degC, % RH)
    (10, 70): "0.1 0.4 1.0 1.9 3.7 9.7 32.8 117",
    (20, 70): "0.1 0.3 1.1 2.8 5.0 9.0 22.9 76.6",
    (30, 70): "0.1 0.3 1.0 3.1 7.4 12.7 23.1 59.3",
    (15, 20): "0.3 0.6 1.2 2.7 8.2 28.2 88.8 202",
    (15, 50): "0.1 0.5 1.2 2.2 4.2 10.8 36.2 129",
    (15, 80): "0.1 0.3 1.1 2.4 4.1 8.3 23.7 82.8",
}
ISO_9613_2_MISPRINT = ((15, 80), 4)  # at 1 kHz it prints 4.1; the standard's own formula gives 4.151

# ISO 9613-1:1993, Table 1: attenuation [dB/km] at (degC, % RH, nominal Hz).
ISO_9613_1_TABLE_1 = {
    (10, 10, 125): "0.788", (10, 10, 1000): "21.6", (10, 10, 4000): "57.3",
    (10, 70, 125): "0.411", (10, 70, 1000): "3.66", (10, 70, 4000): "32.8", (15, 70, 1000): "4.08",
    (20, 50, 125): "0.445", (20, 50, 1000): "4.66", (20, 50, 2000): "9.86",
    (20, 70, 125): "0.339", (20, 70, 1000): "4.98", (20, 70, 4000): "22.9",
    (20, 100, 125): "0.247", (20, 100, 1000): "5.42", (20, 100, 4000): "19.4", (25, 50, 1000): "5.68",
    (30, 70, 125): "0.256", (30, 70, 1000): "7.41", (30, 70, 4000): "23.1",
}  # fmt: skip

# IEC 61260-1:2014: exact mid-band frequencies of the octaves [Hz].
IEC_61260_1_OCTAVES = "125.89 251.19 501.19 1000.00 1995.26 3981.07 7943.28"

# IEC 60268-16:2011 (Ed. 4), Table A.4: male speech [dB] re its A-weighted level.
IEC_60268_16_ED4_SPEECH = "2.9 2.9 -0.8 -6.8 -12.8 -18.8 -24.8"

# IEC 60268-16:2020, A.3.1.2: the same modulation transfer everywhere, and the STI an instrument must show.
IEC_60268_16_UNIFORM = {0: "0", 0.11182: "0.2", 0.20076: "0.3", 0.5: "0.5", 0.66614: "0.6", 0.79924: "0.7",
                        0.88818: "0.8", 1: "1"}  # fmt: skip
# IEC 60268-16:2020, A.2.2: transmission index 1 in two neighbouring octaves, 0 elsewhere; key is the lower octave.
IEC_60268_16_PAIRS = {0: "0.127", 1: "0.279", 5: "0.302"}
# IEC 60268-16:2020, annex A: auditory masking [dB] by an octave of the given level [dB].
IEC_60268_16_MASKING = {45: "-42.5", 60: "-35.0", 75: "-22.3", 80: "-19.8", 90: "-14.8", 100: "-10.0", 110: "-10.0"}
# IEC 60268-16:2020, annex F: lower edge of each letter.
IEC_60268_16_LETTERS = {0.36: "J", 0.40: "I", 0.44: "H", 0.48: "G", 0.52: "F", 0.56: "E", 0.60: "D", 0.64: "C",
                        0.68: "B", 0.72: "A", 0.76: "A+"}  # fmt: skip

# Reverberation time of ten reverberant-only rooms and what the STI of each is: worked out from the standard's chain in a
# separate calculation. Public teaching notes print 0.74 0.60 0.50 0.44 0.36 0.27 for 0.5 1 1.5 2 3 5 s from synthetic
# decays.
STI_OF_RT = (
    [0.3, 0.5, 0.8, 1.0, 1.5, 1.8, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0],
    ".827 .736 .639 .588 .498 .459 .437 .357 .303 .264 .232 .188",
)

# DIN 18041:2016, group A5, as tabulated on a public education-acoustics page: volume [m3], target [s].
DIN_18041_A5 = {800: "1.2", 1160: "1.3", 2230: "1.5", 6930: "1.9", 8500: "2.0"}
