"""What must hold of the recorded winter. Each check looks at the run's files and at the truth, never at the program."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from winter import evidence
from winter.rehearse import DATA, PHONE, RELAYS, TUBS, Winter

__all__ = ["CHECKS", "Check", "Facts", "failure_h"]

ZONE = ZoneInfo("Europe/Amsterdam")
# 72 and 82 F: common practice among keepers, no source.
LOW_C, HIGH_C = (72.0 - 32.0) / 1.8, (82.0 - 32.0) / 1.8
# As winter.toml leaves or sets them: the defaults of [alarms], and the cut-out of every mat.
ON_DELAY_S, OFF_DELAY_S, DEADBAND_K = 3600.0, 300.0, 0.5
CUT_OUT_C = 30.5
# From source.csv: the first hour without any heating power.
HEATING_STOPS_S = datetime.fromisoformat("2019-12-25T18:00:00+00:00").timestamp()
# Half a step of a probe's digits (0.0625 K) and three standard deviations of its noise (0.02 K).
PROBE_K = 0.0625 / 2 + 3 * 0.02
MOST_SWITCHINGS_PER_H = 1.5


class Check(NamedTuple):
    """One rule, whether it holds, and what was found."""

    rule: str
    holds: bool
    found: str


class Facts:
    """A winter with its record read anew, each part once."""

    def __init__(self, winter: Winter) -> None:
        self.winter = winter

    @cached_property
    def series(self) -> dict[tuple[str, str], list[tuple[float, float]]]:
        return evidence.series(self.winter.database)

    @cached_property
    def alarms(self) -> list[evidence.AlarmRow]:
        return evidence.alarms(self.winter.database)

    @cached_property
    def digests(self) -> list[evidence.DigestRow]:
        return evidence.digests(self.winter.database)

    @cached_property
    def switchings(self) -> dict[str, list[tuple[float, bool]]]:
        return {tub: evidence.switchings(self.winter.out / RELAYS, tub) for tub in TUBS}

    @property
    def lasts_s(self) -> float:
        return self.winter.days * 86400.0

    def told(self, tub: str) -> list[tuple[float, str]]:
        """The tub's cold alarm as it was told, as (time, "starts" or "returns" or the two states)."""
        words = {("normal", "unacknowledged"): "starts", ("unacknowledged", "returned-unacknowledged"): "returns"}
        return [
            (row.wall_s, words.get((row.previous, row.state), f"{row.previous} -> {row.state}"))
            for row in self.alarms
            if row.alarm == f"cold/{tub}"
        ]

    def air_c(self, tub: str, from_s: float, to_s: float) -> Sequence[float]:
        """The true air at each step between two wall times, both included."""
        winter = self.winter
        first, last = (round((at_s - winter.start_wall_s) / winter.step_s) for at_s in (from_s, to_s))
        return winter.truth[tub].air_c[max(first, 0) : last + 1]


def every_reading_is_recorded(facts: Facts) -> Check:
    """Nine probes, one of them with humidity, at every step: not one reading is lost."""
    expected = round(facts.lasts_s / facts.winter.step_s)
    counts = {len(readings) for readings in facts.series.values()}
    holds = len(facts.series) == 10 and counts == {expected}
    return Check("every reading is in the record", holds, f"{sum(map(len, facts.series.values()))} readings")


def ordinary_winter_is_in_band(facts: Facts) -> Check:
    """Outside the failure, which ends for a tub with its alarm's return, the true air never leaves the band."""
    start_s, end_s = facts.winter.start_wall_s, facts.winter.start_wall_s + facts.lasts_s
    extremes: list[float] = []
    for tub in TUBS:
        over_s = max((at_s for at_s, _ in facts.told(tub)), default=end_s)
        outside = (facts.air_c(tub, start_s, HEATING_STOPS_S), facts.air_c(tub, over_s, end_s))
        extremes += [extreme(part) for part in outside for extreme in (min, max) if part]
    holds = min(extremes) >= LOW_C and max(extremes) <= HIGH_C
    return Check("the band holds outside the failure", holds, f"true air {min(extremes):.2f} to {max(extremes):.2f} C")


def failure_makes_every_tub_cold(facts: Facts) -> Check:
    """In the failure the true air of every tub lies below the band for days without a break."""
    longest_h = {tub: failure_h(facts.winter.truth[tub].air_c, facts.winter.step_s) for tub in TUBS}
    holds = all(hours > 72.0 for hours in longest_h.values())
    return Check("the failure is steady cold in every tub", holds, _each(longest_h, "h", 1))


def one_alarm_a_tub(facts: Facts) -> Check:
    """One cold alarm a tub, start and return, and no other alarm of any kind in 33 days."""
    told = {tub: [word for _, word in facts.told(tub)] for tub in TUBS}
    holds = all(words == ["starts", "returns"] for words in told.values()) and len(facts.alarms) == 2 * len(TUBS)
    return Check("exactly one alarm told a tub", holds, f"{len(facts.alarms)} transitions of {len(TUBS)} alarms")


def two_pushes_a_tub(facts: Facts) -> Check:
    """The phone got one push when a tub's alarm started, one when it returned, the digests, and nothing else."""
    pushes = evidence.pushes(facts.winter.database)
    own = [title for _, title in pushes if not title.startswith("Winter shelf:")]
    moments = sorted(at_s for at_s, title in pushes if title in own)
    holds = (
        all(sum(title.startswith(tub.capitalize()) for title in own) == 2 for tub in TUBS)
        and len(own) == 2 * len(TUBS)
        and moments == sorted(row.wall_s for row in facts.alarms)
        and len((facts.winter.out / PHONE).read_text(encoding="utf-8").splitlines()) == len(pushes)
    )
    return Check("a start and a return push a tub, no other", holds, f"{len(own)} and {len(pushes) - len(own)} digests")


def nothing_is_told_that_is_not_so(facts: Facts) -> Check:
    """At a start the true air has been below the band for the whole delay; at a return it is well inside again."""
    wrong = []
    for tub in TUBS:
        for at_s, word in facts.told(tub):
            if word == "starts":
                so = max(facts.air_c(tub, at_s - ON_DELAY_S, at_s)) < LOW_C + PROBE_K
            else:
                so = min(facts.air_c(tub, at_s - OFF_DELAY_S, at_s)) > LOW_C + DEADBAND_K - PROBE_K
            if not so:
                wrong.append(f"{tub} {word}")
    return Check("no alarm while the true air is in band", not wrong, ", ".join(wrong) or "none")


def alarm_timeline_is_the_independent_one(facts: Facts) -> Check:
    """A plain loop over the recorded readings tells the same alarms at the same seconds."""
    told = {tub: facts.told(tub) for tub in TUBS}
    due = {
        tub: evidence.cold_alarm(
            facts.series[f"{tub}-air", "temperature"], LOW_C, LOW_C + DEADBAND_K, ON_DELAY_S, OFF_DELAY_S
        )
        for tub in TUBS
    }
    holds = told == due and all(due.values())
    return Check("the alarms are those of an independent loop", holds, f"{sum(map(len, due.values()))} moments agree")


def one_digest_a_local_date(facts: Facts) -> Check:
    """Each local date has one digest, made at 08:00 of it; together they leave no gap and no overlap."""
    first = datetime.fromtimestamp(facts.winter.start_wall_s, ZONE).date()
    days = [first + timedelta(days=n) for n in range(round(facts.winter.days))]
    due = [(day.isoformat(), _eight_o_clock_s(day)) for day in days]
    joined = all(a.document["to"] == b.document["from"] for a, b in pairwise(facts.digests))
    holds = [(row.date, row.made_s) for row in facts.digests] == due and joined
    return Check("one digest a local date, exactly once", holds, f"{len(facts.digests)} digests")


def digest_extremes_are_those_of_the_readings(facts: Facts) -> Check:
    """Every lowest and highest of every digest, in its document and in its text, is found again in the raw rows."""
    wrong, compared = [], 0
    for row in facts.digests:
        from_s, to_s = (_moment_s(row.document[key]) for key in ("from", "to"))
        for place, probe, quantity, name in _places(row.document):
            window = _between(facts.series[probe, quantity], from_s, to_s)
            low, high = (pick(window, key=lambda reading: reading[1]) for pick in (min, max))
            unit = "c" if quantity == "temperature" else "pct"
            for key, (at_s, value) in (("lowest", low), ("highest", high)):
                compared += 1
                kept = place[key]
                if kept[f"value_{unit}"] != value or _moment_s(kept["at"]) != at_s:
                    wrong.append(f"{row.date} {probe} {key}")
            if name and f"{name}: {_shown(low)} to {_shown(high, ' °C')}" not in row.text:
                wrong.append(f"{row.date} {name}'s line")
    found = ", ".join(wrong[:5]) or f"{compared} extremes agree"
    return Check("each digest's extremes are those of the rows", not wrong and compared > 0, found)


def digest_heat_is_that_of_the_relays(facts: Facts) -> Check:
    """Every digest's share of heat and count of switchings is found again in the relays' own record."""
    wrong = []
    for row in facts.digests:
        from_s, to_s = (_moment_s(row.document[key]) - facts.winter.start_wall_s for key in ("from", "to"))
        for tub in row.document["enclosures"]:
            record = facts.switchings[tub["id"]]
            share = _allowed_s(record, from_s, to_s) / (to_s - from_s)
            switched = sum(allow and from_s < at_s <= to_s for at_s, allow in record)
            if abs(tub["heat"]["allowed_share"] - share) > 0.0005 or tub["heat"]["operations"] != switched:
                wrong.append(f"{row.date} {tub['id']}")
    found = ", ".join(wrong[:5]) or f"{len(facts.digests) * len(TUBS)} shares agree"
    return Check("each digest's heat is that of the relay", not wrong, found)


def energy_is_conserved(facts: Facts) -> Check:
    """Mean duty = (mean enclosure - mean room) / (K/W x W) within 2 %, and within 0.1 % with the heat that is stored.

    Mean enclosure: the true nodes weighted by what they lose to the room; K/W: 1 / sum of their conductances.
    """
    start_s = facts.winter.start_wall_s
    room_c = evidence.mean_room_c(DATA / "room.csv", start_s, start_s + facts.lasts_s)
    errors_pct, stored_pct, holds = {}, {}, True
    for tub in TUBS:
        tub_is = evidence.physics(DATA / "winter.toml", tub)
        truth = facts.winter.truth[tub]
        nodes = (("wall", truth.wall_c), ("air", truth.air_c), ("substrate", truth.substrate_c))
        loss_w = sum(tub_is[f"{node}_room_w_per_k"] * (_mean(course) - room_c) for node, course in nodes)
        stored_j = sum(tub_is[f"{node}_j_per_k"] * (course[-1] - course[0]) for node, course in nodes)
        duty = _allowed_s(facts.switchings[tub], 0.0, facts.lasts_s) / facts.lasts_s
        given_w = duty * tub_is["mat_w"]
        errors_pct[tub] = 100.0 * (loss_w / given_w - 1.0)
        stored_pct[tub] = 100.0 * stored_j / facts.lasts_s / given_w
        holds = holds and abs(errors_pct[tub]) < 2.0 and abs(errors_pct[tub] + stored_pct[tub]) < 0.1
    largest = max(errors_pct.values(), key=abs)
    found = f"off by {largest:+.3f} % at most; heat stored {max(stored_pct.values(), key=abs):+.3f} %"
    return Check("heat given = heat lost", holds, found)


def wall_stays_under_cut_out(facts: Facts) -> Check:
    """No wall ever truly comes near the software cut-out."""
    hottest_c = {tub: max(facts.winter.truth[tub].wall_c) for tub in TUBS}
    return Check("no wall reaches the cut-out", max(hottest_c.values()) < CUT_OUT_C, _each(hottest_c, "C", 1))


def relays_switch_seldom(facts: Facts) -> Check:
    """A relay is made for some 100000 switchings (common practice, no source): at this rate it lasts for years."""
    per_h = {tub: sum(allow for _, allow in facts.switchings[tub]) * 3600.0 / facts.lasts_s for tub in TUBS}
    return Check("relays switch seldom", 0.0 < max(per_h.values()) < MOST_SWITCHINGS_PER_H, _each(per_h, "an hour", 2))


CHECKS: tuple[Callable[[Facts], Check], ...] = (
    every_reading_is_recorded,
    ordinary_winter_is_in_band,
    failure_makes_every_tub_cold,
    one_alarm_a_tub,
    two_pushes_a_tub,
    nothing_is_told_that_is_not_so,
    alarm_timeline_is_the_independent_one,
    one_digest_a_local_date,
    digest_extremes_are_those_of_the_readings,
    digest_heat_is_that_of_the_relays,
    energy_is_conserved,
    wall_stays_under_cut_out,
    relays_switch_seldom,
)


def failure_h(air_c: Sequence[float], step_s: float) -> float:
    """The longest unbroken time below the band, in hours."""
    longest = run = 0
    for value_c in air_c:
        run = run + 1 if value_c < LOW_C else 0
        longest = max(longest, run)
    return longest * step_s / 3600.0


def _places(document: dict[str, Any]) -> list[tuple[dict[str, Any], str, str, str]]:
    """Every pair of extremes in a digest: where it stands, whose it is, of what, and whose line in the text has it."""
    places = [(document["room"], "room", "temperature", "Room")]
    for tub in document["enclosures"]:
        places.append((tub["inside"], f"{tub['id']}-air", "temperature", tub["name"]))
        places += [(each, f"{tub['id']}-{each['role']}", each["quantity"], "") for each in tub["climates"]]
    return places


def _between(readings: Sequence[tuple[float, float]], from_s: float, to_s: float) -> Sequence[tuple[float, float]]:
    """The readings after `from_s` up to `to_s`; a run's very first one belongs to its first window."""
    first = bisect_right(readings, (from_s, float("inf"))) if readings[0][0] != from_s else 0
    return readings[first : bisect_right(readings, (to_s, float("inf")))]


def _allowed_s(record: Sequence[tuple[float, bool]], from_s: float, to_s: float) -> float:
    """For how long the line allowed power between two times."""
    ends = [at_s for at_s, _ in record[1:]] + [float("inf")]
    return sum(
        max(0.0, min(end_s, to_s) - max(at_s, from_s))
        for (at_s, allow), end_s in zip(record, ends, strict=True)
        if allow
    )


def _mean(course: Sequence[float]) -> float:
    """Mean over time of equal steps, the ends counting half (trapezoids)."""
    return (sum(course) - (course[0] + course[-1]) / 2.0) / (len(course) - 1)


def _shown(extreme: tuple[float, float], unit: str = "") -> str:
    at_s, value = extreme
    return f"{value:.1f}{unit} ({datetime.fromtimestamp(at_s, ZONE):%H:%M})"


def _moment_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def _eight_o_clock_s(day: date) -> float:
    return datetime.combine(day, time(8), ZONE).timestamp()


def _each(values: dict[str, float], unit: str, decimals: int) -> str:
    return ", ".join(f"{tub} {value:.{decimals}f}" for tub, value in values.items()) + f" {unit}"
