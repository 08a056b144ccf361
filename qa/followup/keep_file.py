"""Changes of an operator's file: (file as it stands, what is entered) → events."""

from datetime import date

from qa.followup.competence import Authorisation, OperatorFile
from qa.followup.fitting import require_word
from qa.followup.records import clean_text
from qa.model.competence_words import ANY_PROBE
from qa.model.errors import FollowupError
from qa.model.record import NewEvent
from qa.model.words import Probe, Technique

MAX_EARLIER = 100_000
Known = OperatorFile | None


def _past(day: date, *, on: date, field: str) -> str:
    if day > on:
        raise FollowupError(
            f"{day} lies ahead", where=field, expected=f"a day up to {on}", code="FUP-040"
        )
    return day.isoformat()


def add_training(
    file: Known, *, site_id: str | None, day: date, given_by: str, words: str, on: date
) -> list[NewEvent]:
    """Raises: FollowupError FUP-040 for a day ahead, FUP-011 to FUP-013 for texts."""
    return [NewEvent("trained", _teaching(site_id, day, given_by, words, on))]


def add_refresher(
    file: Known, *, site_id: str | None, day: date, given_by: str, words: str, on: date
) -> list[NewEvent]:
    """A reference examiner looked at the technique again. Raises: like add_training."""
    return [NewEvent("refreshed", _teaching(site_id, day, given_by, words, on))]


def _teaching(
    site_id: str | None, day: date, given_by: str, words: str, on: date
) -> dict[str, str | None]:
    return {
        "site_id": site_id,
        "day": _past(day, on=on, field="day"),
        "given_by": clean_text(given_by, field="given by", longest=100),
        "words": clean_text(words, field="words", longest=400),
    }


def add_observed(
    file: Known,
    *,
    site_id: str | None,
    day: date,
    observer: str,
    is_satisfactory: bool,
    words: str,
    on: date,
) -> list[NewEvent]:
    """An exam that somebody watched. Raises: FollowupError FUP-040, FUP-041, FUP-011 to FUP-013.

    FUP-041: one that was not satisfactory needs words.
    """
    if not is_satisfactory and not words.strip():
        raise FollowupError(
            "an exam that is not signed off needs words",
            where="words",
            expected="what to work on",
            code="FUP-041",
        )
    data = {
        "site_id": site_id,
        "day": _past(day, on=on, field="day"),
        "observer": clean_text(observer, field="observer", longest=100),
        "is_satisfactory": is_satisfactory,
        "words": clean_text(words, field="words", is_needed=False, longest=400),
    }
    return [NewEvent("observed exam entered", data)]


def state_earlier(file: Known, *, site_id: str | None, n: int, words: str) -> list[NewEvent]:
    """Exams from before the exports begin. Raises: FollowupError FUP-042 for an unlikely number."""
    if not 0 <= n <= MAX_EARLIER:
        raise FollowupError(
            f"{n:,} earlier exams",
            where="earlier exams",
            expected=f"0 to {MAX_EARLIER:,}",
            code="FUP-042",
        )
    data = {"site_id": site_id, "n": n, "words": clean_text(words, field="words", longest=400)}
    return [NewEvent("earlier exams stated", data)]


def authorise(
    file: Known,
    *,
    site_id: str | None,
    technique: str,
    probe: str,
    from_day: date,
    to_day: date | None,
    n_observed_needed: int,
) -> list[NewEvent]:
    """Allow a technique with a probe, from a day on.

    Raises: FollowupError FUP-027 (no such technique or probe), FUP-043 (ends before it begins),
        FUP-044 (overlaps one of the same technique and probe), FUP-045 (too few observed exams).
    """
    technique = require_word(Technique, technique, field="technique")
    if probe != ANY_PROBE:
        probe = require_word(Probe, probe, field="probe")
    if to_day is not None and to_day < from_day:
        raise FollowupError(
            f"it would end on {to_day}, before it begins", where="authorisation", code="FUP-043"
        )
    n_seen = file.n_satisfactory if file else 0
    if n_seen < n_observed_needed:
        raise FollowupError(
            f"{n_seen} observed exams are signed off",
            where="authorisation",
            expected=f"{n_observed_needed} (observed_exams_needed of network.toml)",
            todo="Enter the observed exams first; nothing was changed",
            code="FUP-045",
        )
    for one in file.authorisations if file else ():
        if _overlaps(one, technique, probe, from_day, to_day):
            raise FollowupError(
                f"it overlaps: {one.words}",
                where="authorisation",
                todo="End that one first, or choose other days",
                code="FUP-044",
            )
    data = {
        "site_id": site_id,
        "technique": str(technique),
        "probe": str(probe),
        "from_day": from_day.isoformat(),
        "to_day": to_day.isoformat() if to_day else None,
    }
    return [NewEvent("authorised", data)]


def _overlaps(
    one: Authorisation, technique: str, probe: str, from_day: date, to_day: date | None
) -> bool:
    if (one.technique, one.probe) != (technique, probe):
        return False
    return max(one.from_day, from_day) <= min(one.to_day or date.max, to_day or date.max)


def end_authorisation(file: Known, *, number: int, to_day: date, why: str) -> list[NewEvent]:
    """Its last day. A day in the past is allowed: exams since then show as outside.

    Raises: FollowupError FUP-046 when there is no such authorisation, or it ended before.
    """
    one = next((one for one in file.authorisations if one.number == number), None) if file else None
    if one is None or to_day < one.from_day or (one.to_day and to_day > one.to_day):
        raise FollowupError(
            f"authorisation {number} cannot end on {to_day}",
            where="authorisation",
            expected=one.words if one else "the number of one in the operator's file",
            code="FUP-046",
        )
    data = {"number": number, "to_day": to_day.isoformat(), "why": clean_text(why, field="why")}
    return [NewEvent("authorisation ended", data)]
