"""The Listen tab driven in the kernel: what is offered, made, refused, answered and written."""

import html
import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from gymtools import load
from gymtools.acoustics.evaluate import evaluate
from gymtools.acoustics.listening import RINGS_DB, Heard, Listening
from gymtools.display.listening.files import FULL_SCALE_DB, wav_bytes, write_sounds
from gymtools.display.listening.player import packed_sound
from gymtools.display.listening.versions import versions
from gymtools.display.listening.words import figures, listen_for, summed
from gymtools.display.panel.listen import NO_DIFFERENCE, ListenTab
from gymtools.display.panel.meeting import Meeting
from gymtools.physics.playback import RATE

SCHOOL = load("scenarios/larkfield.toml")
SMALL = replace(SCHOOL, uses=SCHOOL.uses[1:2])  # class: two loudspeakers
DOWN = ("groups", "court pair", "downtilt_deg")


class Given:
    """What the page was given: sounds, and the peak of full volume."""

    def __init__(self, tab):
        self.sounds, self.scale = [], []
        self._player = tab.player
        tab.player.send = self.send

    def send(self, message, buffers=()):
        """Keep instead of sending to a page."""
        peaks = [gain * 10 ** (self._player.full_scale_db / 20) for gain in message["gains"]]
        self.sounds.append(
            [
                np.frombuffer(data, "<i2").reshape(-1, 2).T * peak / 32767
                for data, peak in zip(buffers, peaks, strict=True)
            ]
        )
        self.scale.append(self._player.full_scale_db)


@pytest.fixture
def panel(tmp_path):
    """A meeting on one use with its Listen tab open, and what its player is given."""
    meeting = Meeting(SMALL, tmp_path, journal=False)
    meeting.update(tab="listen")
    tab = meeting.sections[ListenTab]
    return meeting, tab, Given(tab)


def test_offers_what_the_seat_can_be_heard_with():
    """Behavior: as it is now, kept designs, before the last change, without delays and treatment,
    quiet and full, and a microphone near to feedback; nothing that the use does not have.
    """
    before = replace(SCHOOL, name="earlier")
    found = {v.key: v.label for v in versions(SCHOOL, "class", kept=[("A", SCHOOL)], before=before)}
    rings = {f"ring {reserve:g}" for reserve in RINGS_DB}
    wanted = {"now", "before", "kept A", "untreated", "quiet", "full", *rings}
    assert set(found) == wanted and found["kept A"] == "Kept: A"
    silent = replace(SCHOOL, uses=(replace(SCHOOL.uses[1], microphones=()),))
    assert not rings & {v.key for v in versions(silent, "class")}
    setting = replace(SCHOOL.uses[1].group_setting("court pair"), delay_ms=20.0)
    late = replace(SCHOOL.uses[1], groups=SCHOOL.uses[1].groups | {"court pair": setting})
    delayed = replace(SCHOOL, uses=(late,))
    assert "no delays" in {v.key for v in versions(delayed, "class")}


def test_treatment_is_taken_away_or_put_up():
    """Behavior: a gym with planned treatment is heard without it, one without any with panels; what
    hangs there already stays.
    """
    (bare,) = (v for v in versions(SCHOOL, "class") if v.key == "untreated")
    assert SCHOOL.treatments and not bare.scenario().treatments
    hanging = tuple(replace(t, existing=True) for t in SCHOOL.treatments)
    (more,) = (
        v for v in versions(replace(SCHOOL, treatments=hanging), "class") if v.key == "treated"
    )
    made = more.scenario().treatments
    assert len(made) > len(hanging) and made[: len(hanging)] == hanging


def test_play_gives_every_chosen_sound_once(panel):
    """Behavior: two versions give two sounds of two channels, the louder crowd at its true level
    over the noise of the class; the same version twice is one sound.
    """
    _, tab, given = panel
    tab.slots[1].value, tab.slots[2].value = "full", "now"
    tab.play()
    (now, full) = given.sounds[-1]
    assert tab.player.names == ["1 As it is now", "2 With a full, shouting crowd"]
    heard, how = tab._heard["full"][1], tab._heard["full"][0]
    assert how.background == "full" and heard.noise_dba == pytest.approx(95.0, abs=0.05)
    rms = [20 * np.log10(np.sqrt(np.mean(s**2))) for s in (now, full)]
    assert rms[1] - rms[0] > 10 and now.shape[0] == full.shape[0] == 2
    assert given.scale[-1] == pytest.approx(20 * np.log10(np.abs(full).max()))


def test_levels_keep_one_scale(panel):
    """Behavior: a louder set of sounds lowers what is played from then on, and says so; a softer
    one keeps the scale, so that both stay as different as they are.
    """
    _, tab, given = panel
    tab.play()
    tab.slots[0].value = "full"
    tab.play()
    assert given.scale[1] > given.scale[0] and "softer" in tab.player.words
    tab.slots[0].value = "quiet"
    tab.play()
    assert given.scale[2] == given.scale[1] and "softer" not in tab.player.words


def test_sounds_of_other_settings_are_not_played(panel):
    """Behavior: a change of program, seat or design outdates what was given; looking on does
    not.
    """
    meeting, tab, _ = panel
    tab.play()
    number = tab.player.wanted
    meeting.update(quantity="sti")
    assert tab.player.wanted == number and tab._heard
    for change in (
        lambda: setattr(tab.program, "value", "pep band"),
        lambda: meeting.look_at(3),
        lambda: meeting.set(DOWN, meeting.value(DOWN) + 3),
    ):
        number = tab.player.wanted
        change()
        assert tab.player.wanted > number and tab._heard is None
    assert "before" in tab._versions and meeting.state.tab == "listen"


def test_a_file_of_ones_own_is_played_or_refused(panel, tmp_path):
    """Behavior: a WAV file is played; a path that leads nowhere is refused in one line, and what is
    chosen stays.
    """
    _, tab, given = panel
    tone = 0.3 * np.sin(2 * np.pi * 500 * np.arange(44100) / 44100)
    soundfile.write(tmp_path / "tone.wav", tone, 44100)
    tab.program.value = "own speech"
    assert tab.own.layout.display != "none"
    tab.own.value = str(tmp_path / "tone.wav")
    tab.play()
    assert len(given.sounds) == 1 and "equalized" in tab.note.value
    tab.own.value = str(tmp_path / "nothing.wav")
    tab.play()
    assert "Not possible" in tab.job.words.value and len(given.sounds) == 1
    assert not tab.player.working and tab.program.value == "own speech"
    tab.program.value, tab.own.value = "own music", f"'{tmp_path / 'tone.wav'}'"
    tab.play()  # quoted, as a file manager copies it
    assert "music" in tab.note.value and "STI" not in tab.note.value
    tab.own.value = " "
    tab.play()
    assert "give the path of a WAV or FLAC file" in plain(tab) and len(given.sounds) == 2


def test_blind_hides_all_and_keeps_the_answer(panel, tmp_path):
    """Behavior: blind, neither names nor figures tell which is which, whatever the order; the
    answer tells, and is a line of the file, to which a second is added.
    """
    _, tab, given = panel
    tab.slots[1].value = "full"
    tab.blind.value = True
    for answer in ("1", NO_DIFFERENCE):
        tab.play()
        assert tab.player.names == ["1", "2"] and tab.export.disabled
        assert "dB(A)" not in tab.note.value + tab.player.words
        order = [tab._versions[key].label for key in tab._order]
        first = tab._heard[tab._order[0]][1].samples
        assert np.allclose(given.sounds[-1][0], first, atol=np.abs(first).max() / 32000)
        tab.take_answer(answer)
        assert tab.player.names == [f"1 {order[0]}", f"2 {order[1]}"]
        assert "95 dB(A)" in tab.note.value and not tab.export.disabled
        tab.program.value = "announcement man"
    lines = (tmp_path / ".meeting" / "blind-answers.ndjson").read_text("utf-8").splitlines()
    kept = [json.loads(line) for line in lines]
    assert [k["clearer"] for k in kept] == [kept[0]["heard"][0], NO_DIFFERENCE]
    assert all(set(k["heard"]) == set(order) and k["school"] == SMALL.name for k in kept)


def test_a_kept_design_without_the_seat_is_refused(tmp_path):
    """Behavior: a kept design that has no such area says so; the player is not left working."""
    opened = replace(SMALL, uses=(replace(SMALL.uses[0], closed=()),))
    meeting = Meeting(opened, tmp_path, journal=False)
    meeting.options.keep("A")
    meeting.update(tab="listen")
    tab = meeting.sections[ListenTab]
    given = Given(tab)
    meeting.look_at(meeting.result.spans["north bank"].start)
    tab.slots[1].value = "kept A"
    # as if it had been kept with its bleachers closed
    tab._versions["kept A"] = replace(tab._versions["kept A"], scenario=lambda: SMALL)
    tab.play()
    assert "'Kept: A' has no seats in 'north bank'. Take another seat." in plain(tab)
    assert not given.sounds and not tab.player.working


def plain(tab):
    """Words of the tab's job without markup."""
    return html.unescape(tab.job.words.value)


def test_wav_files_hold_what_was_heard(panel, tmp_path):
    """Behavior: the files of a seat hold the sounds at one stated scale, 24 bits and 48 kHz, with a
    note; another seat gets a folder of its own, and the same one asks before it is replaced.
    """
    meeting, tab, given = panel
    tab.play()
    tab.write(False)
    (folder,) = tmp_path.glob("*-sounds-*")
    data, rate = soundfile.read(folder / "1-as-it-is-now.wav")
    assert rate == RATE and soundfile.info(folder / "1-as-it-is-now.wav").subtype == "PCM_24"
    back, ((_, found),) = data.T * 10 ** (FULL_SCALE_DB / 20), tab._heard.values()
    assert np.abs(back - found.samples).max() <= 10 ** (FULL_SCALE_DB / 20) / 2**22
    note = (folder / "about.txt").read_text("utf-8")
    assert "130 dB" in note and "volume down" in note and SMALL.name in note
    tab.write(False)
    assert "Not possible" in tab.job.words.value and tab.again.layout.display != "none"
    meeting.look_at(3)
    tab.play()
    tab.write(False)
    assert len(list(tmp_path.glob("*-sounds-*"))) == 2


def test_a_peak_over_full_scale_is_refused():
    """Behavior: nothing is cut in silence."""
    with pytest.raises(ValueError, match="a peak is over full scale, 60 dB"):
        wav_bytes(np.full((2, 10), 2000.0), 60.0)


def test_writing_leaves_nothing_half_done(tmp_path):
    """Behavior: a refused sound leaves no folder."""
    loud = np.full((2, 10), 1e9)
    with pytest.raises(ValueError, match="over full scale"):
        write_sounds({"loud": loud}, tmp_path / "sounds", place="here")
    assert not (tmp_path / "sounds").exists()


def test_packed_sounds_reach_full_scale_and_know_their_peak():
    """Closed form: 16 bits, left and right by turns; peak 2 re 20 uPa is 6.02 dB."""
    data, peak_db = packed_sound(np.array([[0.0, 2.0, -1.0], [1.0, 0.0, -2.0]]))
    assert np.frombuffer(data, "<i2").tolist() == [0, 16384, 32767, 0, -16384, -32767]
    assert peak_db == pytest.approx(20 * np.log10(2))


def heard(**other):
    """Something heard."""
    usual = dict(place="", samples=np.zeros((2, 1)), speech_dba=80.0, noise_dba=70.0)
    return Heard(**(usual | dict(summed_db=0.2, sti=0.5) | other))


def test_words_follow_the_figures():
    """Behavior: what to listen for follows from what differs most; waves that sum otherwise than
    energies are told from 1 dB on; a difference that nobody hears is said to be one.
    """
    two = [heard(), heard(speech_dba=83.4, sti=0.56)]
    text = listen_for(["now", "kept A"], two)
    assert "2 is 3 dB louder than 1." in text and "2 should be clearer than 1" in text
    assert "hardly anybody hears 1 and 2 apart" in listen_for(
        ["now", "kept A"], [heard(), heard(sti=0.51)]
    )
    assert "one pitch hangs on" in listen_for(["now", "ring 3"], two)
    assert "ends of words" in listen_for(["now"], two[:1])
    assert summed(two) == "" and "2 is 2 dB softer" in summed([heard(), heard(summed_db=-2.3)])
    said = figures(two[0], Listening(background="use"))
    assert said == "speech 80 dB(A), noise of the use 70 dB(A), STI 0.50"
    music = figures(heard(kind="music"), Listening())
    assert music.startswith("music 80 dB(A), quiet gym") and "STI" not in music
    assert "3 is 2 dB softer than 1." in listen_for(
        ["now", "kept A", "kept B"], [*two, heard(speech_dba=78.0)]
    )
    assert "STI" not in figures(heard(sti=None), Listening(ring_db=3.0))


def test_the_figure_beside_the_sound_is_the_evaluations(panel):
    """Behavior: STI and noise beside the sound are those that the board says of the seat."""
    meeting, tab, _ = panel
    meeting.look_at(3)
    tab.play()
    result = evaluate(meeting.scenario, meeting.state.use)
    ((_, found),) = tab._heard.values()
    assert found.sti == pytest.approx(result.sti[3], abs=1e-4)
    assert found.noise_dba == pytest.approx(meeting.scenario.use("class").noise_dba, abs=0.06)


def test_another_schools_design_is_not_offered(tmp_path):
    """Behavior: what is kept of one school is not heard as another's once that is opened."""
    meeting = Meeting(SMALL, tmp_path, journal=False)
    meeting.options.keep("A")
    meeting.update(tab="listen")
    tab = meeting.sections[ListenTab]
    assert "kept A" in tab._versions
    meeting.update(start=replace(load("scenarios/stonebridge.toml")))
    assert "kept A" not in tab._versions


def test_a_setting_changed_while_it_works_frees_the_player(panel):
    """Regression: Play stood at "Working" for good when a list was changed while sounds were
    made.
    """
    _, tab, given = panel
    tab.job.start = lambda *_: None  # as a job that has not ended yet
    tab.play()
    assert tab.player.working and not given.sounds
    tab.around.value = "full"
    assert not tab.player.working


def test_a_seat_that_a_kept_design_lacks_is_refused_by_row(tmp_path):
    """Behavior: a bank with fewer rows has no row 10; its nearest row is not played instead."""
    opened = replace(SMALL, uses=(replace(SMALL.uses[0], closed=()),))
    meeting = Meeting(opened, tmp_path, journal=False)
    meeting.options.keep("A")
    meeting.update(tab="listen")
    tab = meeting.sections[ListenTab]
    given = Given(tab)
    meeting.look_at(meeting.result.spans["north bank"].stop - 1)
    tab.slots[1].value = "kept A"
    banks = tuple(replace(b, rows=6) if b.name == "north bank" else b for b in opened.banks)
    fewer = replace(opened, banks=banks)
    tab._versions["kept A"] = replace(tab._versions["kept A"], scenario=lambda: fewer)
    tab.play()
    assert "has no row 10, seat" in plain(tab) and not given.sounds


def test_a_microphone_that_would_ring_is_told(tmp_path):
    """Behavior: where the board says that a microphone has too little in reserve, the tab says that
    none is in the sound; where all have enough it says nothing.
    """
    show = replace(SCHOOL, uses=tuple(u for u in SCHOOL.uses if u.name == "performance"))
    meeting = Meeting(show, tmp_path, journal=False)
    meeting.update(tab="listen")
    tab = meeting.sections[ListenTab]
    Given(tab)
    tab.play()
    worst = min(float(m.margin_db.min()) for m in meeting.result.microphones)
    assert worst < 0 and f"has {worst:.0f} dB too little" not in tab.note.value
    assert "No microphone is in this sound" in tab.note.value
    assert f"{-worst:.0f} dB too little in reserve" in tab.note.value
