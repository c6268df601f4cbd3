"""Every fault of the process and of what it talks to: broker, phone, disk, clock, memory, probe child, signals."""

from __future__ import annotations

import errno
import signal

from faults import troubles as t
from faults.services import Flooding, Refusing
from faults.stage import Scene
from helpers_kindled import Silent

__all__ = ["SCENES"]

# Nothing can be recorded for two minutes before the keeper is told.
_STORAGE_S = 160.0
_PRELOADED = "a library before the C library refuses it"
_UNRECORDED = "nothing is recorded"

SCENES: tuple[Scene, ...] = (
    Scene("no trouble", "-"),
    Scene("broker gone", "nobody listens", prepare=t.no_broker, words="MQTT: "),
    Scene("broker silent", "takes connections, never answers", prepare=t.broker(Silent), words="MQTT: "),
    Scene("broker refuses", "CONNACK: not authorized", prepare=t.broker(Refusing), words="MQTT: "),
    Scene(
        "broker floods", "sends without end", prepare=t.broker(Flooding), words="MQTT: the connection", watched_s=60.0
    ),
    Scene(
        "push endpoint gone",
        "nobody listens, until heat is cut",
        prepare=t.no_phone,
        mend=t.phone_is_back,
        mend_first=True,
        watched_s=60.0,
    ),
    Scene(
        "push endpoint hangs",
        "takes the post, never answers",
        prepare=t.phone(hang=True),
        mend=t.phone_works,
        mend_first=True,
        watched_s=60.0,
    ),
    Scene(
        "push endpoint answers 500",
        "until heat is cut",
        prepare=t.phone(status=500),
        mend=t.phone_works,
        mend_first=True,
        watched_s=60.0,
    ),
    Scene(
        "disk full",
        f"ENOSPC; {_PRELOADED}",
        prepare=t.spoilt,
        trouble=t.refuse(errno.ENOSPC),
        mend=t.refuse(0),
        words=_UNRECORDED,
        watched_s=_STORAGE_S,
    ),
    Scene(
        "disk read-only",
        f"EROFS; {_PRELOADED}",
        prepare=t.spoilt,
        trouble=t.refuse(errno.EROFS),
        mend=t.refuse(0),
        words=_UNRECORDED,
        watched_s=_STORAGE_S,
    ),
    Scene(
        "disk failing",
        f"EIO; {_PRELOADED}",
        prepare=t.spoilt,
        trouble=t.refuse(errno.EIO),
        mend=t.refuse(0),
        words=_UNRECORDED,
        watched_s=_STORAGE_S,
    ),
    Scene(
        "disk read-only, and a kill",
        f"EROFS, SIGKILL; {_PRELOADED}",
        prepare=t.spoilt,
        trouble=t.refuse_and_kill(errno.EROFS),
        mend=t.refuse(0),
        words=_UNRECORDED,
        kills=True,
        watched_s=_STORAGE_S + 20.0,
    ),
    Scene(
        "no record can be made",
        f"EROFS at the first start; {_PRELOADED}",
        prepare=t.spoilt_from_the_start(errno.EROFS),
        words="cannot use",
        never=True,
    ),
    Scene(
        "disk slow",
        "each write and sync takes 1 s longer, by such a library",
        prepare=t.spoilt,
        trouble=t.slow_disk(1.0),
        mend=t.slow_disk(0.0),
        watched_s=90.0,
    ),
    Scene(
        "disk stands still",
        "each write and sync takes 1 h, by such a library",
        prepare=t.spoilt,
        trouble=t.slow_disk(3600.0),
        words=_UNRECORDED,
        watched_s=_STORAGE_S + 60.0,
    ),
    Scene(
        "files may not grow",
        "RLIMIT_FSIZE",
        trouble=t.no_bigger_files,
        mend=t.bigger_files,
        words=_UNRECORDED,
        watched_s=_STORAGE_S,
    ),
    Scene(
        "record locked",
        "by another process",
        trouble=t.lock,
        mend=t.unlock,
        words=_UNRECORDED,
        watched_s=_STORAGE_S,
    ),
    Scene("record overwritten", "with noise, while it runs", trouble=t.damage),
    Scene(
        "record damaged, then a restart",
        "noise, SIGKILL",
        trouble=t.damage_and_kill,
        kills=True,
        words="look at its record",
        bound_s=4.0,
    ),
    Scene("memory exhausted", "RLIMIT_AS: not a page more", trouble=t.no_more_memory),
    Scene(
        "too little memory to start",
        "RLIMIT_AS of 60 MB",
        prepare=t.little_memory,
        words="Error: ",
        never=True,
    ),
    Scene("DHT22 child hangs", "in a capture", prepare=t.dht22, trouble=t.dht22_does("hang")),
    Scene("DHT22 child crashes", "SIGSEGV in a capture", prepare=t.dht22, trouble=t.dht22_does("crash")),
    Scene(
        "clock set forward 3 h",
        "CLOCK_REALTIME, by such a library",
        prepare=t.spoilt,
        trouble=t.step_clock(3 * 3600.0),
    ),
    Scene("clock set back 3 h", "CLOCK_REALTIME, by such a library", prepare=t.spoilt, trouble=t.step_clock(-10800.0)),
    Scene("machine in another time zone", "TZ", prepare=t.zone("Pacific/Auckland")),
    Scene(
        "a second daemon started",
        "on the same record; the second ends with code 4",
        trouble=t.second_daemon,
        words="another matwarden",
    ),
    Scene(
        "settings changed while it runs",
        "limits raised by 2 K; the old ones hold",
        trouble=t.change_settings,
        words="software cut-out, 30.0",
    ),
    Scene("SIGTERM", "-", trouble=t.send(signal.SIGTERM), kills=True, words="stopped as asked", bound_s=4.0),
    Scene("SIGKILL", "as the kernel's when memory runs out", trouble=t.send(signal.SIGKILL), kills=True, bound_s=4.0),
    Scene(
        "SIGSTOP",
        "a watchdog of 4 s; the unit's has 20 s",
        trouble=t.send(signal.SIGSTOP),
        kills=True,
        bound_s=8.0,
        unit_adds_s=16.0,
    ),
)
