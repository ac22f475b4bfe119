"""Machine code made ahead of its first use: the first time on a machine it takes some seconds,
later it is read from beside the package's files.
"""

from .evaluate import evaluate
from .measured_halls import USE, measured_halls


def warm_up():
    """Make the machine code of everything that an evaluation needs, or read what has been made."""
    hall = min(measured_halls(), key=lambda hall: hall.volume)
    evaluate(hall.scenario(hall.states[0]), USE, rays="few").verdicts  # noqa: B018


if __name__ == "__main__":
    warm_up()
