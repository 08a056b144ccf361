"""What there is to say of a shape of export; the shapes themselves stand in shapes_*.py."""

from dataclasses import dataclass

from qa.model.words import FileFormat

Codes = tuple[str | None, ...]


@dataclass(frozen=True)
class Shape:
    """How a site's files look.

    Args:
        ending: of the files' names.   is_packed: the text is packed by gzip.
        lead_lines: lines above the headings.   sheet: of a workbook, beside others.
        built_in: the product's own profile that reads it; "" for one in profiles/.
        headings: (heading, what stands under it), in order; see columns.py for what there is.
            Formats with coded content have the headings of the product's readers instead.
        codes: written words for each coded column, in the order of the simulation's numbers.
        performed_as: what arrives of performed, ineligible, refused and not done.
        techniques: what the shape can hold.
        missing: what stands for an empty figure.
        date_format: strftime format; "" where the format has days and times of its own.
        is_age_from_birth: the age at the exam is worked out from the birth date.
        limit_share_pct: spread (IQR/median, %) at which an exam is no longer acceptable in the
            unit sent; common practice, no source (30 % in kPa, 15 % in m/s).
        stiffness_steps, attenuation_steps: written steps to one unit (10: one decimal).
        stiffness_limits_kpa, attenuation_limits_db_m: values at which a device stops counting, as
            they come out of the written steps.
        readings: how single measurements stand there: "" (not), "rows" or "columns".
        reading_steps: written steps of a reading to one unit.
        quartile_type: of the IQR, numbered as by Hyndman and Fan 1996; 6 or 7.
        most_valid: a device that takes a fixed group takes no more.
        acquisition_mode: what the shape says of every exam.
        final_status: what it says of the state of every exam.
    """

    id: str
    headings: tuple[tuple[str, str], ...]
    codes: dict[str, Codes]
    format: FileFormat = FileFormat.CSV
    ending: str = "csv"
    is_packed: bool = False
    sheet: str = ""
    delimiter: str = ","
    encoding: str = "utf-8"
    decimal: str = "."
    missing: str = ""
    date_format: str = ""
    performed_as: tuple[str, ...] = ("performed", "ineligible", "refused", "not done")
    techniques: tuple[str, ...] = ("TE", "pSWE", "2D-SWE")
    lead_lines: tuple[str, ...] = ()
    is_age_from_birth: bool = False
    stiffness_unit: str = "kPa"
    stiffness_steps: int = 10
    limit_share_pct: int = 30
    attenuation_unit: str = "dB/m"
    attenuation_steps: int = 1
    stiffness_limits_kpa: tuple[float, float] = (1.5, 75.0)
    attenuation_limits_db_m: tuple[float, float] = (100.0, 400.0)
    readings: str = ""
    reading_steps: int = 10
    quartile_type: int = 7
    most_valid: int = 1000
    acquisition_mode: str | None = None
    final_status: str | None = None
    also_sends: frozenset[str] = frozenset()
    built_in: str = ""

    @property
    def sends(self) -> frozenset[str]:
        """Columns that stand in the files, or follow from what stands there."""
        return frozenset(column for _, column in self.headings) | self.also_sends

    @property
    def profile(self) -> str:
        return self.built_in or self.id

    @property
    def is_one_exam_a_file(self) -> bool:
        return self.format == FileFormat.DICOM
