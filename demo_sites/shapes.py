"""The shapes of export that the invented sites send: one row defines a shape.

Headings and codes stand twice on purpose, here for writing and in profiles/*.toml for reading;
a test holds them together.
"""

from dataclasses import dataclass

Codes = tuple[str, ...]


@dataclass(frozen=True)
class Shape:
    """How a site's files look.

    Args:
        lead_lines: lines above the headings.
        headings: (heading, what stands under it), in order; see exports.py for what there is.
        codes: written words for each coded column, in the order of the simulation's numbers.
        techniques: what the shape can hold.
        missing: what stands for an empty figure.
        date_format, time_format: strftime formats.
        limit_share_pct: spread (IQR/median, %) at which an exam is no longer acceptable in the
            unit sent; common practice, no source (30 % in kPa, 15 % in m/s).
        stiffness_steps, attenuation_steps: written steps to one unit (10: one decimal).
        stiffness_limits_kpa, attenuation_limits_db_m: values at which a device stops counting, as
            they come out of the written steps.
    """

    id: str
    delimiter: str
    encoding: str
    decimal: str
    missing: str
    date_format: str
    headings: tuple[tuple[str, str], ...]
    codes: dict[str, Codes]
    techniques: tuple[str, ...] = ("TE", "pSWE", "2D-SWE")
    lead_lines: tuple[str, ...] = ()
    stiffness_unit: str = "kPa"
    stiffness_steps: int = 10
    limit_share_pct: int = 30
    attenuation_unit: str = "dB/m"
    attenuation_steps: int = 1
    stiffness_limits_kpa: tuple[float, float] = (1.5, 75.0)
    attenuation_limits_db_m: tuple[float, float] = (100.0, 400.0)

    @property
    def sends(self) -> set[str]:
        return {column for _, column in self.headings}


HARBOUR = Shape(
    id="harbour",
    delimiter=",",
    encoding="utf-8",
    decimal=".",
    missing="",
    date_format="%Y-%m-%d %H:%M",
    headings=(
        ("Exam no", "exam_no"),
        ("Patient no", "patient_no"),
        ("Patient name", "name"),
        ("Born on", "born_on"),
        ("Seen at", "exam_at"),
        ("Seen by", "operator_code"),
        ("Scanner", "device_code"),
        ("Method", "technique"),
        ("Probe", "probe"),
        ("Carried out", "performed"),
        ("Why not", "not_performed_reason"),
        ("Kind of visit", "order_type"),
        ("Shots", "n_attempted"),
        ("Good shots", "n_valid"),
        ("Stiffness kPa", "stiffness_value"),
        ("Stiffness IQR kPa", "stiffness_iqr"),
        ("IQR to median %", "stated_ratio_pct"),
        ("Attenuation dB/m", "attenuation_value"),
        ("Attenuation IQR dB/m", "attenuation_iqr"),
        ("Fasted h", "fasting_hours"),
        ("Rested min", "rest_minutes"),
        ("Body-mass index", "bmi"),
        ("Age", "age_years"),
        ("Sex", "sex"),
        ("Cause", "indication"),
        ("Duration s", "duration_s"),
        ("Notes", "comment"),
    ),
    codes={
        "technique": ("TE", "pSWE", "2D-SWE"),
        "probe": ("standard", "large", "child"),
        "performed": ("yes", "no: not eligible", "no: declined", "no: other"),
        "order_type": ("first", "planned", "called back", "second look"),
        "sex": ("F", "M"),
        "indication": ("fatty liver", "virus", "alcohol", "other"),
        "not_performed_reason": ("implant", "fluid in belly", "did not want", "no time"),
    },
)

LANTERN = Shape(
    id="lantern",
    delimiter=";",
    encoding="cp1252",
    decimal=",",
    missing="k. A.",
    date_format="%d.%m.%Y %H:%M",
    headings=(
        ("Nachname", "family_name"),
        ("Vorname", "given_name"),
        ("Geburtsdatum", "born_on"),
        ("Patientennummer", "patient_no"),
        ("Untersuchung", "exam_no"),
        ("Zeitpunkt", "exam_at"),
        ("Prüfer", "operator_code"),
        ("Gerät", "device_code"),
        ("Verfahren", "technique"),
        ("Schallkopf", "probe"),
        ("Durchgeführt", "performed"),
        ("Grund", "not_performed_reason"),
        ("Anlass", "order_type"),
        ("Alle Messungen", "n_attempted"),
        ("Gültige Messungen", "n_valid"),
        ("Steifigkeit (kPa)", "stiffness_value"),
        ("Streuung Steifigkeit (kPa)", "stiffness_iqr"),
        ("Streuung/Median (%)", "stated_ratio_pct"),
        ("Dämpfung (dB/m)", "attenuation_value"),
        ("Streuung Dämpfung (dB/m)", "attenuation_iqr"),
        ("Nüchtern (h)", "fasting_hours"),
        ("Lagerung", "position"),
        ("BMI", "bmi"),
        ("Alter", "age_years"),
        ("Geschlecht", "sex"),
        ("Ursache", "indication"),
        ("Bemerkung", "comment"),
    ),
    codes={
        "technique": ("1", "2", "3"),
        "probe": ("1", "2", "3"),
        "performed": ("ja", "nein A", "nein B", "nein C"),
        "order_type": ("E", "K", "W", "B"),
        "sex": ("w", "m"),
        "indication": ("F", "V", "A", "S"),
        "position": ("nein", "ja"),
        "not_performed_reason": ("Implantat", "Bauchwasser", "abgelehnt", "keine Zeit"),
    },
)

TIDEWAY = Shape(
    id="tideway",
    delimiter="\t",
    encoding="utf-8-sig",
    decimal=".",
    missing="-",
    date_format="%d/%m/%Y",
    headings=(
        ("Examen", "exam_no"),
        ("Dossier", "patient_no"),
        ("Nom", "name"),
        ("Né(e) le", "born_on"),
        ("Jour", "exam_date"),
        ("Heure", "exam_time"),
        ("Opérateur", "operator_code"),
        ("Appareil", "device_code"),
        ("Méthode", "technique"),
        ("Sonde", "probe"),
        ("Réalisé", "performed"),
        ("Motif de refus", "not_performed_reason"),
        ("Visite", "order_type"),
        ("Tirs", "n_attempted"),
        ("Tirs valides", "n_valid"),
        ("Vitesse (m/s)", "stiffness_value"),
        ("IQR vitesse (m/s)", "stiffness_iqr"),
        ("Atténuation (dB/cm/MHz)", "attenuation_value"),
        ("IQR atténuation (dB/cm/MHz)", "attenuation_iqr"),
        ("Jeûne (h)", "fasting_hours"),
        ("Repos (min)", "rest_minutes"),
        ("Taille (cm)", "height_cm"),
        ("Poids (kg)", "weight_kg"),
        ("Âge", "age_years"),
        ("Sexe", "sex"),
        ("Cause", "indication"),
        ("Remarques", "comment"),
    ),
    codes={
        "technique": ("élastographie impulsionnelle", "point", "image"),
        "probe": ("A", "B", "C"),
        "performed": ("1", "2", "3", "4"),
        "order_type": ("première", "suivi", "rappel", "contrôle"),
        "sex": ("2", "1"),
        "indication": ("stéatose", "virale", "alcool", "autre"),
        "not_performed_reason": ("implant", "ascite", "refus", "annulé"),
    },
    stiffness_unit="m/s",
    stiffness_steps=100,
    limit_share_pct=15,
    attenuation_unit="dB/cm/MHz",
    attenuation_steps=1000,
    attenuation_limits_db_m=(100.5, 399.5),
)

CAUSEWAY = Shape(
    id="causeway",
    delimiter="|",
    encoding="iso-8859-1",
    decimal=".",
    missing="NULL",
    date_format="%Y/%m/%d %H:%M:%S",
    lead_lines=("Invented clinic, monthly list of examinations", "All people in it are invented"),
    headings=(
        ("RECORD", "exam_no"),
        ("PERSON", "patient_no"),
        ("SURNAME", "family_name"),
        ("FORENAME", "given_name"),
        ("BIRTH DATE", "born_on"),
        ("STARTED", "exam_at"),
        ("EXAMINER", "operator_code"),
        ("MACHINE", "device_code"),
        ("HEAD", "probe"),
        ("STATUS", "performed"),
        ("STATUS REASON", "not_performed_reason"),
        ("ORDER", "order_type"),
        ("TRIES", "n_attempted"),
        ("VALID", "n_valid"),
        ("E MEDIAN", "stiffness_value"),
        ("E IQR", "stiffness_iqr"),
        ("ATT MEDIAN", "attenuation_value"),
        ("ATT IQR", "attenuation_iqr"),
        ("FASTED", "fasting"),
        ("BMI", "bmi"),
        ("AGE", "age_years"),
        ("SEX", "sex"),
        ("GROUP", "indication"),
        ("SECONDS", "duration_s"),
        ("REMARK", "comment"),
    ),
    codes={
        "probe": ("STD", "LRG", "PED"),
        "performed": ("DONE", "EXCLUDED", "REFUSED", "CANCELLED"),
        "order_type": ("NEW", "FU", "RECALL", "CONFIRM"),
        "sex": ("FEMALE", "MALE"),
        "indication": ("10", "20", "30", "90"),
        "fasting": ("N", "Y"),
        "not_performed_reason": ("R1", "R2", "R5", "R9"),
    },
    techniques=("TE",),
)

SHAPES: tuple[Shape, ...] = (HARBOUR, LANTERN, TIDEWAY, CAUSEWAY)


def shape_by_id(shape_id: str) -> Shape:
    return next(shape for shape in SHAPES if shape.id == shape_id)
