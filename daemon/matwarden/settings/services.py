"""The tables around the tubs: store, control, broker, digest. Looks at files' status, opens none."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from matwarden.core.peers import Peer
from matwarden.core.upkeep import UpkeepRules
from matwarden.settings import resolved, service_rows, words
from matwarden.settings.problems import Findings
from matwarden.settings.tables import Table
from matwarden.sinks.heartbeat_terms import HeartbeatTerms
from matwarden.sinks.mqtt_terms import MqttTerms

# A Unix socket's path has 108 bytes with its closing zero: unix(7), sun_path.
SOCKET_PATH_BYTES = 107
# A file that the service manager hands over: `credential:NAME` is NAME in /etc/matwarden/credentials, which the unit
# loads as a whole under this id (LoadCredential= in systemd.exec(5)).
CREDENTIAL = "credential:"
CREDENTIAL_ID = "secret"
IN_SERVICE = Path("/run/credentials/matwarden.service")
LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass(frozen=True, slots=True)
class Files:
    """Paths of the settings, taken from the directory of the settings file when they are relative."""

    base: Path
    findings: Findings
    credentials: Path | None = None  # where the service manager has put them; None when it did not start us

    def absolute(self, text: str) -> Path:
        """The path with every `..` taken out; symbolic links stay as they are."""
        return Path(os.path.abspath(self.base / text))

    def existing(self, where: str, text: str, advice: str, secret: bool = False) -> Path:
        """The path of a file that must be there. Told when it is not; warned when others can read a secret."""
        if text.startswith(CREDENTIAL):
            return self._credential(where, text.removeprefix(CREDENTIAL))
        path = self.absolute(text)
        try:
            mode = path.stat().st_mode
        except (FileNotFoundError, NotADirectoryError):
            self.findings.problem(where, f"{path}, which does not exist", "a file that exists", advice)
        except OSError as error:
            reason = os.strerror(error.errno) if error.errno else "unknown reason"
            self.findings.warn(f"{where}: cannot look at {path} ({reason}); run the check as the station's user.")
        else:
            if not stat.S_ISREG(mode):
                self.findings.problem(where, f"{path}, which is not a file", "a file that exists", advice)
            elif secret and mode & stat.S_IROTH:
                self.findings.warn(f"{where}: {path} can be read by every user here; do: chmod o-r {path}")
        return path

    def _credential(self, where: str, name: str) -> Path:
        kept = f"/etc/matwarden/credentials/{name}"
        if not name or "/" in name or name.startswith("."):
            self.findings.problem(
                where,
                f"a credential called '{name}'",
                "the name of one file",
                "Name the file in /etc/matwarden/credentials.",
            )
        elif self.credentials is None:
            self.findings.warn(f"{where}: only the service is handed {kept}; not looked at.")
        elif not os.access(self.credentials / f"{CREDENTIAL_ID}_{name}", os.R_OK):
            self.findings.problem(
                where,
                f"a credential '{name}' that the service manager does not hand over",
                "one that it does",
                f"Make {kept}, then: systemctl restart matwarden",
            )
        return (self.credentials or IN_SERVICE) / f"{CREDENTIAL_ID}_{name}"


def store(files: Files, table: Table[service_rows.Store]) -> resolved.StoreSettings:
    """Where records go; the directory need not exist yet."""
    directory = Path("/var/lib/matwarden")
    if table.sound("directory"):
        directory = files.absolute(table.row.directory)
        try:
            wrong = directory.exists() and not directory.is_dir()
        except OSError:
            wrong = False  # not for us to look at: the station, which runs as another user, will tell
        if wrong:
            files.findings.problem(
                "store: directory",
                f"{directory}, which is not a directory",
                "a directory, made when it is not there",
                "Name another directory or move what is in the way.",
            )
    row = table.row
    return resolved.StoreSettings(directory, row.commit_every_s, row.keep_raw_days, row.keep_free_mb)


def control(files: Files, table: Table[service_rows.Control]) -> resolved.ControlSettings:
    """Where commands arrive."""
    if not table.sound("socket"):
        return resolved.ControlSettings(Path("/run/matwarden/control.sock"))
    path = files.absolute(table.row.socket)
    length = len(os.fsencode(path))
    if length > SOCKET_PATH_BYTES:
        files.findings.problem(
            "control: socket",
            f"a path of {length} bytes",
            f"at most {SOCKET_PATH_BYTES} bytes, counted from /",
            "Choose a shorter path: the operating system takes no longer one for a socket.",
        )
    return resolved.ControlSettings(path)


def digest(files: Files, table: Table[service_rows.Digest]) -> resolved.DigestSettings:
    """When the digest is due, and what is made beside it."""
    row, pages = table.row, None
    if table.sound("pages") and row.pages is not None:
        pages = files.absolute(row.pages)
    if table.sound("enabled") and not row.enabled:
        if row.picture or pages is not None:
            files.findings.warn(
                "digest: picture and pages are made with the digest, which is not enabled: none is made."
            )
    elif row.picture or pages is not None:
        lacking = [name for name in ("matplotlib", "jinja2") if find_spec(name) is None]
        if lacking:
            files.findings.warn(
                f"digest: {' and '.join(lacking)} not installed: no picture or page is made. "
                "Do: pip install 'matwarden[report]' in matwarden's environment."
            )
    return resolved.DigestSettings(row.at, row.enabled, row.picture, pages)


def upkeep(findings: Findings, table: Table[service_rows.Upkeep]) -> UpkeepRules:
    """When things are due."""
    row = table.row
    spans = {}
    for task, unit in (("substrate", "months"), ("split", "months"), ("food", "days")):
        keys = (f"{task}_from_{unit}", f"{task}_by_{unit}")
        first, last = (int(getattr(row, key)) for key in keys)
        if table.sound(*keys) and last < first:
            findings.problem(
                f"upkeep: {keys[1]}",
                f"{last}, less than {keys[0]} = {first}",
                f"{first} or more",
                "What is due from one day on cannot be overdue before it.",
            )
        spans[task] = (first, last)
    return UpkeepRules(spans["substrate"], spans["split"], spans["food"], row.check_months)


def mqtt(files: Files, table: Table[service_rows.Mqtt], every_s: float) -> MqttTerms | None:
    """The broker; None when the table cannot be used."""
    row, findings = table.row, files.findings
    if table.sound("username", "password_file") and row.password_file is not None and row.username is None:
        findings.problem("mqtt: username", "nothing", "a user name, since there is a password_file", "Add username.")
    if table.sound("tls") and not row.tls:
        for key in ("ca_file", "certificate_file", "key_file"):
            if table.sound(key) and getattr(row, key) is not None:
                findings.problem(
                    f"mqtt: {key}",
                    words.shown(getattr(row, key)),
                    "nothing, since tls is false",
                    f"Set tls = true, or take {key} out.",
                )
    if table.sound("certificate_file", "key_file") and (row.certificate_file is None) != (row.key_file is None):
        missing, given = ("key_file", "certificate_file") if row.key_file is None else ("certificate_file", "key_file")
        findings.problem(f"mqtt: {missing}", "nothing", f"a file, since there is a {given}", f"Add {missing}.")
    if table.sound("host", "tls", "username") and row.username and not row.tls and row.host not in LOOPBACK:
        findings.warn(
            f"mqtt: tls: the password for {row.host} goes over the network unencrypted; set tls = true if the broker "
            "can do it."
        )

    def path(key: str, advice: str, secret: bool = False) -> Path | None:
        text: str | None = getattr(row, key) if table.sound(key) else None
        return None if text is None else files.existing(f"mqtt: {key}", text, advice, secret)

    password_file = path("password_file", "Make it, with the password as its only line.", secret=True)
    ca_file = path("ca_file", "Copy the certificate of the broker's authority there.")
    certificate_file = path("certificate_file", "Copy this station's certificate there.")
    key_file = path("key_file", "Copy this station's private key there.", secret=True)
    if not table.sound(*service_rows.Mqtt.model_fields):
        return None
    return MqttTerms(
        host=row.host,
        port=row.port or (8883 if row.tls else 1883),
        protocol=row.protocol,
        username=row.username,
        password_file=password_file,
        tls=row.tls,
        ca_file=ca_file,
        certificate_file=certificate_file,
        key_file=key_file,
        domain=row.topic_domain,
        qos=row.qos,
        will_delay_s=row.will_delay_s,
        expire_after_s=row.expire_after_s or max(1, round(5 * every_s)),
        acknowledge=row.acknowledge,
    )


def watched(
    findings: Findings, tables: list[Table[service_rows.WatchRow]], house_id: str | None, has_broker: bool
) -> tuple[Peer, ...]:
    """The stations that are watched from here. `house_id`: our own; None: it is broken."""
    if tables and not has_broker:
        findings.problem(
            "watch",
            "no [mqtt]",
            "[mqtt] with the broker of those that are watched",
            "Add [mqtt], or take [[watch]] out.",
        )
    peers = []
    for table in tables:
        row = table.row
        if not table.sound(*service_rows.WatchRow.model_fields):
            continue
        if row.id == house_id:
            findings.problem(
                f"{table.where}: id",
                f"'{row.id}', which is this house's own id",
                "the id of another station",
                "A dead station cannot tell of itself: name the other one.",
            )
        no_digest_s = row.no_digest_after_h * 3600.0 or None
        about = (row.lost_after_min * 60.0, row.stale_after_min * 60.0, no_digest_s)
        peers.append(Peer(row.id, row.name or row.id.capitalize(), *about))
    return tuple(peers)


def heartbeat(files: Files, table: Table[service_rows.Heartbeat] | None) -> HeartbeatTerms | None:
    """The outgoing heartbeat; None when there is none, or it cannot be used."""
    if table is None or not table.sound("url_file", "every_min"):
        return None
    advice = "Make it, with the address as its first line."
    path = files.existing("heartbeat: url_file", table.row.url_file, advice, secret=True)
    return HeartbeatTerms(str(path), table.row.every_min * 60.0)
