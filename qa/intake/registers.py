"""The network's sites, operators and devices as frames that rows are looked up in."""

from dataclasses import dataclass

import polars as pl

from qa.model.definitions import Network


@dataclass(frozen=True)
class Registers:
    """sites: site_id, time_zone · operators: site_id, operator_word, operator_id ·
    devices: site_id, device_word, device_id, device_techniques (list)."""

    sites: pl.DataFrame
    operators: pl.DataFrame
    devices: pl.DataFrame

    @property
    def site_ids(self) -> list[str]:
        return self.sites["site_id"].to_list()


def registers_of(network: Network) -> Registers:
    """Pure: the frames follow the order of network.toml."""
    return Registers(
        sites=pl.DataFrame(
            [(site.id, site.time_zone) for site in network.sites],
            schema={"site_id": pl.String, "time_zone": pl.String},
            orient="row",
        ),
        operators=pl.DataFrame(
            [(site, one.code, one.id) for one in network.operators for site in one.sites],
            schema={"site_id": pl.String, "operator_word": pl.String, "operator_id": pl.String},
            orient="row",
        ),
        devices=pl.DataFrame(
            [(one.site, one.code, one.id, list(one.techniques)) for one in network.devices],
            schema={
                "site_id": pl.String,
                "device_word": pl.String,
                "device_id": pl.String,
                "device_techniques": pl.List(pl.String),
            },
            orient="row",
        ),
    )
