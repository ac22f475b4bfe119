"""Reverberation and treatment: how long a gym rings, and what an area of panels changes."""

from dataclasses import replace
from functools import cached_property

import numpy as np

from ...acoustics.evaluate import evaluate
from ...design.treatment import free_areas
from ...physics.reverberation import C, K, arau
from ...venue.hall import Treatment
from ...venue.units import FOOT, to_file
from ..exercises import Exercise, Problem, Slip, Step

MIDDLE = slice(2, 5)  # 500 Hz, 1 and 2 kHz, in which a gym is judged
PANELS = "wall panels"  # finish of what is hung [-]
# to what areas and volumes of a question are rounded
ROUND = {"m2": {"m": 5, "ft": 50}, "m3": {"m": 10, "ft": 1000}}


def panels(volume_m3=6000.0, rt_s=3.0, panels_m2=150.0, surfaces_m2=2400.0, units="ft"):
    """How long a gym rings with panels.

    Parameters
    ----------
    volume_m3 : float
        Of the gym [m3]
    rt_s : float
        Its reverberation time without panels, by Sabine's formula [s]
    panels_m2 : float
        Absorption that the panels add [m2]
    surfaces_m2 : float
        All surfaces together [m2]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In seconds
    """
    constant = _constant(units)
    volume, hung = _round(volume_m3, "m3", units), _round(panels_m2, "m2", units)
    before = constant * volume / rt_s
    after = constant * volume / (before + hung)
    # bare surfaces that the panels cover, as their share
    covered = panels_m2 / surfaces_m2
    return Problem(
        words=(
            f"A gym holds {_both(volume, 'm3', units)} of air. By Sabine's formula it rings for"
            f" {rt_s:.2f} s. Its surfaces measure"
            f" {_both(_round(surfaces_m2, 'm2', units), 'm2', units)}. You hang panels that add"
            f" {_both(hung, 'm2', units)} of full absorption. How long does it ring then, by"
            f" {_formula(units)}?"
        ),
        unit="s",
        answer=after,
        near=max(0.05 * after, 0.02),
        low=0,
        high=60,
        digits=2,
        hint="Work back from the time to what absorbs now. Add the panels. Work forward again.",
        slips=_slips(rt_s, covered, constant * volume / hung),
        steps=_forward(constant * volume, f"{constant:.5f} × {volume:,.0f}", rt_s, hung, units),
        note="Twice the absorption halves the time, so the first panels change most.",
    )


def _forward(top, said, rt_s, hung, units):
    """How the time with panels is worked, each line from the numbers that are shown before it."""
    unit, before = f"{units}²", round(top / rt_s)
    with_them = before + hung
    return (
        Step(f"What absorbs now: {said} / {rt_s:.2f}", before, unit, 0, 0.01 * before),
        Step(f"With the panels: {before:,.0f} + {hung:,.0f}", with_them, unit, 0, 0.01 * with_them),
        Step(f"Time: {said} / {with_them:,.0f}", top / with_them, "s", 2, 0.02),
    )


def _slips(rt_s, covered, alone_s):
    """What goes wrong with panels: longer, by share of surface, or as if nothing else absorbed."""
    return (
        Slip(
            rt_s,
            "That is as long as without panels, or longer. Panels add absorption: they cannot make"
            " a gym ring longer.",
            near=0.02 * rt_s,
            beyond=True,
        ),
        Slip(
            rt_s * (1 - covered),
            "That takes time off by the share of surface covered. A panel takes many times what the"
            " bare surface took.",
        ),
        Slip(
            alone_s,
            "That counts the panels alone. The gym absorbs already, so it rings less long than"
            " that.",
        ),
    )


def area(volume_m3=6000.0, rt_s=3.0, wish_s=1.5, units="ft"):
    """How much absorption a gym needs to ring for a shorter time.

    Parameters
    ----------
    volume_m3 : float
        Of the gym [m3]
    rt_s : float
        Its reverberation time by Sabine's formula [s]
    wish_s : float
        What it should be [s]
    units : str
        "m" or "ft"

    Returns
    -------
    problem : Problem
        In square meters or square feet

    Raises
    ------
    ValueError
        The gym rings no longer than that already
    """
    if not wish_s < rt_s:
        raise ValueError(f"the gym rings for {rt_s:g} s already: {wish_s:g} s is no shorter.")
    constant, volume = _constant(units), _round(volume_m3, "m3", units)
    now, then = constant * volume / rt_s, constant * volume / wish_s
    return Problem(
        words=(
            f"A gym holds {_both(volume, 'm3', units)} of air and rings for {rt_s:.2f} s by"
            f" {_formula(units)}. It should ring for {wish_s:.2f} s. How much full absorption do"
            " you add?"
        ),
        unit=f"{units}²",
        answer=then - now,
        near=0.05 * (then - now),
        low=0,
        high=1e6,
        digits=0,
        hint="Work out the absorption for both times. You add what lies between them.",
        slips=(
            Slip(then, "That is all absorption that it needs. A part of it is there already."),
            Slip(now, "That is what absorbs now. How much more does the shorter time take?"),
            Slip(
                (then - now) * (1 / FOOT**2 if units == "m" else FOOT**2),
                "That number is in the other unit of area.",
            ),
        ),
        steps=_apart(constant * volume, f"{constant:.5f} × {volume:,.0f}", rt_s, wish_s, units),
        note="What the panels cover absorbed a little too; it is lost, so hang a little more.",
    )


def _apart(top, said, rt_s, wish_s, units):
    """How the absorption that is missing is worked, each line from the numbers that are shown."""
    unit, digits = f"{units}²", 0 if units == "ft" else 1
    now, then = round(top / rt_s, digits), round(top / wish_s, digits)
    both = f"{then:,.{digits}f} - {now:,.{digits}f}"
    return (
        Step(f"Now: {said} / {rt_s:.2f}", now, unit, digits, 0.01 * now),
        Step(f"Then: {said} / {wish_s:.2f}", then, unit, digits, 0.01 * then),
        Step(f"To be added: {both}", then - now, unit, digits),
    )


def _constant(units):
    """Sabine's constant as the learner has it, with the digits that are shown."""
    return round(K * (FOOT if units == "ft" else 1.0) / C, 5)


def _formula(units):
    """Sabine's formula in words that stand alone."""
    return (
        f"Sabine's formula, T = {_constant(units):.5f} V / A (volume V in {units}³, absorption A in"
        f" {units}²)"
    )


def _round(value, unit, units):
    """A volume or an area, round in the learner's units; ``unit`` is "m2" or "m3"."""
    to = ROUND[unit][units]
    return to * round(to_file(float(value), unit, units) / to)


def _both(value, unit, units):
    """An area or a volume of the learner's units in both; ``unit`` is "m2" or "m3"."""
    power, other = unit[-1], "m" if units == "ft" else "ft"
    sign = {"2": "²", "3": "³"}[power]
    there = value * (FOOT if units == "ft" else 1 / FOOT) ** int(power)
    return f"{value:,.0f} {units}{sign} ({there:,.0f} {other}{sign})"


def _draw_panels(chance):
    volume = float(chance.integers(25, 120)) * 100
    return dict(
        volume_m3=volume,
        rt_s=float(chance.integers(18, 60)) / 10,
        panels_m2=float(chance.integers(6, 40)) * 10,
        surfaces_m2=round(6.5 * volume ** (2 / 3), -1),  # about a gym's proportions
    )


def _draw_area(chance):
    rt = float(chance.integers(20, 60)) / 10
    return dict(
        volume_m3=float(chance.integers(25, 120)) * 100,
        rt_s=rt,
        wish_s=round(rt * float(chance.integers(35, 75)) / 100, 1),
    )


EXERCISES = (
    Exercise(
        "treatment.panels",
        "How long does it ring with panels?",
        problem=panels,
        draw=_draw_panels,
        needs_units=True,
        example=dict(volume_m3=5000.0, rt_s=4.0, panels_m2=100.0, surfaces_m2=1900.0),
    ),
    Exercise(
        "treatment.area",
        "How much absorption does it need?",
        problem=area,
        draw=_draw_area,
        needs_units=True,
        example=dict(volume_m3=8000.0, rt_s=3.2, wish_s=2.0),
    ),
)


class Gym:
    """A gym to be treated, its time by formula.

    Parameters
    ----------
    school : Scenario
        As it is
    use : str
        Name of a use
    """

    def __init__(self, school, use):
        self.school, self.use = school, use
        self.free = free_areas(school)  # by surface [m2]

    @cached_property
    def now(self):
        """Without more panels (Result)."""
        return evaluate(self.school, self.use, room="statistical")

    @cached_property
    def sabine(self):
        """Its reverberation time by Sabine's formula, mean of 500 Hz, 1 and 2 kHz [s]."""
        return float(self.now.rt_sabine[MIDDLE].mean())

    def hung(self, area, on_roof):
        """The gym with panels.

        Parameters
        ----------
        area : float
            Of panels [m2]
        on_roof : float
            Share of them on the roof; the rest is spread over the walls [%]

        Returns
        -------
        result : Result
            By formula

        Raises
        ------
        ValueError
            Less of the roof or the walls is free
        """
        walls = sum(self.free[s] for s in self.free if s != "roof")
        onto = {
            s: area * (on_roof / 100 if s == "roof" else (1 - on_roof / 100) * free / walls)
            for s, free in self.free.items()
        }
        more = tuple(Treatment(surface=s, area=a, finish=PANELS) for s, a in onto.items() if a > 0)
        school = replace(self.school, treatments=self.school.treatments + more)
        return evaluate(school, self.use, room="statistical")

    def needed(self, goal_s, on_roof):
        """Least area of panels with which the gym rings no longer than it should.

        Parameters
        ----------
        goal_s : float
            Reverberation time by Arau's formula, mean of 500 Hz, 1 and 2 kHz [s]
        on_roof : float
            Share of the panels on the roof [%]

        Returns
        -------
        area : float
            To 1 m2 [m2]

        Raises
        ------
        ValueError
            There is not room for so many in this placing
        """
        enough, few = sum(self.free.values()), 0.0
        while enough - few > 1.0:
            middle = (enough + few) / 2
            try:
                reached = self.middle(self.hung(middle, on_roof)) <= goal_s
            except ValueError:  # less of the roof or the walls is free
                reached = True
            enough, few = (middle, few) if reached else (enough, middle)
        try:
            self.hung(enough, on_roof)
        except ValueError as full:
            raise ValueError(
                f"With {on_roof:g} % of the panels on the roof there is no room for as many as"
                f" {goal_s:.1f} s need. Place them otherwise, or aim for a longer time."
            ) from full
        return enough

    def by_pairs(self, result):
        """Reverberation time by Arau's formula, which takes opposite surfaces apart.

        Parameters
        ----------
        result : Result
            Of ``hung`` or ``now``

        Returns
        -------
        rt : ndarray
            (7,) [s]
        """
        normal, at = result.configuration.room.polygons.normal, result.configuration.room
        share = at.area[:, None] * normal**2  # which axis each surface faces (surface, axis)
        alpha = share.T @ result.absorption / share.sum(axis=0)[:, None]  # (axis, band)
        size = self.school.hall
        return arau(
            size.length,
            size.width,
            at.volume / (size.length * size.width),
            np.repeat(alpha, 2, axis=0),
            air=result.sources.decay,
            speed_of_sound=result.sources.speed,
        )

    def middle(self, result):
        """Reverberation time by Arau's formula.

        Parameters
        ----------
        result : Result
            Of ``hung`` or ``now``

        Returns
        -------
        rt : float
            Mean of 500 Hz, 1 and 2 kHz [s]
        """
        return float(self.by_pairs(result)[MIDDLE].mean())
