"""Propose a profile for a file never seen before. Only reads; shows no cell of a patient."""

from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from qa.intake.column_facts import find_decimal, look_at
from qa.intake.file_shape import FileShape, find_shape, missing_marks
from qa.intake.heading_match import heading_score
from qa.intake.suggest import suggest
from qa.intake.suggest_toml import profile_text
from qa.intake.suggestion import KnownCodes, Suggestion
from qa.intake.targets import TARGET_BY_NAME
from qa.model.definitions import Network, Profile
from qa.model.errors import ProfileError, SourceFileError, WrongUse
from qa.model.file_problems import ROW_NO
from qa.model.words import FileFormat
from qa.readers.bounds import check_size, unpack_gzip
from qa.readers.read import read_file
from qa.readers.rows import no_rows
from qa.readers.workbook_book import open_book
from qa.stores.own_files import refuse_own_files
from qa.stores.settings import NetworkFolder, builtin_profiles, load_network, load_profiles

ROWS_LOOKED_AT = 5000
_HEADER_ROWS = range(1, 13)
_MOST_SHEETS = 12
_FEWEST_KNOWN = 4


@dataclass(frozen=True)
class SuggestedProfile:
    """text: the TOML. n_rows: rows that were looked at."""

    text: str
    suggestion: Suggestion
    n_rows: int


def run_profile_suggest(
    folder: Path, *, file: Path, site_id: str | None, content: bytes | None = None
) -> SuggestedProfile:
    """Propose a profile from the headings and values of one file.

    Args:    site_id: the site that sent it; its codes in network.toml help to tell columns apart.
             content: the file's bytes, where it lies on no disk; `file` is its name then.
    Raises:  SourceFileError (no file, or none that a reader can read), ProfileError INT-015 (no row
             of headings), WrongUse (an unknown site), NetworkFolderError.
    """
    network = load_network(folder)
    require_site(network, site_id)
    content = read_content(folder, file) if content is None else content
    shape, raw = _read_unknown(content, name=file.name)
    if shape.format in (FileFormat.FHIR, FileFormat.DICOM):
        return _built_in(shape.format, n_rows=raw.height)
    sample = raw.drop(ROW_NO).head(ROWS_LOOKED_AT)
    cells = [[cell or "" for cell in column] for column in sample]
    missing, decimal = missing_marks(cells), find_decimal(cells)
    facts = [
        look_at(heading, column, missing=missing, decimal=decimal)
        for heading, column in zip(sample.columns, cells, strict=True)
    ]
    suggestion = suggest(facts, known=_known(network, site_id))
    profile_id, version = _next_version(folder, network, site_id, file)
    text = profile_text(
        suggestion,
        shape=shape,
        decimal=decimal,
        missing=missing,
        profile_id=profile_id,
        version=version,
        title=f"Exports of {site_id or 'several sites'}",
    )
    return SuggestedProfile(text, suggestion, sample.height)


def _built_in(file_format: str, *, n_rows: int) -> SuggestedProfile:
    """Formats whose columns are fixed need no profile of their own."""
    profile = next(one for one in builtin_profiles().values() if one.format == file_format)
    told = f'write profile = "{profile.id}" for the site in network.toml: it comes with the program'
    return SuggestedProfile(f"# {told}\n", Suggestion((), questions=(told,)), n_rows)


def read_content(folder: Path, file: Path) -> bytes:
    """Raises: SourceFileError; WrongUse when it is one of the network's own files."""
    refuse_own_files(NetworkFolder(folder), [file])
    try:
        check_size(file.stat().st_size, name=file.name)
        return file.read_bytes()
    except OSError as problem:
        raise SourceFileError(
            f"the file cannot be opened ({problem.strerror})",
            where=file.name,
            todo="Check its name, and that this program may read it",
            code="INT-012",
        ) from None


def require_site(network: Network, site_id: str | None) -> None:
    if site_id is not None and network.site(site_id) is None:
        known = ", ".join(site.id for site in network.sites[:12])
        raise WrongUse(f"the site '{site_id}' is not in network.toml", expected=f"one of {known}")


def _read_unknown(content: bytes, *, name: str) -> tuple[FileShape, pl.DataFrame]:
    """The file by a profile that maps nothing yet."""
    plain = unpack_gzip(content, name=name, file_format=FileFormat.CSV)
    shape = find_shape(plain)
    if shape.format == FileFormat.CSV and not shape.headings and plain.strip():
        raise ProfileError(
            "no row of headings was found",
            where=name,
            expected="a row without figures, as wide as the rows under it",
            todo="Export the file with headings",
            code="INT-015",
        )
    if shape.format != FileFormat.XLSX:
        return shape, read_file(content, name=name, profile=_blank(shape))
    return _read_workbook(content, shape, name=name)


def _blank(shape: FileShape) -> Profile:
    return Profile(
        id="unknown",
        version=1,
        title="",
        format=shape.format,
        delimiter=shape.delimiter,
        encoding=shape.encoding,
        decimal=".",
        header_row=shape.header_row,
        missing=("",),
        columns=(),
        ignore=shape.headings,
        unknown_columns="drop",
        sheet=shape.sheet,
    )


def _read_workbook(
    content: bytes, shape: FileShape, *, name: str
) -> tuple[FileShape, pl.DataFrame]:
    """Sheet and row of headings of a workbook: those with most words of the trade."""
    sheets = [sheet for sheet, _ in open_book(content, name=name).sheets[:_MOST_SHEETS]]
    best: tuple[int, FileShape, pl.DataFrame] | None = None
    problem: SourceFileError | None = None
    for sheet in sheets:
        top = replace(shape, sheet=sheet if len(sheets) > 1 else "")
        for guess in _headings_of(content, top, name=name):
            try:
                raw = read_file(content, name=name, profile=_blank(guess))
            except SourceFileError as found:
                problem = problem or found
                continue
            n_known = sum(_is_known(heading) for heading in raw.columns)
            if best is None or n_known > best[0]:
                best = (n_known, guess, raw)
    if best is None:
        raise problem or no_rows(name, expected="a sheet with headings and exams below")
    return best[1], best[2]


def _headings_of(content: bytes, top: FileShape, *, name: str) -> list[FileShape]:
    """Rows that may hold the headings: the first, and the likeliest of those under it."""
    try:
        raw = read_file(content, name=name, profile=_blank(top))
    except SourceFileError:
        return [replace(top, header_row=number) for number in _HEADER_ROWS]
    rows = raw.head(len(_HEADER_ROWS)).rows()
    known = [sum(_is_known(cell) for cell in row[1:] if cell) for row in rows]
    if not known or max(known) < _FEWEST_KNOWN:
        return [top]
    likeliest = rows[known.index(max(known))][0]
    return [top, replace(top, header_row=top.header_row + likeliest)]


def _is_known(heading: str) -> bool:
    return any(heading_score(heading, target) > 1 for target in TARGET_BY_NAME)


def _known(network: Network, site_id: str | None) -> KnownCodes:
    sites = [site.id for site in network.sites]
    wanted = sites if site_id is None else [site_id]
    devices = [one for one in network.devices if set(one.sites) & set(wanted)]
    techniques = {technique for device in devices for technique in device.techniques}
    operators = [one for one in network.operators if set(one.sites) & set(wanted)]
    return KnownCodes(
        operators=tuple(dict.fromkeys(one.code for one in operators)),
        devices=tuple(dict.fromkeys(one.code for one in devices)),
        sites=tuple(sites) if site_id is None else (),
        techniques=tuple(sorted(techniques)),
    )


def _next_version(
    folder: Path, network: Network, site_id: str | None, file: Path
) -> tuple[str, int]:
    """The site's own profile in its next version, or a first one.

    A profile that comes with the program serves other sites too: it gets no next version here, the
    proposal takes the site's id.
    """
    site = network.site(site_id) if site_id else None
    profile_id = site.profile if site else file.stem
    if site and profile_id in builtin_profiles():
        profile_id = site.id
    known = load_profiles(folder).get(profile_id)
    return profile_id, known.version + 1 if known else 1
