"""What is listened to: announcements, music, recordings of the user's own, and noise of a gym."""

import io

import numpy as np
import pytest
import soundfile
from scipy.signal import butter, sosfilt

from gymtools.physics import bands
from gymtools.physics.intelligibility import SPEECH_SPECTRUM_DB
from gymtools.physics.leveling import MOST_LIFT_DB, active_span, equalized, faded
from gymtools.physics.noises import ball_bounces, bounces, crowd_noise
from gymtools.physics.pep_band import pep_band
from gymtools.physics.playback import RATE, octave_levels_db, octave_lines
from gymtools.venue import programs
from gymtools.venue.programs import Program, labels, own_program, program
from gymtools.venue.spectra import octave_levels
from gymtools.venue.tables import read_table

SPEECH = [row["key"] for row in read_table("speech/speech.csv")]
CROWD_DB = np.array([35.2, 54.4, 63.2, 67.0, 64.0, 56.9, 46.2])


@pytest.fixture(scope="module")
def crowd():
    """Ten seconds of two channels."""
    return crowd_noise(CROWD_DB, 10, 3, channels=2)


def tone(rate, seconds=2.0, frequency=1000.0, amplitude=0.3):
    """A sine (sample,)."""
    return amplitude * np.sin(2 * np.pi * frequency * np.arange(int(seconds * rate)) / rate)


def written(folder, name, samples, rate, subtype="PCM_16", form=None):
    """A recording on the disk."""
    path = folder / name
    soundfile.write(path, samples, rate, subtype=subtype, format=form)
    return path


def loudest_hz(samples):
    """Frequency of the strongest line."""
    return np.argmax(np.abs(np.fft.rfft(samples))) * RATE / len(samples)


# ---- octave levels


@pytest.mark.parametrize("length", [RATE, RATE + 1])
def test_a_sine_is_in_its_octave(length):
    """Closed form: a sine of amplitude a has the mean square a^2 / 2, all of it in the octave of
    its frequency; an even and an odd number of samples.
    """
    level = octave_levels_db(tone(RATE, 1.0, 1000.0, 0.3)[None].repeat(2, 0), RATE)
    assert level.shape == (2, 7)
    assert level[:, 3] == pytest.approx(10 * np.log10(0.3**2 / 2), abs=1e-9)
    noise = np.random.default_rng(1).standard_normal(length)
    low, high = octave_lines(length, RATE)[[0, -1], [0, 1]]
    lines = np.fft.rfft(noise)
    lines[:low], lines[high:] = 0, 0
    inside = np.fft.irfft(lines, length)
    total = np.sum(10 ** (octave_levels_db(noise, RATE) / 10))
    assert total == pytest.approx(np.mean(inside**2), rel=1e-12)


def test_the_line_at_half_the_sampling_rate_counts_once():
    """Closed form: +1, -1, +1 ... at 16 kHz is a sound of 8 kHz and of mean square 1."""
    level = octave_levels_db(np.tile([1.0, -1.0], 8000), 16_000)
    assert level[6] == pytest.approx(0.0, abs=1e-12)


def test_octaves_share_no_line_and_leave_none():
    """Behavior: every line between 89 Hz and 11.2 kHz belongs to exactly one octave."""
    for length in (4801, 48_000, 123_457):
        lines = octave_lines(length, RATE)
        assert (lines[1:, 0] == lines[:-1, 1]).all()
        assert np.abs(lines * RATE / length - bands.EDGES).max() <= RATE / length + 1e-6


@pytest.mark.parametrize(
    "samples, rate, words",
    [
        (np.ones(100), RATE, r"a sound of 0\.002 s is too short"),
        (np.full(RATE, np.nan), RATE, "not a number"),
        (np.ones(RATE), 48, r"rate = 48 Hz is outside .* Kilohertz"),
    ],
)
def test_octave_levels_refuse(samples, rate, words):
    """Behavior: what has no level is refused in one line."""
    with pytest.raises(ValueError, match=words):
        octave_levels_db(samples, rate)


# ---- programs of the package


@pytest.mark.parametrize("key", labels())
def test_a_program_has_its_level(key):
    """Behavior: at 48 kHz, 0 dB(A) over its sound, no DC, silence at both ends, a few seconds, and
    labeled as synthesized; nobody can write to it.
    """
    made = program(key)
    sound = made.samples[active_span(made.samples, RATE)]
    assert RATE == 48_000 and 7 <= made.seconds <= 10
    assert bands.a_weighted(octave_levels_db(sound, RATE)) == pytest.approx(0.0, abs=0.01)
    assert abs(made.samples.mean()) < 1e-3
    assert made.samples[0] == made.samples[-1] == 0
    assert "synthesized" in made.label and made.label == labels()[key]
    with pytest.raises(ValueError, match="read-only"):
        made.samples[0] = 1.0


def test_an_independent_meter_reads_the_same_level():
    """Independent: the A-weighting curve of IEC 61672-1 (its formula, from memory) over the whole
    spectrum, in place of seven octaves; speech differs by the curve's slope within an octave.
    """
    for key in SPEECH:
        made = program(key)
        sound = made.samples[active_span(made.samples, RATE)]
        f2 = np.fft.rfftfreq(len(sound), 1 / RATE) ** 2
        curve = 12194**2 * f2**2 / ((f2 + 20.6**2) * (f2 + 12194**2))
        curve /= np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
        energy = 2 * np.abs(np.fft.rfft(sound) * curve / len(sound)) ** 2
        assert 10 * np.log10(energy.sum()) + 2.0 == pytest.approx(0.0, abs=0.7)


@pytest.mark.parametrize("key", SPEECH)
def test_an_announcement_has_the_speech_spectrum(key):
    """Behavior: octave by octave that of IEC 60268-16, with which the design is judged. It has
    nothing above 8 kHz, where its recording ends.
    """
    made = program(key)
    sound = made.samples[active_span(made.samples, RATE)]
    assert octave_levels_db(sound, RATE) == pytest.approx(SPEECH_SPECTRUM_DB, abs=0.05)
    energy = np.abs(np.fft.rfft(made.samples)) ** 2
    frequency = np.fft.rfftfreq(len(made.samples), 1 / RATE)
    assert energy[frequency > 8300].sum() < 1e-6 * energy.sum()
    assert energy[frequency < 30].sum() < 1e-6 * energy.sum()


def test_announcements_are_stored_with_their_words():
    """Behavior: the recording's own comment holds the very text that the program shows; two voices,
    mono, 16 bits, 16 kHz, less than 200 kB; the synthesizer's notice stands beside them.
    """
    rows = read_table("speech/speech.csv")
    assert {row["voice"] for row in rows} == {"slt", "rms"}
    folder = programs.resources.files("gymtools").joinpath("data", "speech")
    for row in rows:
        data = folder.joinpath(row["file"]).read_bytes()
        assert len(data) < 200_000 and row["source"].strip()
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            assert file.comment == row["text"] == program(row["key"]).text
            assert (file.format, file.subtype) == ("FLAC", "PCM_16")
            assert (file.samplerate, file.channels) == (16_000, 1)
            # people speak 2 to 4 words a second
            assert 2 < len(row["text"].split()) / (file.frames / file.samplerate) < 4
    notice = folder.joinpath("NOTICE.txt").read_text(encoding="utf-8")
    assert "Carnegie Mellon University" in notice and "free of charge, to use and distribute" in (
        " ".join(notice.split())
    )
    readme = folder.joinpath("README.md").read_text(encoding="utf-8")
    assert all(f"`{row['file']}`" in readme for row in rows)


def test_programs_are_found_by_key():
    """Behavior: all in the order of the labels, worked out once; another key is refused with the
    nearest one.
    """
    assert [made.key for made in programs.programs()] == list(labels())
    assert program("pep band") is program("pep band")
    with pytest.raises(
        ValueError, match="program = 'pep bnad' is unknown. Did you mean 'pep band'"
    ):
        program("pep bnad")


def test_the_band_is_always_the_same():
    """Behavior: same bytes each time; every octave up to 4 kHz holds sound that can be heard."""
    made = pep_band()
    assert made.tobytes() == pep_band().tobytes()
    level = octave_levels_db(program("pep band").samples, RATE)
    assert (level[:6] > -20).all()


@pytest.mark.parametrize(
    "change, words",
    [
        ({"kind": "song"}, "kind = 'song' is unknown"),
        ({"source": " "}, "source is empty"),
        ({"samples": np.ones((2, 9))}, "not one channel of numbers"),
        ({"samples": [np.nan]}, "not one channel of numbers"),
    ],
)
def test_a_program_refuses(change, words):
    """Behavior: a program without kind, source or sound is refused in one line."""
    whole = {
        "key": "x",
        "label": "x",
        "kind": "music",
        "samples": np.ones(9),
        "source": "made here",
    }
    with pytest.raises(ValueError, match=words):
        Program(**(whole | change))


# ---- leveling


def test_equalizing_lifts_no_octave_by_more_than_its_limit():
    """Closed form: in the 8 kHz octave there is only a sine at its middle, 30 dB under what is
    wanted there. It is lifted by the limit, so 18 dB remain missing; the other octaves are as
    wanted.
    """
    noise = crowd_noise(SPEECH_SPECTRUM_DB, 4, 1)[0]
    lines = np.fft.rfft(noise)
    low, high = octave_lines(len(noise), RATE)[6]
    lines[low:high] = 0
    weak = np.sqrt(2) * 10 ** ((SPEECH_SPECTRUM_DB[6] - 30) / 20)
    sound = np.fft.irfft(lines) + tone(RATE, 4, float(bands.EXACT[6]), weak)
    made = equalized(sound, RATE, SPEECH_SPECTRUM_DB)
    missing = SPEECH_SPECTRUM_DB - octave_levels_db(made[active_span(made, RATE)], RATE)
    assert missing[:6] == pytest.approx(0.0, abs=0.05)
    assert missing[6] == pytest.approx(30 - MOST_LIFT_DB, abs=0.1)


def test_silence_around_a_sound_does_not_count():
    """Behavior: a second of silence before and after changes neither level nor what is active; the
    pause within does count.
    """
    sound = np.concatenate([tone(RATE, 1.0), np.zeros(RATE // 2), tone(RATE, 1.0)])
    span = active_span(np.pad(sound, RATE), RATE)
    assert (span.start, span.stop) == (RATE, RATE + len(sound))
    with pytest.raises(ValueError, match="silent"):
        active_span(np.zeros(RATE), RATE)


def test_ends_are_faded_in_ten_milliseconds():
    """Closed form: a raised cosine, half way up after 5 ms, and nothing changed in between."""
    made = faded(np.ones(RATE), RATE)
    assert made[0] == made[-1] == 0
    assert made[240] == pytest.approx(0.5, abs=1e-12)
    assert (made[480:-480] == 1).all()


# ---- the user's own recordings


@pytest.mark.parametrize("kind", ["speech", "music"])
@pytest.mark.parametrize("name", ["tone.wav", "tone.flac"])
def test_an_own_file_keeps_pitch_and_length(tmp_path, name, kind):
    """Closed form: 1 kHz in two channels of 44.1 kHz is 1 kHz of the same length at 48 kHz; a sine
    of 0 dB(A) at 1 kHz has the amplitude sqrt(2).
    """
    sine = tone(44_100)
    made = own_program(written(tmp_path, name, np.stack([sine, 0.5 * sine], 1), 44_100), kind=kind)
    assert made.seconds == pytest.approx(2.0, abs=1 / RATE)
    assert loudest_hz(made.samples) == pytest.approx(1000.0, abs=0.6)
    middle = made.samples[RATE // 2 : -RATE // 2]
    assert np.abs(middle).max() == pytest.approx(np.sqrt(2), rel=0.02)
    assert made.kind == kind and made.label == name and name in made.source
    assert "2 channels are averaged" in made.notes[0]
    assert any("equalized" in note for note in made.notes) == (kind == "speech")


@pytest.mark.parametrize("rate, subtype", [(8000, "PCM_U8"), (96_000, "FLOAT"), (47_999, "PCM_24")])
def test_own_files_of_other_rates(tmp_path, rate, subtype):
    """Closed form: the tone is where it was, whatever the rate and the kind of sample."""
    made = own_program(written(tmp_path, "x.wav", tone(rate), rate, subtype), kind="music")
    assert loudest_hz(made.samples) == pytest.approx(1000.0, abs=0.6)
    assert made.seconds == pytest.approx(2.0, abs=2 / RATE)
    assert made.notes == ()


def test_of_a_long_file_the_first_part_is_played(tmp_path):
    """Behavior: 30 s of 34 s, and that is said."""
    sound = np.concatenate([tone(8000, 30), tone(8000, 4, 2000)])
    made = own_program(written(tmp_path, "long.flac", sound, 8000), kind="music")
    assert made.seconds == 30 and made.notes == ("The first 30 s of 34 s are played.",)
    lines = np.abs(np.fft.rfft(made.samples))
    assert lines[30 * 2000] < 1e-3 * lines[30 * 1000]


REFUSED = {
    "silent.wav": (np.zeros(RATE), RATE, "PCM_16", "silent.wav: is silent"),
    "dc.wav": (np.full(RATE, 0.5), RATE, "PCM_16", "dc.wav: is silent, or its channels cancel"),
    "empty.wav": (np.zeros(0), RATE, "PCM_16", "empty.wav: holds no samples"),
    "short.flac": (tone(RATE, 0.2), RATE, "PCM_16", r"short.flac: is 0\.20 s long, less than 0\.5"),
    "slow.wav": (tone(4000), 4000, "PCM_16", "sampling rate = 4000 Hz is outside 8000 to 192000"),
    "fast.wav": (tone(RATE), 200_000, "PCM_16", "sampling rate = 200000 Hz is outside"),
    "many.wav": (np.ones((RATE, 9)), RATE, "PCM_16", "has 9 channels, more than 8"),
    "nan.wav": (np.full(RATE, np.nan), RATE, "FLOAT", "holds samples that are no numbers"),
    "huge.wav": (1e12 * tone(RATE), RATE, "FLOAT", "huge.wav: is no sound"),
    "long.wav": (np.zeros(8000 * 3700, "int16"), 8000, "PCM_U8", "is 62 min long, more than 60"),
    "other.ogg": (tone(RATE), RATE, "VORBIS", "other.ogg: is OGG, not WAV or FLAC"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_own_files_that_cannot_be_played_are_refused(tmp_path, name):
    """Behavior: one line that names the file and what is wrong with it."""
    samples, rate, subtype, words = REFUSED[name]
    path = written(tmp_path, name, samples, rate, subtype)
    with pytest.raises(ValueError, match=words) as refused:
        own_program(path)
    assert "\n" not in str(refused.value)


def test_channels_that_cancel_are_refused(tmp_path):
    """Behavior: two channels of opposite polarity leave nothing, and the message says why."""
    sine = tone(RATE)
    path = written(tmp_path, "wide.wav", np.stack([sine, -sine], 1), RATE)
    with pytest.raises(ValueError, match="wide.wav: is silent, or its channels cancel"):
        own_program(path)


def test_damaged_files_are_refused(tmp_path, monkeypatch):
    """Behavior: no such file, a folder, text under a recording's name, files that are cut short or
    too large, an unknown kind.
    """
    (tmp_path / "words.wav").write_text("this is no sound\n" * 50)
    for form in ("wav", "flac"):
        data = written(tmp_path, f"whole.{form}", tone(RATE), RATE).read_bytes()
        (tmp_path / f"cut.{form}").write_bytes(data[: len(data) // 2])
    for path, words in (
        (tmp_path / "none.wav", "none.wav: there is no such recording"),
        (tmp_path, "is a folder. Name a file in it"),
        (tmp_path / "words.wav", "words.wav: cannot be read as WAV or FLAC"),
        (tmp_path / "cut.wav", "cut.wav: is cut short: its header says"),
        (tmp_path / "cut.flac", "cut.flac: cannot be read as WAV or FLAC|cut.flac: is cut short"),
        (7, "recording: 7 is no name of a file"),
    ):
        with pytest.raises(ValueError, match=words):
            own_program(path)
    with pytest.raises(ValueError, match="kind = 'song' is unknown"):
        own_program(tmp_path / "whole.wav", kind="song")
    monkeypatch.setattr(programs, "LARGEST", 1000)
    with pytest.raises(ValueError, match="whole.wav: is larger than 1 kB"):
        own_program(tmp_path / "whole.wav")


@pytest.mark.parametrize("form", ["WAV", "FLAC"])
def test_bytes_that_are_wrong_end_in_one_line(tmp_path, form):
    """Behavior: 40 files with bytes changed anywhere, half of them in the header: each is played or
    refused in one line, and nothing else happens.
    """
    data = written(tmp_path, "x", tone(8000, 1.0), 8000, form=form).read_bytes()
    chance, refused = np.random.default_rng(5), 0
    for number in range(40):
        wrong = bytearray(data)
        for at in chance.integers(0, 60 if number % 2 else len(data), 4):
            wrong[at] = chance.integers(256)
        (tmp_path / "wrong").write_bytes(wrong)
        try:
            made = own_program(tmp_path / "wrong", kind="music")
            assert np.isfinite(made.samples).all()
        except ValueError as error:
            refused += 1
            assert str(error).startswith("wrong: ") and "\n" not in str(error)
    assert refused > 5


# ---- noise


def test_noise_has_its_levels_by_filters():
    """Independent: each octave of ten seconds read by Butterworth filters with the edges of
    IEC 61260-1. The spectrum is that of ventilation, so that what they leak stays under 0.2 dB.
    """
    wanted = octave_levels("ventilation", 50.0)
    noise = crowd_noise(wanted, 10, 7)[0]
    for (low, high), level in zip(bands.EDGES, wanted, strict=True):
        octave = butter(12, (low, high), "bandpass", fs=RATE, output="sos")
        # it is read in a loop, so that the filter has come up before
        heard = sosfilt(octave, np.concatenate([noise[-RATE:], noise]))[RATE:]
        assert 10 * np.log10(np.mean(heard**2)) == pytest.approx(level, abs=0.2)


def test_crowd_noise_has_its_levels(crowd):
    """Closed form: steep spectra too, in each channel, by the exact sum over lines (Parseval), and
    nothing beside the octaves.
    """
    for channel in crowd:
        assert octave_levels_db(channel, RATE) == pytest.approx(CROWD_DB, abs=1e-6)
    total = np.sum(10 ** (CROWD_DB / 10))
    assert np.mean(crowd**2, axis=1) == pytest.approx(total, rel=1e-9)


def test_crowd_noise_is_what_its_inputs_say(crowd):
    """Behavior: the same inputs give the same bytes, another seed others; channels are independent,
    without DC, and the first one does not depend on their number.
    """
    short = crowd_noise(CROWD_DB, 1, 3)
    assert short.shape == (1, RATE) and crowd.shape == (2, 10 * RATE)
    assert short.tobytes() == crowd_noise(CROWD_DB, 1, 3).tobytes()
    assert short.tobytes() != crowd_noise(CROWD_DB, 1, 4).tobytes()
    assert (short == crowd_noise(CROWD_DB, 1, 3, channels=2)[:1]).all()
    assert abs(np.corrcoef(crowd)[0, 1]) < 0.03
    assert np.abs(crowd.mean(axis=1)).max() < 1e-9 * crowd.std()


def test_crowd_noise_swells_as_syllables_do(crowd):
    """Behavior: of the 1 kHz octave's energy over time, modulation at 2 to 5 Hz stands out from
    that at 6 to 9 Hz, which steady noise has as well.
    """
    lines = np.fft.rfft(crowd[0])
    low, high = octave_lines(crowd.shape[1], RATE)[3]
    lines[:low], lines[high:] = 0, 0
    swell = np.abs(np.fft.rfft(np.fft.irfft(lines) ** 2)) ** 2  # lines are 0.1 Hz apart
    assert swell[20:50].mean() > 5 * swell[60:90].mean()


def test_the_end_of_crowd_noise_runs_into_its_beginning(crowd):
    """Behavior: in a loop the step from the last sample to the first is as small as any other."""
    steps = np.abs(np.diff(crowd[0]))
    assert abs(crowd[0, 0] - crowd[0, -1]) < 5 * steps.mean()


@pytest.mark.parametrize(
    "change, words",
    [
        ({"levels_db": CROWD_DB[:3]}, r"levels_db has shape \(3,\), not \(7,\)"),
        ({"levels_db": 10 ** (CROWD_DB / 10)}, "levels_db = .* Give levels, not energies"),
        ({"seconds": 2000}, "seconds = 2000 s is outside 0.5 to 120 s. Milliseconds"),
        ({"seed": -1}, "seed = -1 is outside"),
        ({"channels": 9}, "channels = 9 is outside 1 to 8"),
        ({"rate": 48}, "rate = 48 is outside .* Kilohertz"),
    ],
)
def test_crowd_noise_refuses(change, words):
    """Behavior: one line that names the argument."""
    given = {"levels_db": CROWD_DB, "seconds": 1, "seed": 1} | change
    with pytest.raises(ValueError, match=words):
        crowd_noise(**given)


def test_a_ball_bounces_as_it_falls():
    """Worked by hand: from 1.8 m a ball meets the floor at sqrt(2 g h) = 5.94 m/s and leaves it
    with 0.77 of that, so it is in the air for 2 x 4.576 / 9.81 = 0.933 s, and rises to 0.77^2 x 1.8
    = 1.067 m; its top, 0.24 m higher, lies within the 1.2 to 1.4 m of the rules.
    """
    found = bounces(5.0)
    assert found[0] == (0.0, 1.0)
    assert found[1] == pytest.approx((0.9329, 0.77), abs=1e-4)
    times, speeds = np.array(found).T
    assert (np.diff(times) > 0).all() and (np.diff(speeds) > 0).sum() == 1  # dropped again once
    assert 1.2 < speeds[1] ** 2 * 1.8 + 0.24 < 1.4


def test_ball_bounces_have_their_level():
    """Behavior: the level that was asked for, no DC, the same bytes each time; the first thump is
    louder than the second by its speed, 20 lg(1 / 0.77) = 2.27 dB.
    """
    made = ball_bounces(72.0, 6.0)
    assert made.shape == (6 * RATE,)
    assert bands.a_weighted(octave_levels_db(made, RATE)) == pytest.approx(72.0, abs=0.01)
    assert abs(made.mean()) < 1e-6 * made.std()
    assert made.tobytes() == ball_bounces(72.0, 6.0).tobytes()
    first, second = (
        np.sum(made[int(t * RATE) - 1 : int((t + 0.35) * RATE)][:16_000] ** 2)
        for t in (1 / RATE, bounces(2)[1][0])
    )
    assert 10 * np.log10(first / second) == pytest.approx(2.27, abs=0.02)
    with pytest.raises(ValueError, match=r"level_dba = 300 dB\(A\) is outside"):
        ball_bounces(300, 5)
