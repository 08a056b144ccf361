"""Make an invented network: its folder, its sites' files, and the truth about what was planted."""

from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

from demo_sites.exports import write_exports
from demo_sites.network_file import network_text
from demo_sites.pairs import pair_exams
from demo_sites.places import place_exams
from demo_sites.plan import plan_registers
from demo_sites.planted import plan_events
from demo_sites.records import write_down
from demo_sites.scenario import Scenario
from demo_sites.scenario_reader import read_scenario
from demo_sites.sendings import number_records, send
from demo_sites.shapes import shape_by_id
from demo_sites.truth import write_truth
from demo_sites.visits import simulate_exams
from qa.model.progress import Progress, show_nothing

_PROFILES = Path(__file__).with_name("profiles")
_STEPS = 5


def make_demo(
    folder: Path, *, scenario: Path | None = None, progress: Progress = show_nothing
) -> None:
    """Write network.toml, profiles/, incoming/<site>/<site>_YYYY-MM.*, truth.json and
    truth_exams.parquet into a folder.

    Args:
        folder: made if it is not there.
        scenario: a scenario file; None: the one that comes with the program.
        progress: told after each step.
    Raises: ScenarioError when the scenario is wrong.
    Note: the same scenario gives the same bytes; nothing here reads a clock.
    """
    plan = read_scenario(scenario)
    rng, side_rng = np.random.default_rng(plan.seed), np.random.default_rng([plan.seed, 1])
    registers = plan_registers(plan, rng)
    events = plan_events(plan, registers)
    progress(1, _STEPS, "exams are invented")
    exams, patients = simulate_exams(plan, registers, events, rng)
    progress(2, _STEPS, "exams are written down")
    exams |= place_exams(side_rng, exams, scenario=plan, registers=registers)
    exams["is_second"] = np.zeros(len(exams["day"]), dtype=bool)
    write = partial(write_down, scenario=plan, registers=registers, events=events)
    pair_rng = np.random.default_rng([plan.seed, 2])
    second = pair_exams(pair_rng, exams, scenario=plan, registers=registers, events=events)
    records = write(rng, exams, side_rng=side_rng)
    if len(second["day"]):
        records = _together(plan, records, write(pair_rng, second, side_rng=pair_rng))
    records, sendings, copies = send(number_records(records, events, plan), plan, side_rng)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "network.toml").write_text(
        network_text(plan, registers), encoding="utf-8", newline="\n"
    )
    _copy_profiles(folder, plan)
    progress(3, _STEPS, "sites send their files")
    files = write_exports(folder, sendings, patients, copies=copies, rng=rng)
    progress(4, _STEPS, "the truth is noted")
    write_truth(folder, records, events=events, scenario=plan, files=files, copies=copies)
    progress(5, _STEPS, "done")


def _together(plan: Scenario, *parts: pl.DataFrame) -> pl.DataFrame:
    """Records in order of site and time, as write_down gives them."""
    order = pl.Enum([site.id for site in plan.sites])
    by = pl.col("site_id").cast(order), "day", "minute", "patient"
    return pl.concat(parts).sort(*by, maintain_order=True)


def _copy_profiles(folder: Path, plan: Scenario) -> None:
    """The profile of each shape, but for those that the product brings along."""
    (folder / "profiles").mkdir(exist_ok=True)
    shapes = [shape_by_id(one) for one in {site.shape for site in plan.sites}]
    for name in sorted(f"{shape.id}.toml" for shape in shapes if not shape.built_in):
        (folder / "profiles" / name).write_bytes((_PROFILES / name).read_bytes())
