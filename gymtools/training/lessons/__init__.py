"""Lessons in their order, with what they ask and compute; their pages are in ``display``."""

from . import (
    arrivals,
    checking,
    coverage,
    crowd,
    data_sheet,
    decibels,
    distance,
    feedback,
    landing,
    record,
    site_survey,
    tilt,
    treatment,
    uses,
    wiring,
)
from .lesson import BLANK, MISSING, WORKED, Lesson

LESSONS = (
    Lesson("decibels", "00_decibels_and_octaves", WORKED, decibels.EXERCISES),
    Lesson("distance", "01_distance_and_level", WORKED, distance.EXERCISES),
    Lesson("coverage", "02_angle_and_coverage", WORKED, coverage.EXERCISES),
    Lesson("tilt", "03_tilt_and_throw", WORKED, tilt.EXERCISES),
    Lesson("landing", "04_sound_on_walls", MISSING, landing.EXERCISES),
    Lesson("treatment", "05_reverberation_and_treatment", MISSING, treatment.EXERCISES),
    Lesson("crowd", "06_intelligibility_and_the_crowd", MISSING, crowd.EXERCISES),
    Lesson("arrivals", "07_several_loudspeakers", MISSING, arrivals.EXERCISES),
    Lesson("feedback", "08_microphones_and_feedback", MISSING, feedback.EXERCISES),
    Lesson("uses", "09_one_installation_many_uses", BLANK, uses.EXERCISES),
    Lesson("wiring", "10_power_lines_and_cable", BLANK, wiring.EXERCISES),
    Lesson("record", "11_reading_a_finished_record", BLANK, record.EXERCISES),
    Lesson("checking", "12_checking_a_room", BLANK, checking.EXERCISES),
    Lesson("data_sheet", "13_reading_a_data_sheet", BLANK, data_sheet.EXERCISES),
    Lesson("site_survey", "14_surveying_a_gym", BLANK, site_survey.EXERCISES),
)
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
