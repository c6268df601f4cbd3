"""What happened to every tub since the last digest, as values. Pure: a recorded window in, a `NightDigest` out.

The law: nothing is made up. What was not read is missing time; a mean, an extreme or a share of nothing is None. SI
units only: the words and the keeper's unit are the report's business.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from matwarden.core.digest_compare import SPANS_DAYS, Against, against, days_before
from matwarden.core.digest_heat import HeatUse, RelayLife, Reserve, heat_use, relay_life, reserve, room_steps
from matwarden.core.exposure import Exposure, Extreme, exposure, extremes, outermost
from matwarden.core.halves import Half, halves
from matwarden.core.humidity import HumidityNight, SidesNight, humidity_nights, sides_night
from matwarden.core.inside import inside_of, inside_probes
from matwarden.core.record import AlarmLine, Point, Window
from matwarden.core.sums import TubSum
from matwarden.terms import AlarmState, Band, Enclosure, ProbeTerms, Quantity, Role, Side

__all__ = ["Climate", "EnclosureNight", "HeatUse", "NightDigest", "Unread", "alarms_of", "night_digest"]

_SHOWN_ACTIVE = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED})
_ON = _SHOWN_ACTIVE | {AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED}
_OVER = frozenset(
    {
        AlarmState.NORMAL,
        AlarmState.RETURNED_UNACKNOWLEDGED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    }
)
_NO_HALF = Half(None, None, 0.0)


@dataclass(frozen=True, slots=True)
class Climate:
    """Extremes of one quantity in one place: air on the moist side, the wall, the room.

    Attributes:
        lowest, highest: in degrees Celsius or percent relative humidity, over all probes of this place.
    """

    role: Role
    side: Side | None
    quantity: Quantity
    lowest: Extreme | None
    highest: Extreme | None


@dataclass(frozen=True, slots=True)
class Unread:
    """Captures of one probe that gave no good reading, and the last reason why. `due_n`: captures due in the window."""

    probe: str
    missing_n: int
    doubtful_n: int
    last_why: str
    due_n: int

    @property
    def share(self) -> float | None:
        """Of what was due, 0 to 1; None when nothing was."""
        return min((self.missing_n + self.doubtful_n) / self.due_n, 1.0) if self.due_n else None


@dataclass(frozen=True, slots=True)
class EnclosureNight:
    """One tub.

    Attributes:
        inside: the inside temperature against the band: the coldest probe for cold, the hottest for heat. Its times
            add up to the window, less the wait for the first reading where that is no longer than the stale time.
        in_band_share: of the time that was read; None when nothing was.
        started, returned: alarms that did so in the window. standing: alarms still on at its end.
        humidity: of each place where it was read. sides: the moist one against the dry one.
        night, day: the coldest probe inside, by the hours of the keeper's clocks.
        relay, reserve: the relay's life, and what the mat had left; None where that cannot be told.
        against: the days before it, one for each of `SPANS_DAYS` in which anything was read.
    """

    id: str
    name: str
    band: Band
    inside: Exposure
    in_band_share: float | None
    climates: tuple[Climate, ...]
    heat: HeatUse | None
    unread: tuple[Unread, ...]
    started: tuple[AlarmLine, ...]
    returned: tuple[AlarmLine, ...]
    standing: tuple[AlarmLine, ...]
    humidity: tuple[HumidityNight, ...] = ()
    sides: SidesNight | None = None
    night: Half = _NO_HALF
    day: Half = _NO_HALF
    relay: RelayLife | None = None
    reserve: Reserve | None = None
    against: tuple[Against, ...] = ()


@dataclass(frozen=True, slots=True)
class NightDigest:
    """The whole house since the last digest.

    Attributes:
        date: local date it is made for, `YYYY-MM-DD`. zone: IANA name of the zone that date is of.
        from_wall_s, to_wall_s: UTC as believed then. lasts_s: the true length, whatever the clock did.
        started, returned, standing: alarms of no tub (room probes).
    """

    date: str
    zone: str
    from_wall_s: float
    to_wall_s: float
    lasts_s: float
    enclosures: tuple[EnclosureNight, ...]
    room: Climate | None
    room_unread: tuple[Unread, ...]
    started: tuple[AlarmLine, ...]
    returned: tuple[AlarmLine, ...]
    standing: tuple[AlarmLine, ...]
    restarts: int
    clock_steps_s: tuple[float, ...]


def night_digest(
    date: str,
    zone: str,
    window: Window,
    enclosures: Sequence[Enclosure],
    room_probes: Sequence[ProbeTerms],
    standing: Sequence[AlarmLine],
    days: Mapping[str, Sequence[TubSum]] | None = None,
) -> NightDigest:
    """Sum up a window.

    Args:
        days: of each tub the sums of the local days before the window, as many of the last 30 as there are.
        standing: the last transition of every alarm that is not normal at the window's end, with its elapsed time on
            the window's line (negative: before the window). Those that are shelved, suppressed, out of service or only
            waiting to be seen are not on, and are left out.
    """
    standing = [line for line in standing if line.state in _ON]
    known = {enclosure.id for enclosure in enclosures}
    started, returned = alarms_of(window.alarms)
    rooms = _climates(window, room_probes)
    room = room_steps(window, room_probes)
    return NightDigest(
        date=date,
        zone=zone,
        from_wall_s=window.start_wall_s,
        to_wall_s=window.end_wall_s,
        lasts_s=window.end_elapsed_s - window.start_elapsed_s,
        enclosures=tuple(
            _enclosure(
                each,
                window,
                reserve(each, window, room_probes, room),
                ZoneInfo(zone),
                (days or {}).get(each.id, ()),
                started,
                returned,
                standing,
            )
            for each in enclosures
        ),
        room=next((each for each in rooms if each.quantity is Quantity.TEMPERATURE), None),
        room_unread=_unread(window, room_probes),
        started=tuple(line for line in started if line.enclosure not in known),
        returned=tuple(line for line in returned if line.enclosure not in known),
        standing=tuple(line for line in standing if line.enclosure not in known),
        restarts=window.restarts,
        clock_steps_s=tuple(window.clock_steps),
    )


def alarms_of(lines: Iterable[AlarmLine]) -> tuple[list[AlarmLine], list[AlarmLine]]:
    """Of all transitions those that announced an alarm, and those by which an active one was over."""
    started, returned = [], []
    for line in lines:
        if line.state is AlarmState.UNACKNOWLEDGED and line.previous is not AlarmState.UNACKNOWLEDGED:
            started.append(line)
        elif line.previous in _SHOWN_ACTIVE and line.state in _OVER:
            returned.append(line)
    return started, returned


def _enclosure(
    enclosure: Enclosure,
    window: Window,
    spare: Reserve | None,
    zone: ZoneInfo,
    days: Sequence[TubSum],
    started: Sequence[AlarmLine],
    returned: Sequence[AlarmLine],
    standing: Sequence[AlarmLine],
) -> EnclosureNight:
    inside = _inside(enclosure, window)
    read_s = inside.below_s + inside.in_band_s + inside.above_s
    heat = heat_use(enclosure, window) if enclosure.mat is not None else None
    series = _inside_series(enclosure, window)
    hold_s = max((hold_s for _, hold_s in series), default=1.0)
    night, day = halves(outermost(series, True) if series else (), window.end_elapsed_s, hold_s, zone)
    return EnclosureNight(
        id=enclosure.id,
        name=enclosure.name,
        band=enclosure.band,
        inside=inside,
        in_band_share=inside.in_band_s / read_s if read_s else None,
        climates=_climates(window, enclosure.probes),
        heat=heat,
        unread=_unread(window, enclosure.probes),
        started=tuple(line for line in started if line.enclosure == enclosure.id),
        returned=tuple(line for line in returned if line.enclosure == enclosure.id),
        standing=tuple(line for line in standing if line.enclosure == enclosure.id),
        humidity=humidity_nights(window, enclosure.probes),
        sides=sides_night(window, enclosure.probes),
        night=night,
        day=day,
        relay=relay_life(enclosure, window),
        reserve=spare,
        against=_against(inside, heat, days, window.start_wall_s, zone),
    )


def _against(
    inside: Exposure, heat: HeatUse | None, days: Sequence[TubSum], from_wall_s: float, zone: ZoneInfo
) -> tuple[Against, ...]:
    found = []
    for span_days in SPANS_DAYS:
        since_s, until_s = days_before(from_wall_s, span_days, zone)
        of_span = [day for day in days if since_s <= day.begins_wall_s < until_s]
        found.append(against(inside, heat, of_span, span_days))
    return tuple(each for each in found if each is not None)


def _inside_series(enclosure: Enclosure, window: Window) -> list[tuple[Sequence[Point], float]]:
    """The readings that count as the inside, each with the time for which they hold."""
    return [(_series(window, probe, Quantity.TEMPERATURE), probe.stale_s) for probe in inside_probes(enclosure)]


def _inside(enclosure: Enclosure, window: Window) -> Exposure:
    series = _inside_series(enclosure, window)
    hold_s = max((hold_s for _, hold_s in series), default=1.0)
    band, start_s, end_s = enclosure.band, window.start_elapsed_s, window.end_elapsed_s
    if not series:
        return exposure((), start_s, end_s, hold_s, band.low_c, band.high_c)
    # Between the window's start and the first reading nothing was missed as long as a reading would still have held.
    first_s = min((points[0].elapsed_s for points, _ in series if points), default=start_s)
    start_s = first_s if start_s < first_s <= min(start_s + hold_s, end_s) else start_s
    coldest = outermost(series, True)
    cold = _to_the_end(exposure(coldest, start_s, end_s, hold_s, band.low_c, band.high_c), coldest, end_s)
    if len(series) == 1:
        return cold
    hottest = outermost(series, False)
    hot = _to_the_end(exposure(hottest, start_s, end_s, hold_s, band.low_c, band.high_c), hottest, end_s)
    return inside_of(cold, hot, end_s - start_s)


def _to_the_end(found: Exposure, points: Sequence[Point], end_s: float) -> Exposure:
    """A reading at the very end took no time of this window, and is in no other: it counts among the extremes."""
    if not points or points[-1].elapsed_s < end_s:
        return found
    lowest, highest = extremes(points)
    return found._replace(lowest=lowest, highest=highest)


def _climates(window: Window, probes: Sequence[ProbeTerms]) -> tuple[Climate, ...]:
    places: dict[tuple[Role, Side | None, Quantity], list[Sequence[Point]]] = {}
    for quantity in Quantity:
        for probe in probes:
            points = _series(window, probe, quantity)
            # A probe without a humidity channel is no humidity place; a temperature place may be empty.
            if points or quantity is Quantity.TEMPERATURE:
                places.setdefault((probe.role, probe.side, quantity), []).append(points)
    return tuple(Climate(role, side, quantity, *_over_all(every)) for (role, side, quantity), every in places.items())


def _over_all(every: Sequence[Sequence[Point]]) -> tuple[Extreme | None, Extreme | None]:
    pairs = [extremes(points) for points in every]
    lowest = min((low for low, _ in pairs if low is not None), default=None, key=lambda each: each.value)
    highest = max((high for _, high in pairs if high is not None), default=None, key=lambda each: each.value)
    return lowest, highest


def _unread(window: Window, probes: Sequence[ProbeTerms]) -> tuple[Unread, ...]:
    polls_s = {probe.id: probe.poll_s for probe in probes}
    lasts_s = window.end_elapsed_s - window.start_elapsed_s
    return tuple(
        Unread(each.probe, each.missing_n, each.doubtful_n, each.last_why, round(lasts_s / polls_s[each.probe]))
        for each in window.refusals
        if each.probe in polls_s and (each.missing_n or each.doubtful_n)
    )


def _series(window: Window, probe: ProbeTerms, quantity: Quantity) -> Sequence[Point]:
    return window.series.get((probe.id, quantity), ())
