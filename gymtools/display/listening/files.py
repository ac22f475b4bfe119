"""What was heard, as sound files for other players."""

import io
from pathlib import Path

from ...physics.playback import RATE
from ...venue.writing_files import file_words, new_folder

FULL_SCALE_DB = 130.0  # what a sample of 1 stands for in every file [dB re 20 uPa]
CAUTION = "Begin with the volume down: loud sound can hurt hearing for good."

SCALE = (
    "All files are at one level: what is louder in one than in another is louder in the gym by as"
    f" much. Do not level them. (Full scale stands for a peak of {FULL_SCALE_DB:g} dB re 20 uPa; 48"
    " kHz, 24 bits.) Two ears are those of a dummy head (Gardner and Martin 1994)."
)


def wav_bytes(samples, full_scale_db=FULL_SCALE_DB):
    """A sound as a WAV file of 24 bits.

    Parameters
    ----------
    samples : array
        (2, sample), left and right [re 20 uPa]
    full_scale_db : float
        What a sample of 1 stands for; peaks over it are refused [dB re 20 uPa]

    Returns
    -------
    data : bytes
        Contents of the file

    Raises
    ------
    ValueError
        A peak over full scale
    """
    return _encoded(samples, full_scale_db, format="WAV", subtype="PCM_24")


def flac_bytes(samples, full_scale_db):
    """A sound as a FLAC file of 16 bits.

    Parameters
    ----------
    samples : array
        (2, sample), left and right [re 20 uPa]
    full_scale_db : float
        What a sample of 1 stands for; peaks over it are refused [dB re 20 uPa]

    Returns
    -------
    data : bytes
        Contents of the file

    Raises
    ------
    ValueError
        A peak over full scale
    """
    return _encoded(samples, full_scale_db, format="FLAC", subtype="PCM_16")


def _encoded(samples, full_scale_db, **kind):
    import soundfile  # slow to load, and only needed to listen

    scaled = samples.T / 10 ** (full_scale_db / 20)
    if abs(scaled).max() > 1:
        raise ValueError(f"a peak is over full scale, {full_scale_db:g} dB. Give a higher one.")
    file = io.BytesIO()
    soundfile.write(file, scaled, RATE, **kind)
    return file.getvalue()


def write_sounds(sounds, folder, *, place, overwrite=False):
    """Write what was heard as WAV files, with a note on what each holds.

    Parameters
    ----------
    sounds : dict of tuple
        By name, in order: (2, sample) [re 20 uPa], and its figures in words
    folder : str or Path
        To be made
    place : str
        School, use, seat and what was played on what, for the note
    overwrite : bool
        Whether an earlier folder may be replaced; it moves whole into "revisions" beside it

    Returns
    -------
    paths : list of Path
        Of the files, the note last

    Raises
    ------
    FileExistsError
        The folder is there and ``overwrite`` was not given; nothing is changed
    OSError
        One line: it could not be written; nothing is changed
    """
    target, names, lines = Path(folder), [], []
    with new_folder(target, overwrite=overwrite) as building:
        for n, (name, (samples, said)) in enumerate(sounds.items(), 1):
            names.append(f"{n}-{file_words(name, 'sound')}.wav")
            lines.append(f"{names[-1]}: {name}; {said}")
            (building / names[-1]).write_bytes(wav_bytes(samples))
        listed = "\n".join(lines)
        note = f"{place}\n\n{listed}\n\n{SCALE}\n\n{CAUTION}\n"
        names.append("about.txt")
        (building / names[-1]).write_text(note, encoding="utf-8")
    return [target / name for name in names]
