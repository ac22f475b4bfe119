"""Worked solutions read as a learner reads them: what a line prints must give its number."""

import math
import re
from statistics import NormalDist

_NAMED = {
    "sin": lambda x: math.sin(math.radians(x)),
    "cos": lambda x: math.cos(math.radians(x)),
    "tan": lambda x: math.tan(math.radians(x)),
    "arctan": lambda x: math.degrees(math.atan(x)),
    "log": math.log10,
    "sqrt": math.sqrt,
    "below": NormalDist().cdf,
}
_SIGNS = {"²": "**2", "Φ": "below ", "−": "-", "·": "*", "×": "*", "^": "**", "√": "sqrt ", "°": ""}


def worked_out(line):
    """Number of what stands behind the last colon, or of all of it; None where that is no sum."""
    text = re.sub(r"(?<=\d),(?=\d{3})", "", line.rpartition(":")[2])
    for sign, plain in _SIGNS.items():
        text = text.replace(sign, plain)
    names = "|".join(sorted(_NAMED, key=len, reverse=True))
    text = re.sub(rf"(?<=\d)\s+({names})\b", r" * \1", text)
    text = re.sub(rf"\b({names})\s+(\d[\d.]*)", r"\1(\2)", text)
    text = re.sub(rf"\b({names})\s+\(", r"\1(", text)
    bare = re.sub(names, "", text)
    if re.search(r"[^\d.+\-*/()\s]", bare) or not re.search(r"\d", bare):
        return None
    if bare == text and not re.search(r"\d[\s)]*[-+*/]", text):
        return None
    return float(eval(text, {"__builtins__": {}}, dict(_NAMED)))


def faults(problem):
    """Lines of a problem that do not add up, and an end that is not its answer."""
    found = []
    for step in problem.steps:
        number = worked_out(step.words)
        near = max(0.6 * 10.0**-step.digits, step.near)
        if number is not None and abs(number - step.value) > near:
            found.append(f"{step.words} = {step.said}, not {number:g}")
    number = problem.steps[-1].value
    if not problem.choices and abs(number - problem.answer) > problem.near / 2:
        found.append(f"ends with {problem.steps[-1].said}, not {problem.answer:g}")
    return found
