"""Second readings as people do them: who may, what a reader sees, what is refused."""

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.reading_files import read_sheet, sample_lines, sheet_frame
from qa.jobs.followup.second_reading import ReadForm, SecondReadingDesk
from qa.jobs.followup.trail import verify_trail
from qa.model.errors import AccessRefused, FollowupError
from qa.model.parsing import parse_network
from qa.model.permissions import Actor, Role
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import ADMINISTRATOR, AT, MANAGER, NETWORK_TEXT, REVIEWER, keep_account
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published

A_AT_BOTH = '[{ site = "S3", code = "A" }, { site = "south", code = "A2" }]'
TEXT = NETWORK_TEXT.replace('"op-1"', '"31"').replace('"north"', '"S3"')
TEXT = TEXT.replace('code = "A"', f'code = "A"\nassignments = {A_AT_BOTH}')
TEXT += """
[[operators]]
id = "33"
site = "S3"
code = "C"
[[operators.assignments]]
site = "S3"
code = "C"
[[operators.assignments]]
site = "south"
code = "C2"
"""
NETWORK = parse_network(TEXT, where="network.toml")
SAMPLE_ID = f"31.{LAST:%Y-%m}"
READER = Actor("rosa", "Rosa (invented)", (Role.OPERATOR,), operator_id="32")
FIRST = Actor("olga", "Olga (invented)", (Role.OPERATOR,), operator_id="31")
LEAD = Actor("lena", "Lena (invented)", (Role.SITE_LEAD,), sites=("S3",))
LEAD_S4 = Actor("sven", "Sven (invented)", (Role.SITE_LEAD,), sites=("S4",))
BEN = Actor("ben", "Ben (invented)", (Role.SITE_LEAD,), sites=("S3",))
OTHER_LEAD = Actor("otto", "Otto (invented)", (Role.SITE_LEAD,), sites=("south",))


def desk(store: FollowupStore, actor: Actor | None = MANAGER) -> SecondReadingDesk:
    return SecondReadingDesk(store, NETWORK, actor, AT)


@pytest.fixture
def drawn(store: FollowupStore) -> SecondReadingDesk:
    desk(store).draw("31", LAST, published=sample_published(), seed="1")
    for one in (READER, FIRST, MANAGER, BEN, REVIEWER):
        keep_account(store, one)
    desk(store).assign(SAMPLE_ID, reader="rosa")
    return desk(store)


def test_from_draw_to_case(drawn: SecondReadingDesk, tmp_path: Path) -> None:
    reader = desk(drawn.store, READER)
    tasks = reader.tasks()
    assert len(tasks) == 3
    sheet = tmp_path / "sheet.csv"
    sheet_frame(tasks).write_csv(sheet)
    outcomes = [one.first.outcome for one in tasks]
    assert not any(word in sheet.read_text() for word in {*outcomes, "31", tasks[0].exam_key})
    lines = sheet.read_text().splitlines()
    other = "failed" if outcomes[0] != "failed" else "reliable"
    filled = [lines[0], lines[1].replace(",,,,", f",{other},,,saw no liver")]
    filled += [lines[2].replace(",,,,", f",{outcomes[1].upper()},,,"), lines[3]]
    sheet.write_text("\n".join(filled), encoding="utf-8")
    assert reader.read(read_sheet(sheet)) == 2
    assert [one.code for one in reader.tasks()] == [tasks[2].code]
    case = desk(drawn.store, LEAD).open_case(
        SAMPLE_ID, tasks[0].code, owner="lena", due_on=date(2026, 11, 18)
    )
    assert case.exams[0].exam_key == tasks[0].exam_key
    assert f"outcome {outcomes[0]} and {other}" in case.why
    shown = "\n".join(sample_lines(drawn.sample(SAMPLE_ID), drawn))
    assert "drawn again it is the same" in shown
    assert case.case_id in shown
    assert CaseDesk(drawn.store, MANAGER, AT).case(case.case_id) == case
    found = drawn.agreement(drawn.samples())
    assert (found.n, found.n_same, found.n_waiting, found.n_discrepant) == (2, 1, 1, 1)
    assert verify_trail(drawn.store).is_whole


def test_first_result_is_nowhere_before_the_second(drawn: SecondReadingDesk) -> None:
    """Neither in the trail's words nor beside an exam that waits."""
    outcomes = {one.first.outcome for one in drawn.sample(SAMPLE_ID).exams}
    with drawn.store.reading() as reading:
        told = [text for row in reading.entries() for text in (row.before, row.after)]
    told += sample_lines(drawn.sample(SAMPLE_ID), drawn)
    assert not any(f"first {word}" in text for word in outcomes for text in told if text)


def test_a_month_is_drawn_once_and_the_seed_is_the_machine_s(store: FollowupStore) -> None:
    first = desk(store).draw("31", LAST, published=sample_published())
    assert len(first.seed) == 32
    assert first.is_as_drawn
    with pytest.raises(FollowupError, match="FUP-050"):
        desk(store).draw("31", LAST, published=sample_published())
    with pytest.raises(FollowupError, match="FUP-051"):
        desk(store).draw("31", date(2019, 1, 1), published=sample_published())


def test_picks_are_added_with_a_reason(drawn: SecondReadingDesk) -> None:
    published = sample_published()
    key = drawn.sample(SAMPLE_ID).frame[-1]
    chosen = {one.exam_key for one in drawn.sample(SAMPLE_ID).exams}
    key = next(one for one in drawn.sample(SAMPLE_ID).frame if one not in chosen)
    with pytest.raises(FollowupError, match="FUP-027"):
        drawn.pick(SAMPLE_ID, exam_keys=[key], reason="a whim", published=published)
    after = drawn.pick(SAMPLE_ID, exam_keys=[key], reason="asked for", published=published)
    assert (len(after.exams), after.n_random, after.exams[-1].reason) == (4, 3, "asked for")
    assert after.is_as_drawn
    with pytest.raises(FollowupError, match="FUP-052"):
        drawn.pick(SAMPLE_ID, exam_keys=[key], reason="asked for", published=published)
    strange = published.frame("exams").filter(operator_id="32")["exam_key"][0]
    with pytest.raises(FollowupError, match="FUP-052"):
        drawn.pick(SAMPLE_ID, exam_keys=[strange], reason="asked for", published=published)


def test_second_reader_is_never_the_first(drawn: SecondReadingDesk) -> None:
    """By account, e-mail, operator id, a site's code; and who says that she examines as 31."""
    by_name = ("olga", "Olga@clinic.invalid", "31", "A", "A2")
    for reader, operator in (*((one, "") for one in by_name), ("ben", "31")):
        with pytest.raises(FollowupError, match="FUP-053"):
            drawn.assign(SAMPLE_ID, reader=reader, reader_operator=operator)
    assert {one.reader for one in drawn.readers(SAMPLE_ID)} == {"rosa", "maria", "ben", "33"}


@pytest.mark.parametrize("reader", ["nobody", "rita", "", "A9", "<b>x</b>"])
def test_second_reader_is_an_account_that_may_or_an_operator(drawn, reader: str) -> None:
    with pytest.raises(FollowupError, match="FUP-091"):
        drawn.assign(SAMPLE_ID, reader=reader)


def test_operator_without_an_account_reads_once_she_has_one(drawn: SecondReadingDesk) -> None:
    """33 is given exams by the code of her second site, and finds them with a later account."""
    drawn.assign(SAMPLE_ID, reader="C2")
    assert desk(drawn.store, READER).tasks() == []
    later = Actor("u-9", "Tara (invented)", (Role.OPERATOR,), operator_id="33")
    keep_account(drawn.store, later)
    tasks = desk(drawn.store, later).tasks()
    assert len(tasks) == 3
    assert desk(drawn.store, later).read([ReadForm(tasks[0].code, "failed")]) == 1


def test_operator_at_two_sites_each_lead_sees_the_exams_of_the_own_site(store) -> None:
    """Published are exams of one operator at S3 and, one of them, at S4."""
    exams = sample_published().frame("exams", operator_id="31", month=LAST)
    keys = exams.sort("exam_key")["exam_key"].to_list()
    elsewhere = pl.when(pl.col("exam_key") == keys[0]).then(pl.lit("S4")).otherwise("site_id")
    moved = exams.with_columns(elsewhere.alias("site_id"))

    class TwoSites:
        snapshot_id = "T1"

        def frame(self, name: str, **equal_to: object) -> pl.DataFrame:
            return moved

    desk(store).draw("31", LAST, published=TwoSites(), seed="1")
    if keys[0] not in {one.exam_key for one in desk(store).sample(SAMPLE_ID).exams}:
        told = {"exam_keys": keys[:1], "reason": "asked for"}
        desk(store).pick(SAMPLE_ID, **told, published=TwoSites())
    whole = desk(store).sample(SAMPLE_ID)
    assert {one.exam_key for one in whole.exams if one.site_id == "S4"} == {keys[0]}
    seen = desk(store, LEAD_S4).sample(SAMPLE_ID)
    assert {one.exam_key for one in seen.exams} == {keys[0]}
    at_home = desk(store, LEAD).sample(SAMPLE_ID)
    assert len(at_home.exams) == len(whole.exams) - 1
    assert at_home.is_as_drawn
    assert len(desk(store, FIRST).sample(SAMPLE_ID).exams) == len(whole.exams)


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({"outcome": "fine"}, "FUP-027"),
        ({"outcome": "not performed"}, "FUP-027"),
        ({"stiffness_kpa": 0.0}, "FUP-056"),
        ({"stiffness_kpa": 201.0}, "FUP-056"),
        ({"stiffness_kpa": float("nan")}, "FUP-056"),
        ({"words": "x" * 401}, "FUP-012"),
        ({"code": "forged"}, "FUP-055"),
    ],
)
def test_reading_that_does_not_fit_keeps_nothing(
    drawn: SecondReadingDesk, form: dict, code: str
) -> None:
    one, other, _ = drawn.sample(SAMPLE_ID).exams
    good = ReadForm(one.code, "reliable", 7.0)
    bad = ReadForm(**{"code": other.code, "outcome": "reliable", **form})
    with pytest.raises(FollowupError, match=code):
        desk(drawn.store, READER).read([good, bad])
    assert drawn.sample(SAMPLE_ID).n_read == 0


def test_reading_is_final_and_only_the_reader_s(drawn: SecondReadingDesk) -> None:
    form = ReadForm(drawn.sample(SAMPLE_ID).exams[0].code, "reliable", 7.0)
    with pytest.raises(FollowupError, match="FUP-055"):
        drawn.read([form])
    desk(drawn.store, READER).read([form])
    with pytest.raises(FollowupError, match="FUP-054"):
        desk(drawn.store, READER).read([form])
    with pytest.raises(FollowupError, match="FUP-054"):
        drawn.assign(SAMPLE_ID, codes=[form.code], reader="ben")


def test_case_only_from_a_reading_that_differs(drawn: SecondReadingDesk) -> None:
    exam = drawn.sample(SAMPLE_ID).exams[0]
    due = {"owner": "lena", "due_on": date(2026, 11, 18)}
    with pytest.raises(FollowupError, match="FUP-057"):
        drawn.open_case(SAMPLE_ID, exam.code, **due)
    desk(drawn.store, READER).read([ReadForm(exam.code, exam.first.outcome)])
    with pytest.raises(FollowupError, match="FUP-058"):
        drawn.open_case(SAMPLE_ID, exam.code, **due)
    assert CaseDesk(drawn.store, MANAGER, AT).cases() == []


def test_who_may_not(drawn: SecondReadingDesk) -> None:
    published = sample_published()
    for actor in (LEAD, REVIEWER, FIRST):
        assert desk(drawn.store, actor).sample(SAMPLE_ID)
        with pytest.raises(AccessRefused):
            desk(drawn.store, actor).assign(SAMPLE_ID, reader="ben")
        with pytest.raises(AccessRefused):
            desk(drawn.store, actor).places(SAMPLE_ID, published)
    for actor in (OTHER_LEAD, ADMINISTRATOR, READER):
        assert desk(drawn.store, actor).samples() == []
        with pytest.raises(FollowupError, match="FUP-014"):
            desk(drawn.store, actor).sample(SAMPLE_ID)
    for actor in (REVIEWER, None):
        with pytest.raises(AccessRefused):
            desk(drawn.store, actor).tasks()


def test_places_name_file_and_row_but_not_for_the_reader(drawn: SecondReadingDesk) -> None:
    found = drawn.places(SAMPLE_ID, sample_published())
    assert len(found) == 3
    assert all(", row " in place for place in found.values())
    drawn.assign(SAMPLE_ID, reader="maria")
    assert drawn.places(SAMPLE_ID, sample_published()) == {}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"code,outcome\na,failed\n",
        b"code,exam,outcome,stiffness_kpa,attenuation_db_m,words\na,b,failed,seven,,\n",
        b"code,exam,outcome,stiffness_kpa,attenuation_db_m,words\na,b\n",
        b"\xff\xfe\x00",
    ],
)
def test_sheet_that_is_none(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(content)
    with pytest.raises(FollowupError, match="FUP-059"):
        read_sheet(path)


def test_sheet_of_a_spreadsheet_in_another_country(tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    head = "code;exam;outcome;stiffness_kpa;attenuation_db_m;words\n"
    path.write_text("\ufeff" + head + "a;b;Failed;;;\nc;d;reliable;7,5;;ok\n", encoding="utf-8")
    assert read_sheet(path) == [
        ReadForm("a", "failed"),
        ReadForm("c", "reliable", 7.5, None, "ok"),
    ]
