"""Lines of worked solutions with roots, squares, logarithms and Φ: they add up as printed."""

import math
import re

import numpy as np
import pytest
from scipy.stats import norm

from gymtools.training.lessons import BY_NAME

LESSONS = ("record", "checking", "data_sheet", "site_survey")
EXERCISES = [e for name in LESSONS for e in BY_NAME[name].exercises]
NUMBERS = [e for e in EXERCISES if e.key not in ("record.beaten", "site_survey.alone")]
SIGNS = {"−": "-", "×": "*", "·": "*", "²": "**2", "^": "**", "√": "root", "Φ": "below"}
KNOWN = dict(root=math.sqrt, below=norm.cdf, log=math.log10)


def worked(words):
    """What stands behind the last colon of a line, or all of it; None where it is no sum."""
    text = re.sub(r"(?<=\d),(?=\d{3})", "", words.rpartition(":")[2].strip())
    for sign, plain in SIGNS.items():
        text = text.replace(sign, plain)
    text = re.sub(r"(\d) log \(", r"\1 * log(", text)
    text = re.sub(r"(\d) log ([\d.]+)$", r"\1 * log(\2)", text)
    if re.search(r"[a-zA-Z]", re.sub("root|below|log", "", text)) or not re.search(r"\d", text):
        return None
    return float(eval(text, {"__builtins__": {}, **KNOWN}))


def test_lines_are_worked_as_they_are_printed():
    """Worked by hand: what the next test reads."""
    assert worked("Both: √(3² + 4²)") == 5.0
    assert worked("Fall: −10 log 0.5") == pytest.approx(3.01, abs=0.001)
    assert worked("To take off: −10 log (1 − 10^(−10.0 / 10))") == pytest.approx(0.46, abs=0.005)
    assert worked("100 × Φ(-1.00)") == pytest.approx(15.87, abs=0.01)
    assert worked("4,998 / 333") == pytest.approx(15.01, abs=0.005)
    assert worked("The nearest tap") is worked("Median of the others") is None


@pytest.mark.parametrize("exercise", NUMBERS, ids=lambda e: e.key)
def test_lines_with_roots_and_logarithms_add_up(exercise):
    """Independent: every line that is a sum gives what stands behind it, within the last digit, and
    the last line of a number is its answer within half of what counts as right.
    """
    chance = np.random.default_rng(12)
    for n in range(60):
        fixed = {"units": ("m", "ft")[n % 2]} if exercise.needs_units else {}
        problem = exercise.drawn(chance, **fixed)
        sums = [(worked(s.words), s) for s in problem.steps]
        assert sum(value is not None for value, _ in sums) >= max(1, len(sums) - 1)
        for value, step in sums:
            if value is not None:
                assert value == pytest.approx(step.value, abs=0.6 * 10.0**-step.digits), step.words
        if not problem.choices:
            assert problem.steps[-1].value == pytest.approx(problem.answer, abs=problem.near / 2)
