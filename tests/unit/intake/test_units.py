"""Units against printed and computed values."""

import polars as pl
import pytest

from qa.intake.units import attenuation_in_db_m, is_at_limit, stiffness_in_kpa

# E = 3 rho v^2 at 1000 kg/m3: Barr RG et al., Radiology 2015; 276: 845-861.
SPEED_TO_KPA = [(0.5, 0.75), (1, 3), (1.5, 6.75), (2, 12), (2.5, 18.75), (3, 27), (4, 48)]
# dB/cm/MHz at 3.5 and 3.0 MHz: arithmetic on the unit, linear in frequency.
ATTENUATION = [(0.5, 175, 150), (0.6, 210, 180), (0.7, 245, 210), (0.8, 280, 240), (1, 350, 300)]


def one(expression: pl.Expr) -> object:
    return pl.select(expression).item()


@pytest.mark.parametrize(("speed", "kpa"), SPEED_TO_KPA)
def test_stiffness_in_kpa_from_speed(speed: float, kpa: float):
    assert one(stiffness_in_kpa(pl.lit(float(speed)), pl.lit("m/s"))) == pytest.approx(kpa)


@pytest.mark.parametrize(
    ("value", "unit", "kpa"), [(9.2, "kPa", 9.2), (None, "kPa", None), (9.2, None, None)]
)
def test_stiffness_in_kpa_keeps_kpa_and_nulls(value, unit, kpa):
    expression = stiffness_in_kpa(pl.lit(value, pl.Float64), pl.lit(unit, pl.String))
    assert one(expression) == kpa


@pytest.mark.parametrize(("value", "at_3_5", "at_3_0"), ATTENUATION)
def test_attenuation_in_db_m_needs_the_frequency(value: float, at_3_5: float, at_3_0: float):
    for frequency, expected in ((3.5, at_3_5), (3.0, at_3_0)):
        converted = attenuation_in_db_m(
            pl.lit(float(value)), pl.lit("dB/cm/MHz"), frequency_mhz=frequency
        )
        assert one(converted) == pytest.approx(expected)
    none = attenuation_in_db_m(pl.lit(float(value)), pl.lit("dB/cm/MHz"), frequency_mhz=None)
    assert one(none) is None


@pytest.mark.parametrize("frequency", [None, 3.5])
def test_attenuation_in_db_m_keeps_db_m(frequency: float | None):
    kept = attenuation_in_db_m(pl.lit(220.0), pl.lit("dB/m"), frequency_mhz=frequency)
    assert one(kept) == 220.0


@pytest.mark.parametrize(
    ("value", "expected"),
    [(1.4, True), (1.5, True), (1.6, False), (74.9, False), (75.0, True), (None, False)],
)
def test_is_at_limit_below_on_above(value: float | None, expected: bool):
    nothing = pl.lit(None, pl.Float64)
    assert one(is_at_limit(pl.lit(value, pl.Float64), pl.lit(1.5), pl.lit(75.0))) is expected
    assert one(is_at_limit(pl.lit(value, pl.Float64), nothing, nothing)) is False
