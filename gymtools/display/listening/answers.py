"""Answers of people who listened blind, a line each in a file that is only added to."""

import datetime
import json
from pathlib import Path

FOLDER, FILE = ".meeting", "blind-answers.ndjson"


def keep_answer(folder, answer):
    """Add an answer to the file.

    Parameters
    ----------
    folder : str or Path
        Of the panel; the file lies in ".meeting" in it
    answer : dict
        School, use, seat, program, what was heard in which order, and which was taken; no names

    Returns
    -------
    path : Path
        Of the file

    Raises
    ------
    OSError
        It cannot be written
    """
    path = Path(folder) / FOLDER / FILE
    path.parent.mkdir(exist_ok=True)
    when = datetime.datetime.now().isoformat(timespec="seconds")
    with open(path, "a", encoding="utf-8") as file:
        file.write(json.dumps({"time": when} | answer, ensure_ascii=False) + "\n")
    return path
