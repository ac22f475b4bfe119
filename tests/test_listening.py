"""Listening: levels, noise, delays and feedback as they are heard, the same bytes at every run, and
files that hold what was heard.
"""

import hashlib
import io
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from schools import FOLDER, heard

import gymtools
from gymtools.acoustics.listening import (
    BACKGROUNDS,
    FULL_CROWD_DBA,
    RINGS_DB,
    Listening,
    kept_response,
    listen,
    noise_db,
    seat_sti,
)
from gymtools.acoustics.loop_response import loop_response
from gymtools.acoustics.seat_response import EARS, MICROPHONE, level_db
from gymtools.display.listening.files import FULL_SCALE_DB, wav_bytes
from gymtools.display.listening.player import FULL, packed_sound
from gymtools.physics import bands
from gymtools.physics.intelligibility import SPEECH_SPECTRUM_DB
from gymtools.physics.noises import crowd_noise
from gymtools.physics.playback import RATE, octave_levels_db
from gymtools.physics.pulses import frequencies
from gymtools.venue.programs import Program

SECONDS = 6
MICRO = Listening(ears=False)
# school, use and two of its seats
PAIRS = (
    ("alderway", "assembly", 20, 700),
    ("dovecote", "game", 3, 470),
    ("larkfield", "graduation", 100, 1500),
    ("stonebridge", "class", 10, 400),
)
CHIRP = np.sin(np.arange(24_000.0) ** 2 / 20_000)
AGAIN = """
import hashlib, sys
import numpy as np
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.listening import Listening, listen
from gymtools.venue.files import load
from gymtools.venue.programs import Program

samples = np.sin(np.arange(24_000.0) ** 2 / 20_000)
chirp = Program(key="c", label="c", kind="noise", samples=samples, source="computed")
result = evaluate(load(sys.argv[1]), "game", rays="few")
found = listen(result, 30, chirp, Listening(background="use", ring_db=3.0))
print(hashlib.sha256(found.samples.tobytes()).hexdigest())
"""


def made(samples, kind="noise"):
    """A program of some samples."""
    return Program(key="test", label="test", kind=kind, samples=samples, source="computed")


# steady noise of 0 dB(A) with the octaves of speech; and nothing
STEADY = made(crowd_noise(SPEECH_SPECTRUM_DB, SECONDS, 5)[0])
SILENCE = made(np.zeros(SECONDS * RATE))


def steady_db(samples):
    """Octave levels after the room has filled and before the program ends (channel, band) [dB]."""
    return octave_levels_db(samples[:, 2 * RATE : SECONDS * RATE], RATE)


# ---- levels


@pytest.mark.parametrize("name, use, near, far", PAIRS)
def test_levels_are_those_of_the_seats(name, use, near, far):
    """Independent: a steady sound of 0 dB(A) is heard in every octave as loud as the response says,
    and the difference between two seats is that of the evaluation, but for what the waves' sum
    differs from the sum of energies.
    """
    result = heard(name, use)
    levels = []
    for index in (near, far):
        found = listen(result, index, STEADY, MICRO)
        response = kept_response(result, index).together()
        wanted = level_db(response[MICROPHONE])
        assert steady_db(found.samples)[0] == pytest.approx(wanted, abs=1.5)
        level = float(bands.a_weighted(steady_db(found.samples)[0]))
        assert level == pytest.approx(found.speech_dba, abs=0.5)
        assert found.speech_dba - found.summed_db == pytest.approx(result.speech_dba[index])
        assert abs(found.summed_db) < 1.5
        assert found.noise_dba == -np.inf
        assert (found.samples[0] == found.samples[1]).all()
        levels.append((level, result.speech_dba[index] + found.summed_db))
    (near_db, near_wanted), (far_db, far_wanted) = levels
    assert near_db - far_db == pytest.approx(near_wanted - far_wanted, abs=0.6)


def test_program_and_background_add_up():
    """Invariance: what is heard is the program through the room and the noise; twice the program is
    twice the sound.
    """
    result = heard("dovecote", "game")
    use = Listening(background="use")
    both, noise = (listen(result, 30, p, use).samples for p in (STEADY, SILENCE))
    alone = listen(result, 30, STEADY).samples
    assert np.abs(both - alone - noise).max() < 1e-4 * np.abs(both).max()
    louder = listen(result, 30, made(2 * STEADY.samples)).samples
    assert np.abs(louder - 2 * alone).max() < 1e-5 * np.abs(louder).max()


def test_a_pause_before_the_program_is_heard_as_long():
    """Closed form: silence of 0.25 s before a program is 12,000 samples more; sound comes no sooner
    than from the nearest loudspeaker.
    """
    result = heard("dovecote", "game")
    short = STEADY.samples[:RATE]
    usual = listen(result, 30, made(short)).samples
    later = listen(result, 30, made(np.concatenate([np.zeros(12_000), short]))).samples
    strongest = float(np.abs(usual).max())
    assert np.abs(later[:, 12_000:] - usual).max() < 1e-5 * strongest
    first = int((result.arrival_s[:, 30].min() - 0.0015) * RATE)  # an ear, and a ripple
    assert np.abs(later[:, : 12_000 + first]).max() < 1e-4 * strongest


def test_both_ears_hear_the_noise_and_the_level_of_the_room():
    """Trade fact: ears are calibrated in a diffuse field, so that the mean of both is within 6 dB
    of what a microphone reads in every octave (a seat's few directions are no diffuse field), 3
    dB(A) altogether, and they differ.
    """
    result = heard("larkfield", "graduation")
    for index in (100, 1500):
        response = kept_response(result, index).together()
        energy = bands.to_energy(level_db(response[EARS])).mean(axis=0)
        off = bands.to_level(energy) - level_db(response[MICROPHONE])
        assert np.abs(off).max() < 6.0
        both = float(bands.a_weighted(bands.to_level(energy)))
        assert both == pytest.approx(float(bands.a_weighted(level_db(response[MICROPHONE]))), abs=3)
        assert not np.array_equal(*listen(result, index, made(STEADY.samples[:RATE])).samples)


# ---- noise


@pytest.mark.parametrize(
    "name, use, background",
    [
        ("dovecote", "class", "use"),
        ("larkfield", "graduation", "use"),
        ("dovecote", "game", "full"),
        ("alderway", "assembly", "full"),
    ],
)
def test_noise_is_as_loud_as_it_is_said_to_be(name, use, background):
    """Closed form: what a microphone hears of a silent program is the noise of the use or of a full
    crowd, octave by octave; with a head between them the mean of both ears is within 1 dB of it.
    """
    result = heard(name, use)
    wanted = noise_db(result, background)
    found = listen(result, 30, SILENCE, Listening(background=background, ears=False))
    assert octave_levels_db(found.samples[0, : SECONDS * RATE], RATE) == pytest.approx(
        wanted, abs=0.05
    )
    assert found.noise_dba == pytest.approx(float(bands.a_weighted(wanted)))
    if background == "full":
        assert found.noise_dba == pytest.approx(FULL_CROWD_DBA, abs=0.05)
    pair = listen(result, 30, SILENCE, Listening(background=background)).samples
    levels = octave_levels_db(pair[:, : SECONDS * RATE], RATE)
    assert levels == pytest.approx(np.tile(wanted, (2, 1)), abs=1.0)


def test_a_game_has_a_ball_in_its_noise():
    """Closed form: crowd and ball together have the level of the noise, within 0.3 dB(A); a ball is
    heard at both ears alike and by its low octave.
    """
    result = heard("dovecote", "game")
    assert result.use.noise_spectrum == "shouting crowd"
    found = listen(result, 30, SILENCE, Listening(background="use", ears=False))
    level = octave_levels_db(found.samples[0, : SECONDS * RATE], RATE)
    assert float(bands.a_weighted(level)) == pytest.approx(found.noise_dba, abs=0.3)
    assert level[0] > result.noise_db[0] + 3


def test_a_quiet_gym_is_silent_without_a_program():
    """Closed form: nothing in, nothing out."""
    assert not listen(heard("dovecote", "game"), 30, SILENCE).samples.any()


# ---- delays, STI


def test_without_delays_all_are_fed_at_once():
    """Closed form: the response of the seat with delays of 0; a use that delays a row sounds
    another way with and without, and its STI is another.
    """
    result = heard("alderway", "graduation")
    response = kept_response(result, 700)
    assert response.delay_s.max() == pytest.approx(0.05)  # of the row over the bank
    short = made(STEADY.samples[: RATE // 2])
    found = listen(result, 700, short, Listening(delays=False, ears=False))
    at_once = response.together(delay_s=np.zeros(len(response.alone)))[MICROPHONE]
    wanted = np.convolve(short.samples[:2000], at_once[:8000])[:2000]
    assert np.abs(found.samples[0, :2000] - wanted).max() < 1e-4 * np.abs(wanted).max()
    usual = listen(result, 700, short, MICRO)
    assert np.abs(usual.samples - found.samples).max() > 0.05 * np.abs(usual.samples).max()
    assert abs(usual.sti - found.sti) > 0.005


@pytest.mark.parametrize("name, use, near, far", PAIRS)
def test_sti_beside_the_sound_is_that_of_the_seat(name, use, near, far):
    """Invariance: with the noise of the use it is what the evaluation prints; in a quiet gym it is
    no less, in a full crowd no more than in half its noise.
    """
    result = heard(name, use)
    for index in (near, far):
        found = {b: seat_sti(result, index, Listening(background=b)) for b in BACKGROUNDS}
        assert found["use"] == pytest.approx(float(result.sti[index]), abs=1e-3)
        assert found["quiet"] >= found["use"] and found["quiet"] > found["full"]
    short = made(STEADY.samples[:RATE])
    beside = listen(result, near, short, Listening(background="use")).sti
    assert beside == pytest.approx(float(result.sti[near]), abs=1e-3)


# ---- near feedback


def test_nearer_to_feedback_it_is_louder_and_rings_for_longer():
    """Closed form: the level follows the gain (6 dB in reserve where it is run with R now: R - 6 dB
    louder, and by less than 1 dB more for what comes back), from 6 to 3 to 1 dB by 3 and 2 dB at
    least; what is left after the program has ended rises by more than that. No STI is printed.
    """
    result = heard("dovecote", "graduation")
    short = made(STEADY.samples[:RATE])
    usual = listen(result, 200, short, MICRO)
    heard_ = [usual]
    for ring in RINGS_DB:
        found = listen(result, 200, short, Listening(ears=False, ring_db=ring))
        assert found.sti is None
        assert len(found.samples[0]) == len(usual.samples[0]) + 4 * RATE
        heard_.append(found)
    while_, after = (
        bands.to_level([np.mean(f.samples[0, int(a * RATE) : int(b * RATE)] ** 2) for f in heard_])
        for a, b in ((0.3, 1.0), (1.2, 2.0))
    )
    reserve_db = loop_response(result).reserve_db
    assert 0 <= while_[1] - while_[0] - (reserve_db - RINGS_DB[0]) < 1.0
    rises = -np.diff(RINGS_DB)
    assert (np.diff(while_[1:]) >= rises).all()
    assert (np.diff(after[1:]) > np.diff(while_[1:])).all()
    said = np.diff([f.speech_dba for f in heard_[1:]])
    assert (said >= rises).all() and RINGS_DB == (6.0, 3.0, 1.0)


def test_without_a_microphone_nothing_rings():
    """Behavior: a use without open microphones has no loop, and says so."""
    result = heard("dovecote", "graduation")
    silent = replace(result, use=replace(result.use, microphones=()))
    with pytest.raises(ValueError, match="nothing can ring in 'graduation': no microphone is open"):
        listen(silent, 200, STEADY, Listening(ring_db=3.0))


# ---- bytes and files


def test_the_same_inputs_give_the_same_bytes():
    """Behavior: read, evaluated and listened to in another process, which has heard nothing before,
    it is the same to the bit.
    """
    chirp = Program(key="c", label="c", kind="noise", samples=CHIRP, source="computed")
    how = Listening(background="use", ring_db=3.0)
    here = listen(heard("dovecote", "game"), 30, chirp, how).samples.tobytes()
    root = Path(gymtools.__file__).parents[1]
    path = os.pathsep.join([str(root), os.environ.get("PYTHONPATH", "")])
    run = subprocess.run(
        [sys.executable, "-c", AGAIN, str(FOLDER / "dovecote.toml")],
        env={**os.environ, "PYTHONPATH": path, "PYTHONHASHSEED": "77"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip() == hashlib.sha256(here).hexdigest()


@pytest.mark.parametrize("background", BACKGROUNDS)
def test_no_sound_has_dc_or_is_clipped(background):
    """Closed form: there is no energy below 20 Hz to speak of (-40 dB); the highest sample of what
    is played is full scale and no other is over it; and what is played is what was heard but for
    its 16 bits.
    """
    result = heard("dovecote", "game")
    found = listen(result, 30, STEADY, Listening(background=background))
    energy = np.abs(np.fft.rfft(found.samples, axis=1)) ** 2
    low = frequencies(found.samples.shape[1]) < 20
    assert energy[:, low].sum() < 1e-4 * energy.sum()
    assert np.abs(found.samples.mean(axis=1)).max() < 1e-3 * found.samples.std()
    data, peak_db = packed_sound(found.samples)
    played = np.frombuffer(data, "<i2").reshape(-1, 2).T
    assert np.abs(played.astype(int)).max() == FULL and found.peak_db == pytest.approx(peak_db)
    back = played * 10 ** (peak_db / 20) / FULL
    step = 10 ** (peak_db / 20) / FULL
    assert np.abs(back - found.samples).max() < 0.51 * step


def test_files_have_the_true_rate_and_level():
    """Closed form: 48 kHz, 24 bits, full scale stands for 130 dB; a peak over full scale is refused
    and not clipped.
    """
    result = heard("dovecote", "game")
    found = listen(result, 30, made(STEADY.samples[:RATE]), Listening(background="full"))
    data = wav_bytes(found.samples)
    info = soundfile.info(io.BytesIO(data))
    assert (info.samplerate, info.channels, info.subtype) == (48_000, 2, "PCM_24")
    assert info.frames == found.samples.shape[1]
    samples, _ = soundfile.read(io.BytesIO(data), always_2d=True)
    back = samples.T * 10 ** (FULL_SCALE_DB / 20)
    assert np.abs(back - found.samples).max() <= 10 ** (FULL_SCALE_DB / 20) / 2**23
    assert FULL_SCALE_DB == 130.0 and found.peak_db < 125
    with pytest.raises(ValueError, match="a peak is over full scale, 60 dB"):
        wav_bytes(found.samples, 60.0)


# ---- what is kept and refused


def test_a_seat_is_worked_out_once():
    """Behavior: the same evaluation gives the same response again, another seat another one."""
    result = heard("dovecote", "game")
    assert kept_response(result, 30) is kept_response(result, 30)
    assert kept_response(result, 31).place != kept_response(result, 30).place


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda r: Listening(background="party"), "background 'party'|background = 'party'"),
        (lambda r: noise_db(r, "party"), "party"),
        (lambda r: listen(r, 10_000, STEADY), "seat 10000 is not among the 479 seats"),
        (lambda r: listen(r, 30, STEADY, Listening(ring_db=0.1)), "reserve_db = 0.1"),
    ],
)
def test_nothing_else_can_be_listened_to(call, message):
    """Behavior: unknown backgrounds, seats that are not there, a loop too near to ringing."""
    with pytest.raises(ValueError, match=message):
        call(heard("dovecote", "game"))
