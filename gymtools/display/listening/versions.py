"""What a seat can be heard with: as it is, and as it would be otherwise."""

from dataclasses import dataclass, field, replace

from ...acoustics.listening import RINGS_DB, Listening
from ...design.treatment import free_areas, treated

NOW = "now"


@dataclass(frozen=True, kw_only=True)
class Version:
    """One way in which the seat can be heard."""

    key: str
    label: str
    # gives the scenario when it is wanted: some are made for it
    scenario: object = field(compare=False, repr=False)
    how: dict = field(default_factory=dict)  # of ``Listening``, what differs

    def listening(self, **usual):
        """How it is listened to.

        Parameters
        ----------
        usual : any
            Fields of ``Listening`` where the version says nothing else

        Returns
        -------
        how : Listening
            For ``listen``
        """
        return Listening(**(usual | self.how))


def versions(scenario, use, *, kept=(), before=None):
    """Everything that the seat can be heard with.

    Parameters
    ----------
    scenario : Scenario
        As it is now
    use : str
        Name of the use
    kept : sequence of tuple
        Names and scenarios of kept designs
    before : Scenario, optional
        As it was before the last change

    Returns
    -------
    versions : tuple of Version
        As it is now first
    """
    now = scenario.use(use)
    found = [Version(key=NOW, label="As it is now", scenario=lambda: scenario)]
    if before is not None:
        found.append(Version(key="before", label="Before the last change", scenario=lambda: before))
    for name, other in kept:
        if use in [u.name for u in other.uses]:
            made = Version(key=f"kept {name}", label=f"Kept: {name}", scenario=lambda o=other: o)
            found.append(made)
    settings = [now.group_setting(g.name) for g in scenario.groups]
    if any(s.on and s.delay_ms > 0 for s in settings):
        found.append(_other(scenario, "no delays", "Without the delays", delays=False))
    found.append(_treatment(scenario))
    found.append(_other(scenario, "quiet", "In a quiet gym", background="quiet"))
    found.append(_other(scenario, "full", "With a full, shouting crowd", background="full"))
    if now.microphones:
        for reserve in RINGS_DB:
            words = f"Microphone {reserve:g} dB before feedback"
            found.append(_other(scenario, f"ring {reserve:g}", words, ring_db=reserve))
    return tuple(found)


def _other(scenario, key, label, **how):
    return Version(key=key, label=label, scenario=lambda: scenario, how=how)


def _treatment(scenario):
    """The gym without its treatment; one without any with half of what is free treated."""
    planned = tuple(t for t in scenario.treatments if not t.existing)
    if planned:
        existing = tuple(t for t in scenario.treatments if t.existing)
        return Version(
            key="untreated",
            label="Without the planned treatment",
            scenario=lambda: replace(scenario, treatments=existing),
        )
    half = sum(free_areas(scenario).values()) / 2
    return Version(
        key="treated",
        label="With panels on half of the free walls and roof",
        scenario=lambda: treated(scenario, half),
    )
