"""What a profile makes of a file: a preview of what intake would do. Nothing is written."""

from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path

import polars as pl

from qa.intake.apply import Checked, apply_checks
from qa.intake.checks import ROW_CHECKS, SENTENCES
from qa.intake.mapping import check_headings, pick_columns
from qa.intake.profile_check import check_profile
from qa.intake.quartiles import quartile_remark
from qa.intake.registers import registers_of
from qa.intake.rows import map_rows
from qa.jobs.profile import read_content, require_site
from qa.model.definitions import Network, Profile
from qa.model.errors import ProfileError, WrongUse
from qa.model.file_problems import ROW_NO
from qa.model.parsing import parse_profile
from qa.model.schemas import UTC_TIME
from qa.readers.read import read_file
from qa.stores.definitions import sets_in_force
from qa.stores.settings import load_network, load_profiles
from qa.views import words

ROWS_SHOWN = 5
_KEY_SHOWN = 8
_SHOWN = (
    "exam_key", "patient_key", "exam_on", "operator_id", "device_id", "technique", "probe",
    "performed", "n_attempted", "n_valid", "stiffness_value", "stiffness_iqr", "stiffness_unit",
    "attenuation_db_m", "attenuation_iqr_db_m", "fasting_hours", "age_years", "sex",
)  # fmt: skip


@dataclass(frozen=True)
class Preview:
    """What a profile makes of a file.

    first_rows: canonical columns of the first accepted rows, keys cut to their beginning.
    waiting, flagged: code → rows.   units: unit → rows.
    n_attempts_unknown: accepted exams that were performed and state no attempts.
    remark: what to know of the profile itself; "" for nothing.
    """

    profile_id: str
    n_rows: int
    n_accepted: int
    n_quarantined: int
    n_dropped_columns: int
    first_rows: pl.DataFrame
    waiting: dict[str, int] = field(default_factory=dict)
    flagged: dict[str, int] = field(default_factory=dict)
    units: dict[str, int] = field(default_factory=dict)
    first_day: date | None = None
    last_day: date | None = None
    n_attempts_unknown: int = 0
    modes: dict[str, int] = field(default_factory=dict)
    remark: str = ""

    def lines(self) -> list[str]:
        """The preview in words, without the rows."""
        columns = (
            f", {words.counted(self.n_dropped_columns, 'column')} left outside"
            if self.n_dropped_columns
            else ""
        )
        result = [
            f"{words.counted(self.n_rows, 'row')} by profile {self.profile_id}: "
            f"{self.n_accepted:,} would enter, {self.n_quarantined:,} would wait{columns}. "
            "Nothing was written.",
        ]
        if self.first_day:
            result.append(f"Exams from {self.first_day} to {self.last_day}.")
        for title, counts in (("Units", self.units), ("Acquisition modes", self.modes)):
            if counts:
                listed = ", ".join(f"{name} {n:,}" for name, n in counts.items())
                result.append(f"{title}: {listed}.")
        if self.n_attempts_unknown:
            result.append(
                f"{self.n_attempts_unknown:,} exams state no attempts: no success rate for them."
            )
        if self.remark:
            result.append(self.remark)
        for title, counts in (("Why rows would wait", self.waiting), ("Flags", self.flagged)):
            if counts:
                order = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
                result.append(f"{title}:")
                result += [f"{words.row_count(n)}  {code}  {SENTENCES[code]}" for code, n in order]
        return result


def run_profile_check(
    folder: Path,
    *,
    file: Path,
    site_id: str | None,
    profile_file: Path | None = None,
    key: bytes,
    known_at: datetime,
    content: bytes | None = None,
    profile_text: str = "",
) -> Preview:
    """Read a file as intake would, and write nothing.

    Args:
        site_id: the site that sent it; None where its rows name their site.
        profile_file: a profile that need not be in the network's folder; None: the site's own.
        key: the pseudonym key.   known_at: now, UTC.
        content: the file's bytes, where it lies on no disk; `file` is its name then.
        profile_text: a profile as text; it wins over the site's own.
    Raises: ProfileError and SourceFileError as intake would refuse the file; WrongUse.
    """
    network = load_network(folder)
    require_site(network, site_id)
    if profile_text:
        profile = parse_profile(profile_text, where="the profile that was sent")
    else:
        profile = _profile(folder, network, site_id, profile_file, name=file.name)
    check_profile(profile)
    content = read_content(folder, file) if content is None else content
    raw = read_file(content, name=file.name, profile=profile)
    headings = [heading for heading in raw.columns if heading != ROW_NO]
    dropped = check_headings(headings, profile=profile, name=file.name)
    picked = pick_columns(raw, profile=profile).with_columns(
        file_no=pl.lit(0, pl.UInt32),
        site_of_file=pl.lit(site_id, pl.String),
        file_id=pl.lit(""),
        profile_id=pl.lit(profile.full_id),
        known_at=pl.lit(known_at, UTC_TIME),
    )
    rows = map_rows(picked, profile=profile, registers=registers_of(network), key=key)
    checked = apply_checks(rows, checks=ROW_CHECKS, profile=profile)
    remark = quartile_remark(profile, sets_in_force(network))
    return replace(_preview(checked, profile, n_dropped=len(dropped)), remark=remark)


def _profile(
    folder: Path, network: Network, site_id: str | None, profile_file: Path | None, *, name: str
) -> Profile:
    if profile_file is not None:
        try:
            text = profile_file.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            raise ProfileError(
                "the profile cannot be read", where=profile_file.name, code="PRF-002"
            ) from None
        return parse_profile(text, where=profile_file.name)
    site = network.site(site_id) if site_id else None
    if site is None:
        raise WrongUse("neither --site nor --profile is given", expected="one of them")
    wanted = site.profile_of(name)
    profile = load_profiles(folder).get(wanted)
    if profile is None:
        raise ProfileError(
            f"the site '{site.id}' has the profile '{wanted}', which is not there",
            todo="Propose one: elastoqa profile suggest FILE --site " + site.id,
            code="PRF-002",
        )
    return profile


def _preview(checked: Checked, profile: Profile, *, n_dropped: int) -> Preview:
    accepted, held = checked.accepted, checked.quarantined
    is_performed = pl.col("performed") == "performed"
    unknown = accepted.filter(is_performed & pl.col("n_attempted").is_null())
    return Preview(
        profile_id=profile.full_id,
        n_rows=accepted.height + held.height,
        n_accepted=accepted.height,
        n_quarantined=held.height,
        n_dropped_columns=n_dropped,
        first_rows=accepted.head(ROWS_SHOWN).select(
            pl.col(name).str.slice(0, _KEY_SHOWN) if name.endswith("_key") else pl.col(name)
            for name in _SHOWN
        ),
        waiting=_counted(held["codes"]),
        flagged=_counted(accepted["flags"]),
        units=_values(accepted, "stiffness_unit") | _values(accepted, "attenuation_unit"),
        first_day=_edge(accepted["exam_on"].min()),
        last_day=_edge(accepted["exam_on"].max()),
        n_attempts_unknown=unknown.height,
        modes=_values(accepted, "acquisition_mode"),
    )


def _edge(day: object) -> date | None:
    return day if isinstance(day, date) else None


def _counted(codes: pl.Series) -> dict[str, int]:
    return dict(Counter(code for row in codes.to_list() for code in set(row)))


def _values(rows: pl.DataFrame, name: str) -> dict[str, int]:
    counted = rows[name].drop_nulls().value_counts(sort=True)
    return {str(value): int(n) for value, n in counted.iter_rows()}
