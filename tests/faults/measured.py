"""What one fault did: to the tub, to the heat, to the keeper, to the record. And what it may do at the most."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CUT_OUT_C", "LIMITER_C", "PAST_CUT_OUT_K", "Row", "Told"]

# The defaults of the settings, written down again: a campaign must not move with what it judges.
LIMITER_C = 28.5
CUT_OUT_C = 30.0
# The issue's own bound: the cut-out, and what a wall still gains between two polls and by its probe's error.
PAST_CUT_OUT_K = 0.5
TOLD_WITHIN_S = 15 * 60.0


@dataclass(frozen=True, slots=True)
class Told:
    """The first push about it: seconds after the fault, and its title."""

    after_s: float
    title: str


@dataclass(frozen=True, slots=True)
class Row:
    """One fault, on one tub, at one moment.

    Attributes:
        peak_wall_c, peak_air_c, lowest_air_c: of the true tub, after the fault; None: nobody could know them.
        over_k: how far the true wall came above the cut-out, or above the room where the room is hotter still: no
            software cools a room.
        line_wrong_s: how long the relay's line still allowed heat although it should have been cut.
        mat_wrong_s: how long the mat was truly powered although it should not: longer than the line only where the
            contact is welded.
        harm_s: seconds from the fault until it began to matter (heat where there should be none, air out of its band
            for an hour); None: it never did.
        past_s: seconds from the fault until the true wall passed the cut-out and half a kelvin; None: it never did.
        told: None: not told.
        lost: what the record or the phone lacks, in words; empty: nothing.
        excused: the wall may pass the cut-out, if that is told soon.
        grows: it begins as nothing and becomes dangerous with time: it counts from `past_s`, not from `harm_s`.
    """

    fault: str
    tub: str
    moment: str
    peak_wall_c: float
    peak_air_c: float
    lowest_air_c: float
    over_k: float
    line_wrong_s: float
    mat_wrong_s: float
    harm_s: float | None
    past_s: float | None
    told: Told | None
    lost: str
    excused: bool = False
    grows: bool = False

    @property
    def name(self) -> tuple[str, str, str]:
        """What it is found by."""
        return (self.fault, self.tub, self.moment)

    def failures(self) -> list[str]:
        """Which bounds it breaks, in words."""
        broken = []
        if self.over_k > PAST_CUT_OUT_K and not self.excused:
            broken.append(f"wall {self.over_k:.1f} K past the cut-out")
        matters_s = self.past_s if self.grows else self.harm_s
        if self.told is None:
            if self.harm_s is not None:
                broken.append("not told")
        elif matters_s is not None and self.told.after_s - matters_s > TOLD_WITHIN_S:
            broken.append(f"told {(self.told.after_s - matters_s) / 60:.0f} min after it mattered")
        return broken
