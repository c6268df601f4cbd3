"""All tubs of the file with their probes, mats and drivers, and the rules that hold between them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from matwarden.settings import rows, tubs, words
from matwarden.settings.alarm_times import alarm_rules, alarm_times
from matwarden.settings.mats import mat_terms
from matwarden.settings.pins import judge_lines
from matwarden.settings.problems import Findings
from matwarden.settings.resolved import (
    AlarmRules,
    Dht22,
    GpioPermit,
    GpioRelay,
    Hwmon,
    Iio,
    OneWire,
    TwinPermit,
    TwinProbe,
    TwinRelay,
)
from matwarden.settings.sheet import Sheet, known_enclosure, unique
from matwarden.settings.tables import MATS, PERMITS, PROBES, Raw, Table, label, many, one, read_driven, read_table
from matwarden.terms import Band, Enclosure, MatTerms, ProbeTerms

# Common resolution of a digital probe: 12 bits over 1/16 K.
RESOLUTION_K = 0.0625


@dataclass(frozen=True, slots=True)
class Shelf:
    """What is left of the shelf's tables when they were judged.

    Attributes:
        bands: of every tub with a usable id; None where the band itself is not usable.
        drivers: the driver of every probe, mat and permit, by the table it stands in.
        simulated_ids: tubs with a twin driver.
    """

    enclosures: tuple[Enclosure, ...]
    room_probes: tuple[ProbeTerms, ...]
    alarms: AlarmRules
    probe_drivers: Mapping[str, OneWire | Iio | Hwmon | Dht22 | TwinProbe]
    relay_drivers: Mapping[str, GpioRelay | TwinRelay]
    bands: Mapping[str, Band | None]
    probe_ids: list[str]
    permit: GpioPermit | TwinPermit | None
    drivers: Mapping[str, str]
    simulated_ids: list[str]


def read_shelf(raw: Raw, sheet: Sheet, polling: Table[rows.Polling]) -> Shelf:
    """Read and judge every [[enclosure]], [[probe]] and [[mat]]."""
    findings = sheet.findings
    enclosures = [
        read_table(findings, row, label(row, "id", "enclosure", number), rows.EnclosureRow)
        for number, row in enumerate(many(findings, raw, "enclosure"), 1)
    ]
    probes = [
        read_driven(findings, row, label(row, "id", "probe", number), rows.ProbeRow, PROBES)
        for number, row in enumerate(many(findings, raw, "probe"), 1)
    ]
    mats = [
        read_driven(findings, row, label(row, "enclosure", "mat of", number), rows.MatRow, MATS)
        for number, row in enumerate(many(findings, raw, "mat"), 1)
    ]
    permits = _permit(raw, findings)
    ids = list(dict.fromkeys(table.row.id for table in enclosures if table.sound("id")))
    judge_lines(findings, [*probes, *mats, *permits])
    _identities(findings, enclosures, probes, mats)
    rate_k = tubs.max_rate_k(sheet, polling)
    terms: dict[str | None, list[ProbeTerms]] = defaultdict(list)
    probe_drivers = {}
    for probe in probes:
        judged = tubs.probe_terms(sheet, probe, polling, rate_k, ids)
        driver = _probe_driver(sheet, probe)
        if judged is not None and driver is not None:
            terms[judged.enclosure].append(judged)
            probe_drivers[judged.id] = driver
    roles = _roles(probes, ids)
    bands = {table.row.id: tubs.band(sheet, table) for table in enclosures if table.sound("id")}
    guarded: dict[str, MatTerms] = {}
    relay_drivers = {}
    for mat in mats:
        known = known_enclosure(findings, mat, ids)
        enclosure = mat.row.enclosure if known else None
        mat_roles = roles.get(enclosure, frozenset()) if roles is not None and enclosure is not None else None
        if enclosure is not None and mat_roles is not None:
            _governing(findings, mat.where, mat_roles)
        judged_mat = mat_terms(sheet, mat, bands.get(enclosure) if enclosure else None, mat_roles)
        if judged_mat is not None and enclosure is not None:
            guarded[enclosure] = judged_mat
            relay_drivers[enclosure] = _relay_driver(mat.row)
    rules = alarm_rules(sheet, one(findings, raw, "alarms", rows.Alarms))
    result = []
    for table in enclosures:
        alarms = alarm_times(sheet, table, rules.times)
        if not table.sound("id"):
            continue
        band = bands[table.row.id]
        if roles is not None and not roles.get(table.row.id):
            findings.problem(
                table.where,
                "no probe",
                f'one [[probe]] or more with enclosure = "{table.row.id}"',
                "Add a probe, or take the enclosure out: a tub without a probe cannot be watched.",
            )
        if band is not None:
            own = table.row.deadband is not None
            where = f"{table.where}: deadband" if own else f"alarms: deadband, for {table.where}"
            _deadband(sheet, where, band, alarms.deadband_k)
            result.append(tubs.enclosure(table, band, terms, guarded.get(table.row.id), alarms))
    if raw.get("enclosure", []) == []:
        findings.problem("enclosure", "nothing", "one [[enclosure]] or more", "Add one for each tub.")
    if raw.get("probe", []) == []:
        findings.problem("probe", "nothing", "one [[probe]] or more", "Add one for each probe.")
    everything: list[Table[rows.ProbeRow] | Table[rows.MatRow]] = [*probes, *mats]
    drivers = {table.where: table.row.driver for table in (*everything, *permits) if table.sound("driver")}
    return Shelf(
        enclosures=tuple(result),
        room_probes=tuple(terms[None]),
        alarms=rules,
        probe_drivers=probe_drivers,
        relay_drivers=relay_drivers,
        bands=bands,
        probe_ids=[probe.row.id for probe in probes if probe.sound("id")],
        permit=_permit_driver(permits),
        drivers=drivers,
        simulated_ids=_simulated(everything, ids),
    )


def _permit(raw: Raw, findings: Findings) -> list[Table[rows.PermitRow]]:
    """The table [permit], in a list of one; empty when the file has none or something else by that name."""
    value = raw.get("permit")
    if isinstance(value, dict):
        return [read_driven(findings, value, "permit", rows.PermitRow, PERMITS)]
    one(findings, raw, "permit", rows.PermitRow)
    return []


def _permit_driver(permits: list[Table[rows.PermitRow]]) -> GpioPermit | TwinPermit | None:
    for permit in permits:
        row = permit.row
        if isinstance(row, rows.TwinPermit):
            return TwinPermit()
        if isinstance(row, rows.GpioPermit) and permit.sound("chip", "line"):
            return GpioPermit(row.chip, row.line)
    return None


def _identities(
    findings: Findings,
    enclosures: list[Table[rows.EnclosureRow]],
    probes: list[Table[rows.ProbeRow]],
    mats: list[Table[rows.MatRow]],
) -> None:
    """No id, no mat's tub and no piece of hardware may stand twice."""
    unique(findings, enclosures, "id", "each id once", "Give each tub an id of its own.")
    unique(findings, probes, "id", "each id once", "Give each probe an id of its own.")
    unique(findings, mats, "enclosure", "one mat a tub", "Take one of the two mats out.")
    for table in enclosures:
        if table.sound("id") and table.row.id in tubs.RESERVED_IDS:
            findings.problem(
                f"{table.where}: id",
                words.shown(table.row.id),
                "any id but room and house",
                "Choose another id.",
            )
    _two_of_a_kind(findings, probes)
    owners: dict[tuple[object, ...], str] = {}
    devices: list[tuple[Table[rows.ProbeRow], str, tuple[object, ...]]] = []
    for probe in probes:
        row = probe.row
        if isinstance(row, rows.OneWireProbe) and probe.sound("address"):
            devices.append((probe, "address", ("one-wire", row.address.lower())))
        elif isinstance(row, rows.IioProbe) and probe.sound("device"):
            devices.append((probe, "device", ("iio", row.device)))
        elif isinstance(row, rows.HwmonProbe) and probe.sound("chip", "address"):
            devices.append((probe, "chip", ("hwmon", row.chip, (row.address or "").lower())))
    for owned, key, device in devices:
        owner = owners.setdefault(device, owned.where)
        if owner != owned.where:
            findings.problem(
                f"{owned.where}: {key}",
                f"{words.shown(getattr(owned.row, key))}, which {owner} has already",
                "hardware of its own",
                "Correct one of the two: they cannot be the same part.",
            )


def _two_of_a_kind(findings: Findings, probes: list[Table[rows.ProbeRow]]) -> None:
    """Two chips of a kind need addresses that tell them apart, or both probes could read one tub."""
    seen: list[tuple[str, str, str]] = []
    for probe in probes:
        row = probe.row
        if not isinstance(row, rows.HwmonProbe) or not probe.sound("chip", "address"):
            continue
        address = (row.address or "").lower()
        for where, chip, other in seen:
            # "1-0044" is also "0x44", and no address is any; the same text twice is told elsewhere.
            apart = chip != row.chip or (address and other and (len(address) > 4) == (len(other) > 4))
            apart = apart or bool(address and other and address[-2:] != other[-2:])
            if not apart and address != other:
                findings.problem(
                    f"{probe.where}: address",
                    words.shown(row.address),
                    f"an address that {where} ({words.shown(other or None)}) cannot have too",
                    "Give both, in the same form, as `matwarden probes` shows them.",
                )
        seen.append((probe.where, row.chip, address))


def _roles(probes: list[Table[rows.ProbeRow]], ids: list[str]) -> dict[str, frozenset[str]] | None:
    """The roles of the probes of each tub; None when a probe whose place is in doubt may be the one missed."""
    roles: dict[str, frozenset[str]] = {}
    for probe in probes:
        if not probe.sound("role", "enclosure"):
            return None
        if probe.row.role != "room":
            if probe.row.enclosure not in ids:
                return None
            roles[probe.row.enclosure] = roles.get(probe.row.enclosure, frozenset()) | {probe.row.role}
    return roles


def _governing(findings: Findings, where: str, roles: frozenset[str]) -> None:
    """A mat needs a probe at its wall, and had better have one in the air."""
    if not roles:
        return  # that the tub has no probe at all is told there
    if "wall" not in roles:
        findings.problem(
            where,
            "no wall probe in its tub",
            'a [[probe]] with role = "wall" in the tub of each mat',
            "Fix one to the wall at the mat: the air can read 25.6 °C (78.1 °F) while the mat is at 40 °C (104 °F).",
        )
    if "air" not in roles:
        findings.warn(
            f"{where}: there is no air probe in its tub, so setpoint is the temperature of the wall; about "
            "26.7 °C (80 °F) is common there."
        )


def _deadband(sheet: Sheet, where: str, band: Band, deadband_k: float) -> None:
    half_k = (band.high_c - band.low_c) / 2
    if deadband_k >= half_k and sheet.scale is not None:
        sheet.findings.problem(
            where,
            sheet.scale.show_difference(deadband_k),
            f"less than half the width of the band ({sheet.scale.show_difference(half_k)})",
            "Lower deadband or widen the band, or a cold alarm could end only when it is nearly hot.",
        )


def _probe_driver(sheet: Sheet, table: Table[rows.ProbeRow]) -> OneWire | Iio | Hwmon | Dht22 | TwinProbe | None:
    row = table.row
    if isinstance(row, rows.TwinProbe):
        noise_k = sheet.difference_k(table, "noise", 0.0, 0.0, 5.0)
        resolution_k = sheet.difference_k(table, "resolution", RESOLUTION_K, 0.0, 1.0, above_zero=True)
        if noise_k is None or resolution_k is None or not table.sound(*rows.TwinProbe.model_fields):
            return None
        node = row.node or row.role
        if row.node is not None and row.role == "room":
            sheet.findings.problem(
                f"{table.where}: node",
                words.shown(row.node),
                "none, since its role is room",
                "Take node out.",
            )
        if row.humidity and node not in ("air", "substrate"):
            sheet.findings.problem(
                f"{table.where}: humidity",
                f"true, at the {node}",
                "true only in air or substrate",
                "Take humidity out: the twin knows none there.",
            )
        return TwinProbe(row.enclosure, node, noise_k, resolution_k, row.humidity)
    if not table.sound(*type(row).model_fields):
        return None
    if isinstance(row, rows.OneWireProbe):
        return OneWire(row.address.lower())
    if isinstance(row, rows.IioProbe):
        return Iio(row.device)
    if isinstance(row, rows.HwmonProbe):
        return Hwmon(row.chip, row.address.lower() if row.address else None)
    if isinstance(row, rows.Dht22Probe):
        return Dht22(row.pin, row.use_pulseio)
    return None


def _relay_driver(row: rows.MatRow) -> GpioRelay | TwinRelay:
    if isinstance(row, rows.GpioMat):
        return GpioRelay(row.chip, row.line, row.active == "high")
    return TwinRelay(row.enclosure)


def _simulated(tables: list[Table[rows.ProbeRow] | Table[rows.MatRow]], ids: list[str]) -> list[str]:
    named = {
        table.row.enclosure for table in tables if table.sound("driver", "enclosure") and table.row.driver == "twin"
    }
    return [enclosure for enclosure in ids if enclosure in named]
