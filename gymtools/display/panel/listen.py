"""Listening to a seat: what it hears now against what it would hear otherwise."""

import random
import threading
from html import escape
from pathlib import Path

import ipywidgets as w

from ...acoustics.evaluate import evaluate
from ...acoustics.listening import BACKGROUNDS, listen
from ...physics import tails
from ...venue.ears import ears
from ...venue.programs import labels, own_program, program
from ...venue.writing_files import file_words, revisions_sentence
from .. import tables
from ..documents.handover import folder_name
from ..jobs import HIDDEN, SHOWN, Job
from ..listening.answers import keep_answer
from ..listening.files import write_sounds
from ..listening.player import Player
from ..listening.versions import NOW, versions
from ..listening.words import BLIND, figures, listen_for, summed
from .controls import close
from .page import quiet, with_folder
from .seat import index_of, looked_at, numbered
from .section import Section

ABOUT = (
    "Choose up to three ways to hear the seat, press Play, and switch between them while they play."
    " Levels keep their true differences. Click another seat in the plan to hear that one."
)
NOBODY = "Voices and band are synthesized; the head is a dummy's (Gardner and Martin 1994)."
NONE = ""
OWN = {"own speech": "speech", "own music": "music"}  # kind of a file of one's own
SLOTS = 3
BESIDE = 2  # seats by which the nearest point may be beside a seat: points are half a meter apart
NO_DIFFERENCE = "No difference"
HEADPHONES = (("Headphones: two ears", True), ("Loudspeakers: one microphone", False))


class ListenTab(Section):
    """What one seat sounds like, now and otherwise."""

    key, title = "listen", "Listen"

    def _begin(self):
        self._heard, self._order = None, ()
        self._stands = self._offered = self._warm = None
        self.notes = ""
        self._listing = False
        self._versions = {}
        self.job = Job(self._done, refused=self._refused)
        self.job.bar.layout.width = "200px"

    def _make(self):
        self.player = Player(self.play)
        self.words, self.note = w.HTML(layout={"margin": "0 16px 0 0"}), w.HTML()
        self.slots = [_list(str(n + 1), "340px", "16px") for n in range(SLOTS)]
        own = [(f"A file of your own, {kind}", key) for key, kind in OWN.items()]
        self.program = _list("Program", "340px", "70px", [*_pairs_of(labels()), *own])
        self.own = w.Text(placeholder="path of a WAV or FLAC file", layout={"width": "320px"})
        self.around = _list("Noise", "260px", "50px", _pairs_of(BACKGROUNDS))
        self.ears = _list("Played on", "300px", "74px", HEADPHONES)
        tip = "1, 2 and 3 are shuffled; what is what is told after you have answered"
        self.blind = w.Checkbox(description="Blind", indent=False, tooltip=tip)
        self.blind.layout.width = "90px"
        self.answers = w.HBox(layout={"display": HIDDEN})
        self.export = w.Button(description="Write WAV files", disabled=True)
        self.export.on_click(lambda _: self.write(False))
        self.again = w.Button(description="Replace the files", layout={"display": HIDDEN})
        self.again.on_click(lambda _: self.write(True))
        for box in (*self.slots, self.program, self.own, self.around, self.ears, self.blind):
            box.observe(self._changed, names="value")
        self.job.halt.observe(self._show_halt, names="disabled")
        self._show_halt()
        wrap = {"flex_flow": "row wrap"}
        settings = [self.program, self.own, self.around, self.ears]
        work = [self.export, self.again, self.job.halt, self.job.bar]
        return w.VBox(
            [
                w.HBox([self.words, *settings], layout=wrap),
                w.HBox([*self.slots, self.blind], layout=wrap),
                self.player,
                self.answers,
                self.job.words,
                self.job.error,
                self.note,
                w.HBox(work, layout=wrap),
                w.HTML(quiet(f"{ABOUT} {NOBODY}")),
            ]
        )

    def _show_halt(self, _change=None):
        """The button that stops the work stands there while there is any."""
        halt = self.job.halt
        halt.layout.display = HIDDEN if halt.disabled else SHOWN

    # ---- what is shown

    def _fill(self, state, answer):
        if self._warm is None:  # what takes a second to load is there when Play is pressed
            self._warm = threading.Thread(target=_load, daemon=True)
            self._warm.start()
        self._offer(state, answer)

    def outdate(self):
        """See ``Section.outdate``."""
        self.job.discard()
        self.player.working = False

    def _offer(self, state, answer):
        """Offer what can be heard of the seat; what was made for another is played no more."""
        index = looked_at(state, answer.result)
        # of another school it would be another gym that is heard
        school = answer.scenario.name
        kept = [(name, s) for name, s in self.panel.options.kept if s.name == school]
        before = self._before(state)
        stands = answer.scenario, state.use, index, tuple(kept), before
        if stands != self._stands:
            self._stands = stands
            found = versions(answer.scenario, state.use, kept=kept, before=before)
            self._versions = {version.key: version for version in found}
            self._list_versions()
            self._outdate()
        self.words.value = f"<b>{escape(self._place())}</b>"
        self.own.layout.display = SHOWN if self.program.value in OWN else HIDDEN

    def _before(self, state):
        """The scenario before the last change of the design."""
        for earlier in self.panel.history.so_far:
            if earlier.start.name != state.start.name:
                return None
            if earlier.design is not None and not earlier.same_design(state):
                return earlier.scenario
        return None

    def _list_versions(self):
        offered = [(v.label, v.key) for v in self._versions.values()]
        if offered == self._offered:
            return
        first, self._offered = self._offered is None, offered
        for n, box in enumerate(self.slots):
            kept = box.value
            options = offered if n == 0 else [("nothing", NONE), *offered]
            self._listing = True
            try:
                box.options = options
                there = not first and kept in [key for _, key in options]
                box.value = kept if there else options[0][1]
            finally:
                self._listing = False

    def _place(self):
        result, index = self.panel.result, looked_at(self.panel.state, self.panel.result)
        area = result.configuration.areas[str(result.area[index])]
        number = index - result.spans[area.name].start
        return f"{area.name}, {area.seat_words(number, result.scenario.units)}"

    def _changed(self, _change=None):
        self.own.layout.display = SHOWN if self.program.value in OWN else HIDDEN
        if not self._listing:
            self._outdate()

    def _outdate(self):
        self.job.say("")
        self.job.discard()  # says so, where something was under way
        self.player.working = False
        self._heard = None
        self.export.disabled = True
        self.again.layout.display = self.answers.layout.display = HIDDEN
        self.note.value, self.player.words = "", ""
        self.player.outdate()
        count = len(self._chosen())
        names = [self._versions[key].label for key in self._chosen()]
        blind = self.blind.value and count > 1
        self.player.names = [f"{n + 1}" if blind else f"{n + 1} {t}" for n, t in enumerate(names)]

    def _chosen(self):
        """Keys of what is to be heard, in order, each once."""
        keys = [box.value for box in self.slots if box.value in self._versions]
        return list(dict.fromkeys(keys)) or [NOW] * (NOW in self._versions)

    # ---- what is heard

    def play(self):
        """Make what is chosen audible, and have the page play it."""
        if self.job.running:
            return
        self._offer(self.panel.state, self.panel.answer)  # a slider may just have moved
        chosen = [self._versions[key] for key in self._chosen()]
        usual = dict(background=self.around.value, ears=self.ears.value)
        use, result = self.panel.state.use, self.panel.result
        seat = numbered(result, looked_at(self.panel.state, result))
        wanted, own = self.program.value, self.own.value.strip().strip("\"'")
        self.player.working = True

        def work(tell, stop):
            played = _own(own, OWN[wanted]) if wanted in OWN else program(wanted)
            heard = {}
            for n, version in enumerate(chosen):
                if stop():
                    return None
                tell(n, len(chosen))
                how = version.listening(**usual)
                there = evaluate(version.scenario(), use)
                heard[version.key] = how, listen(there, _index(there, seat, version), played, how)
            return played, heard

        self.job.start(work, "Making the sounds: all rays are followed where they have not been.")

    def _done(self, found):
        self.player.working = False
        if found is None:
            self.job.say("Stopped.")
            return
        played, self._heard = found
        self.job.say("")
        keys = list(self._heard)
        blind = self.blind.value and len(keys) > 1
        self._order = tuple(random.sample(keys, len(keys)) if blind else keys)
        sounds = [self._heard[key][1].samples for key in self._order]
        if blind:  # which one ends later would tell
            sounds = [s[:, : min(x.shape[1] for x in sounds)] for s in sounds]
        self._offer_answers(blind)
        self.export.disabled = blind
        softer = self.player.give(sounds)
        hint = BLIND if blind else self._hint()
        self.player.words = f"{hint} {softer}".strip()
        self.notes = " ".join(played.notes)
        self.note.value = quiet(escape(self.notes)) if blind else self._said()

    def _hint(self):
        """What to listen for."""
        return listen_for(self._order, [self._heard[key][1] for key in self._order])

    def _said(self):
        """Figures of what is heard."""
        rows = [
            f"<li><b>{escape(self._versions[key].label)}</b>: {figures(heard, how)}</li>"
            for key, (how, heard) in ((key, self._heard[key]) for key in self._order)
        ]
        parts = [summed([self._heard[key][1] for key in self._order]), self._rings(), self.notes]
        text = " ".join(part for part in parts if part)
        style = "margin:4px 0 4px 20px;padding:0"
        return tables.card(f'<ol style="{style}">{"".join(rows)}</ol><p>{escape(text)}</p>')

    def _rings(self):
        """A sentence where a microphone could not be as loud as what is heard."""
        result = self.panel.result
        weak = [m for m in result.microphones if m.margin_db.min() < 0]
        if not weak or all(how.ring_db is not None for how, _ in self._heard.values()):
            return ""
        worst = min(weak, key=lambda m: m.margin_db.min())
        return (
            f"No microphone is in this sound: by the board '{worst.microphone.name}' has"
            f" {-worst.margin_db.min():.0f} dB too little in reserve for this level."
        )

    def _refused(self, error):
        self.player.working = False
        self.again.layout.display = SHOWN if isinstance(error, FileExistsError) else HIDDEN

    # ---- blind

    def _offer_answers(self, blind):
        close(*self.answers.children)
        names = [str(n + 1) for n in range(len(self._order))]
        buttons = [w.Button(description=name) for name in (*names, NO_DIFFERENCE)]
        for button in buttons:
            button.on_click(lambda b: self.take_answer(b.description))
        self.answers.children = (w.HTML("Which is clearer?"), *buttons)
        self.answers.layout.display = SHOWN if blind else HIDDEN

    def take_answer(self, taken):
        """Keep what somebody says who has listened blind, and tell what was what.

        Parameters
        ----------
        taken : str
            "1", "2", "3" or ``NO_DIFFERENCE``
        """
        if self._heard is None:
            return
        labels_ = [self._versions[key].label for key in self._order]
        answer = dict(
            school=self.panel.scenario.name,
            use=self.panel.state.use,
            seat=self._place(),
            program=self.program.label,
            around=self.around.label,
            heard=labels_,
            clearer=taken if taken == NO_DIFFERENCE else labels_[int(taken) - 1],
        )
        try:
            keep_answer(self.panel.folder, answer)
        except OSError as error:
            self.job.refuse(error)
        again = w.Button(description="Another round", tooltip="Shuffle them and listen again")
        again.on_click(lambda _: self._outdate())
        close(*self.answers.children)
        self.answers.children = (again,)
        self.export.disabled = False
        told = ", ".join(f"{n + 1} was: {label}" for n, label in enumerate(labels_))
        self.player.words = f"You took {taken}. {told}. {self._hint()}"
        self.player.names = [f"{n + 1} {label}" for n, label in enumerate(labels_)]
        self.note.value = self._said()

    # ---- files

    def write(self, overwrite):
        """Write what is heard as WAV files.

        Parameters
        ----------
        overwrite : bool
            Whether files of an earlier time may be replaced
        """
        if self._heard is None:
            return
        state, scenario = self.panel.state, self.panel.scenario
        words = f"{file_words(state.use, 'use')}-{file_words(self._place(), 'seat')}"
        folder = self.panel.folder / f"{folder_name(scenario, 'sounds')}-{words}"
        played = f"{self.program.label}. {self.ears.label}."
        place = f"{scenario.name}, {state.use}: {self._place()}.\n{played}"
        sounds = {}
        for key in self._order:
            how, heard = self._heard[key]
            sounds[self._versions[key].label] = heard.samples, figures(heard, how)
        try:
            write_sounds(sounds, folder, place=place, overwrite=overwrite)
        except OSError as error:
            self.job.refuse(error)
            self._refused(error)
            return
        self.again.layout.display = HIDDEN
        kept = revisions_sentence(folder)
        self.job.words.value = quiet(
            f"The sounds are in {escape(with_folder(folder))}. {escape(kept)}"
        )


def _load():
    """Load what every seat is listened to with."""
    ears()
    program(next(iter(labels())))
    for number in range(tails.NOISES):
        tails.even_noise(number)


def _index(result, seat, version):
    """The same seat in another version."""
    area, row, number = seat
    if area not in result.spans:
        raise ValueError(f"'{version.label}' has no seats in '{area}'. Take another seat.")
    index = index_of(result, area, row, number)
    _, there, beside = numbered(result, index)
    if there != row or abs(beside - number) > BESIDE:
        raise ValueError(
            f"'{version.label}' has no row {row}, seat {number} in '{area}'. Take another seat."
        )
    return index


def _own(path, kind):
    """A recording of the user's own."""
    if not path:
        raise ValueError("give the path of a WAV or FLAC file, or choose another program.")
    return own_program(Path(path).expanduser(), kind=kind)


def _pairs_of(words):
    return [(text, key) for key, text in words.items()]


def _list(label, width, label_width, options=()):
    return w.Dropdown(
        options=options,
        description=label,
        layout={"width": width},
        style={"description_width": label_width},
    )
