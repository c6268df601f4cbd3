"""What is found on the running machine, judged: fine, worth knowing, or to be put right. Values in, findings out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from typing import NamedTuple

from matwarden.core.plausibility import fresh_memory, judge
from matwarden.core.units import temperature_text
from matwarden.install_plan import BOOT_FILE, WATCHDOG_DROP_IN
from matwarden.sinks.store_space import FLOOR_BYTES
from matwarden.terms import ProbeTerms, Unit
from matwarden_hardware.ports import Sample

__all__ = [
    "Finding",
    "State",
    "clock",
    "free_space",
    "hardware_watchdog",
    "persistence",
    "probe",
    "relay_at_rest",
    "span_s",
]

_MB = 1_000_000
# The watchdog of the Raspberry Pi counts to about 15 s; kernels before 6.8 refused a longer time without a word.
_LONGEST_WATCHDOG_S = 15.0
# Units as systemd.time(7) writes them; months and years never come up here.
_UNITS_S = {"us": 1e-6, "μs": 1e-6, "µs": 1e-6, "ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}


class State(StrEnum):
    """How well it is."""

    OK = "ok"
    WARN = "warn"
    FAIL = "fail"


class Finding(NamedTuple):
    """One thing that was looked at.

    Attributes:
        subject: what. told: what was found. advice: what to do; empty when it is well.
    """

    subject: str
    state: State
    told: str
    advice: str = ""


def persistence(parameters: Mapping[str, str], command_line: str) -> Finding:
    """Does a relay line keep its level when its program dies?

    Args:
        parameters: of the kernel's pin controllers, `persist_gpio_outputs` by module; Y or N.
        command_line: the kernel's own.
    """
    subject = "GPIO persistence"
    advice = f"Add dtparam=strict_gpiod to {BOOT_FILE} and restart; the resistor at the relay then says cut."
    if any(value.strip() in ("Y", "1") for value in parameters.values()):
        told = "a relay line keeps its level, heat and all, when its program dies"
        return Finding(subject, State.FAIL, told, advice)
    if parameters:
        return Finding(subject, State.OK, "off: a line falls back when its program dies")
    asked = re.findall(r"\bpinctrl_\w+\.persist_gpio_outputs=(\S+)", command_line)
    if asked and asked[-1].lower() in ("n", "0", "off", "false"):
        return Finding(subject, State.OK, "off, by the kernel's command line")
    told = "cannot be told: this kernel shows no persist_gpio_outputs"
    return Finding(subject, State.WARN, told, f"On a Raspberry Pi: {advice[0].lower()}{advice[1:]}")


def hardware_watchdog(device: bool, set_to: str | None) -> Finding:
    """Is a board that freezes as a whole started again?

    Args:
        device: whether there is a watchdog device. set_to: RuntimeWatchdogUSec as systemctl shows it; None: unknown.
    """
    subject = "hardware watchdog"
    path, text = WATCHDOG_DROP_IN
    advice = f"Write {text.split()[-1]} below [Manager] into {path}, then restart."
    if not device:
        return Finding(subject, State.FAIL, "there is none", f"Add dtparam=watchdog=on to {BOOT_FILE} and restart.")
    if set_to is None:
        return Finding(subject, State.WARN, "there is one; the service manager does not tell whether it is fed", advice)
    seconds = span_s(set_to)
    if not seconds:
        return Finding(subject, State.FAIL, "there is one, and nobody feeds it: a frozen board stays frozen", advice)
    if seconds > _LONGEST_WATCHDOG_S:
        told = f"fed, but set to {set_to}: a kernel before 6.8 refuses more than 15 s without a word"
        return Finding(subject, State.WARN, told, advice)
    return Finding(subject, State.OK, f"restarts a frozen board after {set_to}")


def span_s(text: str) -> float | None:
    """A span of time as systemd shows it, such as "1min 30s", in seconds; None when it has no end or is none."""
    if text.strip() == "0":
        return 0.0
    parts = re.findall(r"([0-9.]+)\s*([a-zμµ]+)\s*", text)
    if not parts or "".join(number + unit for number, unit in parts) != re.sub(r"\s", "", text):
        return None
    try:
        return sum(float(number) * _UNITS_S[unit] for number, unit in parts)
    except (KeyError, ValueError):
        return None


def clock(by_timesyncd: bool, by_any: bool | None) -> Finding:
    """Is the wall clock right?

    Args:
        by_timesyncd: it has left its mark. by_any: what the service manager says of any time service; None: nothing.
    """
    if by_timesyncd or by_any:
        return Finding("clock", State.OK, "synchronised")
    told = "cannot be told" if by_any is None else "not synchronised: times in digests and alarms may be wrong"
    advice = "Look with: timedatectl. Guarding does not depend on it, the times people read do."
    return Finding("clock", State.WARN, told, advice)


def free_space(free_bytes: int, keep_free_mb: int, directory: str) -> Finding:
    """Is there room for the record?"""
    told = f"{free_bytes // _MB} MB free for {directory}"
    if free_bytes < FLOOR_BYTES:
        return Finding("free space", State.FAIL, f"{told}: no readings are written", "Make room, or use a larger card.")
    if free_bytes < keep_free_mb * _MB:
        advice = "Make room, or the oldest readings go until there is."
        return Finding("free space", State.WARN, f"{told}, keep_free_mb is {keep_free_mb}", advice)
    return Finding("free space", State.OK, told)


def probe(terms: ProbeTerms, told: Sample | str, unit: Unit) -> Finding:
    """Does the station get a reading it can use? The same judgement as while it runs, without its memory."""
    subject = f"probe {terms.id}"
    failure = told if isinstance(told, str) else ""
    sample = told if isinstance(told, Sample) else Sample(0.0)
    temperature_c = None if failure else sample.temperature_c
    _, judged = judge(
        fresh_memory(0.0), temperature_c, sample.humidity_pct, sample.at_power_on_value, failure, 0.0, terms
    )
    if judged.temperature_c is None:
        return Finding(subject, State.FAIL, judged.why, "What is there, and what it tells: matwarden probes.")
    humidity = "" if judged.humidity_pct is None else f", {judged.humidity_pct:.0f} % humidity"
    return Finding(subject, State.OK, temperature_text(judged.temperature_c, unit) + humidity)


def relay_at_rest(enclosure: str, allows: bool | str | None) -> Finding:
    """Does the line say cut while nobody drives it?

    Args:
        allows: its level; text when it cannot be looked at; None when nothing can tell.
    """
    subject = f"relay {enclosure}"
    if isinstance(allows, str):
        return Finding(subject, State.FAIL, allows, "Put that right: this mat's heat would stay cut.")
    if allows is None:
        return Finding(subject, State.OK, "simulated, and its level is not recorded")
    if allows:
        told = "its line, which nobody drives, LETS HEAT THROUGH"
        advice = "Unplug the mat. Then: matwarden cut; look at active in the settings and at the resistor at the relay."
        return Finding(subject, State.FAIL, told, advice)
    return Finding(subject, State.OK, "its line rests at cut")
