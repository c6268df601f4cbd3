"""Sums over hours and local days: what is kept for ever, when single readings have long gone. Pure values.

A local day is the half-open span from one midnight of the keeper's zone to the next, 22 to 26 hours long. Its hours are
counted from its own midnight in elapsed time, so that a zone with half hours has whole ones too; where a day is no
whole number of hours long, its last hour is the shorter one.
"""

from __future__ import annotations

from typing import NamedTuple

from matwarden.core.exposure import Extreme

__all__ = ["SeriesSum", "TubSum"]


class SeriesSum(NamedTuple):
    """One series (a probe's temperature or humidity) over one hour or local day.

    Attributes:
        date: of the local day, `YYYY-MM-DD`. begins_wall_s, lasts_s: the span itself.
        lowest, highest: degrees Celsius or percent, with the time each was first read; None when nothing was.
        mean: weighted by time; None when nothing was read.
        known_s: seconds for which a reading held. The rest of the span is missing time.
    """

    date: str
    begins_wall_s: float
    lasts_s: float
    lowest: Extreme | None
    highest: Extreme | None
    mean: float | None
    known_s: float


class TubSum(NamedTuple):
    """The inside of one tub against its band, and its heat, over one hour or local day.

    As in `core.digest`: the coldest probe inside counts for cold, the hottest for heat.

    Attributes:
        below_s, in_band_s, above_s, missing_s: of the span, against the band of that day.
        below_kh, above_kh: kelvin-hours under the band's lower edge and over its upper one.
        allowed_s: seconds for which heat was allowed; operations: switchings on in the span. None without a mat.
    """

    date: str
    begins_wall_s: float
    lasts_s: float
    lowest: Extreme | None
    highest: Extreme | None
    mean: float | None
    below_s: float
    in_band_s: float
    above_s: float
    missing_s: float
    below_kh: float
    above_kh: float
    allowed_s: float | None
    operations: int | None
