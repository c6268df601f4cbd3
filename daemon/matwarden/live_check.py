"""`matwarden check --live`: the machine as it is now, looked at piece by piece and judged elsewhere.

It drives no relay and disturbs no running station; what a running station holds it leaves alone, and says so.
Not tried on a Raspberry Pi: the tests lay the kernel's files below a directory of their own.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from matwarden import live_judge
from matwarden.control_client import NotRunningError, ask
from matwarden.devices import Discover, IdleLevel, OpenDevices
from matwarden.live_judge import Finding, State
from matwarden.lock_holder import LOCK, holder
from matwarden.probes_command import reading, survey
from matwarden.settings import Settings
from matwarden.settings.resolved import Dht22, GpioRelay, TwinProbe
from matwarden.sinks.store_space import free_bytes
from matwarden.terms import At, ProbeTerms
from matwarden_hardware.ports import DriverError, Sample

__all__ = ["Hands", "findings", "is_running"]

_PERSISTENCE = "module/{}/parameters/persist_gpio_outputs"
_PIN_CONTROLLERS = ("pinctrl_bcm2835", "pinctrl_rp1")


class Hands(NamedTuple):
    """What the check reaches the machine with.

    Attributes:
        machine: where its sys, proc, dev and run are: `/`.
    """

    machine: Path
    open_devices: OpenDevices
    discover: Discover
    idle_level: IdleLevel
    now: Callable[[], At]


def is_running(settings: Settings) -> bool:
    """Whether a station answers, or is there and does not: it may hang, or talk to others only."""
    if holder(settings.store.directory / LOCK) is not None:
        return True
    try:
        ask(settings.control.socket, {"do": "status"})
    except NotRunningError:
        return False
    except PermissionError:
        pass
    return True


def findings(settings: Settings, hands: Hands, running: bool, send_push: bool) -> Iterator[Finding]:
    """Everything, one after the other, each as soon as it is known.

    Args:
        running: a station is running: its relays, and probes that only one program can read, are left alone.
    """
    if any(isinstance(driver, GpioRelay) for driver in settings.relay_drivers.values()):
        yield _persistence(hands.machine)
    yield _watchdog(hands.machine)
    yield live_judge.clock((hands.machine / "run/systemd/timesync/synchronized").exists(), _synchronised())
    yield _space(settings)
    if settings.mqtt is not None:
        yield _broker(settings, hands)
    yield from _pushes(settings, hands, send_push)
    yield from _probes(settings, hands, running)
    yield from _relays(settings, hands, running)


def _persistence(machine: Path) -> Finding:
    found = {name: _text(machine / "sys" / _PERSISTENCE.format(name)) for name in _PIN_CONTROLLERS}
    parameters = {name: text for name, text in found.items() if text is not None}
    return live_judge.persistence(parameters, _text(machine / "proc/cmdline") or "")


def _watchdog(machine: Path) -> Finding:
    there = any((machine / "dev" / name).exists() for name in ("watchdog0", "watchdog"))
    return live_judge.hardware_watchdog(there, _asked("systemctl", "show", "--value", "-p", "RuntimeWatchdogUSec"))


def _synchronised() -> bool | None:
    told = _asked("timedatectl", "show", "--value", "-p", "NTPSynchronized")
    return None if told not in ("yes", "no") else told == "yes"


def _space(settings: Settings) -> Finding:
    directory = settings.store.directory
    there = next(place for place in (directory, *directory.parents) if place.is_dir())
    try:
        free = free_bytes(there)
    except OSError as error:
        return Finding("free space", State.FAIL, f"{there} cannot be looked at: {error.strerror}", "Look at the disk.")
    return live_judge.free_space(free, settings.store.keep_free_mb, str(directory))


def _broker(settings: Settings, hands: Hands) -> Finding:
    from matwarden.sinks.mqtt_try import try_broker

    assert settings.mqtt is not None
    why_not = try_broker(settings.mqtt, settings.house_id, lambda: hands.now().mono_s)
    if why_not:
        return Finding("broker", State.FAIL, why_not, "Put it right under [mqtt], or at the broker.")
    return Finding("broker", State.OK, f"{settings.mqtt.host}:{settings.mqtt.port} takes what the station publishes")


def _pushes(settings: Settings, hands: Hands, send_push: bool) -> Iterator[Finding]:
    from matwarden.sinks.push_send import address_of
    from matwarden.sinks.push_try import try_target

    if settings.push is None or not settings.push.targets:
        yield Finding("push", State.WARN, "nobody is told of an alarm", "Add a [[push.target]] to the settings.")
        return
    for target in settings.push.targets:
        subject = f"push {target.name}"
        try:
            address_of(target)
        except ValueError as error:
            advice = "Make that file readable for this user, or do this check as root."
            yield Finding(subject, State.FAIL, str(error), advice)
            continue
        if not send_push:
            yield Finding(subject, State.WARN, "has an address; not tried", "To send one: --push.")
            continue
        why_not = try_target(target, settings.house_name, "matwarden check --live", hands.now).why_not
        if why_not is None:
            yield Finding(subject, State.OK, "took it; look whether it is there")
        else:
            yield Finding(subject, State.FAIL, why_not, "Put its address or the network right.")


def _probes(settings: Settings, hands: Hands, running: bool) -> Iterator[Finding]:
    try:
        seen = survey(hands.discover(hands.machine / "sys"), settings, show_all=True)
    except OSError as error:
        yield Finding("probes", State.FAIL, f"cannot be listed: {error}", "Do this check as root.")
        return
    found = {name: probe for probe, names in zip(seen.found, seen.used_by, strict=True) for name in names}
    for terms in _probe_terms(settings):
        driver = settings.probe_drivers[terms.id]
        told: Sample | str | None
        if isinstance(driver, Dht22) and running:
            advice = "To try it here: systemctl stop matwarden. Else look at: matwarden status."
            yield Finding(
                f"probe {terms.id}", State.WARN, "the running station reads it, so it is not read here", advice
            )
            continue
        if isinstance(driver, Dht22 | TwinProbe):
            told = _opened_reading(settings, hands, terms.id)
        elif terms.id in found:
            told = reading(found[terms.id].probe) or found[terms.id].why_not
        else:
            told = seen.missing[terms.id]
        yield live_judge.probe(terms, told, settings.unit)


def _opened_reading(settings: Settings, hands: Hands, name: str) -> Sample | str:
    only = replace(settings, permit=None, relay_drivers={}, probe_drivers={name: settings.probe_drivers[name]})
    try:
        devices = hands.open_devices(only, lambda: hands.now().mono_s, True)
    except DriverError as error:
        return str(error)
    try:
        return reading(devices.probes[name]) or "nothing was read"
    finally:
        devices.close()


def _relays(settings: Settings, hands: Hands, running: bool) -> Iterator[Finding]:
    if running and settings.relay_drivers:
        told = f"not looked at ({', '.join(settings.relay_drivers)}): the running station holds them"
        advice = "To look at them: systemctl stop matwarden, this check, systemctl start matwarden."
        yield Finding("relays", State.WARN, told, advice)
        return
    for enclosure in settings.relay_drivers:
        allows: bool | str | None
        try:
            allows = hands.idle_level(settings, enclosure)
        except DriverError as error:
            allows = str(error)
        yield live_judge.relay_at_rest(enclosure, allows)


def _probe_terms(settings: Settings) -> Iterator[ProbeTerms]:
    for enclosure in settings.enclosures:
        yield from enclosure.probes
    yield from settings.room_probes


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return None


def _asked(*command: str) -> str | None:
    """What a command of the system's prints; None when it is not there or does not know."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=15, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout.strip() if done.returncode == 0 else None
