"""Good files of every format, and ways to spoil them; for tests/fuzz_readers.py."""

import copy
import gzip
import io
import json
import random
import zipfile
import zlib
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pyarrow as pa

from qa.model.definitions import Profile
from tests.unit.readers import writers as w

MAX_BYTES = 256 * 1024
HEADINGS = ("a", "When", "kPa", "note")
ROWS = [
    ("A-1", "2026-03-05 14:20", "9.2", "x"),
    ("A-2", "2026-03-06 09:05", "12", 'say "é"'),
    ("A-3", "", "75,0", " "),
]
TOKENS = [
    b'"', b"\n", b"\r\n", b"\0", b"\xef\xbb\xbf", b"\xff\xfe", b"\xff" * 8, b"\x80", b"-1",
    b"1e999",
    b"NaN", b"99999999999999999999", b"{", b"}", b"[", b"]", b":", b",", b";", b"\t", b'""',
    b"null",
    b'"\\ud800"', b'"\\u0000"', b"{}" * 50, b"[" * 300, b"<a>", b"</a>", b"<!DOCTYPE a [", b"]>",
    b"&lt;", b"&a;", b'r="XFD1048576"', b't="s"', b"_x0000_", b"entered-in-error", b"final",
    b"Observation", b"resourceType", b"#x", b"urn:uuid:1", b"77615-3", b"PAR1", b"DICM",
    b"\x1f\x8b",
    b"PK\x01\x02", b"PK\x05\x06", b"\xfe\xff\x00\xe0\xff\xff\xff\xff", b"\xff\xff\xff\x7f",
    b"SQ\0\0",
]  # fmt: skip

Seed = tuple[str, Profile, bytes]


def seeds() -> list[Seed]:
    """Label of the reader, profile and a good file."""
    text = w.write_csv(HEADINGS, ROWS)
    plain = b"a;When;kPa;note\n" + b"".join(b"A-%d;2026-03-05;9.2;\n" % n for n in range(40))
    wide = w.profile(encoding="utf-16")
    return [
        ("csv", w.profile(), text),
        ("csv", w.profile(), plain),
        ("csv", w.profile(), gzip.compress(plain)),
        ("csv", wide, plain.decode().encode("utf-16")),
        ("csv", w.profile(encoding="cp1252"), "a;b\né;2\n".encode("cp1252")),
        ("csv", w.profile(delimiter="\t", header_row=3), b"x\ny\na\tb\n1\t2\n"),
        *(("xlsx", w.profile("xlsx", header_row=top), file) for top, file in _workbooks()),
        *(("parquet", w.profile("parquet"), file) for file in _parquets()),
        ("jsonl", w.profile("jsonl"), w.write_jsonl(HEADINGS, ROWS)),
        ("jsonl", w.profile("jsonl", decimal=","), b'{"a":1.50,"b":true}\n{"a":null,"c":"x"}\n'),
        *(("fhir", w.profile("fhir"), file) for file in _fhirs()),
        *(("dicom", w.profile("dicom"), file) for file in _dicoms()),
    ]


def _workbooks() -> list[tuple[int, bytes]]:
    typed = [
        ("A-1", datetime(2026, 3, 5, 14, 20), 9.2, True),
        ("A-2", date(2026, 3, 5), 12, "#N/A"),
    ]
    return [
        (1, w.write_xlsx(HEADINGS, ROWS)),
        (3, w.write_xlsx(HEADINGS, typed, top=3, left=2)),
        (1, w.write_xlsx(HEADINGS, typed * 40)),
    ]


def _parquets() -> list[bytes]:
    typed = pa.table(
        {
            "a": ["A-1", "A-2", None],
            "kPa": [9.2, None, 75.0],
            "n": [1, 2, 3],
            "at": pa.array([datetime(2026, 3, 5)] * 3, pa.timestamp("us", tz="UTC")),
            "on": [date(2026, 3, 5)] * 3,
            "is": [True, None, False],
        }
    )
    kinds = ({"compression": "none"}, {"use_dictionary": False}, {"data_page_version": "2.0"})
    return [w.write_parquet(HEADINGS, ROWS), *(w.parquet_of(typed, **kind) for kind in kinds)]


def _fhirs() -> list[bytes]:
    things = w.PEOPLE_AND_THINGS
    return [
        w.bundle(*things, w.stiffness(), w.attenuation(), w.report("s1", "a1")),
        w.ndjson(*things, w.failed(), w.report("s1", status="amended")),
        w.ndjson(w.stiffness(status="entered-in-error"), w.stiffness("s2")),
        gzip.compress(w.bundle(w.stiffness())),
    ]


def _dicoms() -> list[bytes]:
    spread = (w.number(w.IQR, "1.1", "kPa"), w.number(w.RATIO, "0.12", "1"))
    return [
        w.dicom_report(
            w.median(w.ELASTICITY, "9.2", "kPa", *spread),
            w.number(w.N_VALID, "10", "1"),
            w.coded_value(w.SITE, w.LIVER),
            w.coded_value(w.MODE, w.PSWE),
        ),
        w.dicom_report(w.median(w.SPEED, None, "m/s"), w.median(w.ATTENUATION, "0.6", "dB/m")),
        w.dicom_report(*(w.number(w.ELASTICITY, str(n), "kPa") for n in range(10))),
    ]


def spoil(content: bytes, rng: random.Random) -> bytes:
    """A few random faults; archives and packed texts are opened, spoilt inside and packed again."""
    if content.startswith(b"PK") and rng.random() < 0.7:
        return _spoil_part(content, rng)
    if content.startswith(b"\x1f\x8b") and rng.random() < 0.7:
        try:
            return gzip.compress(_spoil_bytes(gzip.decompress(content), rng), 1)
        except (OSError, EOFError, zlib.error):
            return _spoil_bytes(content, rng)
    if content.lstrip()[:1] == b"{" and rng.random() < 0.7:
        return _spoil_json(content, rng)
    return _spoil_bytes(content, rng)


def _spoil_part(content: bytes, rng: random.Random) -> bytes:
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        parts = {info.filename: archive.read(info) for info in archive.infolist()}
    except (zipfile.BadZipFile, zlib.error, ValueError, OSError, NotImplementedError, RuntimeError):
        return _spoil_bytes(content, rng)
    target = rng.choice(sorted(parts))
    if rng.random() < 0.05:
        del parts[target]
    else:
        parts[target] = _spoil_bytes(parts[target], rng)
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in parts.items():
            packed.writestr(name, data)
    return file.getvalue()


def _spoil_json(content: bytes, rng: random.Random) -> bytes:
    """Change one value of a JSON text that stays JSON."""
    lines = content.split(b"\n") if content.count(b"\n{") else [content]
    at = rng.randrange(len(lines))
    try:
        top = json.loads(lines[at])
    except (ValueError, RecursionError):
        return _spoil_bytes(content, rng)
    places: list[tuple[Any, Any]] = []
    waiting = [top]
    while waiting and len(places) < 10_000:
        node = waiting.pop()
        keys = list(node) if isinstance(node, dict) else range(len(node))
        places += [(node, key) for key in keys]
        waiting += [node[key] for key in keys if isinstance(node[key], (dict, list))]
    if not places:
        return _spoil_bytes(content, rng)
    node, key = rng.choice(places)
    other, other_key = rng.choice(places)
    strange = (None, True, -1, 1e308, 10**40, "", "x" * 5000, [], {}, [[]], "\ud800", "a\0b", "#")
    node[key] = rng.choice((*strange, copy.deepcopy(other[other_key]), [node[key]] * 1000))
    lines[at] = json.dumps(top)[:MAX_BYTES].encode("utf-8", "surrogatepass")
    return b"\n".join(lines)


def _spoil_bytes(content: bytes, rng: random.Random) -> bytes:
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        content = rng.choice(FAULTS)(content, rng)[:MAX_BYTES]
    return content


def _slice(content: bytes, rng: random.Random) -> tuple[int, int]:
    start = rng.randrange(len(content) + 1)
    return start, min(len(content), start + rng.choice((1, 2, 4, 16, 64, 512)))


def _change_byte(content: bytes, rng: random.Random) -> bytes:
    at, _ = _slice(content, rng)
    return content[:at] + bytes([rng.randrange(256)]) + content[at + 1 :]


def _change_number(content: bytes, rng: random.Random) -> bytes:
    at, _ = _slice(content, rng)
    width = rng.choice((1, 2, 4, 8))
    value = rng.choice((0, 1, 2**31 - 1, 2**32 - 1, 2**63 - 1, 255, 65535)) % 256**width
    order = rng.choice(("little", "big"))
    return content[:at] + value.to_bytes(width, order) + content[at + width :]


def _cut(content: bytes, rng: random.Random) -> bytes:
    start, end = _slice(content, rng)
    return content[:start] + content[end:]


def _cut_off(content: bytes, rng: random.Random) -> bytes:
    return content[: rng.randrange(len(content) + 1)]


def _double(content: bytes, rng: random.Random) -> bytes:
    start, end = _slice(content, rng)
    times = rng.choice((2, 2, 3, 10, 100, 1000, 5000))
    return content[:start] + content[start:end] * times + content[end:]


def _move(content: bytes, rng: random.Random) -> bytes:
    start, end = _slice(content, rng)
    at, _ = _slice(content, rng)
    return content[:at] + content[start:end] + content[at:]


def _put_token(content: bytes, rng: random.Random) -> bytes:
    start, end = _slice(content, rng)
    return content[:start] + rng.choice(TOKENS) + content[rng.choice((start, end)) :]


def _put_noise(content: bytes, rng: random.Random) -> bytes:
    at, _ = _slice(content, rng)
    return content[:at] + rng.randbytes(rng.choice((1, 8, 64, 4096))) + content[at:]


FAULTS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _change_byte, _change_byte, _change_number, _cut, _cut_off, _double, _move, _put_token,
    _put_token, _put_noise,
)  # fmt: skip
