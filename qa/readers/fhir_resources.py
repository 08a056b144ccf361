"""FHIR JSON → resources with strict access: a wrong shape is refused with its path, not guessed at.

HL7 FHIR R4: Bundle, NDJSON, references (absolute, relative, urn:uuid, contained), identifiers.
Messages name resource and element, never a value.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from qa.model.errors import SourceFileError
from qa.readers.bounds import MIB, too_many
from qa.readers.fhir_codes import IDENTIFIER_TYPES
from qa.readers.json_text import Number, decode_utf8, json_lines, parse_json

MAX_BUNDLE_BYTES = 32 * MIB
"""A Bundle stands in memory as a whole; what is larger comes as NDJSON."""

_MAX_RESOURCES = 2_000_000


@dataclass(frozen=True)
class Node:
    """A JSON object of a resource, with the place where it stands."""

    fields: dict[str, Any]
    where: str
    path: str

    def text(self, key: str) -> str:
        value = self.fields.get(key)
        if value is None:
            return ""
        if isinstance(value, Number) or not isinstance(value, str):
            raise self.wrong(key, "a text")
        return value

    def number(self, key: str) -> str:
        value = self.fields.get(key)
        if value is None:
            return ""
        if not isinstance(value, Number):
            raise self.wrong(key, "a number")
        return str(value)

    def node(self, key: str) -> "Node":
        value = self.fields.get(key, {})
        if not isinstance(value, dict):
            raise self.wrong(key, "an object")
        return Node(value, self.where, f"{self.path}.{key}")

    def nodes(self, key: str) -> list["Node"]:
        value = self.fields.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.wrong(key, "a list of objects")
        return [Node(item, self.where, f"{self.path}.{key}") for item in value]

    def wrong(self, key: str, expected: str) -> SourceFileError:
        return SourceFileError(
            f"{self.path}.{key} {'has a wrong value' if key in self.fields else 'is missing'}",
            where=self.where,
            expected=f"{expected}, as HL7 FHIR R4 defines it",
            todo="Mend the export; a FHIR validator shows the place",
            code="INT-032",
        )

    @property
    def codes(self) -> set[tuple[str, str]]:
        """System and code of each coding of a CodeableConcept."""
        return {(one.text("system"), one.text("code")) for one in self.nodes("coding")}


def read_resources(content: bytes, *, name: str) -> Iterator[tuple[Node, str]]:
    """Each resource with its fullUrl ("" in NDJSON).

    Raises: SourceFileError INT-001, INT-004, INT-020 (a Bundle too large), INT-023, INT-030 to
            INT-032.
    """
    found = _lines(content, name=name) if _is_ndjson(content) else _document(content, name=name)
    for number, (resource, url) in enumerate(found):
        if number >= _MAX_RESOURCES:
            raise too_many("resources", number + 1, _MAX_RESOURCES, where=name)
        yield resource, url


def _is_ndjson(content: bytes) -> bool:
    """Each line is an object of its own: the first line ends as it begins, and others follow."""
    lines = content.strip().split(b"\n", 1)
    first = lines[0].rstrip()
    return len(lines) == 2 and first.endswith(b"}") and lines[1].lstrip().startswith(b"{")


def _lines(content: bytes, *, name: str) -> Iterator[tuple[Node, str]]:
    for number, value in json_lines(content, name=name):
        yield from _unwrap(value, where=f"{name}, line {number}")


def _document(content: bytes, *, name: str) -> Iterator[tuple[Node, str]]:
    if len(content) > MAX_BUNDLE_BYTES:
        raise SourceFileError(
            f"the Bundle has {len(content):,} bytes",
            where=name,
            expected=f"at most {MAX_BUNDLE_BYTES:,} bytes in one Bundle",
            todo="Export it as NDJSON, one resource a line, or by month",
            code="INT-020",
        )
    yield from _unwrap(parse_json(decode_utf8(content, name=name), where=name), where=name)


def _unwrap(value: Any, *, where: str) -> Iterator[tuple[Node, str]]:
    top = _resource(value, where=where)
    if top.path != "Bundle":
        yield top, ""
        return
    for number, entry in enumerate(top.nodes("entry"), start=1):
        if entry.node("request").text("method") == "DELETE":
            raise entry.wrong("request", "an entry that is no deletion; retract by status")
        if "resource" in entry.fields:
            resource = _resource(entry.fields["resource"], where=f"{where}, entry {number}")
            yield resource, entry.text("fullUrl")


def _resource(value: Any, *, where: str) -> Node:
    kind = value.get("resourceType") if isinstance(value, dict) else None
    if not isinstance(kind, str) or not kind.isalpha() or len(kind) > 64:
        raise Node({}, where, "resource").wrong("resourceType", "the name of a resource")
    return Node(value, where, kind)


class Resources:
    """Resources of the kinds that exams need, found by what refers to them."""

    def __init__(self) -> None:
        self._by_key: dict[str, Node] = {}

    def add(self, resource: Node, url: str) -> None:
        """Keep one; of two versions in one file the later counts.

        Raises: SourceFileError INT-032 (no id) and INT-036 (stands twice and differs).
        """
        identity = resource.text("id")
        if not identity and not url:
            raise resource.wrong("id", "an id or a fullUrl")
        keys = [key for key in (url, f"{resource.path}/{identity}" if identity else "") if key]
        known = next((self._by_key[key] for key in keys if key in self._by_key), None)
        newer = resource if known is None else _later(known, resource)
        for key in keys:
            self._by_key[key] = newer

    def all(self) -> list[Node]:
        return list({id(resource.fields): resource for resource in self._by_key.values()}.values())

    def find(self, reference: Node, *, owner: Node) -> Node | None:
        """The resource that a reference means; None when it is not in the file."""
        target = reference.text("reference")
        if target.startswith("#"):
            inside = owner.nodes("contained")
            found = next((one for one in inside if one.text("id") == target[1:]), None)
            return found and Node(found.fields, found.where, found.text("resourceType"))
        return self._by_key.get(target) or self._by_key.get(plain_reference(target))


def _later(one: Node, other: Node) -> Node:
    if one.fields == other.fields:
        return one
    versions = [node.node("meta").text("versionId") for node in (one, other)]
    if all(v.isascii() and v.isdigit() and len(v) < 10 for v in versions):
        first, second = (int(version) for version in versions)
        if first != second:
            return one if first > second else other
    raise SourceFileError(
        f"the same {one.path} stands twice and differs",
        where=other.where,
        expected="each resource once, or with meta.versionId as a number",
        todo="Export the current versions only",
        code="INT-036",
    )


def plain_reference(target: str) -> str:
    """Example: "https://host/fhir/Patient/p1/_history/2" → "Patient/p1" """
    parts = target.partition("/_history/")[0].split("/")
    return "/".join(parts[-2:])


def identifier_of(identifiers: Iterable[Node], *, wanted_type: str) -> str:
    """Value of the identifier of a type, or of the only one; "" where it cannot be told."""
    listed = [one for one in identifiers if one.text("value")]
    typed = [
        one for one in listed if (IDENTIFIER_TYPES, wanted_type) in one.node("type").codes
    ]  # fmt: skip
    chosen = {one.text("value") for one in typed or listed}
    return chosen.pop() if len(chosen) == 1 else ""
