"""The trade's words as they stand in headings, in English, German, French and Spanish.

Each phrase is a set of beginnings of words without accents, in small letters; "=" in front asks
for the whole word. A heading speaks for a target when all words of one of its phrases stand in
it. General words only; nothing here comes from one export.
"""

IQR = ("=iqr", "interquart", "=eia", "=iqa", "streuung", "=ric", "dispersion", "=spread")
STIFFNESS = (
    "stiff", "=lsm", "elastic", "elastiz", "steif", "rigid", "durete", "=vitesse", "=velocidad",
    "=speed", "geschwindigkeit", "=swv", "=modulus", "=e",
)  # fmt: skip
ATTENUATION = ("atten", "dampf", "=att", "atenua")
_VALID = ("valid", "gultig", "=good", "success", "erfolg", "reussi", "=ok", "exitos", "=val")
_SHOTS = (
    "=shots", "=shot", "measurement", "messung", "mesure", "medicion", "=tirs", "=tir",
    "disparo", "acquisition", "aufnahme", "=n", "=no", "=nb", "=num", "count", "anzahl", "nombre",
)  # fmt: skip


def _pairs(first: tuple[str, ...], second: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    return tuple((one, two) for one in first for two in second)


def _each(*words: str) -> tuple[tuple[str, ...], ...]:
    return tuple((word,) for word in words)


PHRASES: dict[str, tuple[tuple[str, ...], ...]] = {
    "exam_id": (
        *_pairs(
            ("exam", "untersuch", "study", "studie", "etude", "estudio", "accession", "order"),
            ("=no", "=nr", "number", "nummer", "=id", "numero", "=num", "=n"),
        ),
        *_each("=study", "=studie", "=etude", "=estudio", "accession", "untersuchung",
               "examen", "record", "=examid", "=exam"),
    ),
    "patient_id": (
        *_pairs(
            ("patient", "person", "=pat", "paciente", "medical", "hospital", "=dossier"),
            ("=no", "=nr", "number", "nummer", "=id", "numero", "=num", "record"),
        ),
        *_each("=mrn", "patientennummer", "=patient", "=person", "=dossier", "historia", "=pid",
               "=patid", "=expediente", "participant", "=subject",
               "=sujet", "proband"),
    ),
    "site": _each("=site", "clinic", "klinik", "standort", "=centre", "=center", "centro",
                  "hospital", "=sede"),
    "operator": (
        *_each("operator", "operateur", "operador", "examiner", "examinat", "untersucher", "prufer",
               "technician", "technicien", "tecnico", "sonographer", "=tech", "=nurse"),
        *_pairs(("=seen", "=done", "performed", "examined", "scanned"), ("=by",)),
    ),
    "device": _each("device", "machine", "scanner", "gerat", "appareil", "equipo", "dispositivo",
                    "aparato", "serial", "=system", "=unit"),
    "technique": _each("technique", "method", "methode", "verfahren", "modalit", "tecnica",
                       "metodo", "technik"),
    "probe": _each("probe", "sonde", "sonda", "schallkopf", "transducer", "=head", "transduktor"),
    "performed": (
        *_each("performed", "durchgefuhrt", "realise", "realizado", "=status", "=done", "estado",
               "=state", "=outcome", "=etat"),
        *_pairs(("carried",), ("=out",)),
    ),
    "not_performed_reason": (
        *_each("reason", "=grund", "motif", "motivo", "razon"),
        *_pairs(("=why",), ("=not",)),
        *_pairs(("reason", "=grund", "motif", "motivo"), ("=not", "=status", "=state", "nicht")),
    ),
    "order_type": (
        *_each("=order", "=visit", "visite", "visita", "anlass", "=referral", "=purpose",
               "=auftrag", "=request"),
        *_pairs(("kind", "type", "art", "tipo"), ("visit", "order", "exam")),
    ),
    "n_attempted": (
        *_each("attempt", "=tries", "versuch", "=essais", "intento", "tentativ"),
        *_pairs(("=all", "=alle", "total", "gesamt", "=tous", "todas"), _SHOTS),
        *_each("=shots", "=tirs", "disparos"),
    ),
    "n_valid": (*_pairs(_VALID, _SHOTS), *_each("=valid", "=valides", "=validas", "gultig")),
    "stiffness": (
        *_each(*STIFFNESS[:-1]),
        *_pairs(STIFFNESS, ("median", "mediane", "mediana", "=med")),
    ),
    "stiffness_iqr": _pairs(IQR, STIFFNESS),
    "stiffness_unit": _pairs(STIFFNESS[:-1], ("=unit", "einheit", "unite", "unidad")),
    "stated_ratio_pct": (
        *_pairs(IQR, ("median", "=med", "=m", "mediana")),
        *_pairs(("ratio", "=rapport", "verhaltnis", "cociente"), IQR),
    ),
    "attenuation": (
        *_each(*ATTENUATION),
        *_pairs(ATTENUATION, ("median", "mediane", "mediana", "=med")),
    ),
    "attenuation_iqr": _pairs(IQR, ATTENUATION),
    "attenuation_unit": _pairs(ATTENUATION, ("=unit", "einheit", "unite", "unidad")),
    "fasting_hours": _each("fast", "nuchtern", "jeun", "ayun"),
    "fasting_kept": _each("fast", "nuchtern", "jeun", "ayun"),
    "rest_minutes": _each("=rest", "rested", "resting", "ruhe", "repos", "reposo"),
    "position_kept": _each("position", "lagerung", "posicion", "posture"),
    "bmi": (*_each("=bmi", "=imc"), ("body", "mass")),
    "height_cm": _each("height", "grosse", "=taille", "talla", "estatura", "korpergrosse"),
    "weight_kg": _each("weight", "gewicht", "poids", "=peso", "korpergewicht"),
    "age_years": _each("=age", "alter", "=edad"),
    "birth_date": (
        *_each("birth", "geburt", "=dob", "naissance", "nacimiento", "=born", "=nee", "=ne"),
    ),
    "sex": _each("=sex", "gender", "geschlecht", "=sexe", "=genre", "=sexo", "genero"),
    "indication": _each("indication", "indikation", "=cause", "ursache", "etiolog", "atiolog",
                        "indicacion", "=causa", "aetiolog", "=group"),
    "duration_s": _each("duration", "dauer", "duree", "duracion", "=seconds", "sekunden"),
    "acquisition_mode": (("acquisition", "mode"), ("=mode",), ("aufnahme", "modus")),
    "pressure_in_range_pct": _each("pressure", "druck", "pression", "presion"),
    "motion_in_range_pct": _each("motion", "bewegung", "mouvement", "movimiento"),
    "quality_index_pct": (("quality",), ("qualitat",), ("qualite",), ("calidad",), ("stability",)),
    "roi_depth_mm": (("roi", "depth"), ("=depth",), ("tiefe",), ("profond",), ("profund",)),
    "skin_to_capsule_mm": (("skin", "capsule"), ("=scd",), ("haut", "kapsel"), ("peau", "capsule"),
                           ("piel", "capsula")),
    "source_status": _pairs(("=status",), ("source", "report", "record", "message")),
    "retracted": _each("withdraw", "=retracted", "storniert", "zuruckgezogen", "retire", "anulad"),
    "exam_at": (
        *_pairs(
            ("exam", "untersuch", "study", "acquisition", "measure", "scan", "examen"),
            ("date", "=time", "datum", "fecha", "zeit", "=at", "=on"),
        ),
        *_each("datetime", "zeitpunkt", "=started", "timestamp", "=date", "datum", "=fecha",
               "=jour"),
        *_pairs(("=seen", "=done", "performed", "started"), ("=at", "=on")),
    ),
    "exam_time": _each("=time", "=heure", "=hora", "uhrzeit", "=zeit"),
}  # fmt: skip
"""Target → phrases. exam_time only where a day stands in a column of its own."""

IDENTIFYING: tuple[tuple[str, ...], ...] = (
    *_each("name", "surname", "forename", "nachname", "vorname", "=nom", "prenom", "nombre",
           "apellido", "address", "adresse", "anschrift", "direccion", "street", "strasse", "phone",
           "telefon", "telephone", "=tel", "mobile", "email", "=mail", "postcode", "=zip", "=plz",
           "insur", "versicher", "assurance", "seguro", "passport", "ausweis", "social", "=ssn",
           "=dni", "=nhs", "city", "=ort", "wohnort", "ville", "ciudad"),
    *_each("note", "notes", "comment", "kommentar", "bemerkung", "commentaire", "remark",
           "remarque", "comentario", "observacion", "report", "befund", "compte", "history",
           "anamnese", "free", "freitext", "text"),
)  # fmt: skip
"""Headings under which people, places or free text stand: never let in."""

READING: tuple[tuple[str, ...], ...] = _each(
    "reading",
    "single",
    "einzel",
    "messwert",
    "lecture",
    "lectura",
    "=measurement",
    "=mesure",
    "=medicion",
    "=messung",
    "=value",
    "=wert",
    *STIFFNESS,
)
"""Headings under which one reading of several stands."""

FRAGMENTS: dict[str, tuple[str, ...]] = {
    "age_years": ("age",),
    "sex": ("gend", "sex"),
    "bmi": ("bmi",),
    "operator": ("tech", "oper"),
    "device": ("devic",),
    "probe": ("probe",),
    "exam_at": ("date",),
    "stiffness_iqr": ("iqr",),
    "attenuation_iqr": ("iqr",),
    "stiffness": ("lsm", "stiff"),
    "attenuation": ("atten",),
}
"""Pieces of words in headings that are written without gaps; a weak sign, never enough alone."""

UNIT_WORDS = ("minutes", "seconds", "minuten", "sekunden", "stunden", "heures", "minutos",
              "horas", "hour", "kpa", "m", "s", "db", "cm", "mhz", "mm", "kg", "h", "min", "sec",
              "hours", "hrs",
              "std", "years", "y", "yr", "pct", "percent", "m2", "jahre", "ans",
              "anos")  # fmt: skip
FILL_WORDS = ("the", "of", "in", "der", "die", "das", "de", "la", "le", "du", "des", "el", "los",
              "value", "wert", "valeur", "valor", "median", "mediane", "mediana", "to", "e",
              "liver", "leber", "foie", "higado", "hepatic", "body", "index", "at", "on", "last",
              "since", "seit", "depuis", "desde", "a", "l", "d", "o", "type", "kind", "code", "was",
              "is", "range", "rate")  # fmt: skip
"""Words that say nothing against a match."""
