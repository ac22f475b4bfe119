"""The way to ``Unknowns`` that scripts know; it is ``input_errors.InputSpread``."""

from ..venue.renamed import warn_renamed
from .input_errors import InputSpread


def Unknowns(**spread):
    """``InputSpread`` under its former name.

    Parameters
    ----------
    spread : float
        By the names of ``InputSpread`` [%, dB or deg, as the name ends]

    Returns
    -------
    spread : InputSpread
        What ``how_sure`` takes
    """
    warn_renamed("Unknowns(...)", "InputSpread(...)")
    return InputSpread(**spread)
