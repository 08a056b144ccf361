"""Names of export files in a form that may be kept: a patient's name or number never is.

A name is kept as far as it is made of plain words of exports, words of the network, months and
dates since 2020; anything else becomes "x", and six digits of a keyed hash of the whole name tell
two such files apart.
"""

import hmac
import re
import unicodedata
from collections.abc import Iterable

HASH_DIGITS = 6
MASK = "x"
_FIRST_YEAR = 2020


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_PLAIN = _words("""
    a above after age all alone alt ambiguous and annual another apart archive att attempted
    attenuation auswertung backlog bad batch below bericht binary birth bit block bomb broken
    bundle but bytes cap cell central changed clinic clinics code column columns comma complete
    contradicting control copia copie copy core corrected correction corregido corretto corrige
    corrigido count created csv dados daily data date datei daten dates dati datos day dec
    decimal declared delimiter delivery demo device devices diagnosticreport dicom differ
    differs done donnees doubled dump duplicate early east ecm elasto elastography empty
    encoding entity eof error esami exam examens exames examination examinations exams export
    exporte exported exports extra false feed few fhir fibro field fields figure file files
    final first for form format formula frequency from full future gegevens good gz gzip half
    head heading headings history hospital hour image impossible in informe inside intake
    invalid iqr item jahr key kind known kopie korrigiert kpa large late later line lines link
    list liste liver locked long lost lsm maand macro many marker meaning measure measured
    measurement measurements median medidas mes mese messung messungen mesure mesures metingen
    missing misure mixed mois monat monate month monthly months nachtrag ndjson negative nested
    network neu new no north not note nr nul null number numbers observation observations of old
    on onderzoeken one only open operator operators order out outside own parquet part partial
    password patient patients per performed person phantom plain point private probe qa quality
    quarantined quartal quarter quote quotes range rapport rapportage rapporto ratio raw re read
    reading readings record reference refused relatorio removed repeat repeated report reports
    required resource rest result resultados resultats results risultati round row rows samples
    second semaine semana sender sent separated settimana several sheet sheets short signed site
    sites skipped small south space speed sr start stated status step stiffness stop suggested
    survey swapped system tab tabelle table technique test text third through time to too top
    total true twice two type unfinished unit units unknown unreadable unsigned untersuchung
    untersuchungen until update updated utf v valid value values version view visit visits wait
    waiting wave week weekly west wide with without woche workbook wrong xml year yearly zip
    zone
""")
_MONTHS = _words("""
    jan feb mar apr jun jul aug sep sept oct nov dec
    january february march april may june july august september october november december
    januar februar maerz marz mai juni juli oktober dezember mrz okt dez
    janvier fevrier mars avril juin juillet aout septembre octobre novembre decembre
    enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre
    gennaio febbraio aprile maggio giugno luglio settembre ottobre dicembre
    janeiro fevereiro marco maio junho julho setembro outubro novembro dezembro
    januari februari maart mei augustus
""")
_ENDINGS = _words("csv tsv txt dat xlsx xlsm xls ods parquet jsonl ndjson json xml dcm gz zip pdf")
_KNOWN = _PLAIN | _MONTHS
_TOKEN = re.compile(r"[^\W_]+")
_YEAR = re.compile(r"20[2-9]\d")
_NUMBERED = re.compile(r"(?:v|q|kw|w|nr|no|part|teil|batch)\d{1,2}")
_DATES = re.compile(
    r"(?<!\d)(?:(20\d\d)([-_. ]?)(0[1-9]|1[0-2])(?:\2(0[1-9]|[12]\d|3[01]))?"
    r"|(0[1-9]|[12]\d|3[01])([-_.])(0[1-9]|1[0-2])\6(20\d\d))(?!\d)"
)


def network_words(names: Iterable[str]) -> frozenset[str]:
    """Words that a file name may hold, out of the network's own ids and names."""
    return frozenset(word for name in names for word in _TOKEN.findall(_plain(name)))


def safe_name(name: str, *, words: frozenset[str], key: bytes) -> str:
    """The form of a file's name that may be shown and stored.

    Args:     name: without its folder.   words: of the network, from network_words.
              key: the pseudonym key.
    Returns:  the name itself where all of it may be kept.
    Example:  "harbour_2026-10.csv" → the same; "Quillfeather, Z 4711 march.csv" →
              "x march-5a0c1e.csv" (the digits depend on the key)
    """
    stem, endings = _split(name)
    kept = _kept_parts(stem, words)
    shown = "".join(kept) + endings
    if shown == name:
        return name
    digits = hmac.digest(key, b"file name:" + name.encode("utf-8", "replace"), "sha256").hex()
    return f"{''.join(kept).strip(' ._-') or MASK}-{digits[:HASH_DIGITS]}{endings}"


def _split(name: str) -> tuple[str, str]:
    """Stem and endings that are those of a format, at most two (".csv.gz")."""
    parts = name.rsplit(".", 2)
    endings = ""
    while len(parts) > 1 and parts[-1].casefold() in _ENDINGS and parts[0]:
        endings = f".{parts.pop()}{endings}"
    return name[: len(name) - len(endings)], endings


def _kept_parts(stem: str, words: frozenset[str]) -> list[str]:
    """The stem with dates and known words as they are, and one "x" for each run of others."""
    parts: list[str] = []
    at = 0
    for found in _DATES.finditer(stem):
        parts += _kept_words(stem[at : found.start()], words)
        year = int(found[1] or found[8])
        is_kept = year >= _FIRST_YEAR or (found[4] is None and found[5] is None)
        parts.append(found[0] if is_kept else MASK)
        at = found.end()
    parts += _kept_words(stem[at:], words)
    return _without_initials(parts)


def _kept_words(text: str, words: frozenset[str]) -> list[str]:
    parts: list[str] = []
    at = 0
    for found in _TOKEN.finditer(text):
        parts.append(_separator(text[at : found.start()]))
        plain = _plain(found[0])
        is_known = plain in _KNOWN or plain in words or _NUMBERED.fullmatch(plain)
        is_known = is_known or _YEAR.fullmatch(plain)
        is_short = len(found[0]) == 1 or (found[0].isascii() and found[0].isdigit())
        parts.append(found[0] if is_known or (is_short and len(found[0]) <= 2) else MASK)
        at = found.end()
    parts.append(_separator(text[at:]))
    return [part for part in parts if part]


def _separator(text: str) -> str:
    return re.sub(r"[^-_. ()]+", "_", text)


def _without_initials(parts: list[str]) -> list[str]:
    """Single letters could be initials and short numbers a date of birth.

    They are kept only in a name in which nothing is masked and too few of them stand.
    """
    letters = [part for part in parts if len(part) == 1 and part.isalpha()]
    numbers = [part for part in parts if part.isdigit() and len(part) <= 2]
    is_masked = MASK in parts
    hidden = {*(letters if len(letters) > 1 or is_masked else ())}
    hidden |= {*(numbers if len(numbers) > 2 or is_masked else ())}
    return _few_masks([MASK if part in hidden else part for part in parts])


def _few_masks(parts: list[str]) -> list[str]:
    """Runs of "x" and what stands between them become one "x"."""
    shown: list[str] = []
    for part in parts:
        if part == MASK and MASK in shown[-2:]:
            while shown[-1] != MASK:
                shown.pop()
            continue
        shown.append(part)
    return shown


def _plain(text: str) -> str:
    """Without case and accents."""
    folded = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in folded if not unicodedata.combining(sign))
