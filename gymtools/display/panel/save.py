"""Saving the scenario as it stands."""

import re

import ipywidgets as w

from ...venue.files import save
from ..jobs import HIDDEN, SHOWN
from .page import quiet
from .section import Section


class SaveSection(Section):
    """File name, and what became of it."""

    def _make(self):
        school = self.panel.start.name.split()[0].lower()
        self.name = w.Text(
            f"{school}-option.toml", description="Save as", layout={"width": "330px"}
        )
        self.button = w.Button(description="Save scenario", layout={"width": "130px"})
        hidden = {"width": "110px", "display": HIDDEN}
        self.replace_button = w.Button(description="Replace it", layout=hidden)
        self.words = w.HTML()
        self.button.on_click(lambda _: self._write(False))
        self.replace_button.on_click(lambda _: self._write(True))
        self.name.observe(lambda _: self._say(""), names="value")
        return w.HBox([self.name, self.button, self.replace_button, self.words])

    def _say(self, text, replaceable=False):
        self.words.value = quiet(text)
        self.replace_button.layout.display = SHOWN if replaceable else HIDDEN

    def _write(self, overwrite):
        self.panel.live.flush()
        name = self.name.value.strip()
        if not re.fullmatch(r"\w[\w .()-]*", name):
            return self._say("Give a plain file name without folders, e.g. option-a.toml.")
        if self.panel.refusal:
            return self._say(
                "The controls are set to something that cannot be built. Nothing was saved."
            )
        path = self.panel.folder / (name if name.endswith(".toml") else f"{name}.toml")
        try:
            save(self.panel.to_file(), path, overwrite=overwrite)
        except FileExistsError as error:
            return self._say(str(error), replaceable=True)
        except (OSError, ValueError) as error:
            return self._say(str(error))
        self._say(f"Saved as {path.name}.")
