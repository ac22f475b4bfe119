"""What a lesson of the course is."""

from dataclasses import dataclass

WORKED, MISSING, BLANK = "worked", "missing step", "blank"  # of its examples: what is shown
FADING = (WORKED, MISSING, BLANK)


@dataclass(frozen=True)
class Lesson:
    """A lesson: its notebook, how much help it gives, and its exercises."""

    name: str  # of its module
    book: str  # file name of its notebook, without ".ipynb"
    fading: str  # one of ``FADING``
    exercises: tuple  # of Exercise

    @property
    def number(self):
        """Number as text, as its notebook has it: "01"."""
        return self.book.partition("_")[0]

    def exercise(self, key):
        """One of its exercises.

        Parameters
        ----------
        key : str
            Without the lesson's name

        Returns
        -------
        exercise : Exercise
            Its own

        Raises
        ------
        ValueError
            It has none of that key
        """
        for one in self.exercises:
            if one.key == f"{self.name}.{key}":
                return one
        known = ", ".join(e.key.partition(".")[2] for e in self.exercises)
        raise ValueError(f"'{key}' is no exercise of '{self.name}'. Known: {known}.")
