"""Refusals that hold more than one line, or that know what would have been understood."""


class Line(str):
    """A line of a refusal; ``limit`` says the same of the nearest place where what is moved can be.

    Parameters
    ----------
    text : str
        The line
    limit : str
        Empty where there is no such place
    """

    def __new__(cls, text, limit=""):
        """A text that carries its limit."""
        line = super().__new__(cls, text)
        line.limit = limit
        return line


class Refusal(ValueError):
    """Something cannot be, for one reason or several: its text is the first of them, ``faults`` has
    all.
    """

    @property
    def faults(self):
        """All that is wrong, a line each (list of str)."""
        return list(self.args)

    def __str__(self):
        return self.args[0]


class FileRefusal(Refusal):
    """A file cannot be read: its text has a line for everything that is wrong with it."""

    def __str__(self):
        return "\n".join(self.args)


class UnknownName(ValueError):
    """A name that is not among those there are.

    ``key`` says what was named so, ``meant`` what it may have meant, and ``known`` is a name that
    there is, with which whatever names it can be looked at further.
    """

    key, meant, known = None, (), None

    @classmethod
    def of(cls, text, key, meant, known):
        """A refusal of a name.

        Parameters
        ----------
        text : str
            One line
        key : str
            What was named so, e.g. "roof"
        meant : sequence of str
            Names that it is another word for
        known : str or None
            Any name that there is

        Returns
        -------
        refusal : UnknownName
            To be raised
        """
        refusal = cls(text)
        refusal.key, refusal.meant, refusal.known = key, tuple(meant), known
        return refusal


def collect(faults, check, *given):
    """Run a check and note what it refuses, so that the next one runs as well.

    Parameters
    ----------
    faults : list of str
        Lines so far; what is new is added
    check : callable
        Raises ValueError where something cannot be
    given : any
        What it is called with

    Returns
    -------
    sound : bool
        Whether it refused nothing
    """
    try:
        check(*given)
    except ValueError as error:
        faults += [line for line in lines_of(error) if line not in faults]
        return False
    return True


def lines_of(error):
    """Everything that a refusal says.

    Parameters
    ----------
    error : Exception
        Any

    Returns
    -------
    lines : list of str
        One line unless it is a ``Refusal``
    """
    return error.faults if isinstance(error, Refusal) else [str(error)]
