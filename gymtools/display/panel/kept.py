"""The strip of kept designs: small plans with failures and price, to hold over the picture, to go
on from, to compare. All rays of them are followed in the background.
"""

from dataclasses import replace
from html import escape
from itertools import count
from uuid import uuid4

import anywidget
import ipywidgets as w
from traitlets import Unicode

from ...acoustics.evaluate import evaluate
from ...acoustics.traced import Tracing
from ...design.options import option as judged
from .. import scene
from ..charts.thumbnails import thumbnail
from ..jobs import HIDDEN, SHOWN, Debounce, Job
from ..theme import shown_quantity
from .controls import show_only
from .page import quiet
from .pins import MOST
from .section import Section

REST = 0.25  # without a change, before the plans are drawn anew [s]
CARD = {"width": "216px", "height": "80px", "overflow": "hidden", "border": "1px solid #c9d1d9"}
EMPTY = "No design is kept yet. Kept designs stand here, to compare and to go on from."


class Pointing(anywidget.AnyWidget):
    """Says which kept design is under the pointer or has the focus, and which plan is clicked.

    It shows nothing, begins with the page's model and only speaks: a page that was too busy for its
    view does not stop it.

    Parameters
    ----------
    mark : str
        Of the strip, in the class names of its cards
    """

    mark = Unicode().tag(sync=True)
    _esm = """
    export default () => ({
      initialize({ model }) {
        const name = new RegExp("gt-kept-" + model.get("mark") + "-(\\\\d+)");
        const card = (e) => {
          const found = e?.closest?.(`[class*="gt-kept-${model.get("mark")}-"]`);
          return found ? Number(found.className.match(name)[1]) : null;
        };
        let over = null;
        const tell = (n) => {
          if (n === over) return;
          over = n;
          model.send({ over: n });
        };
        const events = {
          pointerover: (e) => tell(card(e.target)),
          pointerout: (e) => { if (!e.relatedTarget) tell(null); },
          focusin: (e) => tell(card(e.target)),
          focusout: (e) => tell(card(e.relatedTarget)),
          click: (e) => {
            const n = e.target.closest?.("svg") ? card(e.target) : null;
            if (n !== null) model.send({ pressed: n });
          },
        };
        for (const [kind, act] of Object.entries(events)) document.addEventListener(kind, act);
        return () => {
          for (const [kind, act] of Object.entries(events))
            document.removeEventListener(kind, act);
        };
      },
    });
    """


class KeptStrip(Section):
    """Kept designs side by side; at most as many as can be compared."""

    key, title = "kept", "Kept designs"

    def _begin(self):
        self._by_number, self._count = {}, count()
        self._drawn = self._removed = self._ghost = self._held = None
        self.job = Job(self._judged, waits=True)
        self._later = Debounce(self.draw, REST)

    def _make(self):
        self.pointing = Pointing(mark=uuid4().hex[:8])
        self.pointing.on_msg(self._heard)
        self.keep_button = _button("Keep this design", self.keep, "140px")
        self.compare_button = _button("Compare them", self.compare, "140px")
        self.back_button = _button("Put it back", self.put_back, "140px")
        self.back_button.layout.display = HIDDEN
        self.cards = w.HBox(layout={"height": "84px", "flex": "1 1 auto"})
        self.words = w.HTML(layout={"width": "140px"})
        self.go_button = _button("", lambda: self.go_on_from(self._held), "140px")
        self.go_button.layout.display = HIDDEN
        buttons = [self.keep_button, self.compare_button, self.back_button]
        side = w.VBox([*buttons, self.pointing], layout={"width": "148px", "flex": "0 0 auto"})
        beside = w.VBox([self.words, self.go_button], layout={"width": "146px"})
        box = w.HBox([side, self.cards, beside], layout={"min_height": "86px"})
        box.add_class("gt-kept-strip")
        return box

    @property
    def pins(self):
        """The designs that are kept."""
        return self.panel.options.pins

    def on_ghost(self, callback):
        """Have something called while a kept design is pointed at.

        Parameters
        ----------
        callback : callable
            Called with its scenario and its name, and with None when it is left
        """
        self._ghost = callback

    # ---- what is shown

    def _render(self, state, answer):
        if self._drawn is None:
            self.pins.watch(self.draw)
        self.keep_button.disabled = not answer.possible or self.pins.full
        if self._drawn != self._looks():
            self._later()

    def _looks(self):
        state = self.panel.state
        looked_at = state.use, state.quantity, state.units, state.start.name
        return tuple(map(id, self.pins.options)), self._held, *looked_at

    def draw(self):
        """Draw the cards anew, for the use and the quantity of the picture."""
        self._later.cancel()
        options = self.pins.options
        if self._held is not None:  # judged anew, or removed
            self._held = next((o for o in options if o.name == self._held.name), None)
        self._drawn = self._looks()
        self._by_number = {next(self._count): option for option in options}
        cards = [self._card(n, o) for n, o in self._by_number.items()]
        cards += [self._waiting_card(name) for name, _ in self.pins.waiting]
        show_only(self.cards, cards or [w.HTML(quiet(EMPTY))])
        self.compare_button.disabled = len(options) < 2
        self.keep_button.disabled = not self.panel.answer.possible or self.pins.full
        self.words.value = self._said()
        self.go_button.layout.display = SHOWN if self._held else HIDDEN
        if self._held:
            self.go_button.description = f"Go on from {self._held.name}"
            self.go_button.tooltip = "The present design is not lost: undo brings it back"
        self.judge()

    def _said(self):
        if self._held:
            return quiet(f"{escape(self._held.name)} is held over the picture.")
        return quiet(f"{MOST} are kept: no more fit.") if self.pins.full else ""

    def _card(self, number, option):
        words = w.HTML(
            self._words(option), layout={"height": "46px", "overflow": "hidden", "margin": "0"}
        )
        go = _button("Go on", lambda: self.go_on_from(option), "54px", f"Go on from {option.name}")
        drop = _button("\u2715", lambda: self.remove(option), "28px", f"Remove {option.name}")
        plan = w.HTML(self._plan(option), layout={"flex": "0 0 116px", "margin": "0"})
        beside = w.VBox([words, w.HBox([go, drop])], layout={"width": "92px"})
        card = w.HBox([plan, beside], layout=CARD)
        held = ("gt-kept-held",) if option is self._held else ()
        card._dom_classes = ("gt-kept", f"gt-kept-{self.pointing.mark}-{number}", *held)
        return card

    def _words(self, option):
        """Name, failures and price, a line each; with its school where there are several."""
        schools = {o.scenario.name for o in self.pins.options} | {self.panel.start.name}
        name = f"{option.name}, {option.scenario.name}" if len(schools) > 1 else option.name
        fails = option.headlines["failing"]
        count = f"{fails or 'none'} {'fails' if fails < 2 else 'fail'}"
        lines = f"<b>{escape(name)}</b>", count + self._so_far(option), escape(option.text("cost"))
        style = "overflow:hidden;text-overflow:ellipsis;white-space:nowrap;line-height:15px"
        tip = escape(f"{name}: {count}{self._so_far(option)}, {option.text('cost')}", quote=True)
        return "".join(f'<div style="{style}" title="{tip}">{line}</div>' for line in lines)

    @staticmethod
    def _so_far(option):
        """Of few rays echoes are not known yet."""
        return " so far" if option.rays == "few" else ""

    def _waiting_card(self, name):
        """Card of a design of an earlier meeting, while it is evaluated in every use."""
        words = w.HTML(f"<b>{escape(name)}</b><br>{quiet('kept, is being evaluated')}")
        card = w.HBox([words], layout=CARD)
        card.add_class("gt-kept")
        return card

    def _plan(self, option):
        state = self.panel.state
        use = state.use if state.use in [u.name for u in option.scenario.uses] else None
        result = evaluate(option.scenario, use, rays=option.rays or "few")
        quantity = shown_quantity(result, state.quantity)
        return thumbnail(scene.View(result=result, quantity=quantity, units=state.units))

    # ---- what is done

    def judge(self):
        """Follow all rays of a kept design that has few, once those of the picture are followed and
        nothing moves.
        """
        few = [o for o in self.pins.options if o.rays == "few"]
        if not few or not self.panel.answer.settled or self.job.running:
            return
        option, prices = few[0], self.panel.prices

        def work(tell, stop):
            for use in (u.name for u in option.scenario.uses):
                if stop() or Tracing(option.scenario, use).run(stop) is None:
                    return None
            return option, judged(option.name, option.scenario, prices=prices.book)

        self.job.start(work)

    def _judged(self, found):
        if found is not None:
            self.pins.swap([found])  # draws, and goes on with the next one

    def show_rays(self, state, answer):
        """All rays of the picture have been followed; see ``Section.show_rays``.

        Parameters
        ----------
        state : PanelState
            What the controls are set to
        answer : Answer
            What is shown
        """
        self.judge()

    def outdate(self):
        """Something moves: kept designs wait; see ``Section.outdate``."""
        self.job.discard()

    def reprice(self):
        """What is being judged is priced anew; see ``Section.reprice``."""
        self.job.discard()

    def keep(self):
        """Keep the present design, under the next free letter."""
        self.panel.live.flush()
        refusal = self.panel.options.keep(self.pins.free_letter)
        self.words.value = quiet(refusal)

    def go_on_from(self, option):
        """Go on from a kept design, as a step of the history.

        Parameters
        ----------
        option : Option
            One of those that are kept
        """
        self.hold(None)
        self.panel.options.go_on_from(option)

    def hold(self, option):
        """Hold a kept design over the picture, until it is let go or another one is held.

        Parameters
        ----------
        option : Option or None
            One of those that are kept; None lets go
        """
        self._held = option
        self._point(None)
        self.draw()

    def compare(self):
        """Open the tab that shows them side by side."""
        self.panel.open_tab(self.panel.options.key)

    def remove(self, option):
        """Remove a kept design; it can be put back until the next one is removed.

        Parameters
        ----------
        option : Option
            One of those that are kept
        """
        if option is self._held:
            self.hold(None)
        self._point(None)
        self._removed = option
        self.pins.drop(option.name)
        self.back_button.description = f"Put {option.name} back"
        self.back_button.layout.display = SHOWN

    def put_back(self):
        """Put the design back that was removed last, under another letter where its own is taken;
        where there is no room it stays to be put back.
        """
        option = self._removed
        if option is None:
            return
        if self.pins.full:
            self.words.value = quiet(f"{MOST} are kept: remove one first.")
            return
        self._removed = None
        self.back_button.layout.display = HIDDEN
        if option.name in self.pins.names:
            option = replace(option, name=self.pins.free_letter)
        self.pins.take([*self.pins.options, option])

    def _heard(self, _widget, content, _buffers):
        if "pressed" in content:
            option = self._by_number.get(content["pressed"])
            if option is not None:
                self.hold(None if option is self._held else option)
        elif "over" in content:
            self._point(self._by_number.get(content["over"]))

    def _point(self, option):
        option = option or self._held
        if self._ghost is not None:
            self._ghost(*((option.scenario, option.name) if option else (None,)))


def _button(words, act, width, tip=""):
    layout = {"width": width, "height": "26px", "padding": "0 4px", "margin": "1px 2px"}
    button = w.Button(description=words, tooltip=tip, layout=layout)
    button.on_click(lambda _: act())
    return button
