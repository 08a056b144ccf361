"""What each role sees of a snapshot, looked for in everything that is made from it.

Own sites and operators by name, others unnamed: promised for site leads and operators; the
small-cell rule of 5 is a proposal of the domain notes (7.5).
"""

import re

import polars as pl
import pytest

from dashboard.addresses import Download
from dashboard.rules import DOWNLOAD_RULES, PAGE_RULES
from qa.model.permissions import SUPPRESS_BELOW, Actor, Role
from qa.stores.snapshots import PUBLISHED_SCHEMAS
from qa.views.seen import RULES, Seen, seen_by
from qa.views.small_cells import without_small_cells, without_telling_totals
from tests.pages.sample_counts import SITES
from tests.pages.sample_published import full_published, sample_published

LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=("S3",))
OPERATOR = Actor("olga", "Olga (invented)", (Role.OPERATOR,), operator_id="31")
ADMIN = Actor("ada", "Ada (invented)", (Role.ADMINISTRATOR,))
INTAKE = ("row_counts", "files", "quarantined", "intake_months")
"""What an administrator, who keeps intake running, sees of every site."""
OTHER_SITES = [(key, name) for key, name, _ in SITES if key != "S3"]
OTHER_PEOPLE = [one for key, _, people in SITES for one in people if key != "S3"]
_PEOPLE = "|".join(OTHER_PEOPLE)
FOREIGN = re.compile(
    "|".join(name for _, name in OTHER_SITES)
    + rf"|operator ({_PEOPLE})\b|\b(site|unit_id)[=\": ,]+S[12456]\b|\boperator=({_PEOPLE})\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("role", [Role.QA_MANAGER, Role.REVIEWER])
def test_who_sees_the_network_sees_the_snapshot_itself(role: Role) -> None:
    published = sample_published()
    assert seen_by(published, Actor("u", "U", (role, Role.OPERATOR), operator_id="31")) is published


def test_every_published_frame_has_a_rule() -> None:
    assert set(RULES) == set(PUBLISHED_SCHEMAS)


@pytest.mark.parametrize("actor", [LEAD, OPERATOR, ADMIN], ids=lambda one: one.roles[0])
@pytest.mark.parametrize("name", PUBLISHED_SCHEMAS)
def test_frames_hold_no_foreign_id_and_keep_their_schema(name: str, actor: Actor) -> None:
    assert full_published().frame(name).height, "a frame without rows tests nothing"
    rows = seen_by(full_published(), actor, peer_key="k").frame(name)
    assert rows.schema == PUBLISHED_SCHEMAS[name].to_polars()
    if actor is ADMIN and name in INTAKE:
        assert set(rows["site_id"].drop_nulls()) & {key for key, _ in OTHER_SITES}
        return
    for column in {"site_id", "operator_id", "unit_id"} & set(rows.columns):
        values = set(rows[column].drop_nulls())
        assert not values & {key for key, _ in OTHER_SITES}
        assert not values & set(OTHER_PEOPLE)


@pytest.mark.parametrize("actor", [LEAD, OPERATOR], ids=lambda one: one.roles[0])
@pytest.mark.parametrize("name", ["exams", "monthly_counts", "files", "quarantined"])
def test_asking_for_another_site_gives_nothing(name: str, actor: Actor) -> None:
    assert seen_by(sample_published(), actor).frame(name, site_id="S2").is_empty()


def test_operator_sees_own_exams_only_and_administrator_none() -> None:
    own = seen_by(sample_published(), OPERATOR).frame("exams")
    assert set(own["operator_id"]) == {"31"}
    for name in ("exams", "monthly_counts", "funnel_points", "signals"):
        assert seen_by(sample_published(), ADMIN).frame(name).is_empty()


@pytest.mark.parametrize("name", INTAKE)
def test_administrator_sees_the_whole_intake_and_a_lead_of_hers_no_more(name: str) -> None:
    whole = full_published().frame(name)
    assert seen_by(full_published(), ADMIN).frame(name).equals(whole)
    both = Actor("b", "B", (Role.ADMINISTRATOR, Role.SITE_LEAD), sites=("S3",))
    assert set(seen_by(full_published(), both).frame(name)["site_id"]) <= {"S3"}
    assert [one.id for one in seen_by(full_published(), both).network.sites] == ["S3"]


def test_peers_keep_their_figures_and_lose_their_names() -> None:
    whole = sample_published().frame("funnel_points", unit_kind="site", measure_id="MSR-001")
    seen = seen_by(sample_published(), LEAD, peer_key="k").frame(
        "funnel_points", unit_kind="site", measure_id="MSR-001"
    )
    assert set(seen["n"]) <= set(whole["n"])
    peers = seen.filter(pl.col("unit_id") != "S3")
    assert peers.height
    assert all(re.fullmatch(r"Peer site 0\d", one) for one in peers["unit_id"])


def test_peers_have_other_numbers_for_another_account() -> None:
    def order(key: str) -> list[int]:
        frame = seen_by(sample_published(), LEAD, peer_key=key).frame("funnel_points")
        return frame.filter(pl.col("unit_kind") == "operator")["n"].to_list()

    assert order("one") != order("two")
    assert order("one") == order("one")


def funnel(cells: list[tuple[str, int, int]]) -> pl.DataFrame:
    rows = sample_published().frame("funnel_points", unit_kind="operator").head(len(cells))
    ids, events, n = zip(*cells, strict=True)
    first = rows.row(0, named=True)
    return rows.with_columns(
        pl.Series("unit_id", ids),
        pl.Series("n_events", events, dtype=pl.Int64),
        pl.Series("n", n, dtype=pl.Int64),
        *(pl.lit(first[name]).alias(name) for name in ("measure_id", "criteria_id", "to_month")),
        site_id=pl.lit("S1"),
    )


@pytest.mark.parametrize(
    ("cells", "left"),
    [
        ([("31", 1, 9), ("11", 4, 90), ("12", 3, 90), ("13", 5, 90)], {1, 5}),
        ([("31", 1, 9), ("11", 90, 94), ("12", 80, 84), ("13", 85, 90)], {1, 85}),
        ([("31", 1, 9), ("11", 0, 90), ("12", 30, 90), ("13", 8, 90)], {1, 30}),
    ],
    ids=["few events", "few others", "one alone takes the next with it"],
)
def test_small_cells_of_peers_are_left_out(cells: list, left: set[int]) -> None:
    """Just below, on and above the limit of 5, by hand."""
    assert SUPPRESS_BELOW == 5
    published = sample_published().with_frame("funnel_points", funnel(cells))
    lead = seen_by(published, LEAD, peer_key="k").frame("funnel_points")
    assert set(lead["n_events"]) == left


@pytest.mark.parametrize("actor", [LEAD, OPERATOR], ids=lambda one: one.roles[0])
def test_networks_total_less_own_leaves_no_small_cell(actor: Actor) -> None:
    """What a person can subtract: the network's points less the own ones."""
    seen = seen_by(sample_published(), actor).frame("chart_points")
    kind = "site" if actor.sites else "operator"
    keys = ["measure_id", "criteria_id", "month"]
    own = seen.filter(pl.col("unit_kind") == kind).group_by(keys)
    sums = own.agg(own_n=pl.col("n").sum(), own_events=pl.col("n_events").sum())
    rest = seen.filter(pl.col("unit_kind") == "network").join(sums, on=keys, how="left")
    rest = rest.with_columns(pl.col("own_n", "own_events").fill_null(0))
    events = rest["n_events"] - rest["own_events"]
    assert rest.height
    assert min(events.min(), (rest["n"] - rest["own_n"] - events).min()) >= SUPPRESS_BELOW
    whole = sample_published().frame("chart_points", unit_kind="network")
    assert rest.height < whole.height, "the sample holds totals that would tell"


@pytest.mark.parametrize(
    ("n", "left"),
    [
        ([5, 6, 7], [5, 6, 7]),
        ([4, 6, 7], [7]),
        ([1, 30, 8], [30]),
        ([0, 0, 7, 9], [9]),
        ([3, 2, 20], [20]),
        ([2, 2, 20, 30], [30]),
        ([4], []),
    ],
)
def test_what_is_left_out_adds_up_to_no_small_cell(n: list[int], left: list[int]) -> None:
    """By hand: the smallest go until what is gone is 5 or more, or nothing is left."""
    rows = pl.DataFrame({"group": ["a"] * len(n), "n": n})
    assert without_small_cells(rows, ["group"], cells=["n"])["n"].to_list() == left


@pytest.mark.parametrize(
    ("total", "own", "is_shown"),
    [
        ((100, 10), (40, 5), True),
        ((100, 10), (40, 6), False),
        ((44, 20), (40, 6), False),
        ((100, 60), (60, 24), False),
        ((100, 59), (60, 24), True),
        ((100, None), (95, None), True),
        ((100, None), (96, None), False),
    ],
    ids=["5 events", "4 events", "4 exams", "4 others", "5 others", "5 of a mean", "4 of a mean"],
)
def test_total_is_shown_where_the_rest_is_no_small_cell(total, own, is_shown: bool) -> None:
    def frame(n: int, events: int | None) -> pl.DataFrame:
        return pl.DataFrame(
            {"month": [1], "n": [n], "n_events": pl.Series([events], dtype=pl.Int64)}
        )

    assert without_telling_totals(frame(*total), frame(*own), ["month"]).height == is_shown


def test_sentences_lose_the_names_of_others() -> None:
    signals = sample_published().frame("signals")
    own = signals.filter(pl.col("site_id") == "S3").head(1)
    words = "Operator 31 (Eider Point), not operator 32, but Operator 11 (Alder Sound), D1, Alder"
    told = sample_published().with_frame("signals", own.with_columns(finding=pl.lit(words)))
    seen = seen_by(told, LEAD).frame("signals")["finding"][0]
    assert seen == "Operator 31 (Eider Point), not operator 32, but another operator, D1, Alder"
    (operators,) = seen_by(told, OPERATOR).frame("signals")["finding"].to_list() or [""]
    assert "32" not in operators


def test_network_of_a_lead_knows_no_other_site() -> None:
    seen = seen_by(sample_published(), LEAD)
    assert isinstance(seen, Seen)
    assert [one.id for one in seen.network.sites] == ["S3"]
    assert {one.id for one in seen.network.operators} == {"31", "32", "33"}
    assert [one.id for one in seen.network.devices] == ["D3"]


@pytest.mark.parametrize("role", [Role.SITE_LEAD, Role.OPERATOR])
def test_no_screen_or_download_names_another_site_or_operator(browser_of, role: Role) -> None:
    """Everything is asked for as it is, and with every id of others in the address."""
    browser = browser_of(role)
    queries = ["", "site=S3&operator=31", "site=S2", "operator=21"]
    for where in (*PAGE_RULES, *DOWNLOAD_RULES):
        for query in queries:
            is_file = isinstance(where, Download)
            answer = (
                browser.get(f"{where.value}?{query}")
                if is_file
                else browser.navigate(where.value, f"?{query}")
            )
            assert answer.status_code in (200, 403, 404), (where, query)
            assert "could not be made" not in answer.text
            asked = {"site=S2": "site 'S2'", "operator=21": "operator '21'"}.get(query)
            body = answer.text.replace(asked, "") if asked else answer.text
            found = FOREIGN.search(body.replace(query, "") if query else body)
            assert not found, (where, query, found, body[max(0, found.start() - 80) :][:200])
