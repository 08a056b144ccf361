"""What moved a measure: random invented networks, one thing planted in each, `explain` asked why.

Each network is written as its sites' exports, read, judged and published as any other; `explain`
sees the snapshot only. What is planted, where, when and how large is drawn beforehand (seed
stated): a device that reads 8 % high from an update on, a new referral path, one operator whose
technique slips, or nothing. It is asked at the last month for the measure that such a change shows
in; where nothing is planted, for one of them at random. Right is the cause by its name (the device,
the operator, other patients), and with nothing planted that nothing is named. No baseline: a share
of right answers; one in four would be right by drawing lots.
"""

import contextlib
import io
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from demo_sites.make import make_demo
from qa.jobs.explain import explain_at_site
from qa.jobs.folder import find_key, make_key
from qa.jobs.followup.demo_record import approve_demo
from qa.jobs.intake import run_intake
from qa.jobs.refresh import run_refresh
from qa.model.months import add_months, parse_month
from tests.benchmarks import BenchmarkFigure

SEED, N_SCENARIOS = 20610, 50
FIRST, LAST = "2024-01", "2026-06"
AT = datetime(2026, 7, 4, 7, tzinfo=UTC)
SITE, SHAPES = "alder-sound", ("harbour", "causeway", "meadow", "lantern", "pier")
DEVICE, PATIENTS, OPERATOR, NOTHING = "device", "patients", "operator", "nothing"
CAUSES = (DEVICE, PATIENTS, OPERATOR, NOTHING)
BIAS = 0.08
WAYS = {"spread": "unreliable", "count": "incomplete"}
PATHS = {"grade_mix_referral": "stiffness_raised", "referral_bariatric": "large_patient_probe"}
"""Event and the measure that it shows in."""
ASKED_FOR_NOTHING = ("stiffness_raised", "unreliable", "incomplete")


@dataclass(frozen=True)
class Planted:
    """One network: its scenario file, what is asked, and what the answer must hold."""

    cause: str
    scenario: str
    measure: str
    target: str
    told: str

    def is_named_by(self, answer: str) -> bool:
        """The verdict is the sentence's end, after its last colon."""
        verdict = answer.rsplit(": ", 1)[-1]
        if self.cause == NOTHING:
            return "not moved" in verdict or "cause not established" in verdict
        number = self.target[-2:]
        return {
            DEVICE: f"device {number}, not its operators",
            OPERATOR: f"operator {number} alone",
            PATIENTS: "other patients",
        }[self.cause] in verdict


def draw_scenario(rng: np.random.Generator) -> Planted:
    """Two clinics over thirty months; what is planted holds in the last five to ten of them."""
    cause = CAUSES[rng.integers(len(CAUSES))]
    n_operators, exams = int(rng.integers(4, 7)), int(rng.integers(130, 191))
    start = add_months(parse_month(LAST), -int(rng.integers(4, 10)))
    way = list(WAYS)[rng.integers(2)]
    operator = f"op-{rng.integers(n_operators) + 1:02d}"
    device = f"dev-{rng.integers(2) + 1:02d}"
    path = list(PATHS)[rng.integers(2)]
    shift, stream = float(rng.uniform(0.12, 0.2)), float(rng.uniform(0.2, 0.35))
    event, measure, target = {
        DEVICE: (f'device_bias"\ndevice = "{device}"\nsize = {BIAS}', "stiffness_raised", device),
        PATIENTS: (f'{path}"\nsite = "{SITE}"\nsize = {stream:.3f}', PATHS[path], SITE),
        OPERATOR: (
            f'technique_drift"\noperator = "{operator}"\nsize = {shift:.3f}\nshows_as = "{way}"',
            WAYS[way],
            operator,
        ),
        NOTHING: ("", ASKED_FOR_NOTHING[rng.integers(3)], ""),
    }[cause]
    planted = f'[[events]]\nkind = "{event}\nstart = "{start:%Y-%m}"\n' if event else ""
    text = _network(rng, exams=exams, n_operators=n_operators) + planted
    told = f"{event} from {start:%Y-%m}".replace("\n", ", ").replace('"', "") if event else NOTHING
    return Planted(cause, text, measure, target, told)


def _network(rng: np.random.Generator, *, exams: int, n_operators: int) -> str:
    shapes = rng.permutation(SHAPES)
    sites = "".join(
        f'[[sites]]\nid = "{one}"\nname = "{name}"\nshape = "{shape}"\noperators = {operators}\n'
        f'devices = [["TE"], ["TE"]]\n\n'
        for one, name, shape, operators in (
            (SITE, "Alder Sound", shapes[0], n_operators),
            ("bracken-hill", "Bracken Hill", shapes[1], 4),
        )
    )
    share = n_operators / (n_operators + 4)
    return (
        f'seed = {rng.integers(1, 2**31)}\n\n[network]\nid = "invented"\n'
        f'name = "Invented network"\ntime_zone = "Europe/London"\nfirst_month = "{FIRST}"\n'
        f'last_month = "{LAST}"\nexams = {round(30 * exams / share)}\n\n{sites}'
    )


def ask(planted: Planted, folder: Path) -> str:
    """The verdict as one sentence, from what a refresh of the written files publishes."""
    file = folder / "scenario.toml"
    file.write_text(planted.scenario, encoding="utf-8")
    network = folder / "network"
    make_demo(network, scenario=file)
    make_key(network)
    run_intake(network, files=(), site_id=None, key=find_key(network, {}), known_at=AT)
    approve_demo(network, {}, at=AT)
    with contextlib.redirect_stdout(io.StringIO()):
        run_refresh(network, at=AT, by="benchmark", software_version="benchmark")
    month: date = parse_month(LAST)
    return explain_at_site(network, site=SITE, measure=planted.measure, month=month).answer


def run(options: Sequence[str] = ()) -> list[BenchmarkFigure]:
    """options: how many scenarios, and the seed, instead of the stated ones."""
    n, seed = (int(one) for one in (*options, *(N_SCENARIOS, SEED)[len(options) :]))
    asked, right = Counter[str](), Counter[str]()
    for number in range(n):
        planted = draw_scenario(np.random.default_rng([seed, number]))
        with tempfile.TemporaryDirectory() as place:
            answer = ask(planted, Path(place))
        is_right = planted.is_named_by(answer)
        asked[planted.cause] += 1
        right[planted.cause] += is_right
        mark = "right" if is_right else "WRONG"
        print(f"{number:2d} {mark}: {planted.told}; {planted.measure}", file=sys.stderr)
        print(f"   {answer}", file=sys.stderr)
    parts = ", ".join(f"{cause} {right[cause]} of {asked[cause]}" for cause in CAUSES)
    return [
        BenchmarkFigure(
            "attribution_right_share",
            sum(right.values()) / n,
            0.9,
            f"none: {n} random networks, seed {seed}; {parts}",
            is_upper_bound=False,
        )
    ]
