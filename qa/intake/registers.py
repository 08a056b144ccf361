"""The network's sites, operators and devices as frames that rows are looked up in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from qa.model.definitions import Device, Network, Operator


@dataclass(frozen=True)
class Registers:
    """sites: site_id, time_zone · operators: site_id, operator_word, operator_id ·
    devices: site_id, device_word, device_id, device_techniques (list), and the lowest and highest
    values that the device shows (kPa, dB/m; null where not stated).

    dated_operators, dated_devices: the same for codes that hold on some days only, with from_day
    and to_day (both included; null: no end on that side). No code stands in both.
    """

    sites: pl.DataFrame
    operators: pl.DataFrame
    devices: pl.DataFrame
    dated_operators: pl.DataFrame
    dated_devices: pl.DataFrame

    @property
    def site_ids(self) -> list[str]:
        return self.sites["site_id"].to_list()


def registers_of(network: Network) -> Registers:
    """Pure: the frames follow the order of network.toml."""
    operators = _codes(network.operators, "operator")
    schema: dict[str, Any] = {"device_id": pl.String, "device_techniques": pl.List(pl.String)}
    schema |= dict.fromkeys(_LIMITS, pl.Float64)
    facts = pl.DataFrame(
        [(one.id, list(one.techniques), *_limits(one)) for one in network.devices],
        schema=schema,
        orient="row",
    )
    devices = _codes(network.devices, "device").join(
        facts, on="device_id", how="left", maintain_order="left"
    )
    return Registers(
        pl.DataFrame(
            [(site.id, site.time_zone) for site in network.sites],
            schema={"site_id": pl.String, "time_zone": pl.String},
            orient="row",
        ),
        *(codes.filter(~_IS_DATED).drop("from_day", "to_day") for codes in (operators, devices)),
        *(codes.filter(_IS_DATED) for codes in (operators, devices)),
    )


_LIMITS = (
    "device_stiffness_lowest", "device_stiffness_highest",
    "device_attenuation_lowest", "device_attenuation_highest",
)  # fmt: skip


def _limits(device: Device) -> tuple[float | None, ...]:
    """In the order of _LIMITS; null where network.toml states none."""
    of_both = (device.stiffness_limits_kpa, device.attenuation_limits_db_m)
    return tuple(one for limits in of_both for one in limits or (None, None))


_IS_DATED = pl.col("from_day").is_not_null() | pl.col("to_day").is_not_null()


def _codes(items: Sequence[Operator] | Sequence[Device], kind: str) -> pl.DataFrame:
    return pl.DataFrame(
        [
            (period.site, period.code, item.id, period.from_day, period.to_day)
            for item in items
            for period in item.periods
        ],
        schema={
            "site_id": pl.String,
            f"{kind}_word": pl.String,
            f"{kind}_id": pl.String,
            "from_day": pl.Date,
            "to_day": pl.Date,
        },
        orient="row",
    )
