"""Schema of what happened to devices, as published."""

import polars as pl

from qa.model.schemas import Column, Schema

EQUIPMENT_EVENTS = Schema(
    "equipment_events",
    "One row per event of a device that ends baselines, as the register had it.",
    ("device_id", "entry_no"),
    (
        Column("device_id", pl.String, "Device."),
        Column("entry_no", pl.Int32, "Number of the entry in the device's log."),
        Column("site_id", pl.String, "Where the device stood on that day."),
        Column("probe", pl.String, "Probe concerned; empty for the whole device."),
        Column("event", pl.String, "What happened, in words."),
        Column("event_on", pl.Date, "Day of the event."),
        Column(
            "signed_on",
            pl.Date,
            "Day from which the device is trusted again; null while nobody signed it off.",
            is_nullable=True,
        ),
    ),
)
