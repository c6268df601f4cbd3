"""The retained picture: from the newest events to the payload of every topic. Pure: no clock, no network.

`Inbox` takes events as cheaply as can be and keeps only the newest of each kind; `Picture` turns them into payloads.
The size of both depends on the house, never on how long nobody listened.

Several probes of one role share one property: it carries the hottest good one for a wall, the coldest good one
otherwise, and of humidity the driest. A role without a good reading younger than its `stale_s` has no value: its
topic is deleted, so that nobody takes an old number for a new one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from matwarden.events import AlarmChanged, DigestMade, Event, PersonDid, Readings, Refused, Started, VerdictChanged
from matwarden.sinks import homie
from matwarden.terms import AlarmState, Enclosure, ProbeTerms, Quality, Reading, Role

__all__ = ["Inbox", "Picture", "Value"]

_ALERTED = frozenset(
    {
        AlarmState.UNACKNOWLEDGED,
        AlarmState.ACKNOWLEDGED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    }
)
_FRESH_STEP_S = 10.0  # of the house's sign of freshness: a big house reads many times a second
_RECHECK_S = 30.0  # how often every node is looked at, so that a probe nobody hears of grows stale too


class Value(NamedTuple):
    """What a retained topic should hold. No bytes: the topic should not be there. `expires`: a reading."""

    topic: str
    payload: bytes
    expires: bool = False


class Inbox:
    """The newest event of each subject since last emptied. Not for two threads at once."""

    __slots__ = ("acknowledged", "alarms", "digest", "fresh_s", "readings", "refusals", "started", "verdicts")

    def __init__(self) -> None:
        self.readings: dict[str, Reading] = {}
        self.refusals: dict[str, Refused] = {}
        self.verdicts: dict[str, VerdictChanged] = {}
        self.alarms: dict[str, AlarmChanged] = {}
        self.digest: DigestMade | None = None
        self.started: Started | None = None
        self.acknowledged = ""
        self.fresh_s: float | None = None  # UTC seconds of the newest sign that this daemon does its work

    def put(self, events: Sequence[Event]) -> bool:
        """Keep what is newest; True when something is among it that should not wait for the next round."""
        urgent = False
        for event in events:
            if isinstance(event, Readings):
                self.fresh_s = event.at.wall_s
                for reading in event.taken:
                    self.readings[reading.probe] = reading
            elif isinstance(event, Refused):
                self.refusals[event.probe] = event
            elif isinstance(event, VerdictChanged):
                self.verdicts[event.enclosure] = event
                urgent = True
            elif isinstance(event, AlarmChanged):
                self.alarms[event.alarm] = event
                urgent = True
            elif isinstance(event, DigestMade):
                self.digest = event
            elif isinstance(event, Started):
                self.started = event
            elif isinstance(event, PersonDid) and event.by == "mqtt" and event.ok:
                self.acknowledged = event.target
                urgent = True
        return urgent

    @property
    def empty(self) -> bool:
        """Has nothing come in?"""
        held = self.readings or self.refusals or self.verdicts or self.alarms or self.digest or self.started
        return not held and self.fresh_s is None and not self.acknowledged


class Picture:
    """What every retained topic below the device should hold now, `$state` and `$description` excepted."""

    def __init__(self, device: homie.DeviceTerms, root: str) -> None:
        homie.layout(device)  # refuses ids that cannot be topics
        self._device = device
        self._root = root
        self._probes = {p.id: "room" for p in device.room_probes}
        self._probes |= {p.id: e.id for e in device.enclosures for p in e.probes}
        self._enclosures = {e.id: e for e in device.enclosures}
        self._readings: dict[str, Reading] = {}
        self._refusals: dict[str, Refused] = {}
        self._verdicts: dict[str, VerdictChanged] = {}
        self._alarms: dict[str, AlarmChanged] = {}
        self._house_alarms = homie.house_alarms(device)
        self._digest: tuple[Value, ...] = ()
        self._fresh_s: float | None = None
        self._started: Started | None = None
        self._acknowledged = ""
        self._stopped = False
        self._now_s = 0.0
        self._checked_s = 0.0
        self._nodes = [*self._enclosures, *(["room"] if device.room_probes else []), "house"]
        self._touched: set[str] = set()
        self._returned: set[str] = set()

    def take(self, inbox: Inbox) -> None:
        """Learn what came in. What belongs to no probe or tub of the settings is passed over.

        Raises:
            HomieError: the digest cannot be said in JSON; everything else has been taken.
        """
        for reading in inbox.readings.values():
            self._readings[reading.probe] = reading
            self._touch_probe(reading.probe, reading.at.mono_s)
        for refused in inbox.refusals.values():
            self._refusals[refused.probe] = refused
            self._touch_probe(refused.probe, refused.at.mono_s)
        for verdict in inbox.verdicts.values():
            self._verdicts[verdict.enclosure] = verdict
            self._touched.add(verdict.enclosure)
        for alarm in inbox.alarms.values():
            self._take_alarm(alarm)
        if inbox.started is not None:
            self._started = inbox.started
            self._touched.add("house")
        if inbox.acknowledged:
            self._acknowledged = inbox.acknowledged
            self._touched.add("house")
        if inbox.fresh_s is not None and (self._fresh_s is None or abs(inbox.fresh_s - self._fresh_s) >= _FRESH_STEP_S):
            self._fresh_s = inbox.fresh_s
            self._touched.add("house")
        if inbox.digest is not None:
            content, text = homie.document(inbox.digest.document), homie.string(inbox.digest.text)
            made = inbox.digest.document.get("to")
            made_at = [Value("digest-made", made.encode())] if isinstance(made, str) else []
            self._digest = (Value("digest", content), Value("digest-text", text), *made_at)
            self._touched.add("house")

    def stop(self) -> None:
        """From now on nobody decides: heat is shown as cut."""
        self._stopped = True
        self._touched.update(self._enclosures)

    def changed(self) -> list[Value]:
        """The values of every node that something came in for since this was last asked."""
        if self._now_s - self._checked_s >= _RECHECK_S:
            self._touched.update(self._nodes)
            self._checked_s = self._now_s
        touched = [node for node in self._nodes if node in self._touched]
        values = [value for node in touched for value in self._node(node)]
        values += self._alerts()
        values += [Value(topic, b"") for topic in sorted(self._returned - {v.topic for v in values})]
        self._touched.clear()
        self._returned.clear()
        return values

    def all(self) -> list[Value]:
        """Every value there is, for a broker that may hold nothing of us."""
        self._touched.update(self._nodes)
        return self.changed()

    def keeps(self, topic: str) -> bool:
        """Is a retained value of an earlier run to be left alone, though this run has none of its own yet?"""
        return topic in [f"{self._root}/house/{key}" for key in ("digest", "digest-text", "digest-made")]

    def _touch_probe(self, probe: str, mono_s: float) -> None:
        self._now_s = max(self._now_s, mono_s)
        node = self._probes.get(probe)
        if node is not None:
            self._touched.add(node)

    def _take_alarm(self, event: AlarmChanged) -> None:
        if event.state in _ALERTED:
            self._alarms[event.alarm] = event
        else:
            self._returned.add(self._alert_topic(event.alarm))
            if event.state is AlarmState.NORMAL:
                self._alarms.pop(event.alarm, None)
            else:
                self._alarms[event.alarm] = event
        if event.enclosure is not None:
            self._touched.add(event.enclosure)
        elif event.alarm in self._house_alarms:
            self._touched.add("house")

    def _alert_topic(self, alarm: str) -> str:
        return f"{self._root}/$alert/{homie.alert_id(alarm)}"

    def _alerts(self) -> list[Value]:
        return [
            Value(self._alert_topic(event.alarm), homie.string(event.text))
            for event in self._alarms.values()
            if event.state in _ALERTED
        ]

    def _node(self, node: str) -> Iterator[Value]:
        if node == "house":
            values = self._house()
        elif node == "room":
            values = self._climate(self._device.room_probes)
        else:
            values = self._enclosure(self._enclosures[node])
        return (Value(f"{self._root}/{node}/{key}", payload, expires) for key, payload, expires in values)

    def _house(self) -> Iterator[Value]:
        if self._started is not None:
            yield Value("run-started", homie.datetime_z(self._started.at.wall_s))
        if self._fresh_s is not None:
            yield Value("fresh-at", homie.datetime_z(self._fresh_s))
        yield from self._digest
        if self._device.acknowledge and self._acknowledged:
            yield Value(homie.ACKNOWLEDGE, homie.string(self._acknowledged))
        for alarm, key in self._house_alarms.items():
            yield self._alarm_state(alarm, key)

    def _enclosure(self, enclosure: Enclosure) -> Iterator[Value]:
        yield from self._climate(enclosure.probes)
        unit = self._device.unit
        yield Value("band-low", homie.temperature(enclosure.band.low_c, unit))
        yield Value("band-high", homie.temperature(enclosure.band.high_c, unit))
        if enclosure.mat is not None:
            told = self._verdicts.get(enclosure.id)
            allowed = told is not None and told.verdict.allowed and not self._stopped
            reason = homie.STOPPED if self._stopped else told.verdict.reason if told else homie.STARTING
            yield Value("heat-allowed", homie.boolean(allowed))
            yield Value("heat-reason", homie.string(reason))
            yield Value("relay-operations", homie.integer(told.operations) if told else b"")
        for condition in homie.conditions(enclosure, self._device.humid):
            yield self._alarm_state(f"{condition}/{enclosure.id}", f"{condition}-alarm")

    def _alarm_state(self, alarm_id: str, key: str) -> Value:
        alarm = self._alarms.get(alarm_id)
        return Value(key, homie.string(alarm.state if alarm else AlarmState.NORMAL))

    def _climate(self, probes: Sequence[ProbeTerms]) -> Iterator[Value]:
        unit = self._device.unit
        fresh = [(p, r) for p in probes if (r := self._fresh(p)) is not None]
        for role in Role:
            if any(p.role is role for p in probes):
                pick: Callable[[Iterable[float]], float] = max if role is Role.WALL else min
                values_c = [r.temperature_c for p, r in fresh if p.role is role]
                payload = homie.temperature(pick(values_c), unit) if values_c else b""
                yield Value(f"{role}-temperature", payload, expires=True)
        for key in {homie.humidity_key(p): None for p in probes if p.id in self._device.humid}:
            values_pct = [
                r.humidity_pct for p, r in fresh if homie.humidity_key(p) == key and r.humidity_pct is not None
            ]
            yield Value(key, homie.humidity(min(values_pct)) if values_pct else b"", expires=True)
        last = [r.at.wall_s for p in probes if (r := self._readings.get(p.id)) is not None]
        yield Value("last-reading", homie.datetime_z(max(last)) if last else b"")
        yield Value("reading-quality", self._quality(probes).value.encode())

    def _fresh(self, probe: ProbeTerms) -> Reading | None:
        reading = self._readings.get(probe.id)
        if reading is None or self._now_s - reading.at.mono_s > probe.stale_s:
            return None
        return reading

    def _quality(self, probes: Sequence[ProbeTerms]) -> Quality:
        """The worst role's quality, where a role is as good as its best probe."""
        order = (Quality.MISSING, Quality.DOUBTFUL, Quality.GOOD)
        best = {role: 0 for role in Role if any(p.role is role for p in probes)}
        for probe in probes:
            best[probe.role] = max(best[probe.role], order.index(self._latest(probe)))
        return order[min(best.values(), default=0)]

    def _latest(self, probe: ProbeTerms) -> Quality:
        reading, refused = self._fresh(probe), self._refusals.get(probe.id)
        if refused is None:
            return Quality.GOOD if reading else Quality.MISSING
        if reading is not None and reading.at.mono_s >= refused.at.mono_s:
            return Quality.GOOD
        stale = self._now_s - refused.at.mono_s > probe.stale_s
        return Quality.MISSING if stale else refused.quality
