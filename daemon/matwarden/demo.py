"""Three winter nights on the simulated shelf, shown as they happen: the real station, store, MQTT and push.

In the first one a tub of the demo's own settings is commissioned.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from matwarden.commissioned_holds import COMMISSIONED
from matwarden.course_run import Ended
from matwarden.demo_course import BEGINS_S, course_of, tell_found
from matwarden.devices import OpenDevices
from matwarden.exit_codes import Exit
from matwarden.night import PICTURES
from matwarden.rehearsal import Rehearsal
from matwarden.report.units import local_day_and_clock
from matwarden.settings import Settings, load
from matwarden.sinks.console import ConsoleSink
from matwarden.sinks.demo_broker import DemoBrokerError, embedded_broker
from matwarden.sinks.push_send import PICTURE_LINE
from matwarden.sinks.push_terms import PushTarget, PushTerms
from matwarden.sinks.store_latches import LATCHES
from matwarden.sinks.store_schema import DATABASE, StoreError

__all__ = ["PHONE", "demo_settings", "demonstrate"]

# Where the demo's pushes go instead of to a phone.
PHONE = "phone.txt"
_MARK = "made-by-demo.txt"
_RECORD = (DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm", LATCHES, "matwarden.lock")
_PAGES = "pages"
_OURS = (*_RECORD, PHONE, "relays.txt", "relay-lines", _MARK, _PAGES, PICTURES, COMMISSIONED)


def demo_settings() -> Path:
    """The demo's settings file: installed with the program, or beside the source.

    Raises:
        FileNotFoundError: neither is there.
    """
    places = (
        Path(sys.prefix) / "share" / "matwarden" / "demo.toml",
        Path(__file__).resolve().parents[2] / "config" / "demo.toml",
    )
    for place in places:
        if place.is_file():
            return place
    raise FileNotFoundError(f"the demo's settings are neither at {places[0]} nor at {places[1]}")


def demonstrate(file: Path | None, out: Path, open_devices: OpenDevices) -> int:
    """Run the whole rehearsal that a settings file describes, and print what came of it.

    Args:
        file: settings with a simulated shelf; None: the demo's own.
        out: directory for its files; those of an earlier demo are replaced, anything else there stops it.
    """
    settings = load(file or demo_settings())
    simulation = settings.simulation
    if simulation is None or simulation.days is None:
        print(
            f"matwarden: {settings.source} has no [simulation] with days: a demo needs a simulated shelf",
            file=sys.stderr,
        )
        return Exit.SETTINGS
    try:
        _make_room(out)
    except OSError as error:
        print(f"matwarden: cannot use {out} for the demo: {error.strerror or error}", file=sys.stderr)
        return Exit.STORE
    settings = _into(settings, out.resolve())
    terminal = sys.stdout.isatty()
    zone = ZoneInfo(settings.zone)
    console = ConsoleSink(sys.stdout, zone, terminal)
    with _broker(settings) as settings:
        _introduce(settings)
        try:
            run = Rehearsal(settings, open_devices, [console], sums=True)
        except StoreError as error:
            print(f"matwarden: {error}", file=sys.stderr)
            return Exit.STORE
        ended: Ended | None = None
        try:
            end_s = simulation.days * 86400.0
            start_wall_s = simulation.start_wall_s

            def show(now_s: float) -> None:
                console.progress(now_s / end_s, local_day_and_clock(start_wall_s + now_s, zone))

            if file is None:
                run.run_until(BEGINS_S, show)
                ended = course_of(
                    run,
                    settings.enclosures[0],
                    end_s,
                    show,
                    lambda text: console.say(run.clock.now().wall_s, "course", text),
                )
            run.run_until(end_s, show)
        finally:
            run.close()
    _conclude(run, out, ended)
    return Exit.OK


def _make_room(out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    strangers = [entry.name for entry in out.iterdir() if entry.name not in _OURS]
    if strangers:
        raise OSError(f"there are other files in it ({strangers[0]}); name an empty directory with --out")
    # The record of a real station has the same files: only what a demo has marked as its own is ever deleted.
    if any(out.iterdir()) and not (out / _MARK).is_file():
        raise OSError("it may hold the record of a real station; name an empty directory with --out")
    shutil.rmtree(out)
    out.mkdir()
    (out / _MARK).write_text("Made by matwarden demo; deleted by the next one.\n", encoding="utf-8")


def _into(settings: Settings, out: Path) -> Settings:
    """The same settings, with every file in `out` and the pushes in a file instead of on a phone."""
    simulation = settings.simulation
    assert simulation is not None
    return replace(
        settings,
        store=replace(settings.store, directory=out),
        push=PushTerms((PushTarget("phone", url=f"file:{out / PHONE}"),), 72 * 3600.0, 1000),
        digest=replace(settings.digest, pages=out / _PAGES if settings.digest.pages is not None else None),
        simulation=replace(simulation, record=out / "relays.txt"),
    )


@contextlib.contextmanager
def _broker(settings: Settings) -> Iterator[Settings]:
    """A broker for the demo, on this machine only; without one the demo runs all the same and says so."""
    if settings.mqtt is None:
        yield settings
        return
    try:
        with embedded_broker(settings.mqtt.port) as broker:
            yield replace(settings, mqtt=replace(settings.mqtt, host="127.0.0.1", port=broker.port))
    except DemoBrokerError as error:
        print(f"MQTT is left out: {error}")
        yield replace(settings, mqtt=None)


def _introduce(settings: Settings) -> None:
    simulation = settings.simulation
    assert simulation is not None
    names = ", ".join(enclosure.name for enclosure in settings.enclosures)
    print(f"{settings.house_name}: {names}. {simulation.days:g} simulated days; no probe is read, no mat is switched.")
    if settings.mqtt is not None:
        print("To watch it over MQTT while it runs, in another terminal (one of the two):")
        print(f"  mosquitto_sub -h 127.0.0.1 -p {settings.mqtt.port} -v -t '{settings.mqtt.domain}/#'")
        print(f"  .venv/bin/amqtt_sub --url mqtt://127.0.0.1:{settings.mqtt.port} -t '{settings.mqtt.domain}/#'")
    print()


def _conclude(run: Rehearsal, out: Path, ended: Ended | None) -> None:
    for digest in run.digests:
        print(f"\n--- digest of {digest.date} ---\n{digest.text}")
    if ended is not None:
        tell_found(run, run.settings.enclosures[0], ended, sys.stdout)
    lines = (out / PHONE).read_text(encoding="utf-8").splitlines() if (out / PHONE).exists() else []
    pushes = sum(PICTURE_LINE not in line for line in lines)
    print(f"\nThe files of this run are in {out}:")
    print(f"  {DATABASE}   every reading, verdict, alarm and digest (SQLite)")
    print(f"  {PHONE}     the {pushes} pushes, as a phone would have got them")
    print("  relays.txt    each time a relay's line changed")
    if (out / PICTURES).is_dir():
        print(f"  {PICTURES}/     a picture of each night, as it went with the push")
    if (out / _PAGES / "index.html").is_file():
        print(f"  {_PAGES}/        a page of each night: open {_PAGES}/index.html in a browser")
    if (out / COMMISSIONED).is_dir():
        print(f"  {COMMISSIONED}/ what was found of {run.settings.enclosures[0].name}, with a picture")
