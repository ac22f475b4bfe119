"""Layers of a drawing: what each means, its color on screen, its line on paper."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer."""

    color: int  # of the AutoCAD index, an open convention of DXF
    weight: float  # of its lines [mm]     widths of ISO 128-2
    meaning: str  # in the legend; empty: not listed
    dashes: tuple = ()  # line and gap in turn on paper [mm]; none for a full line


LAYERS = {
    "GYM": Layer(color=7, weight=0.5, meaning="walls, floor, roof"),
    "CUT": Layer(color=7, weight=0.5, meaning="cut by the section"),
    "COURT": Layer(color=8, weight=0.13, meaning="court lines"),
    "SEATING": Layer(color=9, weight=0.25, meaning="bleachers and chairs"),
    "ROWS": Layer(color=9, weight=0.13, meaning="row of seats"),
    "AISLES": Layer(color=9, weight=0.13, meaning="aisle", dashes=(1.0, 0.8)),
    "STAGE": Layer(color=9, weight=0.35, meaning="stage"),
    "CURTAIN": Layer(color=6, weight=0.35, meaning="curtain, closed", dashes=(3, 1.2)),
    "BALCONY": Layer(color=9, weight=0.25, meaning="balcony, running track", dashes=(4.0, 1.5)),
    "DIVIDER": Layer(color=6, weight=0.35, meaning="dividing curtain", dashes=(5, 1, 1, 1)),
    "FIXTURES": Layer(color=8, weight=0.18, meaning="obstacle"),
    "JOISTS": Layer(color=8, weight=0.13, meaning="joist", dashes=(6.0, 1.0, 1.0, 1.0)),
    "CLEAR-HEIGHT": Layer(color=8, weight=0.13, meaning="clear height", dashes=(3.0, 1.5)),
    "LOUDSPEAKERS": Layer(color=1, weight=0.5, meaning="loudspeaker, as it hangs"),
    "POINTS": Layer(color=1, weight=0.35, meaning="hanging point"),
    "AIM-LINES": Layer(color=3, weight=0.25, meaning="aim, to where it lands", dashes=(5, 1, 1, 1)),
    "COVERAGE": Layer(color=4, weight=0.18, meaning="-6 dB edge at 2 kHz", dashes=(2.0, 1.0)),
    "MICROPHONES": Layer(color=5, weight=0.25, meaning="microphone"),
    "RACK": Layer(color=6, weight=0.35, meaning="rack"),
    "CABLES": Layer(
        color=30, weight=0.25, meaning="cable route, schematic", dashes=(6, 1, 1, 1, 1, 1)
    ),
    "SECTION-MARKS": Layer(color=7, weight=0.35, meaning="cut of a section", dashes=(8, 1, 1, 1)),
    "DIMENSIONS": Layer(color=7, weight=0.13, meaning="dimension from a datum"),
    # from a feature to the edge of the view: lighter than all that it crosses
    "EXTENSIONS": Layer(color=8, weight=0.09, meaning="", dashes=(0.8, 1.2)),
    "TAGS": Layer(color=7, weight=0.13, meaning=""),
    "NOTES": Layer(color=7, weight=0.18, meaning=""),
    "FRAME": Layer(color=7, weight=0.35, meaning=""),
}
