"""Advice for one tub in words, and as the lines of the settings file that it comes to. Needs matwarden[analysis]."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any

from matwarden.analysis.advice import HARMS_C, LIFE_YEARS, Advice
from matwarden.analysis.consequences import Estimate
from matwarden.core.units import difference_text, difference_value, temperature_text, temperature_value
from matwarden.terms import CUT_OUT_CEILING_C, Unit

__all__ = ["advice_document", "advice_text", "advice_toml"]

_WIDTH = 80


def advice_text(enclosure: str, advice: Advice, watts_w: float | None, unit: Unit) -> str:
    """What a keeper should know and may do, in 80 columns, the file's lines last."""
    words = _Words(advice, watts_w, unit)
    lines = []
    for sentence in (words.place(), words.size(), words.weld(), words.relay(), *words.traded()):
        lines += textwrap.wrap(sentence, _WIDTH, initial_indent="  ", subsequent_indent="    ")
    return "\n".join([*lines, "", advice_toml(enclosure, advice, unit)])


def advice_toml(enclosure: str, advice: Advice, unit: Unit) -> str:
    """The keys of the tub's [[mat]] with a reason each, to stand there instead of those of the same name."""
    words = _Words(advice, None, unit)
    lines = _comment(
        f"For the [[mat]] of {enclosure}, in place of the keys of the same name there. Nothing applies them but you: "
        "write them down, look at them with matwarden check, restart the station."
    )
    was, control = advice.was, advice.control
    for key, before, after, value, reason in (
        ("setpoint", was.setpoint_c, control.setpoint_c, words.degrees(control.setpoint_c), words.setpoint()),
        (
            "hysteresis",
            was.hysteresis_k,
            control.hysteresis_k,
            words.difference(control.hysteresis_k),
            words.hysteresis(),
        ),
        ("limiter", was.limiter_c, control.limiter_c, words.degrees(control.limiter_c), words.limiter()),
        ("cut_out", was.cut_out_c, control.cut_out_c, words.degrees(control.cut_out_c), words.cut_out()),
        (
            "minimum_off_s",
            was.minimum_off_s,
            control.minimum_off_s,
            f"{control.minimum_off_s:g}",
            words.minimum_off(),
        ),
    ):
        same = abs(before - after) < 1e-6
        lines += _comment(f"As it is: {reason}" if same else reason[:1].upper() + reason[1:])
        lines.append(f"{key} = {value}")
    return "\n".join(lines) + "\n"


def advice_document(advice: Advice) -> dict[str, Any]:
    """The same for scripts, in SI units: settings as they are and as advised, and what follows from each."""
    return {
        "settings": asdict(advice.was),
        "advised": asdict(advice.control),
        "findings_advised": asdict(advice.then),
        "lowest_inside": asdict(advice.lowest_inside),
        "highest_inside": asdict(advice.highest_inside),
        "room_is_enough": advice.room_enough,
        "room_too_cold_by": asdict(advice.short),
        "heat_needed_share": advice.needed_share,
        "heat_survivable_share": advice.safe_share,
    }


class _Words:
    """One piece of advice, sentence by sentence, in the keeper's unit."""

    def __init__(self, advice: Advice, watts_w: float | None, unit: Unit) -> None:
        self._advice, self._watts_w, self._unit = advice, watts_w, unit

    def degrees(self, value_c: float) -> str:
        """As the file has it: a number without its unit."""
        return f"{round(temperature_value(value_c, self._unit), 2):g}"

    def difference(self, value_k: float) -> str:
        return f"{round(difference_value(value_k, self._unit), 2):g}"

    def place(self) -> str:
        low = self._c(self._advice.band.low_c)
        coldest = self._c(self._advice.rooms.coldest_c)
        if self._advice.room_enough:
            return (
                f"Not needed: the coldest room recorded, {coldest}, keeps the inside in the band (from {low}) by "
                "itself. Take the mat away, or leave it for a colder season."
            )
        return (
            f"A warmer place first: where the room stays at {low} or above this tub needs no mat. The coldest room "
            f"recorded was {coldest}; matwarden siting compares places."
        )

    def size(self) -> str:
        advice = self._advice
        held, short = self._estimate(advice.then.coldest_room), advice.short
        low, coldest = self._c(advice.band.low_c), self._c(advice.rooms.coldest_c)
        assert short.value is not None
        assert short.low is not None
        assert short.high is not None
        if short.high <= 0.0:
            return f"Large enough: it keeps the inside at {low} or above down to a room of {held}."
        if short.low <= 0.0:
            return (
                f"Just large enough, or not quite: it keeps the inside at {low} or above down to a room of {held}, "
                f"and the coldest was {coldest}."
            )
        by = f"the coldest room, {coldest}, is too cold for it by {self._estimate(short)}; it holds one of {held}"
        if advice.needed_share <= 1.0:
            return (
                f"Held back by the limiter: {by}. Without the limiter it would hold one of "
                f"{self._estimate(advice.free_room)}. A mat of the same heat on a larger part of the wall, or one on "
                "each of two walls, warms the inside with a cooler wall."
            )
        return (
            f"Too small: {by}. It would take {advice.needed_share:.1f} times its heat{self._watts(advice.needed_share)}"
            ", less with walls that lose less: insulate the sides that have no mat."
        )

    def weld(self) -> str:
        advice = self._advice
        inside, wall = advice.now.welded_inside, advice.now.welded_wall
        harms, hottest = self._c(HARMS_C), self._c(advice.rooms.hottest_c)
        ends = f"the inside at {self._estimate(inside)} in the hottest room recorded, {hottest}"
        assert inside.low is not None
        assert inside.high is not None
        if inside.high <= HARMS_C:
            return (
                f"A relay that welds is survivable: it would hold {ends}, under {harms}, above which it harms if it "
                f"lasts (common practice, no source). The wall would come to {self._estimate(wall)}."
            )
        apart = "Only a cut-out in the mat's supply that is no software helps then: see SAFETY.md."
        if advice.safe_share <= 0.0:
            return (
                f"Too big for a relay that welds: it would hold {ends}. Above {harms} harms if it lasts (common "
                f"practice, no source), and that room alone is as warm. {apart}"
            )
        share = advice.safe_share
        big = "Too big" if inside.low > HARMS_C else "Too big, or nearly so,"
        enough = "that would do here" if advice.safe_room_c <= advice.rooms.coldest_c else "that would not do here"
        return (
            f"{big} for a relay that welds: it would hold {ends}, the wall at {self._estimate(wall)}. Above {harms} "
            f"harms if it lasts (common practice, no source). About {share * 100.0:.0f} % of this mat's heat"
            f"{self._watts(share)} would be survivable, and hold the band down to a room of about "
            f"{self._c(advice.safe_room_c)}: {enough}. {apart}"
        )

    def relay(self) -> str:
        advice = self._advice
        now, then = self._years(advice.now.operations), self._years(advice.then.operations)
        if not advice.then.operations.value:
            return "The relay does not switch in the usual room."
        changed = "" if advice.then is advice.now else f", instead of {now} as it is set now"
        years = advice.rated_operations / advice.then.operations.value
        lasts = f"{advice.rated_operations} switchings last {then}{changed}"
        if years >= LIFE_YEARS:
            return f"Relay: {lasts}."
        needed = math.ceil(LIFE_YEARS * advice.then.operations.value / 10_000.0) * 10_000
        return (
            f"Relay: {lasts}. None of the settings tried makes it {LIFE_YEARS:.0f} years and keeps the band: use one "
            f"made for {needed} switchings or more, or change it in time."
        )

    def traded(self) -> Iterator[str]:
        """What is given up for what the settings gain."""
        advice = self._advice
        was, control = advice.was, advice.control
        if control.limiter_c > was.limiter_c + 1e-6:
            yield (
                f"Traded: the wall may come to {self._c(control.limiter_c)} instead of {self._c(was.limiter_c)}, for "
                "an inside that is held and a relay that rests; animals can leave the wall, not a cold tub."
            )
        if control.limiter_c < was.limiter_c - 1e-6:
            yield (
                f"Traded: the limiter acts at {self._c(control.limiter_c)} instead of {self._c(was.limiter_c)}: in a "
                "cold room the inside may be held less well."
            )
        before, after = advice.now.ride_through, advice.then.ride_through
        if before.value and after.value and after.value < before.value:
            yield (
                f"Traded: {self._hours(after)} until the band's low edge when power fails in the coldest room, instead "
                f"of {self._hours(before)}."
            )
        if control.hysteresis_k > was.hysteresis_k + 1e-6 or control.minimum_off_s > was.minimum_off_s:
            yield (
                f"Traded: the inside swings between {self._estimate(advice.lowest_inside)} and "
                f"{self._estimate(advice.highest_inside)}, more than it did, for a relay that switches less."
            )

    def setpoint(self) -> str:
        advice = self._advice
        if advice.control.setpoint_c < advice.was.setpoint_c - 1e-6:
            return "cooler, so that the wall stays under the limiter and the relay rests longer; " + self._keeps()
        if advice.control.setpoint_c > advice.was.setpoint_c + 1e-6:
            return "warmer, so that the inside keeps off the band's low edge; " + self._keeps()
        return self._keeps()

    def _keeps(self) -> str:
        advice = self._advice
        low, high = self._c(advice.band.low_c), self._c(advice.band.high_c)
        return (
            f"in the usual and the coldest room the inside then keeps between {self._estimate(advice.lowest_inside)} "
            f"and {self._estimate(advice.highest_inside)}; the band is {low} to {high}."
        )

    def hysteresis(self) -> str:
        then = self._advice.then
        if then.period.value is None:
            return "in the usual room heat is not switched."
        now = self._advice.now
        before = "" if then is now or now.period.value is None else f", instead of {self._minutes(now.period)}"
        return f"a round of heat and rest takes {self._minutes(then.period)} in the usual room{before}."

    def limiter(self) -> str:
        advice = self._advice
        harms = f"Above {self._c(HARMS_C)} harms if it lasts (common practice, no source)."
        if advice.control.limiter_c > advice.was.limiter_c + 1e-6:
            return f"higher: the wall warms the inside without being cut in every round. {harms}"
        if advice.control.limiter_c < advice.was.limiter_c - 1e-6:
            return f"lower: the tub does as well with it, and its overshoot stays under the cut-out. {harms}"
        return f"the wall is cut there, and again {self._k(advice.control.differential_k)} lower. {harms}"

    def cut_out(self) -> str:
        overshoot = self._advice.then.overshoot
        ceiling = f"No setting goes above {self._c(CUT_OUT_CEILING_C)}."
        if overshoot.value is None:
            return f"full heat from the coldest room never brings the wall to the limiter. {ceiling}"
        return f"stored heat carries the wall past the limiter by {self._estimate(overshoot)}. {ceiling}"

    def minimum_off(self) -> str:
        if self._advice.control.minimum_off_s > self._advice.was.minimum_off_s:
            return "longer: seconds of rest, so that the relay lasts."
        return "seconds of rest at least."

    def _c(self, value_c: float) -> str:
        return temperature_text(value_c, self._unit)

    def _k(self, value_k: float) -> str:
        return difference_text(value_k, self._unit)

    def _estimate(self, estimate: Estimate) -> str:
        convert = temperature_value if estimate.unit == "C" else difference_value
        return _with_interval(estimate, lambda value: f"{convert(value, self._unit):z.1f}", f" °{self._unit.value}")

    def _watts(self, share: float) -> str:
        return "" if self._watts_w is None else f" ({share * self._watts_w:.1f} W)"

    def _minutes(self, estimate: Estimate) -> str:
        return _with_interval(estimate, lambda value: f"{value:.0f}", " min")

    def _hours(self, estimate: Estimate) -> str:
        if estimate.value is not None and estimate.value < 2.0:
            return _with_interval(estimate, lambda value: f"{value * 60.0:.0f}", " min")
        return _with_interval(estimate, lambda value: f"{value:.1f}", " h")

    def _years(self, operations: Estimate) -> str:
        if not operations.value or not operations.low or not operations.high:
            return "for ever"
        rated_n = self._advice.rated_operations
        low, middle, high = (rated_n / each for each in (operations.high, operations.value, operations.low))
        return f"{middle:.1f} years ({low:.1f} to {high:.1f} years)"


def _with_interval(estimate: Estimate, shown: Callable[[float], str], unit: str) -> str:
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return "nothing"
    return f"{shown(estimate.value)}{unit} ({shown(estimate.low)} to {shown(estimate.high)}{unit})"


def _comment(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="# ", subsequent_indent="# ")
