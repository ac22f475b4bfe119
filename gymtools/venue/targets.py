"""What a design is asked to reach; every target can be edited in the scenario file, table
[targets].
"""

from dataclasses import dataclass

from .quantity import Thing, quantity


@dataclass(frozen=True, kw_only=True)
class Targets(Thing):
    """Targets of the criteria; each criterion says where its default comes from."""

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
    on_listeners_pct: float | None = quantity(
        "%",
        2,
        100,
        default=None,
        hint="Give percent, not a fraction. Left out, it follows from what aim can reach.",
    )
    rt_s: float | None = quantity(
        "s", 0.3, 10, default=None, hint="Left out, it follows from the volume."
    )
