"""Page of the lesson on microphones and feedback."""

from dataclasses import replace

from ...acoustics.evaluate import evaluate
from ...acoustics.listening import RINGS_DB, Listening
from ...physics.feedback import open_mics_db
from ...physics.microphones import (
    PATTERNS,
    directivity_index_db,
    distance_factor,
    null_deg,
    random_efficiency,
)
from ...training.lessons import feedback
from ...venue.files import load
from ...venue.microphones import walkable
from ...venue.paths import changed
from ...venue.units import FOOT, in_words
from ..charts import plans
from ..scene import View
from .experiment import Aim, Prediction, Setup, slider
from .listening import Blind, at_seat
from .page import LessonPage
from .picture import HEIGHT
from .printed import printed, worked_by_hand

# a walk that is compared with a step nearer to the microphone, by units [m]
WALK_M = {"m": 2.0, "ft": 6 * FOOT}
ALIKE_DB = 0.5  # two ways win the same [dB]
EDGE_M = 0.5  # of a stage that nobody stands on [m]
SAME = "both win the same"
BOOK = "Eargle, The Microphone Book, 2nd ed. 2004, Table 6-1, p. 104"
TABLE = (("cardioid", "0.33", "4.8"), ("hypercardioid", "0.25", "6.0"))


class FeedbackPage(LessonPage):
    """What is asked and shown on the page.

    Parameters
    ----------
    units : str
        "m" or "ft"
    place : dict
        "scenario" (path), "use" and "microphone"
    first : dict
        Values of the first question, by the names of ``feedback.nearer``
    open_mics : int
        In the second question [-]
    margin_db : float
        Feedback margin that the experiment asks for [dB]
    progress : str, optional
        As for ``LessonPage``
    """

    lesson = "feedback"

    def __init__(self, *, units, place, first, open_mics, margin_db, progress=None):
        super().__init__(units=units, progress=progress)
        self.place, self.school = place, load(place["scenario"])
        self.mic = self._microphone()
        self.nearer = self.ask("nearer", first)
        self.closed = self.ask("closed", dict(open_mics=open_mics))
        kind = self.mic.kind
        begin = min(max(first["far_m"], kind.nearest), kind.farthest)
        self.moving = self.try_out("moving", self._moving(begin, margin_db))
        self.room_share = self.ask("room_share", dict(a=PATTERNS["hypercardioid"], shift_db=1.0))
        self.ringing = self.listen("ringing", *self._ringing(begin))
        self.printed = self.compare(printed(_printed()))
        self.by_hand = self.compare(worked_by_hand(_by_hand()))

    def _microphone(self):
        name, use = self.place["microphone"], self.place["use"]
        mic = next(m for m in self.school.microphones if m.name == name)
        if mic.walks is not None or name not in self.school.use(use).microphones:
            raise ValueError(f"'{name}' must stay at one position and be open in '{use}'.")
        return mic

    def stand(self, distance, x, y):
        """The use with the microphone, and its talker, at another position.

        Parameters
        ----------
        distance : float
            From the mouth [m]
        x, y : float
            Position as the scenario gives it [m]

        Returns
        -------
        result : Result
            Of few rays: enough to compare
        """
        at = {"distance": distance, "x": x, "y": y}
        name = self.place["microphone"]
        paths = {("microphones", name, key): float(value) for key, value in at.items()}
        return evaluate(
            changed(self.school, paths), self.place["use"], rays="few", follow_echoes=False
        )

    def margin(self, result):
        """Feedback margin of the microphone.

        Parameters
        ----------
        result : Result
            Of ``stand``

        Returns
        -------
        margin : float
            Negative where it may ring [dB]
        """
        name = self.place["microphone"]
        found = next(m for m in result.microphones if m.microphone.name == name)
        return float(found.margin_db.min())

    def _moving(self, begin, margin_db):
        kind = self.mic.kind
        self.near_choice = f"a step up to {feedback.at_mouth(kind.nearest, self.units)}"
        self.far_choice = f"a walk of {in_words(WALK_M[self.units], self.units)} to the best side"
        ends = kind.nearest, kind.farthest
        near = replace(slider("distance", "from the mouth", ends, 0.01, "m"), feet_step=0.05)
        return Setup(
            adjustments=(near, *self._walk()),
            start=dict(distance=begin, x=self.mic.x, y=self.mic.y),
            compute=self.stand,
            draw=self._map,
            aim=Aim(
                words=(
                    f"a feedback margin of {margin_db:g} dB or more for '{self.mic.name}'"
                    f" ({kind.description})"
                ),
                what="feedback margin",
                measure=self.margin,
                unit="dB",
                low=margin_db,
            ),
            predict=Prediction(
                "Before you move anything: which wins more?",
                (self.near_choice, self.far_choice, SAME),
                self._truth,
            ),
        )

    def _walk(self):
        """Sliders of the microphone's position."""
        configuration = self.school.configuration(self.place["use"])
        if self.mic.on == "stage":  # there x is behind the front edge and y along it
            stage, along = configuration.stage, ("behind the edge", "along the edge")
            half = stage.width / 2 - EDGE_M
            x0, x1, y0, y1 = EDGE_M, stage.depth - EDGE_M, -half, half
        else:
            along = ("to the east", "to the north")
            x0, x1, y0, y1 = walkable(configuration, self.mic.on)
        ends = ((x0, x1), (y0, y1))
        return [
            slider(name, label, end, 0.25, "m")
            for name, label, end in zip("xy", along, ends, strict=True)
        ]

    def view(self, result):
        """What the map shows: where this microphone could stand, at the distance of the slider.

        Parameters
        ----------
        result : Result
            Of ``stand``

        Returns
        -------
        view : View
            Of the feedback margin
        """
        name = self.place["microphone"]
        return View(result=result, quantity="feedback_margin", units=self.units, microphone=name)

    def _map(self, result):
        view = self.view(result)
        chart = plans.plan(view).update_layout(height=HEIGHT, width=None)
        for trace in chart.select_traces(dict(name="plan: microphones")):
            # it has one position, so none of them is the worst
            trace.text = ["" if text.startswith("worst") else text for text in trace.text]
        return chart

    def _truth(self, start, _reached):
        """Which wins more from the start: the nearest distance, or the best of four walks."""
        mic = next(m for m in start.scenario.microphones if m.name == self.mic.name)
        step, way = feedback.gained_db(mic.distance, mic.kind.nearest), WALK_M[self.units]
        walks = [(way, 0), (-way, 0), (0, way), (0, -way)]
        won = [self._won(start, mic, dx, dy) for dx, dy in walks]
        apart = step - max(won)
        return SAME if abs(apart) < ALIKE_DB else self.near_choice if apart > 0 else self.far_choice

    def _won(self, start, mic, dx, dy):
        """Margin that a walk wins; none where nobody can stand [dB]."""
        try:
            moved = self.stand(mic.distance, mic.x + dx, mic.y + dy)
        except ValueError:
            return 0.0
        return self.margin(moved) - self.margin(start)

    def _ringing(self, begin):
        def at(reserve):
            def make():
                result = self.stand(begin, self.mic.x, self.mic.y)
                points = result.areas[0].points
                middle = (points.start + points.stop) // 2
                return result, middle, Listening(ring_db=reserve)

            return at_seat(make)

        made = {f"{reserve:g} dB below ringing": at(reserve) for reserve in RINGS_DB}
        words = (
            "Speech at a seat while the gain comes near to ringing. First a tail grows behind the"
            " words, then one pitch sings along. The level follows the gain."
        )
        nearest = f"{min(RINGS_DB):g} dB below ringing"
        return made, words, Blind("Which one is nearest to ringing?", nearest)


def _printed():
    """Cells of the book's table of patterns."""
    found = {
        "random energy efficiency": random_efficiency,
        "directivity index [dB]": directivity_index_db,
    }
    return [
        (f"{name}: {words}", text, compute(PATTERNS[name]), BOOK)
        for name, *texts in TABLE
        for (words, compute), text in zip(found.items(), texts, strict=True)
    ]


def _by_hand():
    cardioid, hyper = PATTERNS["cardioid"], PATTERNS["hypercardioid"]
    return [
        ("cardioid: distance factor", "1.73", distance_factor(cardioid), "√3"),
        ("hypercardioid: distance factor", "2.00", distance_factor(hyper), "√4"),
        ("cardioid: angle of the null [°]", "180", null_deg(cardioid), "cos = −1"),
        ("hypercardioid: angle of the null [°]", "109.5", null_deg(hyper), "cos = −1/3"),
        ("2 open microphones cost [dB]", "3.0", open_mics_db(2), "10 log 2"),
        ("20 open microphones cost [dB]", "13.0", open_mics_db(20), "10 log 20"),
    ]
