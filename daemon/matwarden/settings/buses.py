"""Whether the probes of a shared bus can all be read in the time between two polls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil

from matwarden.settings.problems import Findings
from matwarden.settings.resolved import Dht22, Hwmon, Iio, OneWire, TwinProbe
from matwarden.terms import ProbeTerms

__all__ = ["CONVERSION_S", "judge_buses"]

# DS18B20 datasheet, AC electrical characteristics: tCONV at 12 bits, at most 750 ms. The kernel's driver holds the bus
# for it, so the probes of one bus take turns.
CONVERSION_S = 0.75


def judge_buses(
    findings: Findings,
    probes: Sequence[ProbeTerms],
    drivers: Mapping[str, OneWire | Iio | Hwmon | Dht22 | TwinProbe],
) -> None:
    """Warn when the 1-wire probes, if they share one bus, cannot be read as often as they are asked.

    The settings do not say which probe is on which bus; most houses have one.
    """
    every_s = [probe.poll_s for probe in probes if isinstance(drivers.get(probe.id), OneWire)]
    load = sum(CONVERSION_S / each_s for each_s in every_s)
    if load <= 1.0:
        return
    shortest_s = min(every_s)
    findings.warn(
        f"probes: {len(every_s)} on 1-wire: one after the other, as on one bus, they take "
        f"{len(every_s) * CONVERSION_S:g} s, {CONVERSION_S:g} s each; some are asked every {shortest_s:g} s. Readings "
        f"would come late or not at all. Raise every_s of [polling] to {ceil(len(every_s) * CONVERSION_S)} or more, or "
        "spread them over several buses; if they are, this warning means nothing."
    )
