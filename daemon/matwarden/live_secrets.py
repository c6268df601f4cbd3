"""Secrets for a look at the machine: the service is handed `credential:NAME`; root reads the kept file itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from matwarden.install_plan import CREDENTIALS
from matwarden.settings import Settings
from matwarden.settings.services import CREDENTIAL_ID, IN_SERVICE

__all__ = ["with_kept_secrets"]


def with_kept_secrets(settings: Settings, machine: Path) -> Settings:
    """The settings with every file that only the running service is handed named where it is kept.

    Args:
        machine: where the machine's files are: `/`.
    """
    mqtt, push = settings.mqtt, settings.push
    if mqtt is not None:
        mqtt = replace(
            mqtt,
            password_file=_kept(mqtt.password_file, machine),
            ca_file=_kept(mqtt.ca_file, machine),
            certificate_file=_kept(mqtt.certificate_file, machine),
            key_file=_kept(mqtt.key_file, machine),
        )
    if push is not None:
        targets = []
        for target in push.targets:
            kept = _kept(None if target.url_file is None else Path(target.url_file), machine)
            targets.append(replace(target, url_file=None if kept is None else str(kept)))
        push = replace(push, targets=tuple(targets))
    return replace(settings, mqtt=mqtt, push=push)


def _kept(path: Path | None, machine: Path) -> Path | None:
    if path is None or path.parent != IN_SERVICE:
        return path
    return machine / CREDENTIALS.lstrip("/") / path.name.removeprefix(f"{CREDENTIAL_ID}_")
