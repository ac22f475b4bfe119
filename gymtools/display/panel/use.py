"""The use as controls: level, noise, and how much each area counts."""

from ...venue.spectra import SPECTRA
from .section import Section

TARGET = dict(label="Speech level, target", low=60, high=100, step=1, unit="dB(A)")
NOISE = dict(label="Noise", low=30, high=100, step=1, unit="dB(A)")


class UseSection(Section):
    """Target level, noise and weights of the use that is shown."""

    key, title = "use", "The use: people, noise, level"

    def _controls(self, state, answer):
        path, use = ("uses", state.use), state.start.use(state.use)
        rows = [self.panel.slider((*path, "target_dba"), TARGET)]
        if use.noise_dba is not None:
            rows.append(self.panel.slider((*path, "noise_dba"), NOISE))
            kinds = tuple(SPECTRA)
            rows.append(self.panel.choice((*path, "noise_spectrum"), "Kind of noise", kinds))
        for name in state.start.area_names:
            words = dict(label=f"Weight, {name}", low=0, high=1, step=0.1)
            rows.append(self.panel.slider((*path, "listens", name), words))
        return rows
