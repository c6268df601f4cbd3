"""Places side by side as a keeper reads them on a terminal: exact lines, in 80 columns, the advice last."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from matwarden.core.in_tub import InTub, Likely, ranked_by_tub
from matwarden.core.siting import PlaceRead, Refusal, Siting, compared
from matwarden.report.siting_text import refusal_text, siting_text
from matwarden.terms import Unit
from siting_examples import BAND, HOUR_S, hourly

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
DAY_C = [23, 23, 22, 22, 21, 21, 22, 23, 24, 25, 26, 27, 28, 28, 28, 27, 27, 26, 25, 25, 24, 24, 23, 23]
WARM_C = [23.5] * 8 + [24.5] * 12 + [23.5] * 4


def found(days: int = 8, **places: PlaceRead) -> Siting:
    return compared(places, days * 24 * HOUR_S, BAND, AMSTERDAM)


def text(siting: Siting, unit: Unit = Unit.C) -> str:
    return siting_text(siting, "Oak's", unit, AMSTERDAM)


def advice(siting: Siting) -> str:
    """The last paragraph, in one line."""
    return " ".join(text(siting).rsplit("\n\n", 1)[1].splitlines())


def test_two_places() -> None:
    """The whole page."""
    assert text(found(top=hourly(WARM_C * 8), floor=hourly(DAY_C * 8))).splitlines() == [
        "Places side by side, 12 Jan 2026 00:00 to 20 Jan 2026 00:00: over the 8 d in",
        "which both were read.",
        "Band 22.0 to 28.0 °C: Oak's.",
        "",
        "place             in band  under   over lowest highest  cold   hot  night unread",
        "                        % °C·h/d °C·h/d     °C      °C     h     h     °C      %",
        "1. top              100.0   0.00   0.00   23.5    24.5     –     –    1.0    0.0",
        "2. floor             91.7   2.00   0.00   21.0    28.0   2.0     –    7.0    0.0",
        "cold, hot: longest unbroken time under or over the band. night: from a day's",
        "highest to the lowest of the night after it, mean. unread: of the time between",
        "its first and last reading.",
        "",
        "1. top: 23.5 to 24.5 °C. It needs no heat, over what was recorded.",
        "2. floor: 21.0 to 28.0 °C. Too cold for 8 % of the time, at the longest 2 h from",
        "   12 Jan 04:00.",
        "",
        "All of this is of 12 Jan 2026 to 20 Jan 2026, when these places were 21.0 to",
        "28.0 °C: it says nothing of colder weather, nor of a heating that is set",
        "otherwise.",
        "",
        "Advice: put a tub at top: it needs no heat there while it stays as it was. A",
        "warmer place comes first and a mat last: here the place is enough.",
    ]


def test_fahrenheit_is_another_scale_not_another_judgement() -> None:
    """21 C are 69.8 F, a dose of 2.00 C.h a day is 3.60 F.h; the band from 22 is one from 71.6."""
    lines = text(found(top=hourly(WARM_C * 8), floor=hourly(DAY_C * 8)), Unit.F).splitlines()
    assert lines[2] == "Band 71.6 to 82.4 °F: Oak's."
    assert lines[5] == "                        % °F·h/d °F·h/d     °F      °F     h     h     °F      %"
    assert lines[7] == "2. floor             91.7   3.60   0.00   69.8    82.4   2.0     –   12.6    0.0"


def test_where_no_place_is_warm_enough_a_warmer_one_comes_before_a_mat() -> None:
    """The best is named, then a warmer place, and the last sentence is about the mat."""
    said = advice(found(top=hourly(DAY_C * 8), floor=hourly([18.0] * 192)))
    assert said.startswith("Advice: no place here surely keeps the band by itself; top comes closest")
    assert said.index("warmer place first") < said.index("A mat is the last thing")
    assert said.endswith("on the side or back wall.")
    alone = advice(found(floor=hourly([18.0] * 192)))
    assert alone.startswith("Advice: this place does not keep the band by itself. Look for a warmer place first")


def test_a_place_that_is_too_hot_gets_no_mat() -> None:
    """It needs no heat, and is no place either."""
    said = advice(found(sill=hourly([25.0] * 12 + [29.0] * 180)))
    assert said.startswith("Advice: sill needs no heat, but gets too hot. No mat helps against that")
    assert said.endswith("A mat is not needed there.")
    said = " ".join(text(found(sill=hourly([25.0] * 12 + [29.0] * 180))).split())
    assert "Too hot for 94 % of the time, at the longest 7 d 12 h from 12 Jan 12:00." in said


def test_a_place_that_keeps_the_band_is_preferred_to_one_that_only_seems_to() -> None:
    """Over the shared time both kept it; the warmer one was cold before the other's probe came."""
    places = {"steady": hourly([23.0] * 48, from_h=24), "warm": hourly([20.0] * 24 + [25.0] * 48)}
    siting = compared(places, 72 * HOUR_S, BAND, AMSTERDAM)
    assert siting.places[0].id == "warm"
    assert advice(siting).startswith("Advice: put a tub at steady")
    assert "needs no heat" not in text(siting).split("1. warm:")[1].split("2. steady:")[0]


def test_a_narrow_escape_is_told() -> None:
    """0.2 C over the edge is less than a probe may be off (DS18B20 datasheet: 0.5 C)."""
    said = " ".join(text(found(top=hourly([22.2] * 192))).split())
    assert "It had 0.2 °C to spare: less than a probe may be off (0.5 °C)." in said
    assert "to spare" not in text(found(top=hourly([22.6] * 192)))


def test_a_short_time_is_called_short() -> None:
    """Three days are no week; eight days are one."""
    assert "3 d is short: leave the probes for a week at least" in text(found(3, top=hourly([24.0] * 72)))
    assert "is short" not in text(found(top=hourly([24.0] * 192)))


def test_what_was_not_read_is_told() -> None:
    """A day of five without readings: that it was warm is said of the rest only."""
    said = " ".join(text(found(5, top=hourly([24.0] * 48 + [None] * 24 + [24.0] * 48))).split())
    assert "Whenever it was read it needed no heat, but 20 % of the time was not read (longest 24 h)." in said
    assert "It needs no heat" not in said


def test_the_place_that_shortens_the_comparison_can_be_left_out() -> None:
    """It is named, with what would be gained."""
    siting = found(a=hourly([24.0] * 192), b=hourly([25.0] * 192), late=hourly([25.0] * 48, from_h=144))
    said = " ".join(text(siting).split())
    assert "over the 2 d in which all 3 were read" in said.replace("48 h", "2 d")
    assert "late was read for less time than the others: without it they could be compared over 8 d." in said


@pytest.mark.parametrize("why", Refusal)
def test_every_refusal_names_the_place_and_says_why(why: Refusal) -> None:
    """And nothing is left to be filled in."""
    said = refusal_text("attic", why, 5 * HOUR_S)
    assert said.startswith("attic is not compared: ")
    assert ("5 h" in said) == (why in (Refusal.TOO_FEW, Refusal.APART))


def test_no_line_is_wider_than_a_terminal() -> None:
    """Also with long names and large numbers."""
    places = {
        "the-shelf-at-the-window": hourly([float(k % 61 - 30) for k in range(192)]),
        "b": hourly([45.0] * 192),
    }
    lines = siting_text(
        compared(places, 192 * HOUR_S, BAND, AMSTERDAM), "Oak's, the narrowest of the house", Unit.F, AMSTERDAM
    )
    assert max(map(len, lines.splitlines())) <= 80


def test_a_place_that_is_both_too_cold_and_too_hot_is_to_be_a_steadier_one() -> None:
    """Neither warmer nor cooler would help."""
    said = advice(found(sill=hourly(([18.0] * 12 + [30.0] * 12) * 8)))
    assert "look for a steadier place first" in said
    assert "warmer place" not in said
    assert said.endswith("on the side or back wall.")


def _tub(lowest: tuple[float, float, float], share: tuple[float, float, float], held_h: float = 0.0) -> InTub:
    dose = max(0.0, BAND.low_c - lowest[0]) * 12.0
    none = Likely(0.0, 0.0, 0.0)
    below = Likely(*(0.5 if each < BAND.low_c else 0.0 for each in (lowest[0], lowest[2], lowest[1])))
    energy = Likely(*(each * 192.0 for each in share))
    likely_h = Likely(held_h, held_h, held_h)
    return InTub(
        Likely(*lowest), Likely(26.0, 25.5, 26.5), below, Likely(dose, dose, dose), none, Likely(*share), energy,
        likely_h, 8 * 86_400.0, 25.0, False,
    )  # fmt: skip


def test_with_a_fitted_tub_its_own_inside_decides() -> None:
    """The bare floor dips under the band at night; the tub does not: it needs no heat there. The cellar is too cold."""
    siting = found(floor=hourly(DAY_C * 8), cellar=hourly([12.0] * 192))
    tubs = {
        "floor": _tub((22.6, 22.3, 22.9), (0.11, 0.09, 0.13)),
        "cellar": _tub((12.1, 11.8, 12.4), (1.0, 0.98, 1.0), held_h=190.0),
    }
    lines = siting_text(ranked_by_tub(siting, tubs), "Oak's", Unit.C, AMSTERDAM, tubs, "Oak").splitlines()
    assert max(map(len, lines)) <= 80
    at = lines.index("Oak in each place, by its fit, each value with its interval of nine in ten:")
    assert lines[at + 1 : at + 5] == [
        "                    without heat  under band   with heat        uses    not held",
        "place                 down to °C   % of time   % of time        Wh/d           h",
        "1. floor          22.6 22.3–22.9       0 0–0     11 9–13    21 17–25       0 0–0",
        "2. cellar         12.1 11.8–12.4    50 50–50  100 98–100 192 188–192 190 190–190",
    ]
    said = " ".join(lines)
    assert "as its thermostat at 25.0 °C would have allowed" in said.replace("  ", " ")
    assert "Oak would have needed no heat there." in said
    assert "Oak would have needed heat there, and its mat would not have held the band." in " ".join(said.split())
    assert "Advice: put Oak at floor: it needs no heat there" in said


def test_a_fit_that_cannot_tell_does_not_promise() -> None:
    """The band's edge lies in the interval: neither needed nor not."""
    siting = found(top=hourly(WARM_C * 8), floor=hourly([18.0] * 192))
    tubs = {"top": _tub((22.3, 21.8, 22.8), (0.05, 0.04, 0.08)), "floor": _tub((18.0, 17.5, 18.5), (0.8, 0.7, 0.9))}
    said = " ".join(siting_text(siting, "Oak's", Unit.C, AMSTERDAM, tubs, "Oak").split())
    assert "Oak may have needed heat there: its fit cannot tell." in said
    assert "Advice: no place here surely keeps the band by itself; top comes closest" in said
    assert "There Oak would have been heated for 5 % of the time, at floor for 80 %." in said
    assert said.endswith("on the side or back wall.")


def test_places_are_ranked_by_the_tub_where_there_is_one() -> None:
    """A place that looks better bare is second when the tub does worse there."""
    siting = found(a=hourly(WARM_C * 8), b=hourly([23.0] * 192))
    tubs = {"a": _tub((21.0, 20.8, 21.2), (0.2, 0.1, 0.3)), "b": _tub((22.9, 22.7, 23.1), (0.1, 0.0, 0.2))}
    assert [each.id for each in siting.places] == ["a", "b"]
    assert [each.id for each in ranked_by_tub(siting, tubs).places] == ["b", "a"]
