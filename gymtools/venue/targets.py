"""What a design is asked to reach; every target can be edited in the scenario file, table
[targets].
"""

from dataclasses import dataclass

from .quantity import Thing, quantity


@dataclass(frozen=True, kw_only=True)
class Targets(Thing):
    """Targets of the criteria; where each default comes from is told in ``SOURCES``."""

    coverage_range_db: float = quantity("dB", 1, 30, default=6.0)
    within_3db_pct: float = quantity(
        "%", 2, 100, default=80.0, hint="Give percent, not a fraction."
    )
    quietest_seat_db: float = quantity(
        "dB", 1, 30, default=6.0, hint="How far the worst seat may lie below its area's mean."
    )
    speech_to_noise_db: float = quantity("dB", 0, 30, default=10.0)
    sti: float = quantity(
        "", 0.2, 0.9, default=0.5, hint="Speech transmission index, between 0 and 1."
    )
    arrival_ms: float = quantity("ms", 1, 200, default=30.0)
    feedback_margin_db: float = quantity(
        "dB", -10, 20, default=0.0, hint="Over the stability margin of 6 dB."
    )
    echo: float = quantity(
        "",
        0.5,
        2.0,
        default=1.0,
        hint="Echo criterion for speech; 1.0 disturbs half of all listeners.",
    )
    loudest_dba: float = quantity("dB(A)", 70, 110, default=95.0)
    on_listeners_pct: float = quantity(
        "%", 2, 100, default=35.0, hint="Give percent, not a fraction."
    )
    rt_s: float | None = quantity(
        "s", 0.3, 10, default=None, hint="Left out, it follows from the volume."
    )


SOURCES = {
    "coverage_range_db": "common practice: within 3 dB either way, no source",
    "within_3db_pct": "common practice, no source",
    "quietest_seat_db": "common practice, no source",
    "speech_to_noise_db": "common practice: at least 10 dB(A), 15 for full clarity, no source",
    "sti": (
        "IEC 60268-16 Ed. 5 (2020), annex G: 0.50, the target for voice alarm; 0.54 for good public"
        " address"
    ),
    "arrival_ms": "common practice: 30 ms between sources of similar level, after Haas (1951)",
    "feedback_margin_db": (
        "Sound Reinforcement Handbook, 5.3.1: run 6 dB below ringing; nothing asked beyond it"
    ),
    "echo": "Dietsch and Kraak, Acustica 60 (1986): speech, 50 % of listeners disturbed at 1.0",
    "loudest_dba": "judgment: short announcements at the nearest seats, no source",
    "on_listeners_pct": "common practice: sound goes onto people, the figure has no source",
    "rt_s": (
        "DIN 18041:2016, group A5 (sports halls), by volume; formula from memory, checked against"
        " its printed table"
    ),
}
