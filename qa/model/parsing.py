"""TOML tables → frozen definitions, with messages that name the key.

Pure: text comes in, definitions go out; the files are read by qa/stores.
"""

import dataclasses
import difflib
import hashlib
import tomllib
import types
import typing
from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from qa.model.assignments import check_assignments
from qa.model.bands import check_bands
from qa.model.definitions import (
    ColumnMap,
    CriteriaSet,
    Device,
    GradeTable,
    InForce,
    LogIn,
    Measure,
    Network,
    Operator,
    Profile,
    Settings,
    Site,
    Target,
)
from qa.model.delivery import Delivery, Signing, delivery_fault
from qa.model.equipment_words import MIN_SESSIONS, CheckRules
from qa.model.errors import DefinitionError, NetworkFolderError, ProfileError, UserError

T = typing.TypeVar("T")


def fingerprint_of(text: str) -> str:
    """Short hash of a definition file's content; line endings do not matter."""
    return hashlib.sha256(text.replace("\r\n", "\n").encode()).hexdigest()[:12]


def parse_toml(text: str, *, where: str, error: type[UserError]) -> dict[str, Any]:
    """Raises: the given error, with line and column, when the text is no TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise error(f"is not valid TOML: {problem}", where=where, code="DEF-001") from None


def build(cls: type[T], table: Mapping[str, Any], *, where: str, error: type[UserError]) -> T:
    """One table → one dataclass, strictly.

    Raises: the given error when a key is unknown, missing or of another type.
    """
    _refuse_unknown_keys(cls, table, where=where, error=error)
    try:
        return msgspec.convert(dict(table), cls)
    except msgspec.ValidationError as problem:
        raise error(_readable(str(problem)), where=where, code="DEF-003") from None


def _readable(problem: str) -> str:
    return problem.replace("Object missing required field", "misses the key").replace(
        " - at `$.", " in `"
    )


def _refuse_unknown_keys(
    cls: Any, table: Mapping[str, Any], *, where: str, error: type[UserError]
) -> None:
    hints = typing.get_type_hints(cls)
    known = [field.name for field in dataclasses.fields(cls)]
    for key, value in table.items():
        if key not in hints:
            near = difflib.get_close_matches(key, known, n=1)
            raise error(
                f"the key '{key}' is unknown",
                where=where,
                expected=f"one of {', '.join(known)}",
                todo=f"Did you mean '{near[0]}'?" if near else "Remove it or mend its spelling.",
                code="DEF-002",
            )
        inner = _dataclass_in(hints[key])
        if inner is None:
            continue
        for item in value if isinstance(value, list) else [value]:
            if isinstance(item, Mapping):
                _refuse_unknown_keys(inner, item, where=f"{where}, [{key}]", error=error)


def _dataclass_in(hint: Any) -> Any:
    if dataclasses.is_dataclass(hint):
        return hint
    if typing.get_origin(hint) in (tuple, types.UnionType):
        return next((arg for arg in typing.get_args(hint) if dataclasses.is_dataclass(arg)), None)
    return None


def parse_criteria_set(text: str, *, where: str) -> CriteriaSet:
    table = parse_toml(text, where=where, error=DefinitionError)
    return build(
        CriteriaSet,
        table | {"fingerprint": fingerprint_of(text)},
        where=where,
        error=DefinitionError,
    )


def parse_grade_table(text: str, *, where: str) -> GradeTable:
    """Raises: DefinitionError also when edges do not rise or labels do not match them."""
    raw = parse_toml(text, where=where, error=DefinitionError)
    table = build(
        GradeTable, raw | {"fingerprint": fingerprint_of(text)}, where=where, error=DefinitionError
    )
    check_bands(table, where=where)
    return table


def parse_measure(text: str, *, where: str) -> Measure:
    table = parse_toml(text, where=where, error=DefinitionError)
    return build(
        Measure, table | {"fingerprint": fingerprint_of(text)}, where=where, error=DefinitionError
    )


def parse_profile(text: str, *, where: str) -> Profile:
    """Raises: ProfileError when a key is unknown, missing or of another type."""
    raw = parse_toml(text, where=where, error=ProfileError)
    flat: dict[str, Any] = {
        key: raw[key] for key in raw if key not in ("file", "columns", "limits")
    }
    flat |= {
        "format": "csv",
        "delimiter": ",",
        "encoding": "utf-8",
        "decimal": ".",
        "header_row": 1,
        "missing": [""],
    }
    flat |= raw.get("file", {})
    for key, value in raw.get("limits", {}).items():
        flat[f"{key.removesuffix('_kpa').removesuffix('_db_m')}_limits_{_unit_of(key)}"] = value
    flat["columns"] = [
        _column_table(target, table, where=where)
        for target, table in raw.get("columns", {}).items()
    ]
    flat["fingerprint"] = fingerprint_of(text)
    return build(Profile, flat, where=where, error=ProfileError)


def _unit_of(limit_key: str) -> str:
    return "db_m" if limit_key.endswith("_db_m") else "kpa"


def _column_table(target: str, table: Any, *, where: str) -> dict[str, Any]:
    if not isinstance(table, Mapping):
        raise ProfileError(
            f"[columns.{target}] is no table",
            where=where,
            expected='for example [columns.exam_id] headings = ["Exam no"]',
            code="DEF-003",
        )
    codes = [[str(key), str(value)] for key, value in table.get("codes", {}).items()]
    headings = table.get("headings", [])
    result = dict(table) | {"target": target, "codes": codes}
    result["headings"] = [headings] if isinstance(headings, str) else headings
    _refuse_unknown_keys(
        ColumnMap,
        {key: value for key, value in result.items() if key != "codes"},
        where=f"{where}, [columns.{target}]",
        error=ProfileError,
    )
    return result


def parse_network(text: str, *, where: str) -> Network:
    """Raises: NetworkFolderError when a key is wrong or a register does not fit together."""
    raw = parse_toml(text, where=where, error=NetworkFolderError)
    for name, cls in (("sites", Site), ("operators", Operator), ("devices", Device)):
        raw[name] = [_with_periods(item) for item in raw.get(name, [])]
        for number, item in enumerate(raw[name], start=1):
            build(cls, item, where=f"{where}, [[{name}]] {number}", error=NetworkFolderError)
    tables = {
        "settings": Settings,
        "log_in": LogIn,
        "phantom_checks": CheckRules,
        "delivery": Delivery,
        "signing": Signing,
    }
    for table, kind in tables.items():
        build(kind, raw.get(table, {}), where=f"{where}, [{table}]", error=NetworkFolderError)
    for name in ("criteria", "grade_tables"):
        raw[name] = [_with_from_day(item) for item in raw.get(name, [])]
        for number, item in enumerate(raw[name], start=1):
            build(InForce, item, where=f"{where}, [[{name}]] {number}", error=NetworkFolderError)
    raw["targets"] = [_with_from_day(item) for item in raw.get("targets", [])]
    for number, item in enumerate(raw["targets"], start=1):
        build(Target, item, where=f"{where}, [[targets]] {number}", error=NetworkFolderError)
    network = build(Network, raw, where=where, error=NetworkFolderError)
    _check_phantom_rules(network.phantom_checks, where=f"{where}, [phantom_checks]")
    found = delivery_fault(network.delivery, [site.id for site in network.sites])
    if found:
        where = f"{where}, [delivery]"
        raise NetworkFolderError(found[0], where=where, expected=found[1], code="NET-002")
    _check_registers(network, where=where)
    check_assignments(network, where=where)
    return network


def _check_phantom_rules(rules: CheckRules, *, where: str) -> None:
    if (
        not 0 < rules.warn_share < rules.act_share < 1
        or rules.baseline_sessions < MIN_SESSIONS
        or rules.every_days < 1
    ):
        raise NetworkFolderError(
            f"warn_share {rules.warn_share:g}, act_share {rules.act_share:g}, baseline_sessions "
            f"{rules.baseline_sessions}, every_days {rules.every_days}",
            where=where,
            expected="warn_share above 0 and below act_share, that below 1 (shares, 0.05 is 5 %); "
            f"{MIN_SESSIONS} or more baseline_sessions; every_days 1 or more",
            code="NET-002",
        )


def _with_from_day(item: Mapping[str, Any]) -> dict[str, Any]:
    """The keys `from` and `to` are no names in Python."""
    result = dict(item)
    for key in ("from", "to"):
        if key in result:
            result[f"{key}_day"] = result.pop(key)
    return result


def _with_periods(item: Mapping[str, Any]) -> dict[str, Any]:
    return dict(item) | {
        key: [_with_from_day(one) if isinstance(one, Mapping) else one for one in item[key]]
        for key in ("assignments", "closed")
        if isinstance(item.get(key), list)
    }


def _check_registers(network: Network, *, where: str) -> None:
    def refuse(what: str, todo: str) -> typing.NoReturn:
        raise NetworkFolderError(what, where=where, todo=todo, code="NET-002")

    site_ids = [site.id for site in network.sites]
    for kind, ids in (
        ("site", site_ids),
        ("operator", [person.id for person in network.operators]),
        ("device", [device.id for device in network.devices]),
    ):
        doubled = sorted({one for one in ids if ids.count(one) > 1})
        if doubled:
            refuse(f"the {kind} id '{doubled[0]}' stands twice", "Give each its own id.")
    for home in network.sites:
        for closure in home.closed:
            if closure.to_day < closure.from_day:
                refuse(
                    f"the site '{home.id}' is closed from {closure.from_day} to {closure.to_day}, "
                    "which is before",
                    "Mend `from` or `to` under [[sites.closed]].",
                )
    for kind, owned in (("operator", network.operators), ("device", network.devices)):
        for item in owned:
            for site in item.sites:
                if site not in site_ids:
                    refuse(
                        f"{kind} '{item.id}' belongs to the site '{site}', which is not listed",
                        "Add the site under [[sites]] or mend its id.",
                    )
    for device in network.devices:
        for limits in (device.stiffness_limits_kpa, device.attenuation_limits_db_m):
            if limits is not None and not 0 <= limits[0] < limits[1]:
                refuse(
                    f"device '{device.id}' has the limits {limits[0]:g}, {limits[1]:g}",
                    "State the lowest and the highest value that it shows.",
                )
    for target in network.targets:
        if not 0 <= target.value <= 1:
            refuse(
                f"the target of '{target.measure}' is {target.value:g}",
                "Give it as a share from 0 to 1: 0.1 is 10 %.",
            )
    if not 1 <= network.settings.limit_sigmas <= 6:
        refuse(
            f"limit_sigmas is {network.settings.limit_sigmas:g}", "Give a width from 1 to 6 sigma."
        )
    _check_competence(network, refuse)
    if not network.criteria:
        refuse("no criteria set is in force", "Add one under [[criteria]] with its first day.")


def _check_competence(network: Network, refuse: Callable[[str, str], typing.NoReturn]) -> None:
    chosen = network.settings
    shares = (chosen.second_reading_share, chosen.discrepant_stiffness_share)
    numbers = (chosen.observed_exams_needed, chosen.second_reading_min, chosen.refresher_months)
    if not all(0 <= share <= 1 for share in shares):
        refuse("a share of second readings is not from 0 to 1", "Give 0.05 for five percent.")
    if min(*numbers, chosen.current_exams_a_year) < 0 or not 1 <= chosen.refresher_months <= 120:
        refuse("a number for competence is out of range", "Give numbers of 0 or more.")
    if not 0 <= chosen.provisional_until_exams <= chosen.experienced_from_exams:
        refuse(
            "experienced_from_exams is below provisional_until_exams",
            "Give the larger number to experienced_from_exams.",
        )
