"""What a workbook's sheets share: their list, the texts that cells point to, the formats."""

from dataclasses import dataclass, field

from qa.model.definitions import Profile
from qa.model.errors import SourceFileError
from qa.readers.bounds import is_damaged
from qa.readers.workbook_parts import Parts, no_workbook, relation_target, relations_of
from qa.readers.workbook_values import CellKind, kind_of_format, unescape

NO_INDEX = 10**9
_MAX_SHEETS = 1_000
_MAX_FORMATS = 100_000


def as_index(text: str) -> int:
    """A number that counts from 0; NO_INDEX for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else NO_INDEX


@dataclass
class Book:
    """Everything but the cells; sheets are pairs of name and part."""

    parts: Parts
    name: str
    n_bytes: int
    is_1904: bool = False
    sheets: list[tuple[str, str]] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    kinds: list[CellKind] = field(default_factory=list)

    def part_of_sheet(self, wanted: str, *, profile: Profile) -> str:
        """Part of the sheet that the profile names, or of the only sheet.

        Raises: SourceFileError INT-027. Names of sheets are not shown: they can be anything.
        """
        found = [part for sheet, part in self.sheets if not wanted or sheet == wanted]
        if len(found) == 1:
            return found[0]
        n_sheets = "one sheet" if len(self.sheets) == 1 else f"{len(self.sheets)} sheets"
        raise SourceFileError(
            f"the workbook has {n_sheets}" + (f", none named '{wanted}'" if wanted else ""),
            where=self.name,
            expected=f"the sheet that profile {profile.full_id} names"
            if wanted
            else f"one sheet, since profile {profile.full_id} does not say which",
            todo='Rename the sheet, or set `sheet = "…"` under [file] in the profile',
            code="INT-027",
        )

    def shared_text(self, index: str) -> str:
        number = as_index(index)
        if number >= len(self.texts):
            raise is_damaged(self.name, "a cell points to a text that is not there")
        return self.texts[number]

    def kind_of_style(self, style: str | None) -> CellKind:
        number = as_index(style or "0")
        return self.kinds[number] if number < len(self.kinds) else CellKind.NUMBER


def open_book(content: bytes, *, name: str) -> Book:
    """Raises: SourceFileError INT-021, INT-023 to INT-028."""
    parts = Parts(content, name=name)
    top = _Relations()
    if not parts.has("_rels/.rels"):
        raise no_workbook(name)
    parts.read("_rels/.rels", top)
    main = next((target for _, kind, target in top.found if kind == "officeDocument"), "")
    main = relation_target("", main) if main else ""
    if not parts.has(main) or not main.endswith(".xml"):
        raise no_workbook(name)
    listed, relations = _SheetList(), _Relations()
    parts.read(main, listed)
    parts.read(relations_of(main), relations)
    if not listed.is_workbook:
        raise no_workbook(name)
    book = Book(parts, name, len(content), is_1904=listed.is_1904)
    for identity, kind, target in relations.found:
        part = relation_target(main, target)
        if kind == "sharedStrings":
            parts.read(part, _Texts(book))
        elif kind == "styles":
            parts.read(part, _Formats(book))
        elif kind == "worksheet" and identity in listed.names:
            book.sheets.append((listed.names[identity], part))
    return book


class _Relations:
    """Identity, last word of the type, and target; what points outside the file is left out."""

    def __init__(self) -> None:
        self.found: list[tuple[str, str, str]] = []

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag != "Relationship" or attributes.get("TargetMode") == "External":
            return
        kind = attributes.get("Type", "").rpartition("/")[2]
        if len(self.found) < _MAX_SHEETS:
            self.found.append((attributes.get("Id", ""), kind, attributes.get("Target", "")))

    def end(self, tag: str) -> None: ...

    def text(self, data: str) -> None: ...


class _SheetList:
    def __init__(self) -> None:
        self.names: dict[str, str] = {}
        self.is_1904 = False
        self.is_workbook = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "workbook":
            self.is_workbook = True
        elif tag == "workbookPr":
            self.is_1904 = attributes.get("date1904") in ("1", "true")
        elif tag == "sheet" and len(self.names) < _MAX_SHEETS:
            identity = next((value for key, value in attributes.items() if key.endswith(":id")), "")
            self.names[identity] = attributes.get("name", "")

    def end(self, tag: str) -> None: ...

    def text(self, data: str) -> None: ...


class _Texts:
    """Texts that cells point to; a text may be cut into runs, and may have a reading aid."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._runs: list[str] = []
        self._is_text, self._is_phonetic = False, False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "si":
            self._runs = []
        elif tag == "t":
            self._is_text = not self._is_phonetic
        elif tag == "rPh":
            self._is_phonetic = True

    def text(self, data: str) -> None:
        if self._is_text:
            self._runs.append(data)

    def end(self, tag: str) -> None:
        if tag == "t":
            self._is_text = False
        elif tag == "rPh":
            self._is_phonetic = False
        elif tag == "si":
            self._book.texts.append(unescape("".join(self._runs)))


class _Formats:
    """Kinds of the cell formats, in the order in which cells number them."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._codes: dict[int, str] = {}
        self._is_cell_format = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "numFmt" and len(self._codes) < _MAX_FORMATS:
            self._codes[self._number(attributes)] = attributes.get("formatCode", "")
        elif tag == "cellXfs":
            self._is_cell_format = True
        elif tag == "xf" and self._is_cell_format and len(self._book.kinds) < _MAX_FORMATS:
            number = self._number(attributes)
            self._book.kinds.append(kind_of_format(number, self._codes.get(number)))

    def end(self, tag: str) -> None:
        if tag == "cellXfs":
            self._is_cell_format = False

    def text(self, data: str) -> None: ...

    def _number(self, attributes: dict[str, str]) -> int:
        return as_index(attributes.get("numFmtId", "0"))
