"""Lessons in their order, with what they ask and compute; their pages are in ``display``."""

from . import distance
from .lesson import WORKED, Lesson

LESSONS = (Lesson("distance", "01_distance_and_level", WORKED, distance.EXERCISES),)
BY_NAME = {lesson.name: lesson for lesson in LESSONS}


def before(name):
    """Exercises of the lessons before one.

    Parameters
    ----------
    name : str
        Of a lesson

    Returns
    -------
    exercises : list of Exercise
        In the order of the course
    """
    names = list(BY_NAME)
    return [e for lesson in LESSONS[: names.index(name)] for e in lesson.exercises]
