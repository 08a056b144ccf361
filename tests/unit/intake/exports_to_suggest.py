"""Four invented exports, each in another language, delimiter, encoding and decimal sign."""

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Export:
    """An export and what is to be found in it: target → heading."""

    id: str
    text: str = field(repr=False)
    encoding: str
    delimiter: str
    decimal: str
    header_row: int
    expected: dict[str, str]
    kept_out: tuple[str, ...]
    units: dict[str, str]


def _rows(n: int = 24) -> list[dict[str, str | float | int]]:
    """Invented exams by a fixed seed."""
    rng = np.random.default_rng(20261105)
    rows = []
    for number in range(n):
        valid = 10 + int(rng.integers(0, 3)) * int(number % 3 == 0)
        height, weight = int(rng.integers(150, 190)), round(float(rng.uniform(50, 110)), 1)
        median, share = round(float(rng.uniform(3, 25)), 1), float(rng.uniform(0.05, 0.3))
        rows.append(
            {
                "exam": f"E-{number + 1:03d}",
                "patient": f"90210{71 + number % 19:03d}",
                "name": "Quillfeather " + "ABCDEFG"[number % 7] + "x, Zebulon of the Isle",
                "mail": f"quill@{number}.invalid",
                "day": 13 + number % 15,
                "operator": "ABC"[number % 3],
                "device": ("D1", "D2")[number % 2],
                "probe": number % 3,
                "done": int(number % 9 == 0),
                "tried": valid + int(rng.integers(0, 6)),
                "valid": valid,
                "median": median,
                "iqr": round(median * share, 1),
                "ratio": round(100 * round(median * share, 1) / median),
                "att": int(rng.integers(180, 360)),
                "att_iqr": int(rng.integers(8, 50)),
                "fasted": int(rng.integers(2, 12)),
                "height": height,
                "weight": weight,
                "bmi": round(weight / (height / 100) ** 2, 1),
                "age": int(rng.integers(18, 88)),
                "sex": number % 2,
            }
        )
    return rows


def _export(
    columns: dict[str, str], *, delimiter: str, decimal: str, date: str, words: dict, lead: int = 0
) -> str:
    """columns: heading → what stands under it."""
    lines = ["Invented clinic"] * lead + [delimiter.join(columns)]
    for row in _rows():
        cells = []
        for key in columns.values():
            value = date.format(row["day"]) if key == "date" else row[key]
            if key in words:
                value = words[key][value]
            text = str(value).replace(".", decimal) if isinstance(value, float) else str(value)
            cells.append(f'"{text}"' if delimiter in text else text)
        lines.append(delimiter.join(cells))
    return "\n".join(lines) + "\n"


def _expected(columns: dict[str, str], targets: dict[str, str]) -> dict[str, str]:
    by_key = {key: heading for heading, key in columns.items()}
    return {target: by_key[key] for key, target in targets.items() if key in by_key}


TARGETS = {
    "exam": "exam_id", "patient": "patient_id", "date": "exam_at", "operator": "operator",
    "device": "device", "probe": "probe", "done": "performed", "tried": "n_attempted",
    "valid": "n_valid", "median": "stiffness", "iqr": "stiffness_iqr",
    "ratio": "stated_ratio_pct", "att": "attenuation", "att_iqr": "attenuation_iqr",
    "fasted": "fasting_hours", "height": "height_cm", "weight": "weight_kg", "bmi": "bmi",
    "age": "age_years", "sex": "sex",
}  # fmt: skip
PROBES = ("standard", "large", "paediatric")
IN_KPA = {"stiffness": "kPa", "attenuation": "dB/m"}

_ENGLISH = {
    "Accession number": "exam", "Medical record number": "patient", "Full name": "name",
    "E-mail": "mail", "Exam date": "date", "Examiner": "operator", "Machine": "device",
    "Transducer": "probe", "Performed": "done", "Attempts": "tried", "Valid acquisitions": "valid",
    "LSM median (kPa)": "median", "LSM IQR (kPa)": "iqr", "IQR/median (%)": "ratio",
    "Attenuation median (dB/m)": "att", "Attenuation IQR (dB/m)": "att_iqr",
    "Fasting (h)": "fasted", "Height (cm)": "height", "Weight (kg)": "weight", "BMI": "bmi",
    "Age (years)": "age", "Gender": "sex",
}  # fmt: skip
ENGLISH = Export(
    "English",
    _export(
        _ENGLISH, delimiter=",", decimal=".", date="2026-03-{:02d} 10:30",
        words={"probe": PROBES, "done": ("yes", "declined"), "sex": ("female", "male")},
    ),
    "utf-8", ",", ".", 1, _expected(_ENGLISH, TARGETS), ("Full name", "E-mail"), IN_KPA,
)  # fmt: skip

_GERMAN = {
    "Untersuchungsnummer": "exam", "Patienten-Nr.": "patient", "Name": "name",
    "Untersuchungsdatum": "date", "Untersucher": "operator", "Gerätenummer": "device",
    "Sonde": "probe", "Status": "done", "Versuche": "tried", "Gültige": "valid",
    "Lebersteifigkeit kPa": "median", "IQR Lebersteifigkeit kPa": "iqr", "IQR/Median %": "ratio",
    "Dämpfung dB/m": "att", "IQR Dämpfung dB/m": "att_iqr", "Nüchtern seit (h)": "fasted",
    "Körpergröße": "height", "Körpergewicht": "weight", "BMI": "bmi", "Alter": "age",
    "Geschlecht": "sex",
}  # fmt: skip
GERMAN = Export(
    "German",
    _export(
        _GERMAN, delimiter=";", decimal=",", date="{:02d}.03.2026 10:30", lead=2,
        words={"probe": ("Standard", "gross", "Kind"), "done": ("ja", "abgelehnt"),
               "sex": ("w", "m")},
    ),
    "cp1252", ";", ",", 3, _expected(_GERMAN, TARGETS), ("Name",), IN_KPA,
)  # fmt: skip

_FRENCH = {
    "N° examen": "exam", "Numéro patient": "patient", "Nom et prénom": "name",
    "Date de l'examen": "date", "Opérateur": "operator", "Appareil": "device", "Sonde": "probe",
    "Réalisé": "done", "Tentatives": "tried", "Mesures valides": "valid",
    "Élasticité médiane (kPa)": "median", "IQR élasticité (kPa)": "iqr",
    "IQR/médiane (%)": "ratio", "Atténuation (dB/m)": "att", "IQR atténuation (dB/m)": "att_iqr",
    "À jeun (h)": "fasted", "Taille (cm)": "height", "Poids (kg)": "weight", "IMC": "bmi",
    "Âge": "age", "Sexe": "sex",
}  # fmt: skip
FRENCH = Export(
    "French",
    _export(
        _FRENCH, delimiter="\t", decimal=",", date="{:02d}/03/2026",
        words={"probe": ("standard", "grande", "enfant"), "done": ("oui", "refus"),
               "sex": ("F", "H")},
    ),
    "utf-8", "\t", ",", 1, _expected(_FRENCH, TARGETS), ("Nom et prénom",), IN_KPA,
)  # fmt: skip

_SPANISH = {
    "Número de examen": "exam", "Historia": "patient", "Apellidos": "name",
    "Fecha del examen": "date", "Operador": "operator", "Equipo": "device", "Sonda": "probe",
    "Realizado": "done", "Intentos": "tried", "Mediciones válidas": "valid",
    "Rigidez (kPa)": "median", "RIC rigidez (kPa)": "iqr", "RIC/mediana (%)": "ratio",
    "Atenuación (dB/m)": "att", "RIC atenuación (dB/m)": "att_iqr", "Ayuno (h)": "fasted",
    "Talla (cm)": "height", "Peso (kg)": "weight", "IMC": "bmi", "Edad": "age", "Sexo": "sex",
}  # fmt: skip
SPANISH = Export(
    "Spanish",
    _export(
        _SPANISH, delimiter="|", decimal=".", date="{:02d}-03-2026 10:30:00",
        words={"probe": ("estándar", "grande", "pediátrica"), "done": ("sí", "rechazado"),
               "sex": ("mujer", "hombre")},
    ),
    "utf-8", "|", ".", 1, _expected(_SPANISH, TARGETS), ("Apellidos",), IN_KPA,
)  # fmt: skip
