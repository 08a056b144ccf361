"""A sample of exams that are read a second time: its state is the replay of its events."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

import polars as pl

from qa.followup.records import RecordClass
from qa.followup.sampling import draw_sample, exam_code
from qa.model.record import Event


@dataclass(frozen=True)
class Result:
    """How an exam came out. None: no figure."""

    outcome: str
    stiffness_kpa: float | None = None
    attenuation_db_m: float | None = None

    @property
    def words(self) -> str:
        kpa = "" if self.stiffness_kpa is None else f", {self.stiffness_kpa:.1f} kPa"
        db_m = "" if self.attenuation_db_m is None else f", {self.attenuation_db_m:.0f} dB/m"
        return f"{self.outcome}{kpa}{db_m}"


@dataclass(frozen=True)
class SampledExam:
    """One exam of a sample.

    Args:
        reason: why it was picked; "" where chance chose it.
        shown: what a reader may know of it: day, technique, probe and device.
        first: as published when it was drawn. Never shown to whoever reads it.
        reader, reader_operator: user id and operator id of the second reader; "" for none.
        second: None until it was read.
        case_id: of the case that its discrepancy opened.
        site_id: where it was done; None for exams drawn before that was kept.
    """

    code: str
    exam_key: str
    reason: str
    shown: str
    first: Result
    reader: str = ""
    reader_operator: str = ""
    second: Result | None = None
    words: str = ""
    read_by: str = ""
    read_at: str = ""
    case_id: str = ""
    site_id: str | None = None

    @property
    def is_random(self) -> bool:
        return not self.reason


@dataclass(frozen=True)
class Sample:
    """Exams of one operator and month, at whatever site.

    frame: keys from which chance chose n_random. is_part: exams at sites that the reader of this
    may not see are left out.
    """

    sample_id: str
    operator_id: str
    site_id: str | None
    month: date
    method: str
    seed: str
    frame: tuple[str, ...]
    snapshot_id: str
    n_random: int
    drawn_at: str
    drawn_by: str
    exams: tuple[SampledExam, ...]
    n_events: int = 1
    is_part: bool = False

    @property
    def is_as_drawn(self) -> bool:
        """Drawn again from its frame and seed, it is the same."""
        kept = tuple(one.exam_key for one in self.exams if one.is_random)
        drawn = draw_sample(self.frame, seed=self.seed, n=self.n_random)
        return set(kept) <= set(drawn) if self.is_part else kept == drawn

    @property
    def n_read(self) -> int:
        return sum(one.second is not None for one in self.exams)

    def exam(self, code: str) -> SampledExam | None:
        return next((one for one in self.exams if one.code == code), None)


def replay_sample(events: Sequence[Event]) -> Sample:
    """Raises: KeyError for an unknown kind (our bug)."""
    first = events[0]
    told = first.values
    sample = Sample(
        sample_id=first.record_id,
        operator_id=told["operator_id"],
        site_id=told["site_id"],
        month=date.fromisoformat(told["month"]),
        method=told["method"],
        seed=told["seed"],
        frame=tuple(told["frame"]),
        snapshot_id=told["snapshot_id"],
        n_random=told["n_random"],
        drawn_at=first.at,
        drawn_by=first.by,
        exams=_taken(told["seed"], told["exams"]),
    )
    for event in events[1:]:
        sample = replace(_STEPS[event.kind](sample, event.values, event), n_events=event.no)
    return sample


def _taken(seed: str, rows: Sequence[Mapping[str, Any]]) -> tuple[SampledExam, ...]:
    return tuple(
        SampledExam(
            code=exam_code(seed, row["exam_key"]),
            exam_key=row["exam_key"],
            reason=row["reason"],
            shown=row["shown"],
            first=Result(**row["first"]),
            site_id=row.get("site_id"),
        )
        for row in rows
    )


def exam_values(exam: SampledExam) -> dict[str, Any]:
    """What an event keeps of an exam that enters a sample."""
    return {
        "exam_key": exam.exam_key,
        "reason": exam.reason,
        "shown": exam.shown,
        "first": asdict(exam.first),
        "site_id": exam.site_id,
    }


def _picked(sample: Sample, told: Mapping[str, Any], event: Event) -> Sample:
    return replace(sample, exams=(*sample.exams, *_taken(sample.seed, told["exams"])))


def _assigned(sample: Sample, told: Mapping[str, Any], event: Event) -> Sample:
    return _with(
        sample, told["codes"], reader=told["reader"], reader_operator=told["reader_operator"]
    )


def _read(sample: Sample, told: Mapping[str, Any], event: Event) -> Sample:
    return _with(
        sample,
        [told["code"]],
        second=Result(**told["result"]),
        words=told["words"],
        read_by=event.by,
        read_at=event.at,
    )


def _case_opened(sample: Sample, told: Mapping[str, Any], event: Event) -> Sample:
    return _with(sample, [told["code"]], case_id=told["case_id"])


def _with(sample: Sample, codes: Sequence[str], **changes: Any) -> Sample:
    exams = (replace(one, **changes) if one.code in codes else one for one in sample.exams)
    return replace(sample, exams=tuple(exams))


_STEPS: dict[str, Callable[[Sample, Mapping[str, Any], Event], Sample]] = {
    "picked": _picked,
    "assigned": _assigned,
    "read": _read,
    "case opened": _case_opened,
}


def plain_sample(sample: Sample) -> dict[str, str]:
    """In words, for the trail: a line an exam. First results stand in it only once it was read."""
    return {
        "Sample": f"operator {sample.operator_id}, {sample.month:%Y-%m}, {sample.n_random} of "
        f"{len(sample.frame)} exams, seed {sample.seed}, {sample.method}, {sample.snapshot_id}",
        **{f"Exam {one.code}": _exam_words(one) for one in sample.exams},
    }


def _exam_words(one: SampledExam) -> str:
    parts = [one.shown, one.reason and f"picked: {one.reason}"]
    parts += [one.reader and f"reader {one.reader}"]
    if one.second:
        parts += [f"first {one.first.words}", f"second {one.second.words}", one.words]
    return "; ".join([*(part for part in parts if part), *([one.case_id] if one.case_id else [])])


SAMPLE = RecordClass("second reading", "the sample", replay_sample, plain_sample)


def entering_exams(exams: pl.DataFrame, keys: Sequence[str], *, reason: str) -> list[SampledExam]:
    """Exams as they enter a sample, in the order of keys; those that are not there are left out."""
    rows: Mapping[str, dict[str, Any]] = {
        row["exam_key"]: row for row in exams.iter_rows(named=True)
    }
    return [
        SampledExam(
            code="",
            exam_key=key,
            reason=reason,
            shown=f"{row['exam_on']}, {row['technique']}, {row['probe']}, {row['device_id']}",
            first=Result(row["outcome"], row["stiffness_kpa"], row["attenuation_db_m"]),
            site_id=row["site_id"],
        )
        for key in keys
        if (row := rows.get(key)) is not None
    ]
