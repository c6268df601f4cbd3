"""Who is told, from the settings: the sinks, their queues, and what a restart hands on to them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from matwarden.alarm import active_states
from matwarden.clocks import Clock, SystemClock
from matwarden.core.alarm_kept import to_dict
from matwarden.core.alarms import QUIET
from matwarden.devices import Devices
from matwarden.events import AlarmChanged, DigestMade, Event, Notice, PushAsked, Remember
from matwarden.house_alarms import HouseAlarms
from matwarden.peer_inbox import PeerInbox
from matwarden.peer_keeper import PeerAlarms
from matwarden.permit_keeper import PermitKeeper
from matwarden.report.units import local_day_and_clock
from matwarden.settings.resolved import Dht22, Hwmon, Iio, OneWire, Settings, TwinProbe
from matwarden.sinks.homie import DeviceTerms
from matwarden.sinks.mqtt import MqttSink
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.push import PushSink
from matwarden.sinks.push_send import Sender, send
from matwarden.sinks.store_read import Recorded
from matwarden.terms import AlarmState, At, Priority, ProbeTerms
from matwarden.together_keeper import TogetherAlarms

__all__ = [
    "Queue",
    "Told",
    "day_and_clock",
    "handed_on",
    "house_alarms",
    "mqtt_sink",
    "peer_alarms",
    "peer_inbox",
    "permit_keeper",
    "probe_terms",
    "push_sink",
    "spread_over_bus",
    "taken_out",
    "together_alarms",
]


class Queue(Protocol):
    """A sink behind its queue: threaded, or in place."""

    name: str
    dropped_n: int

    @property
    def failing(self) -> bool: ...

    def offer(self, events: Sequence[Event]) -> None: ...

    def drain(self, timeout_s: float) -> bool: ...

    def close(self, timeout_s: float) -> bool: ...


class Told:
    """Everybody who is told. The first queue is the store's: what must not be lost goes there first."""

    def __init__(self, queues: Sequence[Queue], pushes: bool) -> None:
        self._queues = list(queues)
        self._pushes = pushes

    def add(self, queue: Queue) -> None:
        """Tell one more, from now on."""
        self._queues.append(queue)

    def tell(self, events: Sequence[Event]) -> None:
        """Hand a batch to every queue. Never blocks on a sink."""
        if not self._pushes:
            # Nobody could ever deliver them: they must not pile up in the outbox.
            events = [event for event in events if not isinstance(event, PushAsked)]
        for queue in self._queues:
            queue.offer(events)

    def notice(self, notice: Notice) -> None:
        """Tell a single notice."""
        self.tell([notice])

    def state(self) -> dict[str, Any]:
        """How each sink is, for `status`."""
        return {queue.name: {"failing": queue.failing, "dropped": queue.dropped_n} for queue in self._queues}

    def close(self, timeout_s: float) -> None:
        """Let each finish what it holds, the store last: it records what the others still say."""
        for queue in reversed(self._queues):
            queue.close(timeout_s)


def mqtt_sink(
    settings: Settings, on_acknowledge: Callable[[str], None], peers: PeerInbox | None = None
) -> MqttSink | None:
    """The MQTT sink, None when the settings have none. `peers`: takes what it hears of other stations.

    It waits in real time even when the shelf's time is simulated: a broker knows no other.
    """
    if settings.mqtt is None:
        return None
    device = DeviceTerms(
        id=settings.house_id,
        name=settings.house_name,
        unit=settings.unit,
        enclosures=settings.enclosures,
        room_probes=settings.room_probes,
        humid=_humid(settings),
        watched=() if peers is None else tuple(peer.id for peer in settings.watched),
        acknowledge=settings.mqtt.acknowledge,
    )
    return MqttSink(
        settings.mqtt, device, lambda: SystemClock().now().mono_s, peers=peers, on_acknowledge=on_acknowledge
    )


def peer_inbox(settings: Settings) -> PeerInbox | None:
    """What holds the news of the watched stations, None when none is watched. For a daemon in real time only."""
    return PeerInbox(settings.watched, lambda: SystemClock().now().mono_s) if settings.watched else None


def peer_alarms(
    settings: Settings, inbox: PeerInbox | None, remembered: Mapping[str, Mapping[str, Any]], at: At
) -> PeerAlarms | None:
    """The alarms of the watched stations, None when none is watched."""
    if inbox is None:
        return None
    return PeerAlarms(settings.watched, inbox, settings.house_name, settings.alarms.times, remembered, at)


def push_sink(
    settings: Settings, clock: Clock, on_notice: Callable[[Notice], None], sender: Sender = send
) -> PushSink | None:
    """The push sink, None when the settings have none. `sender`: what delivers, where it is not the real one."""
    if settings.push is None:
        return None
    return PushSink(settings.push, Outbox(settings.store.directory), clock.now, on_notice, sender)


def handed_on(recorded: Recorded, remembered: Mapping[str, Any], at: At) -> list[Event]:
    """What stood when the last run ended and still stands: for sinks that only know what they were told.

    Not for the store: it has all this, and would record it twice.
    """
    events: list[Event] = []
    for line in recorded.active_alarms():
        if line.state in active_states and f"alarm/{line.alarm}" in remembered:
            events.append(
                AlarmChanged(
                    at,
                    line.alarm,
                    line.enclosure,
                    AlarmState.NORMAL,
                    line.state,
                    Priority.HIGH,
                    line.text,
                    line.active_s,
                )
            )
    dates = recorded.digest_dates()
    kept = recorded.digest(dates[-1]) if dates else None
    if kept is not None:
        events.append(DigestMade(at, kept.date, kept.text, kept.document))
    return events


def taken_out(recorded: Recorded, known: Collection[str], at: At) -> list[Event]:
    """Ends the recorded alarms of probes and tubs that the settings no longer have: nothing else ever would.

    Args:
        known: every alarm the station can have now.
    """
    events: list[Event] = []
    for line in recorded.active_alarms():
        if line.alarm not in known:
            text = f"{line.alarm}: no longer in the settings."
            change = (line.alarm, line.enclosure, line.state, AlarmState.NORMAL, Priority.LOW, text, line.active_s)
            events.append(Remember(at, f"alarm/{line.alarm}", to_dict(QUIET, at.wall_s), urgent=True))
            events.append(AlarmChanged(at, *change))
    return events


def house_alarms(
    settings: Settings,
    last_seen_wall_s: float | None,
    store_fails: Callable[[], bool],
    remembered: Mapping[str, Mapping[str, Any]],
    at: At,
) -> HouseAlarms:
    """The alarms of no tub. `last_seen_wall_s`: when the last run last wrote its record."""
    return HouseAlarms(
        settings.house_name,
        settings.unit,
        day_and_clock(settings),
        last_seen_wall_s,
        store_fails,
        remembered,
        at,
    )


def permit_keeper(settings: Settings, devices: Devices) -> PermitKeeper | None:
    """The keeper of the permit, None when there is no permit."""
    return None if devices.permit is None else PermitKeeper(devices.permit, settings.house_name)


def together_alarms(settings: Settings, remembered: Mapping[str, Mapping[str, Any]], at: At) -> TogetherAlarms | None:
    """The alarms of many tubs at once; None: the settings want none, or there are never as many."""
    least_n = settings.alarms.together_n
    if not least_n or len(settings.enclosures) < max(2, least_n):
        return None
    return TogetherAlarms(settings.house_name, settings.unit, least_n, settings.alarms.times, remembered, at)


def day_and_clock(settings: Settings) -> Callable[[float], str]:
    """What says a wall time as day and clock where the house is."""
    zone = ZoneInfo(settings.zone)
    return lambda wall_s: local_day_and_clock(wall_s, zone)


def probe_terms(settings: Settings) -> dict[str, ProbeTerms]:
    """Every probe's terms, by probe id."""
    terms = {probe.id: probe for each in settings.enclosures for probe in each.probes}
    terms.update({probe.id: probe for probe in settings.room_probes})
    return terms


def spread_over_bus(settings: Settings) -> dict[str, float]:
    """How much later than the start each 1-wire probe is first asked, so that no two of them ask together.

    A conversion takes 0.75 s and holds the bus (hardware: the kernel's driver serialises its sensors): eight asked at
    once keep the last one waiting for 6 s.
    """
    terms = probe_terms(settings)
    on_bus = [name for name, driver in settings.probe_drivers.items() if isinstance(driver, OneWire)]
    return {name: terms[name].poll_s * number / len(on_bus) for number, name in enumerate(on_bus)}


def _humid(settings: Settings) -> frozenset[str]:
    """The probes that measure humidity too, as far as their driver tells before the first reading."""

    def is_humid(driver: OneWire | Iio | Hwmon | Dht22 | TwinProbe) -> bool:
        return driver.humidity if isinstance(driver, TwinProbe) else not isinstance(driver, OneWire)

    return frozenset(probe for probe, driver in settings.probe_drivers.items() if is_humid(driver))
