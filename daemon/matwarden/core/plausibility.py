"""From a capture to a reading, or to a refusal with its reason.

Law: a refused value never leaves this module as a number that a threshold could compare, except one that is merely
doubtful: that one may still cut heat, never allow it. What refuses, in this order:

missing   no answer, not a number, outside -30..70 C, exact 0.0 C with exact 0.0 %, the part's power-on value;
doubtful  a change faster than the probe's maximum rate, until `AGREE_N` captures in a row agree with each other (the
          probe was moved, or the lid is off); a value that has not moved for hours while its neighbour has.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from matwarden.terms import ProbeTerms, Quality, Seen

__all__ = ["AGREE_N", "Judged", "ProbeMemory", "fresh_memory", "judge", "view"]

# A room for living animals: a probe outside this range is broken or not where it should be. Narrower than any part's
# own range (AM2302 -40..80 C, DS18B20 -55..125 C), so the impossible values of clones and brown-outs are caught too.
PLAUSIBLE_LOW_C = -30.0
PLAUSIBLE_HIGH_C = 70.0

AGREE_N = 3
# Quantisation (0.1 K) on both sides and repeatability (0.2 K, AM2302 datasheet) may add up between two captures.
RATE_SLACK_K = 0.5

STUCK_AFTER_S = 4 * 3600.0
STUCK_NEIGHBOUR_K = 1.0


class ProbeMemory(NamedTuple):
    """What is remembered of one probe between captures. Times are monotonic seconds.

    Attributes:
        good_c: last good temperature; None before the first. good_s: when. good_run: good captures in a row.
        quality, attempt_s, why: of the latest capture.
        suspect_c: latest doubtful temperature since the last good one; suspect_s: when; suspect_why: what is odd.
        suspect_run: doubtful ones that agree, in a row.
        flat_since_s: since when the value has been the same to its last digit.
        neighbour_low_c, neighbour_high_c: the neighbour's range since then.
    """

    good_c: float | None
    good_s: float
    good_run: int
    quality: Quality
    attempt_s: float
    why: str
    suspect_c: float | None
    suspect_s: float
    suspect_run: int
    suspect_why: str
    flat_since_s: float
    neighbour_low_c: float | None
    neighbour_high_c: float | None


class Judged(NamedTuple):
    """The outcome of one capture.

    Attributes:
        temperature_c: with the offset applied; None when missing.
        humidity_pct: None when the probe has none, or what it gave cannot be.
        moved: True for the reading that ends a doubt by agreement: the probe was moved; worth a note.
    """

    quality: Quality
    temperature_c: float | None
    humidity_pct: float | None
    why: str
    moved: bool


def fresh_memory(now_s: float) -> ProbeMemory:
    """The memory of a probe that has not been read yet."""
    return ProbeMemory(None, now_s, 0, Quality.MISSING, now_s, "not read yet", None, now_s, 0, "", now_s, None, None)


def judge(
    memory: ProbeMemory,
    temperature_c: float | None,
    humidity_pct: float | None,
    at_power_on_value: bool,
    failure: str,
    now_s: float,
    terms: ProbeTerms,
    neighbour_c: float | None = None,
) -> tuple[ProbeMemory, Judged]:
    """Judge one capture.

    Args:
        temperature_c: as read, without offset; None when the capture failed, and then `failure` says why.
        humidity_pct: as read; None when the probe has none.
        at_power_on_value: the driver knows the value to be the part's power-on register.
        now_s: monotonic time of the capture.
        neighbour_c: last good temperature of another probe of the same enclosure, None when there is none.
    """
    why = failure or _impossible(temperature_c, humidity_pct, at_power_on_value)
    if why or temperature_c is None:
        missing = memory._replace(
            good_run=0,
            quality=Quality.MISSING,
            attempt_s=now_s,
            why=why or "no value",
            suspect_run=0,
        )
        return missing, Judged(Quality.MISSING, None, None, missing.why, False)

    value_c = temperature_c + terms.offset_k
    humidity = _usable_humidity(humidity_pct)
    good_c = memory.good_c
    run = memory.good_run
    if good_c is not None and now_s - memory.good_s > terms.stale_s:
        run = 0

    # Flatness is followed whatever the outcome: a stuck probe must not look fresh because it was doubted once.
    if value_c == good_c or value_c == memory.suspect_c:
        flat_since_s = memory.flat_since_s
        low_c, high_c = memory.neighbour_low_c, memory.neighbour_high_c
        if neighbour_c is not None:
            low_c = neighbour_c if low_c is None or neighbour_c < low_c else low_c
            high_c = neighbour_c if high_c is None or neighbour_c > high_c else high_c
    else:
        flat_since_s, low_c, high_c = now_s, neighbour_c, neighbour_c

    doubt = ""
    moved = False
    suspect_run = 0
    if good_c is not None and _too_fast(good_c, memory.good_s, value_c, now_s, terms):
        agrees = memory.suspect_c is not None and not _too_fast(
            memory.suspect_c, memory.suspect_s, value_c, now_s, terms
        )
        suspect_run = memory.suspect_run + 1 if agrees else 1
        if suspect_run >= AGREE_N:
            moved, suspect_run, run = True, 0, 0
        else:
            doubt = f"jumped further than a tub can in {now_s - memory.good_s:.0f} s"
    if (
        not doubt
        and now_s - flat_since_s >= STUCK_AFTER_S
        and low_c is not None
        and high_c is not None
        and high_c - low_c >= STUCK_NEIGHBOUR_K
    ):
        doubt = f"has not moved for {(now_s - flat_since_s) / 3600:.0f} h while its neighbour did"

    if doubt:
        doubtful = ProbeMemory(
            good_c,
            memory.good_s,
            0,
            Quality.DOUBTFUL,
            now_s,
            doubt,
            value_c,
            now_s,
            suspect_run,
            doubt,
            flat_since_s,
            low_c,
            high_c,
        )
        return doubtful, Judged(Quality.DOUBTFUL, value_c, None, doubt, False)
    good = ProbeMemory(
        value_c,
        now_s,
        run + 1,
        Quality.GOOD,
        now_s,
        "",
        None,
        now_s,
        0,
        "",
        flat_since_s,
        low_c,
        high_c,
    )
    return good, Judged(Quality.GOOD, value_c, humidity, "", moved)


def view(memory: ProbeMemory, now_s: float, stale_s: float) -> Seen:
    """What the probe says at `now_s`.

    The last good value stands until it is older than `stale_s`, even if later captures failed; a doubtful capture
    takes its place at once, because doubt may cut, and a failed capture does not take that doubt away. After `stale_s`
    without either the probe says nothing.
    """
    if memory.suspect_c is not None:
        if now_s - memory.suspect_s <= stale_s:
            return Seen(Quality.DOUBTFUL, memory.suspect_c, memory.suspect_s, 0, memory.suspect_why)
    elif memory.good_c is not None and now_s - memory.good_s <= stale_s:
        # good_run is 0 while a capture has failed since: such a value keeps heat going, but proves nothing.
        return Seen(Quality.GOOD, memory.good_c, memory.good_s, memory.good_run, "")
    failed = memory.quality is Quality.MISSING
    why = memory.why if failed else f"no reading for {now_s - memory.attempt_s:.0f} s"
    return Seen(Quality.MISSING, None, memory.attempt_s, 0, why)


def _impossible(temperature_c: float | None, humidity_pct: float | None, at_power_on_value: bool) -> str:
    if temperature_c is None:
        return "no value"
    if not isfinite(temperature_c):
        return "not a number"
    if at_power_on_value:
        return "the probe lost its supply: it shows the value it starts with"
    if temperature_c == 0.0 and humidity_pct == 0.0:
        return "exactly 0 °C and 0 %: a line that is stuck low looks like this"
    if not PLAUSIBLE_LOW_C <= temperature_c <= PLAUSIBLE_HIGH_C:
        return f"{temperature_c:.1f} °C cannot be (plausible: {PLAUSIBLE_LOW_C:.0f} to {PLAUSIBLE_HIGH_C:.0f} °C)"
    return ""


def _usable_humidity(humidity_pct: float | None) -> float | None:
    if humidity_pct is None or not isfinite(humidity_pct) or not 0.0 <= humidity_pct <= 100.0:
        return None
    return humidity_pct


def _too_fast(before_c: float, before_s: float, after_c: float, after_s: float, terms: ProbeTerms) -> bool:
    allowed_k = terms.max_rate_k_per_min * (after_s - before_s) / 60.0 + RATE_SLACK_K
    return abs(after_c - before_c) > allowed_k
