"""The inside of a tub as one thing: which of its probes count, and the coldest and the hottest of them as one. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from matwarden.core.exposure import Exposure
from matwarden.terms import Enclosure, ProbeTerms, Role

__all__ = ["inside_of", "inside_probes"]


def inside_probes(enclosure: Enclosure) -> Sequence[ProbeTerms]:
    """The probes that tell the inside temperature: those in the air; without any, in the substrate, or at the wall."""
    probes: Sequence[ProbeTerms] = ()
    for role in (Role.AIR, Role.SUBSTRATE, Role.WALL):
        probes = probes or [probe for probe in enclosure.probes if probe.role is role]
    return probes


def inside_of(cold: Exposure, hot: Exposure, lasts_s: float) -> Exposure:
    """One exposure out of that of the coldest and that of the hottest, over the same `lasts_s` seconds."""
    # One side may be too cold while the other is too hot: that time counts on both sides, so the band gets the rest.
    outside_s = cold.below_s + hot.above_s
    return cold._replace(
        highest=hot.highest,
        mean=None if cold.mean is None or hot.mean is None else (cold.mean + hot.mean) / 2.0,
        in_band_s=max(lasts_s - cold.missing_s - outside_s, 0.0),
        above_s=hot.above_s,
        longest_above=hot.longest_above,
        above_kh=hot.above_kh,
    )
