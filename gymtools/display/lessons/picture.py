"""How the picture of an experiment lies beside its sliders."""

from ..theme import PAPER

HEIGHT = 360  # both are on a laptop's screen [pixel]
FRAME = dict(
    height=HEIGHT,
    margin=dict(l=60, r=10, t=20, b=50),
    paper_bgcolor=PAPER,
    plot_bgcolor=PAPER,
)
