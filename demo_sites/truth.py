"""The truth: what was planted, how it came out, and every exam as intake should hold it."""

import json
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from demo_sites.event_kinds import EVENT_KINDS
from demo_sites.mishap_kinds import MISHAP_KINDS
from demo_sites.planted import Active, ActiveEvents
from demo_sites.realised import realised_figures
from demo_sites.scenario import Mishap, Scenario
from qa.model.months import add_months

TRUTH_FILE = "truth.json"
TRUTH_EXAMS_FILE = "truth_exams.parquet"

EXAM_COLUMNS: tuple[str, ...] = (
    "source_file",
    "row_no",
    "is_sent",
    "fate",
    "version_no",
    "mishap",
    "shape",
    "site_id",
    "exam_no",
    "patient_no",
    "operator_id",
    "device_id",
    "technique",
    "probe",
    "performed",
    "not_performed_reason",
    "order_type",
    "n_attempted",
    "n_valid",
    "stiffness_value",
    "stiffness_iqr",
    "stiffness_unit",
    "stiffness_kpa",
    "stated_ratio_share",
    "attenuation_value",
    "attenuation_iqr",
    "attenuation_unit",
    "attenuation_db_m",
    "attenuation_iqr_db_m",
    "fasting_hours",
    "fasting_stated",
    "rest_minutes",
    "position_stated",
    "bmi_kg_m2",
    "age_years",
    "sex",
    "indication",
    "duration_s",
    "acquisition_mode",
    "pressure_in_range_share",
    "motion_in_range_share",
    "roi_depth_mm",
    "quality_index_share",
    "skin_to_capsule_mm",
    "measurements",
    "source_status",
    "is_retracted",
    "is_stiffness_censored",
    "is_attenuation_censored",
    "exam_at",
    "exam_on",
    "month",
    "outcome",
    "attenuation_outcome",
    "is_misfit",
    "is_retry",
    "is_copied",
    "is_second",
    "planted_event",
    "planted_stream",
)
"""Columns of truth_exams.parquet. Names of qa.model.schemas.EXAMS mean the same here; numbers of
exam and patient are as in the files. source_file, row_no: of the sending that should count in the
end; fate: in, withdrawn, waits or not sent; version_no: 2 where an exam was sent again changed;
mishap: what went wrong with its file (mishap_kinds.py); shape: of its file. is_misfit: probe does
not fit; is_retry: the same patient again on the same day; is_second: by a second operator right
after the first (paired_exams); planted_event, planted_stream: the event
that touched this very exam."""


@dataclass(frozen=True)
class PlantedEvent:
    """One planted event and what became of it."""

    id: str
    kind: str
    target: str
    site_id: str
    start_month: date
    end_month: date
    size: float | None
    realised: dict[str, Any]


@dataclass(frozen=True)
class Truth:
    """What truth.json and truth_exams.parquet hold.

    exams: one row per exam, sent or not, with EXAM_COLUMNS.
    """

    facts: dict[str, Any]
    events: tuple[PlantedEvent, ...]
    exams: pl.DataFrame

    def of_kind(self, kind: str) -> list[PlantedEvent]:
        return [event for event in self.events if event.kind == kind]

    @property
    def sent(self) -> pl.DataFrame:
        """Every exam that stands in some file."""
        return self.exams.filter(pl.col("is_sent"))

    @property
    def counting(self) -> pl.DataFrame:
        """Exams that intake should hold in the end: neither taken back nor waiting."""
        return self.exams.filter(pl.col("fate") == "in")

    @property
    def waiting(self) -> pl.DataFrame:
        return self.exams.filter(pl.col("fate") == "waits")


def write_truth(
    folder: Path,
    records: pl.DataFrame,
    *,
    events: ActiveEvents,
    scenario: Scenario,
    files: list[dict[str, str | int]],
    copies: dict[str, str],
) -> None:
    """Write truth.json and truth_exams.parquet."""
    facts = {
        "note": "Invented. What was planted in the demo network; not read by the program itself.",
        "network": scenario.network.name,
        "seed": scenario.seed,
        "first_month": scenario.network.first_month,
        "last_month": scenario.network.last_month,
        "n_sites": len(scenario.sites),
        "n_operators": len(scenario.operator_ids),
        "n_devices": len(scenario.device_ids),
        "n_exams": records.height,
        "n_sent": int(records["is_sent"].sum()),
        "n_waiting": records.filter(pl.col("fate") == "waits").height,
        "n_withdrawn": records.filter(pl.col("fate") == "withdrawn").height,
        "visits": [asdict(one) for one in scenario.visits],
        "moves": [asdict(one) for one in scenario.moves],
        "mishaps": [_mishap_facts(one, records, copies) for one in scenario.mishaps],
        "events": [_event_facts(active, records, scenario) for active in events.events],
        "files": files,
    }
    text = json.dumps(facts, indent=1, ensure_ascii=False)
    (folder / TRUTH_FILE).write_text(text + "\n", encoding="utf-8", newline="\n")
    records.select(EXAM_COLUMNS).write_parquet(folder / TRUTH_EXAMS_FILE)


def _mishap_facts(mishap: Mishap, records: pl.DataFrame, copies: dict[str, str]) -> dict[str, Any]:
    touched = records.filter(
        (pl.col("mishap") == mishap.kind)
        & (pl.col("site_id") == mishap.site)
        & (pl.col("month") == mishap.first_day)
    )
    kind = MISHAP_KINDS[mishap.kind]
    return asdict(mishap) | {
        "what": kind.sentence,
        "fate": kind.fate,
        "exam_nos": touched["exam_no"].to_list(),
        "files": sorted(set(touched["source_file"]))
        or [copy for copy, file in copies.items() if f"{mishap.site}_{mishap.month}" in file],
    }


def _event_facts(active: Active, records: pl.DataFrame, scenario: Scenario) -> dict[str, Any]:
    event = active.event
    last = add_months(event.end_before(scenario.last_month), -1)
    return {
        "id": event.id,
        "kind": event.kind,
        "what": EVENT_KINDS[event.kind].sentence,
        "target": event.target,
        "site": _site_of(event.target, scenario),
        "start_month": event.start,
        "end_month": f"{last:%Y-%m}",
        "size": event.size,
        "ramp_months": event.ramp_months,
        "shows_as": event.shows_as if event.kind == "technique_drift" else None,
        "note": event.note,
        "realised": realised_figures(active, records),
    }


def _site_of(target: str, scenario: Scenario) -> str:
    homes = dict(zip(scenario.operator_ids, scenario.operator_sites, strict=True))
    homes |= dict(zip(scenario.device_ids, scenario.device_sites, strict=True))
    return homes.get(target, target)


def read_truth(folder: Path) -> Truth:
    """Read what write_truth wrote."""
    facts = json.loads((folder / TRUTH_FILE).read_text(encoding="utf-8"))
    events = tuple(
        PlantedEvent(
            id=event["id"],
            kind=event["kind"],
            target=event["target"],
            site_id=event["site"],
            start_month=date.fromisoformat(event["start_month"] + "-01"),
            end_month=date.fromisoformat(event["end_month"] + "-01"),
            size=event["size"],
            realised=event["realised"],
        )
        for event in facts["events"]
    )
    return Truth(facts, events, pl.read_parquet(folder / TRUTH_EXAMS_FILE))
