"""Makes the announcements that come with the package anew, where the free speech synthesizer flite
is installed: python tests/make_speech.py
"""

import subprocess
import tempfile
from pathlib import Path

import soundfile

from gymtools.venue.tables import read_table

FOLDER = Path(__file__).parents[1] / "gymtools" / "data" / "speech"


def make(row):
    """Speak one text and store it, with the text in the recording's comment."""
    with tempfile.TemporaryDirectory() as folder:
        text, spoken = Path(folder) / "text.txt", Path(folder) / "spoken.wav"
        text.write_text(row["text"] + "\n", encoding="utf-8")  # from a file, it pauses at a period
        subprocess.run(
            ["flite", "-voice", row["voice"], "-f", str(text), "-o", str(spoken)], check=True
        )
        samples, rate = soundfile.read(spoken, dtype="int16")
    path = FOLDER / row["file"]
    with soundfile.SoundFile(
        path, "w", samplerate=rate, channels=1, subtype="PCM_16", compression_level=1.0
    ) as file:
        file.title, file.comment = row["key"], row["text"]
        file.write(samples)
    print(f"{path.name}: {len(samples) / rate:.2f} s, {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    for row in read_table("speech/speech.csv"):
        make(row)
