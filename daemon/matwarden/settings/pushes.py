"""The tables [push] and [[push.target]]: who is pushed to, of what, and when. Looks at files' status, opens none."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import time
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from matwarden.settings import resolved, service_rows, words
from matwarden.settings.problems import Findings
from matwarden.settings.services import LOOPBACK, Files
from matwarden.settings.tables import Table
from matwarden.sinks.push_terms import PushTarget, PushTerms, QuietHours
from matwarden.terms import Priority

__all__ = ["judge", "push"]


def push(
    files: Files,
    table: Table[service_rows.Push],
    targets: Sequence[Table[service_rows.PushTargetRow]],
    zone: ZoneInfo | None,
) -> PushTerms:
    """Where pushes go. Only for use when nothing was found wrong."""
    found = [_target(files, row) for row in targets]
    sound = tuple(target for target in found if target is not None)
    if found and len(sound) == len(found) and not any(_rings(target) for target in sound):
        files.findings.problem(
            "push",
            "no target that high pushes go to at once",
            'at least one with "high" among its priorities and without second = true',
            "Add one, or let one of these be told of high pushes.",
        )
    return PushTerms(sound, table.row.give_up_after_h * 3600.0, table.row.keep, _quiet(files.findings, table, zone))


def judge(findings: Findings, terms: PushTerms, second_after_s: float | None, digest: resolved.DigestSettings) -> None:
    """What only shows beside other tables: second targets that are never called, a digest in the quiet hours."""
    if second_after_s is None and any(target.second for target in terms.targets):
        names = ", ".join(target.name for target in terms.targets if target.second)
        findings.warn(
            f"push: {names} is never told of anything: second_after_min under [alarms] is 0; set it, or take "
            "second = true out."
        )
    for target in terms.targets:
        if target.second and Priority.HIGH not in target.priorities:
            findings.warn(f"push: {target.name} is never told of anything: only high alarms call second targets.")
    quiet = terms.quiet
    if quiet is not None and digest.enabled and _within(time.fromisoformat(digest.at), quiet.begins, quiet.ends):
        findings.problem(
            "digest: at",
            f"{digest.at}, in the quiet hours of [push]",
            f"a time from {quiet.ends:%H:%M} to {quiet.begins:%H:%M}",
            "The digest is a low push and would wait: make it later, or end the quiet hours earlier.",
        )


def _rings(target: PushTarget) -> bool:
    return Priority.HIGH in target.priorities and not target.second


def _within(moment: time, begins: time, ends: time) -> bool:
    return begins <= moment < ends if begins < ends else not ends <= moment < begins


def _quiet(findings: Findings, table: Table[service_rows.Push], zone: ZoneInfo | None) -> QuietHours | None:
    begins, ends = table.row.quiet_from, table.row.quiet_until
    if not table.sound("quiet_from", "quiet_until") or (begins is None and ends is None):
        return None
    if begins is None or ends is None:
        missing, given = ("quiet_from", "quiet_until") if begins is None else ("quiet_until", "quiet_from")
        findings.problem(f"push: {missing}", "nothing", f"a time of day, since there is {given}", f"Add {missing}.")
        return None
    if begins == ends:
        found, advice = words.shown(ends), "Take both out for no quiet hours; all day is too long."
        findings.problem("push: quiet_until", found, "another time than quiet_from", advice)
        return None
    return None if zone is None else QuietHours(time.fromisoformat(begins), time.fromisoformat(ends), zone)


def _target(files: Files, table: Table[service_rows.PushTargetRow]) -> PushTarget | None:
    """One target; None when it cannot be used. An address is never repeated in a message: it may be a secret."""
    row, findings = table.row, files.findings
    if not table.sound("name", "url", "url_file", "priorities", "second"):
        return None
    if (row.url is None) == (row.url_file is None):
        findings.problem(
            f"{table.where}: url_file",
            "neither url_file nor url" if row.url is None else "both url_file and url",
            "exactly one of them",
            "Keep url_file: the address of a service holds a secret, and belongs in a file of its own.",
        )
        return None
    whom = (frozenset(map(Priority, row.priorities)), row.second)
    if row.url_file is not None:
        advice = "Make it, with the address of the service as its first line."
        path = files.existing(f"{table.where}: url_file", row.url_file, advice, secret=True)
        return PushTarget(row.name, None, str(path), *whom)
    address = row.url or ""
    if address.startswith("file:"):
        text = address.removeprefix("file:")
        if text.startswith("//"):
            text = text[2:]
        return PushTarget(row.name, f"file:{files.absolute(text)}", None, *whom)
    if _stays_here(address):
        return PushTarget(row.name, address, None, *whom)
    findings.problem(
        f"{table.where}: url",
        "the address of a service (not repeated here)",
        "file:PATH, or a service on this machine without a password",
        "Put the address as the first line of a file that only the station can read, and name it in url_file.",
    )
    return None


def _stays_here(address: str) -> bool:
    try:
        parts = urlsplit(address)
        return parts.hostname in LOOPBACK and parts.username is None and parts.password is None
    except ValueError:
        return False
