"""The tubs: their bands, alarms and probes."""

from __future__ import annotations

from collections.abc import Mapping

from matwarden.settings import rows, words
from matwarden.settings.problems import Findings
from matwarden.settings.scale import c_from_f
from matwarden.settings.sheet import Sheet, known_enclosure
from matwarden.settings.tables import Table
from matwarden.terms import AlarmTimes, Band, Enclosure, MatTerms, ProbeTerms, Role, Side

# Common practice among keepers, no source: the ideal range is 72 to 82 F.
BAND_LOW_C = c_from_f(72.0)
BAND_HIGH_C = c_from_f(82.0)
# Its reader's deadline (2 s) and the part's rest (2.5 s) fit in: a reader that hangs costs one reading, not two.
DHT22_EVERY_S = 5.0
# Names that topics use for what is not a tub.
RESERVED_IDS = ("room", "house")


def band(sheet: Sheet, table: Table[rows.EnclosureRow]) -> Band | None:
    """The band of one tub; None when it cannot be used."""
    low_c = sheet.temperature_c(table, "band_low", BAND_LOW_C)
    high_c = sheet.temperature_c(table, "band_high", BAND_HIGH_C)
    if low_c is None or high_c is None or sheet.scale is None:
        return None
    if low_c < high_c:
        return Band(low_c, high_c)
    sheet.findings.problem(
        f"{table.where}: band_low",
        sheet.scale.show(low_c),
        f"below band_high ({sheet.scale.show(high_c)})",
        "Lower band_low or raise band_high.",
    )
    return None


def probe_terms(
    sheet: Sheet, table: Table[rows.ProbeRow], polling: Table[rows.Polling], max_rate_k: float, ids: list[str]
) -> ProbeTerms | None:
    """One probe; None when it cannot be used."""
    findings, row, where = sheet.findings, table.row, table.where
    offset_k = sheet.difference_k(table, "offset", 0.0, -5.0, 5.0)
    sound = True
    if table.sound("role", "enclosure"):
        if row.role == "room" and row.enclosure is not None:
            findings.problem(
                f"{where}: enclosure",
                words.shown(row.enclosure),
                "none, since its role is room",
                "Take enclosure out, or give the role it has inside the tub.",
            )
            sound = False
        elif row.role != "room" and row.enclosure is None:
            findings.problem(
                f"{where}: enclosure",
                "nothing",
                words.choices(ids) if ids else "the id of an [[enclosure]]",
                "Say in which tub it sits; only a probe of the room has none.",
            )
            sound = False
        elif row.enclosure is not None:
            sound = known_enclosure(findings, table, ids)
    if table.sound("role", "side") and row.role == "room" and row.side is not None:
        findings.problem(f"{where}: side", words.shown(row.side), "none, since its role is room", "Take side out.")
    every_s = row.every_s if table.sound("every_s") and row.every_s is not None else polling.row.every_s
    if row.every_s is not None and table.sound("every_s"):
        _poll_order(findings, where, every_s, polling, own=True)
    if isinstance(row, rows.Dht22Probe) and every_s < DHT22_EVERY_S and polling.sound("every_s"):
        findings.problem(
            f"{where}: every_s",
            f"{every_s:g} s",
            f"at least {DHT22_EVERY_S:g} s for a DHT22",
            "Raise every_s of this probe: it must rest between readings, and its reader needs time to be replaced.",
        )
    if not sound or not table.sound(*type(row).model_fields) or offset_k is None:
        return None
    return ProbeTerms(
        id=row.id,
        role=Role(row.role),
        enclosure=row.enclosure,
        side=Side(row.side) if row.side else None,
        poll_s=every_s,
        deadline_s=polling.row.deadline_s,
        stale_s=polling.row.stale_after_s,
        max_rate_k_per_min=max_rate_k,
        offset_k=offset_k,
        checked_on=row.checked,
    )


def max_rate_k(sheet: Sheet, polling: Table[rows.Polling]) -> float:
    """The fastest change per minute that is believed, after checking the order of the times of polling."""
    if polling.sound("every_s"):
        _poll_order(sheet.findings, "polling", polling.row.every_s, polling, own=False)
    rate_k = sheet.difference_k(polling, "max_rate_per_min", 3.0, 0.0, 30.0, above_zero=True)
    return 3.0 if rate_k is None else rate_k


def _poll_order(findings: Findings, where: str, every_s: float, polling: Table[rows.Polling], own: bool) -> None:
    row = polling.row
    if polling.sound("stale_after_s") and row.stale_after_s < 3 * every_s:
        findings.problem(
            f"{where}: every_s" if own else f"{where}: stale_after_s",
            f"{every_s:g} s" if own else f"{row.stale_after_s:g} s",
            f"at most {row.stale_after_s / 3:g} s, a third of stale_after_s"
            if own
            else f"at least {3 * every_s:g} s, three times every_s",
            "Raise stale_after_s of [polling] or lower every_s: one lost reading must not blind the guard.",
        )
    if polling.sound("deadline_s") and row.deadline_s >= every_s:
        findings.problem(
            f"{where}: every_s" if own else f"{where}: deadline_s",
            f"{every_s:g} s" if own else f"{row.deadline_s:g} s",
            f"more than {row.deadline_s:g} s, the deadline_s" if own else f"less than {every_s:g} s, the every_s",
            "Lower deadline_s or raise every_s: a reading must be over before the next begins.",
        )


def enclosure(
    table: Table[rows.EnclosureRow],
    tub_band: Band,
    probes: Mapping[str | None, list[ProbeTerms]],
    mat: MatTerms | None,
    alarms: AlarmTimes,
) -> Enclosure:
    """One tub whose table is sound."""
    row = table.row
    return Enclosure(
        id=row.id,
        name=row.name or row.id.capitalize(),
        band=tub_band,
        probes=tuple(probes.get(row.id, ())),
        mat=mat,
        alarms=alarms,
    )
