"""An unknown export → a proposed profile: what each column seems to be, and how sure that is.

Nothing is guessed silently: a form of date that fits both orders, a code that no dictionary knows
and a column that fits nothing are said to be so, and a person decides.
"""

from collections.abc import Sequence
from dataclasses import replace

from qa.intake.code_words import suggest_codes
from qa.intake.column_facts import ColumnFacts
from qa.intake.heading_match import has_fragment, heading_score, is_identifying, unit_in
from qa.intake.reading_layouts import find_layout
from qa.intake.relations import find_body, find_counts, find_ratio
from qa.intake.suggestion import KnownCodes, Placed, Suggestion, Sureness
from qa.intake.targets import TARGET_BY_NAME, Kind
from qa.intake.value_fit import fits, look_of
from qa.model.words import AttenuationUnit, StiffnessUnit

_LEAST_SCORE = _HALF_SCORE = 0.5
"""One word of the trade and one that says something else."""
_FULL_SCORE = 2.0
_ORDER = (*TARGET_BY_NAME, "exam_date", "exam_time")


def suggest(columns: Sequence[ColumnFacts], *, known: KnownCodes) -> Suggestion:
    """Propose what each column is.

    Args:     columns: facts of all columns.   known: what network.toml knows of the site.
    Method:   arithmetic between columns (IQR/median, body-mass index, valid up to attempted) and
              codes of network.toml count most, then headings whose values fit, then values alone.
              Each column and each target is used once, the best match first.
    """
    layout = find_layout(columns)
    taken = set(layout.headings_used) if layout else set()
    free = [one for one in columns if one.heading not in taken and one.n_filled]
    related = {**find_ratio(free), **find_body(free), **find_counts(free)}
    candidates = [
        (score, placed)
        for column in free
        for target in TARGET_BY_NAME
        for score, placed in [_judge(column, target, related, known)]
        if placed is not None
    ]
    placed = _best_of(candidates)
    placed = _with_day_and_clock(placed, free)
    placed += _constants(placed, known)
    placed += _by_values_alone(placed, free)
    placed = _with_one_unit(placed)
    if any(one.target == "age_years" for one in placed):
        # The age is enough: then the birth date stays outside.
        placed = [one for one in placed if one.target != "birth_date"]
    used = {one.heading for one in placed}
    rest = [one for one in columns if one.heading not in used and one.heading not in taken]
    identifying = tuple(
        one.heading for one in rest if one.is_free_text or is_identifying(one.heading)
    )
    unplaced = tuple((one.heading, look_of(one)) for one in rest if one.heading not in identifying)
    ordered = tuple(sorted(placed, key=lambda one: _ORDER.index(one.target)))
    result = Suggestion(ordered, layout, identifying, unplaced)
    return replace(result, questions=tuple(_questions(result)))


def _best_of(candidates: list[tuple[float, Placed]]) -> list[Placed]:
    """Each target and each heading once, the highest score first."""
    order = sorted(candidates, key=lambda item: (-item[0], _ORDER.index(item[1].target)))
    chosen: dict[str, Placed] = {}
    used: set[str] = set()
    for _, placed in order:
        if placed.target not in chosen and placed.heading not in used:
            chosen[placed.target] = placed
            used.add(placed.heading)
    return list(chosen.values())


def _judge(
    column: ColumnFacts, target: str, related: dict[str, str], known: KnownCodes
) -> tuple[float, Placed | None]:
    """Score of a column for a target; no Placed where it cannot be that."""
    nothing = (0.0, None)
    if related.get(target) == column.heading:
        return 10.0, _placed(column, target, Sureness.SURE, _WHY_RELATED[target])
    if column.heading in related.values():
        return nothing
    register = {"operator": known.operators, "device": known.devices, "site": known.sites}
    codes = register.get(target, ())
    is_known = bool(codes) and column.words != () and all(w in codes for w, _ in column.words)
    score = 6.0 if column.heading == target else heading_score(column.heading, target)
    if is_known and (score > 0 or len(column.words) > 1 or not column.is_whole):
        sureness = Sureness.SURE if score > 0 else Sureness.LIKELY
        why = f"all its values are codes of network.toml ({target}s of this site)"
        return 5.0 + score, _placed(column, target, sureness, why)
    if score < _LEAST_SCORE and has_fragment(column.heading, target):
        if fits(column, target) and target not in ("stiffness", "attenuation"):
            why = "a piece of the heading, and the values fit"
            return 0.4, _placed(column, target, Sureness.UNSURE, why)
        return nothing
    if score < _LEAST_SCORE or not fits(column, target):
        return nothing
    sureness = Sureness.LIKELY if score > _HALF_SCORE else Sureness.UNSURE
    if score >= _FULL_SCORE:
        sureness = Sureness.SURE
    return score, _placed(column, target, sureness, "the heading says so, and the values fit")


def _with_one_unit(found: list[Placed]) -> list[Placed]:
    """A figure whose unit stands in a column of its own needs no unit of the profile."""
    targets = {one.target for one in found}
    return [
        replace(
            one,
            unit=None,
            why=f"{one.why.partition('; the unit')[0]}; its unit stands in a column of its own",
        )
        if f"{one.target}_unit" in targets
        else one
        for one in found
    ]


_RATIO = "in nearly all rows IQR/median in % is 100 times one column over the other"
_BODY = "in nearly all rows the index is weight over height squared"
_COUNTS = "small whole numbers, the valid ones heap up on one number and never exceed the others"
_WHY_RELATED = {
    **dict.fromkeys(("stiffness", "stiffness_iqr", "stated_ratio_pct"), _RATIO),
    **dict.fromkeys(("height_cm", "weight_kg", "bmi"), _BODY),
    **dict.fromkeys(("n_valid", "n_attempted"), _COUNTS),
}


def _placed(column: ColumnFacts, target: str, sureness: Sureness, why: str) -> Placed:
    """With the keys that heading and values tell."""
    result = Placed(target, column.heading, sureness, why)
    if target in ("stiffness", "attenuation"):
        unit = unit_in(column.heading)
        if unit in (*StiffnessUnit, *AttenuationUnit):
            return replace(result, unit=unit)
        return replace(
            result,
            unit=_unit_by_range(target, column),
            why=f"{why}; the unit only by the range {column.low:g} to {column.high:g}",
            sureness=Sureness.LIKELY if sureness is Sureness.SURE else sureness,
        )
    if column.dates is not None and target in ("exam_at", "birth_date"):
        forms = column.dates.forms
        if column.dates.is_ambiguous:
            return replace(result, date_forms=forms, sureness=Sureness.UNSURE)
        return replace(result, date_form=forms[0] if forms else None)
    if TARGET_BY_NAME[target].kind in (Kind.WORD, Kind.REASON):
        codes = suggest_codes(target, [word for word, _ in column.words])
        is_whole = not codes.unknown and not codes.is_by_number
        return replace(result, codes=codes, sureness=sureness if is_whole else _lower(sureness))
    return result


def _lower(sureness: Sureness) -> Sureness:
    return Sureness.LIKELY if sureness is Sureness.SURE else Sureness.UNSURE


def _unit_by_range(target: str, column: ColumnFacts) -> str:
    if target == "attenuation":
        return AttenuationUnit.DB_M if column.middle > 10 else AttenuationUnit.DB_CM_MHZ
    return StiffnessUnit.M_S if column.high <= 5.5 and column.middle < 2.5 else StiffnessUnit.KPA


def _with_day_and_clock(placed: list[Placed], columns: Sequence[ColumnFacts]) -> list[Placed]:
    """A day and a time of day in two columns become exam_date and exam_time."""
    day = next((one for one in placed if one.target == "exam_at"), None)
    facts = next((one for one in columns if day and one.heading == day.heading), None)
    if day is None or facts is None or facts.dates is None:
        return placed
    if facts.dates.is_clock or facts.dates.has_time:
        return placed
    used = {one.heading for one in placed}
    clocks = [
        one
        for one in columns
        if one.dates is not None and one.dates.is_clock and one.heading not in used
    ]
    if len(clocks) != 1:
        return placed
    [clock] = clocks
    assert clock.dates is not None
    others = [one for one in placed if one is not day]
    form = clock.dates.forms[0]
    time = Placed("exam_time", clock.heading, day.sureness, "the only time of day", date_form=form)
    return [*others, replace(day, target="exam_date"), time]


def _constants(placed: list[Placed], known: KnownCodes) -> list[Placed]:
    """What network.toml tells where the file does not."""
    targets = {one.target for one in placed}
    found = []
    if "technique" not in targets and len(known.techniques) == 1:
        why = "network.toml lists only this technique for the devices of this site"
        found.append(Placed("technique", "", Sureness.LIKELY, why, constant=known.techniques[0]))
    if "device" not in targets and len(known.devices) == 1:
        why = "network.toml lists only this device for this site"
        found.append(Placed("device", "", Sureness.LIKELY, why, constant=known.devices[0]))
    return found


def _by_values_alone(placed: list[Placed], columns: Sequence[ColumnFacts]) -> list[Placed]:
    """A few targets whose values are like nothing else; one candidate only, always unsure."""
    targets = {one.target for one in placed}
    used = {one.heading for one in placed}
    free = [one for one in columns if one.heading not in used and not is_identifying(one.heading)]
    tests = {
        "exam_id": lambda one: one.is_unique and one.dates is None and not one.is_free_text,
        "attenuation": lambda one: (
            one.numbers is not None and one.is_whole and one.low >= 50 and one.high <= 500
            and 150 <= one.middle <= 350
        ),
        "exam_at": lambda one: (
            one.dates is not None and not one.dates.is_clock and one.dates.first_year >= 2000
        ),
    }  # fmt: skip
    found = []
    for target, is_like in tests.items():
        like = [one for one in free if is_like(one)]
        if target not in targets and "exam_date" not in targets and len(like) == 1:
            found.append(_placed(like[0], target, Sureness.UNSURE, "only the values say so"))
    return found


def _questions(found: Suggestion) -> list[str]:
    """What a person must decide before the profile can be used."""
    questions = []
    placed = {one.target for one in found.placed}
    placed |= {"exam_at"} if "exam_date" in placed else set()
    for target in TARGET_BY_NAME.values():
        if target.is_needed and target.name not in placed:
            questions.append(f"{target.name} was not found: {target.sentence}")
    for one in found.placed:
        if one.date_forms:
            forms = " or ".join(one.date_forms)
            questions.append(f"{one.target}: every date fits {forms}; only the site can say which")
        if one.codes and one.codes.unknown:
            n = len(one.codes.unknown)
            questions.append(f"{one.target}: {n} {'code is' if n == 1 else 'codes are'} not known")
        if one.unit == AttenuationUnit.DB_CM_MHZ:
            questions.append(f"{one.target} is in dB/cm/MHz: state frequency_mhz to convert it")
    if "stiffness" not in placed and found.layout is None:
        questions.append("stiffness was not found")
    if found.layout is not None:
        questions.append("single readings: does the file list every attempt (lists_attempts)?")
    return questions
