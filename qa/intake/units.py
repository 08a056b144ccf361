"""Units: what was measured stays as it was; a common unit stands beside it.

Stiffness from speed: E = 3 ρ v² with ρ = 1000 kg/m³, so kPa = 3 × (m/s)². Only the median is
converted. An IQR is never converted by the squared formula: the ends of an interval are not its
width. Attenuation is linear: dB/m = 100 × MHz × dB/cm/MHz, and needs the frequency.

Source: Barr et al., Radiology 2015; 276: 845-861 (E = 3 ρ v² for an incompressible, isotropic,
linear elastic solid); attenuation taken as linear in frequency, as its unit says.
"""

import polars as pl

from qa.model.words import AttenuationUnit, StiffnessUnit

CM_PER_M = 100.0


def stiffness_in_kpa(value: pl.Expr, unit: pl.Expr) -> pl.Expr:
    """Median in kPa; null where the value or its unit is null.

    Example: 2.0 m/s → 12.0 kPa; 9.2 kPa → 9.2 kPa
    """
    return (
        pl.when(unit == StiffnessUnit.KPA.value)
        .then(value)
        .when(unit == StiffnessUnit.M_S.value)
        .then(3.0 * value * value)
    )


def attenuation_in_db_m(value: pl.Expr, unit: pl.Expr, *, frequency_mhz: float | None) -> pl.Expr:
    """Median or IQR in dB/m; null for dB/cm/MHz without a frequency.

    Example: 0.63 dB/cm/MHz at 3.5 MHz → 220.5 dB/m; 220 dB/m → 220 dB/m
    """
    as_measured = pl.when(unit == AttenuationUnit.DB_M.value).then(value)
    if frequency_mhz is None:
        return as_measured.otherwise(None)
    return as_measured.when(unit == AttenuationUnit.DB_CM_MHZ.value).then(
        value * (CM_PER_M * frequency_mhz)
    )


def is_at_limit(value: pl.Expr, low: pl.Expr, high: pl.Expr) -> pl.Expr:
    """True where a device could not go further, so that the true value may lie beyond.

    low, high: null where no limit is known.
    """
    is_low, is_high = value <= low, value >= high
    return is_low.fill_null(value=False) | is_high.fill_null(value=False)
