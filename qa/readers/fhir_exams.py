"""FHIR resources of one exam → its cells: DiagnosticReport, stiffness and attenuation."""

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from qa.model.errors import SourceFileError
from qa.readers.exam_columns import (
    PLAIN_UNIT,
    ExamCells,
    FigureTwice,
    age_at,
    figure_twice,
    with_unit,
)
from qa.readers.fhir_codes import (
    ABSENT_REASONS,
    ATTENUATION,
    FIGURES,
    IQR,
    MEASUREMENT,
    ONLY_TE,
    PROBE,
    RATIO,
    RETRACTED,
    STATUS_ORDER,
    STIFFNESS,
    TECHNIQUES,
    UCUM,
)
from qa.readers.fhir_resources import Node, Resources, identifier_of, plain_reference


@dataclass(frozen=True)
class Exam:
    """Resources of one exam; at least one of them is there."""

    report: Node | None
    stiffness: Node | None
    attenuation: Node | None

    @property
    def parts(self) -> list[Node]:
        return [one for one in (self.stiffness, self.attenuation, self.report) if one is not None]


def exam_cells(exam: Exam, resources: Resources, *, is_named_by_report: bool = True) -> ExamCells:
    """Cells by EXAM_COLUMNS.

    Args:     is_named_by_report: False where a report holds several exams.
    Raises:   SourceFileError INT-032 (a wrong shape), INT-033 (a patient that is not in the file),
              INT-036 (a figure twice, or two patients).
    """
    cells = ExamCells()
    where = exam.parts[0].where
    try:
        _put_who(cells, exam, resources, is_named_by_report=is_named_by_report)
        cells["status"] = _status(exam)
        if exam.stiffness is not None:
            _put_quantity(cells, exam.stiffness, "stiffness")
            cells.put("absent_reason", _absent_reason(exam.stiffness))
            cells.put("technique", _technique(exam.stiffness))
        if exam.attenuation is not None and exam.attenuation.text("status") not in RETRACTED:
            _put_quantity(cells, exam.attenuation, "attenuation")
            cells.put("technique", _technique(exam.attenuation))
    except FigureTwice as problem:
        raise figure_twice(str(problem), where=where) from None
    return cells


def _status(exam: Exam) -> str:
    """Of report and stiffness; attenuation that was taken back takes back no exam."""
    deciding = [one for one in (exam.report, exam.stiffness) if one is not None] or exam.parts
    return min((one.text("status") for one in deciding), key=STATUS_ORDER.index)


def _put_who(
    cells: ExamCells, exam: Exam, resources: Resources, *, is_named_by_report: bool
) -> None:
    by_name = [exam.report] if exam.report is not None and is_named_by_report else exam.parts
    named = next(one for one in by_name if one is not None)
    exam_id = identifier_of(named.nodes("identifier"), wanted_type="ACSN") or named.text("id")
    cells.put("exam_id", exam_id)
    cells.put("exam_at", next(filter(None, map(_moment, exam.parts)), ""))
    for part in exam.parts:
        subject = part.node("subject")
        patient = resources.find(subject, owner=part)
        cells.put("patient_id", _name_of(subject, patient, wanted_type="MR", owner=part))
        if patient is not None:
            cells.put("sex", patient.text("gender"))
            cells.put("age_years", age_at(patient.text("birthDate"), cells.get("exam_at", "")))
    for part in exam.parts:
        if "operator" not in cells:
            cells.put("operator", _operator(part, resources))
        device = part.node("device")
        if "device" not in cells and device.fields:
            found = resources.find(device, owner=part)
            serial = found.text("serialNumber") if found is not None else ""
            cells.put("device", serial or _name_of(device, found, wanted_type="SNO", owner=part))


def _name_of(reference: Node, found: Node | None, *, wanted_type: str, owner: Node) -> str:
    """Business identifier of what is referred to, or its id on the sender's server."""
    if not reference.fields:
        return ""
    given = reference.node("identifier").text("value")
    if given:
        return given
    if found is not None:
        listed = found.nodes("identifier")
        return identifier_of(listed, wanted_type=wanted_type) or found.text("id")
    target = reference.text("reference")
    if target.startswith(("urn:", "#")):
        raise not_in_file(owner, reference.path)
    return plain_reference(target).rpartition("/")[2]


def _operator(part: Node, resources: Resources) -> str:
    """The only person among the performers; organisations are passed over."""
    names = set()
    for performer in part.nodes("performer"):
        found = resources.find(performer, owner=part)
        kind = found.path if found is not None else plain_reference(performer.text("reference"))
        if kind.partition("/")[0] in ("Practitioner", "PractitionerRole") or (
            performer.text("type") in ("Practitioner", "PractitionerRole")
        ):
            names.add(_name_of(performer, found, wanted_type="EI", owner=part))
    return names.pop() if len(names) == 1 else ""


def _moment(part: Node) -> str:
    return (
        part.text("effectiveDateTime")
        or part.text("effectiveInstant")
        or part.node("effectivePeriod").text("start")
    )


def _technique(observation: Node) -> str:
    """From the code and the method; where they contradict each other, both, which is no word."""
    found = {TECHNIQUES.get(code, "") for code in observation.node("method").codes} - {""}
    if observation.node("code").codes & ONLY_TE:
        found.add("TE")
    return " and ".join(sorted(found))


def _absent_reason(observation: Node) -> str:
    reason = observation.node("dataAbsentReason")
    if not reason.fields:
        return ""
    if "valueQuantity" in observation.fields:
        raise observation.wrong("dataAbsentReason", "either a value or a reason why there is none")
    codes = [code for system, code in reason.codes if system == ABSENT_REASONS]
    return codes[0] if len(codes) == 1 else "unknown"


def _put_quantity(cells: ExamCells, observation: Node, quantity: str) -> None:
    value, unit = _value_and_unit(observation)
    cells.put(quantity, value)
    if value:
        cells.put(f"{quantity}_unit", PLAIN_UNIT.get(unit, unit))
    for component in observation.nodes("component"):
        codes = component.node("code").codes
        if codes & PROBE:
            cells.put("probe", _word(component))
            continue
        figure, its_unit = _value_and_unit(component)
        if codes & IQR:
            cells.put(f"{quantity}_iqr", with_unit(figure, its_unit, wanted=(unit or its_unit,)))
        elif codes & RATIO and quantity == "stiffness":
            cells.put("stated_ratio_pct", _percent(figure, its_unit))
        elif codes & MEASUREMENT and quantity == "stiffness":
            cells.put_measurement(with_unit(figure, its_unit, wanted=(unit or its_unit,)))
        else:
            _put_figure(cells, codes, figure, its_unit, quantity)


def _put_figure(
    cells: ExamCells, codes: set[tuple[str, str]], figure: str, unit: str, quantity: str
) -> None:
    """Counts belong to the stiffness; attenuation has its own, which are not kept."""
    for code in codes & FIGURES.keys():
        column, wanted = FIGURES[code]
        if quantity == "stiffness" or not column.startswith("n_"):
            cells.put(column, with_unit(figure, unit, wanted=wanted))


def _value_and_unit(owner: Node) -> tuple[str, str]:
    """Number and UCUM code; a comparison sign stays in front, so that it is not overlooked."""
    whole = owner.number("valueInteger")
    if whole:
        return whole, ""
    quantity = owner.node("valueQuantity")
    value = quantity.number("value")
    if not value:
        return "", ""
    is_ucum = quantity.text("system") == UCUM
    unit = quantity.text("code") if is_ucum else quantity.text("unit")
    return quantity.text("comparator") + value, unit


def _percent(value: str, unit: str) -> str:
    """A plain share becomes per cent; written with an exponent it stays and is no per cent."""
    if unit != "1" or "e" in value.lower():
        return with_unit(value, unit, wanted=("%",))
    try:
        return f"{Decimal(value).scaleb(2):f}"
    except InvalidOperation:  # With a comparison sign in front.
        return f"{value} {unit}"


def _word(component: Node) -> str:
    concept = component.node("valueCodeableConcept")
    codes = {code for _, code in concept.codes}
    return codes.pop() if len(codes) == 1 else component.text("valueString")


def is_stiffness(observation: Node) -> bool:
    return bool(observation.node("code").codes & STIFFNESS)


def is_attenuation(observation: Node) -> bool:
    return bool(observation.node("code").codes & ATTENUATION)


def not_in_file(owner: Node, path: str) -> SourceFileError:
    """Error INT-033."""
    return SourceFileError(
        f"{path} refers to a resource that is not in the file",
        where=owner.where,
        expected="all resources of an exam in one file",
        todo="Export them together",
        code="INT-033",
    )
