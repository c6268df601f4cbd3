"""What happened to every tub since the last digest, as values. Pure: a recorded window in, a `NightDigest` out.

The law: nothing is made up. What was not read is missing time; a mean, an extreme or a share of nothing is None. SI
units only: the words and the keeper's unit are the report's business.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matwarden.core.exposure import Exposure, Extreme, exposure, extremes, outermost
from matwarden.core.humidity import HumidityNight, SidesNight, humidity_nights, sides_night
from matwarden.core.record import AlarmLine, HeatChange, Point, Window
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
class HeatUse:
    """How much a mat was used. `allowed_share`: of the whole window, 0 to 1; `operations`: relay switchings in it."""

    allowed_share: float | None
    operations: int


@dataclass(frozen=True, slots=True)
class Unread:
    """Captures of one probe that gave no good reading, and the last reason why."""

    probe: str
    missing_n: int
    doubtful_n: int
    last_why: str


@dataclass(frozen=True, slots=True)
class EnclosureNight:
    """One tub.

    Attributes:
        inside: the inside temperature against the band: the coldest probe for cold, the hottest for heat. Its times
            add up to the window, less the wait for the first reading where that is no longer than the stale time.
        in_band_share: of the time that was read; None when nothing was.
        started, returned: alarms that did so in the window. standing: alarms still on at its end.
        humidity: of each place where it was read. sides: the moist one against the dry one.
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
) -> NightDigest:
    """Sum up a window.

    Args:
        standing: the last transition of every alarm that is not normal at the window's end, with its elapsed time on
            the window's line (negative: before the window). Those that are shelved, suppressed, out of service or only
            waiting to be seen are not on, and are left out.
    """
    standing = [line for line in standing if line.state in _ON]
    known = {enclosure.id for enclosure in enclosures}
    started, returned = alarms_of(window.alarms)
    rooms = _climates(window, room_probes)
    return NightDigest(
        date=date,
        zone=zone,
        from_wall_s=window.start_wall_s,
        to_wall_s=window.end_wall_s,
        lasts_s=window.end_elapsed_s - window.start_elapsed_s,
        enclosures=tuple(_enclosure(each, window, started, returned, standing) for each in enclosures),
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
    started: Sequence[AlarmLine],
    returned: Sequence[AlarmLine],
    standing: Sequence[AlarmLine],
) -> EnclosureNight:
    inside = _inside(enclosure, window)
    read_s = inside.below_s + inside.in_band_s + inside.above_s
    return EnclosureNight(
        id=enclosure.id,
        name=enclosure.name,
        band=enclosure.band,
        inside=inside,
        in_band_share=inside.in_band_s / read_s if read_s else None,
        climates=_climates(window, enclosure.probes),
        heat=_heat(enclosure, window) if enclosure.mat is not None else None,
        unread=_unread(window, enclosure.probes),
        started=tuple(line for line in started if line.enclosure == enclosure.id),
        returned=tuple(line for line in returned if line.enclosure == enclosure.id),
        standing=tuple(line for line in standing if line.enclosure == enclosure.id),
        humidity=humidity_nights(window, enclosure.probes),
        sides=sides_night(window, enclosure.probes),
    )


def _inside(enclosure: Enclosure, window: Window) -> Exposure:
    probes: Sequence[ProbeTerms] = ()
    for role in (Role.AIR, Role.SUBSTRATE, Role.WALL):
        probes = probes or [probe for probe in enclosure.probes if probe.role is role]
    series = [(_series(window, probe, Quantity.TEMPERATURE), probe.stale_s) for probe in probes]
    hold_s = max((probe.stale_s for probe in probes), default=1.0)
    band, start_s, end_s = enclosure.band, window.start_elapsed_s, window.end_elapsed_s
    if not series:
        return exposure((), start_s, end_s, hold_s, band.low_c, band.high_c)
    # Between the window's start and the first reading nothing was missed as long as a reading would still have held.
    first_s = min((points[0].elapsed_s for points, _ in series if points), default=start_s)
    start_s = first_s if start_s < first_s <= min(start_s + hold_s, end_s) else start_s
    cold = exposure(outermost(series, True), start_s, end_s, hold_s, band.low_c, band.high_c)
    if len(series) == 1:
        return cold
    hot = exposure(outermost(series, False), start_s, end_s, hold_s, band.low_c, band.high_c)
    # One side may be too cold while the other is too hot: that time counts on both sides, so the band gets the rest.
    outside_s = cold.below_s + hot.above_s
    return cold._replace(
        highest=hot.highest,
        mean=None if cold.mean is None or hot.mean is None else (cold.mean + hot.mean) / 2.0,
        in_band_s=max(end_s - start_s - cold.missing_s - outside_s, 0.0),
        above_s=hot.above_s,
        longest_above=hot.longest_above,
        above_kh=hot.above_kh,
    )


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


def _heat(enclosure: Enclosure, window: Window) -> HeatUse:
    changes: list[HeatChange] = [change for change in window.heat if change.enclosure == enclosure.id]
    lasts_s = window.end_elapsed_s - window.start_elapsed_s
    if not changes or lasts_s <= 0.0:
        return HeatUse(None, 0)
    until = [*(change.elapsed_s for change in changes[1:]), window.end_elapsed_s]
    allowed_s = sum(
        max(end_s - change.elapsed_s, 0.0) for change, end_s in zip(changes, until, strict=True) if change.allowed
    )
    return HeatUse(allowed_s / lasts_s, max(changes[-1].operations - changes[0].operations, 0))


def _unread(window: Window, probes: Sequence[ProbeTerms]) -> tuple[Unread, ...]:
    ids = {probe.id for probe in probes}
    return tuple(
        Unread(each.probe, each.missing_n, each.doubtful_n, each.last_why)
        for each in window.refusals
        if each.probe in ids and (each.missing_n or each.doubtful_n)
    )


def _series(window: Window, probe: ProbeTerms, quantity: Quantity) -> Sequence[Point]:
    return window.series.get((probe.id, quantity), ())
