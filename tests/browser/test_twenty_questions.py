"""Questions a practitioner asks of last month, each answered on screen in few clicks.

The list was written before the screens were walked. Each question begins at the first screen after
log-in of whoever asks it; links and buttons are found by their words, and each click counts, as
does each choice from a list. Answers are held against what was planted in the default demo
(demo_sites/scenario.toml and qa/jobs/followup/demo_*.py) or counted from published frames.
"""

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from qa.jobs.followup.demo_cases import LATE_SINCE, LATE_TITLE, OWNER
from qa.model.permissions import Role
from qa.stores.snapshots import Snapshot, open_current
from tests.browser.conftest import Reader, run_server, wait_for_screen
from tests.browser.test_log_in import log_in

MONTH, MONTH_NAME = date(2026, 10, 1), "October 2026"
PATIENCE_MS = 12_000
DRIFT = date(2025, 2, 1)
"""drift-bracken: operator 07's spread is wider from this month on."""
BIAS_DAY, BIAS = date(2026, 1, 1), 0.15
"""device-gannet: dev-12 reads higher by so much from this day on."""


@dataclass
class Walk:
    """One person's way to an answer. clicks: how many so far."""

    page: Page
    facts: Snapshot
    clicks: int = 0

    @property
    def main(self) -> Locator:
        return self.page.locator("main")

    def open(self, name: str | re.Pattern[str], *, within: Locator | None = None) -> None:
        """Click the first link with these words, and wait for where it leads."""
        before = self.page.url
        (within or self.page).get_by_role("link", name=name).first.click()
        self.clicks += 1
        self.page.wait_for_url(lambda url: url != before)
        self.page.wait_for_function("() => document.querySelector('main h1')")

    def show(self, screen: str) -> None:
        self.open(screen, within=self.page.get_by_role("navigation", name="Screens"))

    def row(self, *texts: str) -> Locator:
        """The first row of a table that holds all of these."""
        rows = self.page.locator("tbody tr")
        for text in texts:
            rows = rows.filter(has_text=text)
        return rows.first

    def answers(self, words: str | re.Pattern[str]) -> None:
        expect(self.page.locator("#answer")).to_contain_text(words, timeout=PATIENCE_MS)

    def says(self, *found: str | re.Pattern[str], at: Locator | None = None) -> None:
        for words in found:
            expect(at or self.main).to_contain_text(words, timeout=PATIENCE_MS)

    def counts(self, *, since: date = MONTH, **equal_to: str) -> dict[str, int]:
        """Sums of the published monthly counts."""
        rows = self.facts.frame("monthly_counts", **equal_to).filter(
            pl.col("month").is_between(since, MONTH)
        )
        return rows.select(pl.col(r"^n_.*$").sum()).row(0, named=True)


Ask = Callable[[Walk], None]


def what_needs_me(walk: Walk) -> None:
    listed = walk.facts.frame("signals", month=MONTH).filter(pl.col("rank") > 0)
    assert listed.height == 11
    walk.answers(f"Eleven things need you in {MONTH_NAME}")
    expected = min(1.0, walk.facts.network.settings.false_items_per_month)
    walk.says(f"By chance alone about {expected:.1f} new items a month are expected")


def sites_with_nothing_new(walk: Walk) -> None:
    """Late is Merlin Court (late-merlin); new is what was opened this month."""
    listed = walk.facts.frame("signals", month=MONTH).filter(pl.col("rank") > 0)
    busy = set(listed.filter(opened_month=MONTH)["site_id"]) | {"merlin-court"}
    calm = [site.name for site in walk.facts.network.sites if site.id not in busy]
    walk.answers("nothing new at eight of twelve sites")
    assert len(calm) == 8
    walk.says(f"Nothing new at {', '.join(calm[:-1])} and {calm[-1]}.")


def why_on_the_list(walk: Walk) -> None:
    walk.open("Bracken Hill", within=walk.main.locator("table"))
    walk.answers("Bracken Hill")
    own = walk.counts(operator_id="op-07", since=DRIFT)
    share = f"{100 * own['n_unreliable'] / own['n_measured']:.1f} %"
    walk.says(f"Operator 07 (Bracken Hill): unreliable exams {share} since February 2025")
    walk.says("Since February 2025, at the earliest January 2025; on the list for 20 months")


def what_kind_of_cause(walk: Walk) -> None:
    walk.open("Why it moved")
    walk.answers("very likely operator 07 alone")
    walk.says("Referral mix: other patients", "Operators: who examines, and how")


def who_needs_what(walk: Walk) -> None:
    """By the doctrine: wide spread → steadiness; too few valid → positioning and window."""
    walk.show("Operators")
    walk.answers("Eleven of 45 operators need something")
    first = walk.page.locator("tbody tr").first
    walk.says("Operator 07", re.compile("steadiness and breath hold"), at=first)
    walk.says("positioning and window", at=walk.row("Operator 30", "positioning"))


def exams_behind(walk: Walk) -> None:
    walk.open("Exams at stake")
    own = walk.counts(operator_id="op-07", since=DRIFT)
    walk.answers(f"{own['n_unreliable']} of {own['n_measured']} exams count for “unreliable exams”")
    assert walk.page.locator("tbody tr").count() == 100


def rule_file_and_row(walk: Walk) -> None:
    walk.open("Exams at stake")
    link = walk.page.locator("tbody tr a").first
    key = link.inner_text()
    walk.open(key)
    walk.answers("This exam is unreliable")
    exams = walk.facts.frame("exams", operator_id="op-07")
    exam = exams.filter(pl.col("exam_key").str.starts_with(key)).row(0, named=True)
    (name,) = walk.facts.frame("files", file_id=exam["file_id"])["name"]
    walk.says("Judged by Common practice, version 1", f"{name}, row {exam['row_no']}")


def phantom_check(walk: Walk) -> None:
    """The biased device reads the phantom as far off as planted; the check itself was in time."""
    walk.show("Devices")
    walk.answers("dev-12 is out of limits on a phantom")
    row = walk.row("dev-12, standard, PH-SOFT")
    walk.says("action", "2026-10-", "in time", at=row)
    found = re.search(r"\+(\d+\.\d)%", row.inner_text())
    assert found is not None
    assert float(found[1]) == pytest.approx(100 * BIAS, abs=2)


def what_happened_to_the_device(walk: Walk) -> None:
    walk.show("Devices")
    row = walk.row("update of the device")
    exams = walk.facts.frame("exams", device_id="dev-12").filter(pl.col("exam_on") >= BIAS_DAY)
    walk.says("dev-12", f", {BIAS_DAY}", f"{exams.height:,}", at=row)
    walk.says("Exams since the event are marked until a person signs the device off")


def grade_mix(walk: Walk) -> None:
    walk.show("Grades")
    walk.answers("The stiffness mix has moved in October 2026 at four of ten sites")
    rows = walk.facts.frame(
        "grade_counts", site_id="gannet-lane", month=MONTH, table_id="stage_castera2005_hcv.v1"
    )
    n = rows["n_exams"].sum()
    above = rows.filter(pl.col("band") > 0)["n_exams"].sum()
    walk.says(re.compile(rf"Gannet Lane {100 * above / n:.1f} % \(\S+ to \S+\), 21.9 % expected"))
    walk.says("device 12 serves all: the device, or what all do")


def late_and_waiting(walk: Walk) -> None:
    """Planted: Merlin Court sent nothing; 3 + 2 + 4 rows of Gannet Lane are faulty."""
    walk.show("Intake")
    walk.answers("late from one; 9 rows at one site wait")
    with walk.page.expect_download() as found:
        walk.page.get_by_role("link", name=re.compile("[Rr]eturn sheet")).first.click()
    walk.clicks += 1
    lines = Path(found.value.path()).read_text(encoding="utf-8").splitlines()
    assert sum("gannet-lane_2026-10" in line for line in lines) >= 9


def requirements_not_met(walk: Walk) -> None:
    """Planted: the first operator's refresher is overdue, the third is not authorised."""
    walk.show("Record")
    walk.answers("Alder Sound met")
    line = walk.page.locator(".verdicts > li").filter(has_text="Operators are competent")
    walk.says("not met", "op-01", "op-03", at=line)
    walk.open("Operators are competent and authorised", within=line)
    evidence = walk.page.locator("section[aria-labelledby=evidence]")
    walk.says("Rule in force then", "op-03", at=evidence)


def my_own_exams(walk: Walk) -> None:
    """Planted: operator 18's spread is wider, which asks for steadiness."""
    own = walk.counts(operator_id="op-18")
    walk.answers(f"{own['n_reliable']} of your {own['n_judged']} exams in {MONTH_NAME}")
    walk.says("Work on steadiness and breath hold")


def how_it_is_made(walk: Walk) -> None:
    """As its definition says: qa/definitions/measures/unreliable.v1.toml."""
    walk.show("Methods")
    walk.says("MSR-001 Unreliable exams", "outcome unreliable (n_unreliable)")
    walk.says("reliable or unreliable (n_measured)", "Castera et al., Hepatology 2010")


def overdue_cases(walk: Walk) -> None:
    walk.show("Follow-up")
    walk.answers(re.compile("overdue, CASE-"))
    walk.says(f"overdue since {LATE_SINCE}", f"({OWNER})", at=walk.row(LATE_TITLE))


def did_the_action_work(walk: Walk) -> None:
    walk.show("Follow-up")
    walk.answers("The one action checked worked.")


def did_sites_agree(walk: Walk) -> None:
    """The newest round is open: five of nine have reported (demo_equipment.py)."""
    walk.show("Rounds")
    walk.answers("All 5 participants of Autumn round (invented) agree.")
    walk.says("5 of 9", "Few participants: read with care.")
    walk.says("acceptable", at=walk.row("dev-07, Dunlin Quay"))


def peers(walk: Walk) -> None:
    walk.show("Operators")
    own = walk.counts(operator_id="op-18", since=date(2025, 11, 1))
    share = f"{100 * own['n_unreliable'] / own['n_measured']:.1f} % ("
    row = walk.row("Operator 18", share)
    walk.says(f"{own['n_unreliable']} (", f"{own['n_measured']}", at=row)
    expect(walk.row("Operator peer")).to_be_visible()
    assert "Operator 07" not in walk.main.inner_text()


MANAGER, REVIEWER = Role.QA_MANAGER, Role.REVIEWER
LEAD, OPERATOR = Role.SITE_LEAD, Role.OPERATOR
QUESTIONS: list[tuple[str, Role, int, Ask]] = [
    ("What needs me, and how many items by chance alone?", MANAGER, 0, what_needs_me),
    ("Which sites have nothing new?", MANAGER, 0, sites_with_nothing_new),
    ("Why is this site on the list, and since when?", MANAGER, 1, why_on_the_list),
    ("Other patients, technique, equipment or data?", MANAGER, 1, what_kind_of_cause),
    ("Which operators need what, which step first?", MANAGER, 1, who_needs_what),
    ("Which exams are behind this figure?", MANAGER, 1, exams_behind),
    ("By which rule was it judged, from which row?", MANAGER, 2, rule_file_and_row),
    ("Was the phantom check in date and limits?", MANAGER, 1, phantom_check),
    ("What happened to this device, who signed?", MANAGER, 1, what_happened_to_the_device),
    ("Has the grade mix moved, by how much?", MANAGER, 1, grade_mix),
    ("Did the sites agree in the last round?", MANAGER, 1, did_sites_agree),
    ("What is late, what waits, what goes back?", MANAGER, 2, late_and_waiting),
    ("Which cases are overdue, who owns them?", MANAGER, 1, overdue_cases),
    ("Did the corrective action work?", MANAGER, 1, did_the_action_work),
    ("Which requirements were not met, on what?", REVIEWER, 2, requirements_not_met),
    ("How do my operators compare with peers?", LEAD, 1, peers),
    ("How are my own exams, what to work on?", OPERATOR, 0, my_own_exams),
    ("How is this measure made, from where?", OPERATOR, 1, how_it_is_made),
]
MOST_CLICKS = 5


@dataclass
class People:
    """Each role's browser, logged in once."""

    browser: Browser
    server: str
    readers: dict[Role, Reader] = field(default_factory=dict)

    def at_home(self, role: Role) -> Page:
        """The role's first screen after log-in."""
        if role not in self.readers:
            self.readers[role] = Reader(self.browser, self.server)
            page = log_in(self.readers[role], role)
            page.set_default_timeout(PATIENCE_MS)
        else:
            page = self.readers[role].pages[0]
            page.goto(self.server + "/")
        wait_for_screen(page)
        return page


@pytest.fixture(scope="module")
def facts(published_demo: Path) -> Snapshot:
    return open_current(published_demo)


@pytest.fixture(scope="module")
def people(
    browser: Browser, published_demo: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[People]:
    folder = tmp_path_factory.mktemp("asked") / "demo"
    bulky = shutil.ignore_patterns("incoming", "warehouse*", "truth*")
    shutil.copytree(published_demo, folder, ignore=bulky)
    for address in run_server("--folder", str(folder)):
        found = People(browser, address)
        yield found
        for reader in found.readers.values():
            reader.pages[0].context.close()


@pytest.mark.parametrize(
    ("question", "role", "allowed", "ask"), QUESTIONS, ids=[one[0] for one in QUESTIONS]
)
def test_question_is_answered_on_screen(
    people: People, facts: Snapshot, question: str, role: Role, allowed: int, ask: Ask
) -> None:
    walk = Walk(people.at_home(role), facts)
    ask(walk)
    assert walk.clicks == allowed <= MOST_CLICKS, question
    assert people.readers[role].faults == []
