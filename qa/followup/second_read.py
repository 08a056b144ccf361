"""Decisions on a sample of second readings → events."""

from collections.abc import Sequence
from datetime import date

from qa.followup.fitting import require_word
from qa.followup.readings import Sample, SampledExam, exam_values
from qa.followup.records import clean_text
from qa.followup.sampling import METHOD
from qa.model.competence_words import READ_OUTCOMES, PickReason
from qa.model.errors import FollowupError
from qa.model.record import NewEvent
from qa.model.words import Outcome

MAX_KPA, MAX_DB_M = 200.0, 800.0
"""Wider than any device shows; beyond, a figure was mistyped."""


def draw(
    sample: Sample | None,
    *,
    operator_id: str,
    site_id: str | None,
    month: date,
    seed: str,
    frame: Sequence[str],
    snapshot_id: str,
    exams: Sequence[SampledExam],
) -> list[NewEvent]:
    """Raises: FollowupError FUP-050 when it was drawn already, FUP-051 from no exams."""
    if sample is not None:
        raise FollowupError(
            f"it was drawn already, on {sample.drawn_at[:10]}",
            where=f"sample of operator {operator_id}, {month:%Y-%m}",
            todo="A month is drawn once; pick further exams with a reason",
            code="FUP-050",
        )
    if not frame:
        raise FollowupError(
            "there are no judged exams to draw from",
            where=f"sample of operator {operator_id}, {month:%Y-%m}",
            code="FUP-051",
        )
    data = {
        "operator_id": operator_id,
        "site_id": site_id,
        "month": month.isoformat(),
        "method": METHOD,
        "seed": seed,
        "frame": sorted(frame),
        "snapshot_id": snapshot_id,
        "n_random": len(exams),
        "exams": [exam_values(one) for one in exams],
    }
    return [NewEvent("drawn", data)]


def pick(sample: Sample | None, *, exams: Sequence[SampledExam]) -> list[NewEvent]:
    """Add exams with a reason. Raises: FollowupError FUP-052 (none is new), FUP-027 (reason)."""
    sample = _drawn(sample)
    known = {one.exam_key for one in sample.exams}
    new = [one for one in exams if one.exam_key not in known]
    if not new:
        raise FollowupError(
            "no exam is new to it", where=f"the sample {sample.sample_id}", code="FUP-052"
        )
    for one in new:
        require_word(PickReason, one.reason, field="reason")
    return [NewEvent("picked", {"exams": [exam_values(one) for one in new]})]


def assign_reader(
    sample: Sample | None, *, codes: Sequence[str], reader: str, reader_operator: str
) -> list[NewEvent]:
    """Raises: FollowupError FUP-053 for the operator's own exams, FUP-054 for exams that were
    read or are not in it.
    """
    sample = _drawn(sample)
    _refuse_first(sample, reader, reader_operator)
    known = [sample.exam(code) for code in codes]
    if not codes or any(one is None or one.second for one in known):
        raise FollowupError(
            "an exam was read already, or is not in this sample" if codes else "no exam is named",
            where=f"the sample {sample.sample_id}",
            code="FUP-054",
        )
    data = {
        "codes": list(codes),
        "reader": clean_text(reader, field="reader", longest=100),
        "reader_operator": reader_operator,
    }
    return [NewEvent("assigned", data)]


def _refuse_first(sample: Sample, reader: str, reader_operator: str) -> None:
    if sample.operator_id in (reader, reader_operator):
        raise FollowupError(
            "the second reader did these exams",
            where=f"the sample {sample.sample_id}",
            expected="somebody else",
            code="FUP-053",
        )


def read(
    sample: Sample | None,
    *,
    code: str,
    reader: str,
    reader_operator: str,
    outcome: str,
    stiffness_kpa: float | None,
    attenuation_db_m: float | None,
    words: str,
) -> list[NewEvent]:
    """What the second reader says, once: afterwards the first result may be seen.

    Raises: FollowupError FUP-053 (own exam), FUP-054 (read already), FUP-055 (another's to read),
        FUP-056 (a figure out of range), FUP-027 (outcome).
    """
    sample = _drawn(sample)
    exam = sample.exam(code)
    _refuse_first(sample, reader, reader_operator)
    if exam is None or exam.reader != reader:
        raise FollowupError("it is not yours to read", where=f"exam {code[:20]}", code="FUP-055")
    if exam.second is not None:
        raise FollowupError(
            "it was read already, and a reading is final", where=f"exam {code}", code="FUP-054"
        )
    word = require_word(Outcome, outcome, field="outcome")
    if word not in READ_OUTCOMES:
        require_word(Outcome, "", field="outcome")
    result = {
        "outcome": word.value,
        "stiffness_kpa": _figure(stiffness_kpa, MAX_KPA, "stiffness, kPa"),
        "attenuation_db_m": _figure(attenuation_db_m, MAX_DB_M, "attenuation, dB/m"),
    }
    told = clean_text(words, field="words", is_needed=False, longest=400)
    return [NewEvent("read", {"code": code, "result": result, "words": told})]


def _figure(value: float | None, most: float, field: str) -> float | None:
    if value is not None and not 0 < value <= most:
        raise FollowupError(
            f"{value:g}", where=field, expected=f"a figure up to {most:g}", code="FUP-056"
        )
    return value


def link_case(sample: Sample | None, *, code: str, case_id: str) -> list[NewEvent]:
    """A discrepancy became a case.

    Raises: FollowupError FUP-057 when it has one, or the exam was not read.
    """
    sample = _drawn(sample)
    exam = sample.exam(code)
    if exam is None or exam.second is None or exam.case_id:
        raise FollowupError(
            f"{exam.case_id} works on it" if exam and exam.case_id else "it was not read yet",
            where=f"exam {code[:20]}",
            code="FUP-057",
        )
    return [NewEvent("case opened", {"code": code, "case_id": case_id})]


def _drawn(sample: Sample | None) -> Sample:
    if sample is None:
        raise FollowupError("there is no such sample", code="FUP-014")
    return sample


def discrepancies(exam: SampledExam, *, stiffness_share: float) -> tuple[str, ...]:
    """Where first and second reading differ, in words; empty where they agree or it is not read.

    Args: stiffness_share: of the mean of both, up to which stiffness counts as the same.
    Example: 8.0 and 9.0 kPa, share 0.1 → "stiffness 8.0 and 9.0 kPa, 11.8 % apart"
    """
    first, second = exam.first, exam.second
    if second is None:
        return ()
    found = []
    if first.outcome != second.outcome:
        found.append(f"outcome {first.outcome} and {second.outcome}")
    one, other = first.stiffness_kpa, second.stiffness_kpa
    if one is not None and other is not None:
        apart = abs(one - other) / ((one + other) / 2)
        if apart > stiffness_share:
            found.append(f"stiffness {one:.1f} and {other:.1f} kPa, {100 * apart:.1f} % apart")
    return tuple(found)
