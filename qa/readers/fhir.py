"""HL7 FHIR R4 (Bundle or NDJSON, JSON) → raw rows: one row per exam."""

from collections.abc import Iterator

import polars as pl

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.model.words import FileFormat
from qa.readers.bounds import check_lines, check_size, check_values, unpack_gzip
from qa.readers.exam_columns import ExamCells, columns_in_order
from qa.readers.fhir_codes import (
    LIVER_SITES,
    LOCAL,
    OBSERVATION_STATUS,
    REPORT_STATUS,
    REPORTS,
    RETRACTED,
)
from qa.readers.fhir_exams import Exam, exam_cells, is_attenuation, is_stiffness, not_in_file
from qa.readers.fhir_resources import (
    MAX_BUNDLE_BYTES,
    Node,
    Resources,
    identifier_of,
    read_resources,
)
from qa.readers.rows import Rows

_PEOPLE_AND_THINGS = ("Patient", "Practitioner", "PractitionerRole", "Device")


def read_fhir(content: bytes, *, name: str, profile: Profile) -> pl.DataFrame:
    """Read one file's bytes; codes are those of fhir_codes.py.

    A DiagnosticReport with its results is an exam; so is a stiffness Observation without a report,
    with the attenuation Observation of the same identifier. Names, addresses and birth dates are
    not kept; of a Patient only identifier, sex and age at the exam.

    Args:     content: the whole file, plain or gzip; UTF-8.   name: for messages.
              profile: the columns are fixed; "fhir-r4" in qa/definitions/profiles maps them.
    Returns:  ROW_NO (1 is the first exam) and EXAM_COLUMNS as text, by place in the file. `status`
              is the word of FHIR; entered-in-error and cancelled are for the profile to retract.
              A value in an unexpected unit keeps its unit and so is no number.
    Raises:   SourceFileError INT-001, INT-004, INT-007, INT-020 to INT-023, INT-025, INT-030 to
              INT-033, INT-036, INT-037.
    """
    check_size(len(content), name=name, file_format=FileFormat.FHIR)
    content = unpack_gzip(content, name=name, file_format=FileFormat.FHIR)
    check_values(content, name=name)
    if len(content) > MAX_BUNDLE_BYTES:
        check_lines(content, name=name)
    resources = Resources()
    for resource, url in read_resources(content, name=name):
        if resource.path in _PEOPLE_AND_THINGS or _is_of_an_exam(resource):
            resources.add(resource, url)
    rows = [cells for exams in _exams(resources) for cells in exams]
    if not rows:
        raise _no_exam(name)
    found = dict.fromkeys(column for cells in rows for column in cells)
    table = Rows(name=name, n_bytes=len(content), columns=columns_in_order(found))
    for row_no, cells in enumerate(rows, start=1):
        table.add(row_no, cells)
    return table.frame()


def _is_of_an_exam(resource: Node) -> bool:
    """A report, or an Observation of the liver's stiffness or attenuation; checks its status."""
    if resource.path == "DiagnosticReport":
        _check_status(resource, REPORT_STATUS)
        return True
    if resource.path != "Observation":
        return False
    if not resource.node("code").fields:
        raise resource.wrong("code", "the code of what was observed")
    if not (is_stiffness(resource) or is_attenuation(resource)):
        return False
    _check_status(resource, OBSERVATION_STATUS)
    sites = resource.node("bodySite").codes
    return not sites or bool(sites & LIVER_SITES)


def _check_status(resource: Node, allowed: tuple[str, ...]) -> None:
    if resource.text("status") not in allowed:
        raise resource.wrong("status", f"one of {', '.join(allowed)}")


def _exams(resources: Resources) -> Iterator[list[ExamCells]]:
    listed = resources.all()
    in_reports: set[int] = set()
    for report in (one for one in listed if one.path == "DiagnosticReport"):
        results = _results(report, resources)
        in_reports |= {id(one.fields) for one in results}
        yield _cells_of_report(report, results, resources)
    alone = [
        one for one in listed if one.path == "Observation" and id(one.fields) not in in_reports
    ]
    yield _cells_of_lone(alone, resources)


def _results(report: Node, resources: Resources) -> list[Node]:
    """Observations of a report that are of the exam; all must be there, or none is meant."""
    found, n_missing = [], 0
    for reference in report.nodes("result"):
        observation = resources.find(reference, owner=report)
        if observation is None:
            n_missing += 1
        elif observation.path != "Observation":
            raise report.wrong("result", "references to Observations")
        elif _is_of_an_exam(observation):
            found.append(observation)
    is_of_liver = bool(report.node("code").codes & REPORTS)
    if n_missing and is_of_liver and not found:
        raise not_in_file(report, "DiagnosticReport.result")
    return found


def _cells_of_report(report: Node, results: list[Node], resources: Resources) -> list[ExamCells]:
    """One exam, or one for each stiffness that counts."""
    if not results:
        is_retracted = report.text("status") in RETRACTED
        if not (is_retracted and report.node("code").codes & REPORTS):
            return []
        return [exam_cells(Exam(report, None, None), resources)]
    stiffness = _that_count([one for one in results if is_stiffness(one)])
    attenuation = _that_count([one for one in results if is_attenuation(one)])
    if len(attenuation) > 1 or (attenuation and len(stiffness) > 1):
        raise _several(report)
    only = attenuation[0] if attenuation else None
    if len(stiffness) < 2:
        return [exam_cells(Exam(report, stiffness[0] if stiffness else None, only), resources)]
    return [
        exam_cells(Exam(report, one, None), resources, is_named_by_report=False)
        for one in stiffness
    ]


def _that_count(observations: list[Node]) -> list[Node]:
    """Those that were not taken back; where all were, the last of them stands for it."""
    kept = [one for one in observations if one.text("status") not in RETRACTED]
    return kept or observations[-1:]


def _cells_of_lone(observations: list[Node], resources: Resources) -> list[ExamCells]:
    """Observations without a report: stiffness and attenuation pair by their identifier."""
    attenuation: dict[str, Node] = {}
    for one in observations:
        if not is_attenuation(one) or one.text("status") in RETRACTED:
            continue
        shared = identifier_of(one.nodes("identifier"), wanted_type="ACSN")
        if not shared or shared in attenuation:
            raise _alone(one)
        attenuation[shared] = one
    rows = []
    for one in filter(is_stiffness, observations):
        shared = identifier_of(one.nodes("identifier"), wanted_type="ACSN")
        rows.append(exam_cells(Exam(None, one, attenuation.pop(shared, None)), resources))
    if attenuation:
        raise _alone(next(iter(attenuation.values())))
    return rows


def _alone(observation: Node) -> SourceFileError:
    return SourceFileError(
        "it cannot be told to which stiffness an attenuation belongs",
        where=observation.where,
        expected="both in a DiagnosticReport, or with the same identifier, in one file",
        todo="Export them together",
        code="INT-033",
    )


def _several(report: Node) -> SourceFileError:
    return SourceFileError(
        "it cannot be told which stiffness and attenuation belong together",
        where=report.where,
        expected="one stiffness and one attenuation in a report",
        todo="Export one report for each exam",
        code="INT-036",
    )


def _no_exam(name: str) -> SourceFileError:
    return SourceFileError(
        "there is no exam in the file",
        where=name,
        expected=f"Observations of stiffness: LOINC 77615-3, or stiffness of {LOCAL}",
        todo="Export the exams, or check their codes",
        code="INT-037",
    )
