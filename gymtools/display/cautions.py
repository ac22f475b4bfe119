"""Safety cautions, and what the model cannot say: every panel and every document shows them."""

CAUTIONS = (
    (
        "Overhead loads: a licensed structural engineer designs and approves the attachment to the"
        " structure; rated hardware, an independent second safety, only enclosures with rated"
        " hanging points, and protection against ball strike."
    ),
    "AC power: a licensed electrician does the work, to the local code.",
    (
        "Emergency announcements: this is not a life-safety design. The fire-alarm contractor and"
        " the authority having jurisdiction decide; the sound system is muted by the fire-alarm"
        " system where they require it."
    ),
    (
        "Hearing: keep the nearest seats and the staff within the local exposure rules; check"
        " levels before the first use."
    ),
    (
        "Local codes, the authority having jurisdiction and licensed professionals come before"
        " anything shown here."
    ),
)
MOVING = (
    "While something moves, few rays are followed, and figures of the room's own sound are off by"
    " chance. At rest all rays are followed; act on those figures."
)
LIMITS = (
    (
        "A gym may ring 0.5 to 1.5 times as long as predicted: so far off is the model in 8 of 10"
        " of the few published halls. Scattering rests on two published rooms and on assumptions."
        " One decay measured in the gym itself narrows that."
    ),
    (
        "Below 250 Hz the level at a single seat varies by about 2 dB around what is shown, by"
        " interference."
    ),
    (
        "Loudspeakers are generic balloons made from nominal angles, not measurements of a product."
        " The directivity index of any one product may differ by about 1 dB, and the direct sound"
        " over the reverberant field with it."
    ),
    (
        "People do not shade each other. The direct sound bends over edges as the screen formula of"
        " ISO 9613-2 has it; sound that has been reflected does not bend."
    ),
    (
        "A loop rings at its highest peak. The peak allowance is what chance gives in a room that"
        " rings alike everywhere, less what notch filters usually buy; single paths can ring"
        " earlier."
    ),
    (
        "Absorption values are published averages or marked assumptions. A measured reverberation"
        " time is always better."
    ),
)
