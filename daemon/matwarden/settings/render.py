"""What `matwarden check` prints: the settings as the station will use them, on one screen."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from matwarden.core.inverse_time import operate_time_s
from matwarden.core.units import (
    difference_text,
    duration_text,
    rfc3339_z,
    temperature_text,
    temperature_value,
)
from matwarden.settings.offsets import offset_fields
from matwarden.settings.resolved import (
    AlarmRules,
    Dht22,
    GpioPermit,
    GpioRelay,
    Hwmon,
    Iio,
    OneWire,
    RoomFile,
    RoomFormula,
    RoomSeries,
    Settings,
    SimulationSettings,
    TwinProbe,
)
from matwarden.sinks.push_terms import PushTarget
from matwarden.terms import AlarmTimes, Enclosure, Priority, ProbeTerms, Unit

_WIDTH = 80
_NAME_WIDTH = 8
# Together with four gaps of two these leave a line of 80.
_PART_WIDTHS = (_NAME_WIDTH, 9, 15, 23, 17)


def render_resolved(settings: Settings, warnings: Sequence[str] = ()) -> str:
    """The settings for a person; temperatures in the keeper's unit, below them in the other one."""
    blocks = [
        _fields(
            [
                ("house", f"{settings.house_name} ({settings.house_id})"),
                ("file", str(settings.source)),
                ("times", settings.zone),
            ]
        ),
        _tubs(settings.enclosures, settings.unit),
        _parts(settings),
        _fields([*offset_fields(settings), *_services(settings)]),
    ]
    if settings.simulation is not None:
        blocks.append(_fields(_simulation(settings.simulation, settings.unit)))
    if warnings:
        blocks.append("\n".join(_wrapped("warning", text) for text in warnings))
    return "\n\n".join(blocks) + "\n"


def _fields(pairs: Iterable[tuple[str, str]]) -> str:
    return "\n".join(_wrapped(name, text) for name, text in pairs)


def _wrapped(name: str, text: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=f"{name:<9} ", subsequent_indent=" " * 10, break_on_hyphens=False)


def _columns(lines: list[list[str]]) -> str:
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    return "\n".join(
        "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip() for line in lines
    )


def _shortened(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _range(low_c: float, high_c: float, unit: Unit) -> str:
    return f"{temperature_value(low_c, unit):.1f} to {temperature_text(high_c, unit)}"


def _tubs(enclosures: Sequence[Enclosure], unit: Unit) -> str:
    lines = [["tub", "band", "heat on and off", "limiter", "cut-out", "mat"]]
    for tub in enclosures:
        for shown in (unit, Unit.C if unit is Unit.F else Unit.F):
            name = _shortened(tub.name, _NAME_WIDTH) if shown is unit else ""
            lines.append([name, _range(tub.band.low_c, tub.band.high_c, shown), *_mat(tub, shown, shown is unit)])
    return _columns(lines)


def _mat(tub: Enclosure, unit: Unit, first: bool) -> list[str]:
    mat = tub.mat
    if mat is None:
        return ["", "", "", "no mat" if first else ""]
    half_k = mat.hysteresis_k / 2
    watts = "" if mat.watts_w is None else f"{mat.watts_w:g} W"
    return [
        _range(mat.setpoint_c - half_k, mat.setpoint_c + half_k, unit),
        temperature_text(mat.limiter_c, unit),
        temperature_text(mat.cut_out_c, unit),
        str(mat.placement) if first else watts,
    ]


def _parts(settings: Settings) -> str:
    """Every probe and relay, and how it is reached."""
    names = {tub.id: _shortened(tub.name, _NAME_WIDTH) for tub in settings.enclosures}
    lines = [["where", "what", "id", "reached by", "remarks"]]
    for tub in settings.enclosures:
        for probe in tub.probes:
            lines.append([names[tub.id], *_probe(probe, settings)])
        relay = settings.relay_drivers.get(tub.id)
        if tub.mat is not None and relay is not None:
            held = f"on {tub.mat.minimum_on_s:g}, off {tub.mat.minimum_off_s:g} s"
            lines.append([names[tub.id], "relay", "", _relay(relay), held])
    for probe in settings.room_probes:
        lines.append(["Room", *_probe(probe, settings)])
    return _columns([list(map(_shortened, line, _PART_WIDTHS)) for line in lines])


def _probe(probe: ProbeTerms, settings: Settings) -> list[str]:
    driver = settings.probe_drivers[probe.id]
    remarks = [str(probe.side)] if probe.side else []
    if probe.offset_k:
        sign = "-" if probe.offset_k < 0 else "+"
        remarks.append(f"{sign}{difference_text(abs(probe.offset_k), settings.unit)}")
    return [str(probe.role), probe.id, _reached(driver), ", ".join(remarks)]


def _reached(driver: OneWire | Iio | Hwmon | Dht22 | TwinProbe) -> str:
    if isinstance(driver, OneWire):
        return f"1-wire {driver.address}"
    if isinstance(driver, Iio):
        return f"iio {driver.device}"
    if isinstance(driver, Hwmon):
        return f"hwmon {driver.chip}" + (f" at {driver.address}" if driver.address else "")
    if isinstance(driver, Dht22):
        return f"dht22 GPIO {driver.pin}" + ("" if driver.use_pulseio else ", no pulseio")
    return f"twin, {driver.node}"


def _relay(driver: object) -> str:
    if not isinstance(driver, GpioRelay):
        return "twin"
    level = "high" if driver.active_high else "low"
    return f"{driver.chip.removeprefix('/dev/')} line {driver.line}, {level}"


def _services(settings: Settings) -> list[tuple[str, str]]:
    every = sorted({probe.poll_s for tub in settings.enclosures for probe in tub.probes})
    probe = settings.enclosures[0].probes[0]
    polls = ", ".join(f"{poll_s:g}" for poll_s in every)
    pairs = [
        (
            "polling",
            f"every {polls} s; {probe.deadline_s:g} s to answer; a reading counts for {probe.stale_s:g} s; doubted "
            f"above {difference_text(probe.max_rate_k_per_min, settings.unit)} a minute",
        )
    ]
    permit = settings.permit
    if permit is not None:
        line = "simulated" if not isinstance(permit, GpioPermit) else f"{permit.chip} line {permit.line}"
        pairs.append(("permit", f"{line}; changes its level with each complete cycle in which every relay agrees"))
    pairs += [("alarms", text) for text in _alarms(settings)]
    pairs.append(("calls", _calls(settings.alarms)))
    store = settings.store
    pairs.append(
        (
            "store",
            f"{store.directory}, committed every {store.commit_every_s:g} s, readings kept {store.keep_raw_days} days "
            f"or as long as {store.keep_free_mb} MB of the disk are free",
        )
    )
    pairs.append(("control", str(settings.control.socket)))
    mqtt = settings.mqtt
    if mqtt is None:
        pairs.append(("mqtt", "off"))
    else:
        user = f", user {mqtt.username}" if mqtt.username else ""
        tls = "TLS" if mqtt.tls else "not encrypted"
        pairs.append(("mqtt", f"{mqtt.host} port {mqtt.port}, MQTT {mqtt.protocol}, {tls}{user}"))
    push = settings.push
    if push is None:
        pairs.append(("push", "off"))
    else:
        targets = ", ".join(map(_target, push.targets))
        quiet = f"; low ones wait from {push.quiet.begins:%H:%M} to {push.quiet.ends:%H:%M}" if push.quiet else ""
        pairs.append(("push", f"{targets}; given up after {duration_text(push.give_up_after_s)}{quiet}"))
    for peer in settings.watched:
        digest = peer.no_digest_after_s
        pairs.append(
            (
                "watch",
                f"{peer.name} ({peer.id}): lost after {duration_text(peer.lost_after_s)}, silent after "
                f"{duration_text(peer.stale_after_s)}"
                + ("" if digest is None else f", without a digest after {duration_text(digest)}"),
            )
        )
    if settings.heartbeat is not None:
        pairs.append(("heartbeat", f"every {duration_text(settings.heartbeat.every_s)} while all goes well"))
    pairs.append(("digest", _digest(settings)))
    return pairs


def _digest(settings: Settings) -> str:
    digest = settings.digest
    if not digest.enabled:
        return "off"
    pages = f"; pages in {digest.pages}" if digest.pages is not None else ""
    return f"at {digest.at}{', with a picture' if digest.picture else ''}{pages}"


def _target(target: PushTarget) -> str:
    only = [priority.value for priority in Priority if priority in target.priorities]
    told = [*(["second"] if target.second else []), *(only if len(only) < len(Priority) else [])]
    return f"{target.name} ({', '.join(told)})" if told else target.name


def _alarms(settings: Settings) -> list[str]:
    """One line a set of alarm times, with the tubs it is for when there is more than one set."""
    groups: dict[AlarmTimes, list[str]] = {}
    for tub in settings.enclosures:
        groups.setdefault(tub.alarms, []).append(tub.name)
    return [
        (f"{', '.join(names)}: " if len(groups) > 1 else "")
        + f"cold after {duration_text(times.cold_after_s)}, hot after {duration_text(times.hot_after_s)}"
        f"{_inverse(times, settings.unit)}, blind after {duration_text(times.blind_after_s)}{_dry(times)}; ended by "
        f"{duration_text(times.clear_after_s)} at least {difference_text(times.deadband_k, settings.unit)} inside the "
        "band"
        for times, names in groups.items()
    ]


def _dry(times: AlarmTimes) -> str:
    if times.too_dry_kpa is None:
        return ""
    return f", dry {times.too_dry_kpa:g} kPa after {duration_text(times.too_dry_after_s)}"


def _inverse(times: AlarmTimes, unit: Unit) -> str:
    """One example tells more than the constants of the curve."""
    if times.inverse is None:
        return ""
    soon_s = operate_time_s(times.inverse, 5.0)
    return f" ({difference_text(5.0 * times.inverse.pickup_k, unit)} out: {duration_text(soon_s)})"


def _calls(rules: AlarmRules) -> str:
    times = rules.times
    told = ["once" if times.ring_again_s is None else f"again after {duration_text(times.ring_again_s)}"]
    if times.second_after_s is not None:
        told.append(f"second targets after {duration_text(times.second_after_s)}")
    if times.re_alarm_s is not None:
        told.append(f"acknowledged ones anew after {duration_text(times.re_alarm_s)}")
    if rules.together_n:
        told.append(f"{rules.together_n} tubs as one")
    return ", ".join(told)


def _simulation(simulation: SimulationSettings, unit: Unit) -> list[tuple[str, str]]:
    days = "until stopped" if simulation.days is None else f"{simulation.days:g} days"
    speed = "as fast as possible" if simulation.as_fast_as_possible else "in real time"
    room = simulation.room
    if isinstance(room, RoomFile):
        told = f"as recorded in {room.path}"
    elif isinstance(room, RoomFormula):
        told = f"about {temperature_text(room.mean_c, unit)}, swing {difference_text(room.swing_k, unit)}"
    elif isinstance(room, RoomSeries):
        told = "as recorded"
    else:
        coldest_c, warmest_c = min(c for _, c in room.points), max(c for _, c in room.points)
        told = f"the same each day, {_range(coldest_c, warmest_c, unit)}"
    pairs = [
        (
            "SIMULATED",
            f"no real probe, no real mat; from {rfc3339_z(simulation.start_wall_s)}, {days}, {speed}",
        ),
        ("room", told),
    ]
    for fault in simulation.faults:
        end = "" if fault.until_s is None else f" to {duration_text(fault.until_s)}"
        pairs.append(("fault", f"{fault.kind} of {fault.subject} from {duration_text(fault.at_s)}{end}"))
    return pairs
