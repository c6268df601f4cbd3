"""When alarms ring: the keys of [alarms], and those that replace them for one tub."""

from __future__ import annotations

from dataclasses import replace

from matwarden.core.inverse_time import VERY_INVERSE
from matwarden.settings import rows
from matwarden.settings.resolved import AlarmRules
from matwarden.settings.sheet import Sheet
from matwarden.settings.tables import Table, default
from matwarden.terms import AlarmTimes, InverseTime

__all__ = ["HOUSE_TIMES", "alarm_rules", "alarm_times"]

HOUSE_TIMES = AlarmTimes(
    cold_after_s=3600.0,
    hot_after_s=3600.0,
    blind_after_s=600.0,
    clear_after_s=300.0,
    deadband_k=0.5,
    inverse=VERY_INVERSE,
    ring_again_s=900.0,
    second_after_s=1800.0,
    re_alarm_s=None,
    # About 50 % humidity at 25 C: lenient. Common practice, no source.
    too_dry_kpa=1.6,
)


def alarm_rules(sheet: Sheet, table: Table[rows.Alarms] | None) -> AlarmRules:
    """Those of the house; broken keys fall back, the file is refused anyway."""
    table = table or default("alarms", rows.Alarms)

    def period_s(key: str, default_s: float | None, unit_s: float) -> float | None:
        value: float | None = getattr(table.row, key) if table.sound(key) else None
        if value is None:
            return default_s
        return value * unit_s or None

    times = replace(
        alarm_times(sheet, table, HOUSE_TIMES),
        ring_again_s=period_s("ring_again_min", HOUSE_TIMES.ring_again_s, 60.0),
        second_after_s=period_s("second_after_min", HOUSE_TIMES.second_after_s, 60.0),
        re_alarm_s=period_s("re_alarm_h", HOUSE_TIMES.re_alarm_s, 3600.0),
    )
    again_s, second_s = times.ring_again_s, times.second_after_s
    if again_s is not None and second_s is not None and second_s < again_s:
        sheet.findings.problem(
            "alarms: second_after_min",
            f"{second_s / 60:g} min",
            f"at least ring_again_min ({again_s / 60:g} min)",
            "Raise it: the first targets are called twice before the second ones.",
        )
    row = table.row
    return AlarmRules(
        times=times,
        together_n=row.together_tubs if table.sound("together_tubs") else 3,
        shelve_at_most_s=(row.shelve_at_most_h if table.sound("shelve_at_most_h") else 24.0) * 3600.0,
    )


def alarm_times(sheet: Sheet, table: Table[rows.AlarmKeys], house: AlarmTimes) -> AlarmTimes:
    """The alarm keys of one table over those of the house; broken ones fall back, the file is refused anyway."""

    def seconds(key: str, default_s: float) -> float:
        minutes: float | None = getattr(table.row, key) if table.sound(key) else None
        return default_s if minutes is None else minutes * 60.0

    hours: float | None = table.row.too_dry_after_h if table.sound("too_dry_after_h") else None
    limit_kpa: float | None = table.row.too_dry_kpa if table.sound("too_dry_kpa") else None
    deadband_k = sheet.difference_k(table, "deadband", house.deadband_k, 0.0, 3.0)
    return replace(
        house,
        cold_after_s=seconds("cold_after_min", house.cold_after_s),
        hot_after_s=seconds("hot_after_min", house.hot_after_s),
        blind_after_s=seconds("blind_after_min", house.blind_after_s),
        clear_after_s=seconds("clear_after_min", house.clear_after_s),
        deadband_k=house.deadband_k if deadband_k is None else deadband_k,
        inverse=_inverse(sheet, table, house.inverse),
        too_dry_kpa=house.too_dry_kpa if limit_kpa is None else limit_kpa or None,
        too_dry_after_s=house.too_dry_after_s if hours is None else hours * 3600.0,
    )


def _inverse(sheet: Sheet, table: Table[rows.AlarmKeys], house: InverseTime | None) -> InverseTime | None:
    row, base = table.row, house or VERY_INVERSE
    pickup_k = sheet.difference_k(table, "inverse_pickup", base.pickup_k, 0.1, 10.0)
    wanted = row.inverse if table.sound("inverse") and row.inverse is not None else house is not None

    def constant(key: str, default_value: float, unit: float) -> float:
        value: float | None = getattr(row, key) if table.sound(key) else None
        return default_value if value is None else value * unit

    curve = InverseTime(
        pickup_k=base.pickup_k if pickup_k is None else pickup_k,
        k_s=constant("inverse_k_min", base.k_s, 60.0),
        c_s=constant("inverse_c_min", base.c_s, 60.0),
        alpha=constant("inverse_alpha", base.alpha, 1.0),
        reset_s=constant("inverse_reset_min", base.reset_s, 60.0),
    )
    return curve if wanted else None
