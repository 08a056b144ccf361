"""Whatever is done to the trail behind the program's back is found, and the row is named."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from qa.followup.trail import Expiry, canonical, check_chain, digest, seal_entry
from qa.jobs.followup.trail import (
    TrailFilter,
    expire_records,
    list_trail,
    read_heads,
    verify_trail,
    write_head,
)
from qa.model.errors import AccessRefused, FollowupError
from qa.model.record import FIRST_PREVIOUS, Entry, SealedEntry, time_text
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import ADMINISTRATOR, AT, LEAD, MANAGER, REVIEWER, keep


def chain(n: int) -> list[SealedEntry]:
    rows: list[SealedEntry] = []
    for no in range(1, n + 1):
        entry = Entry(time_text(AT), "maria", "changed", "note", "n1", after=f"Words: {no}")
        before = rows[-1].hash if rows else FIRST_PREVIOUS
        rows.append(seal_entry(entry, None, no=no, previous_hash=before, salt=f"salt {no}"))
    return rows


def said(rows: list[SealedEntry], **more: object) -> list[tuple[int, str]]:
    return [(fault.no, fault.sentence) for fault in check_chain(rows, **more).faults]  # type: ignore[arg-type]


def test_digest_is_sha256_of_the_canonical_text() -> None:
    """Made with coreutils: printf '[1,"abc"]' | sha256sum"""
    assert canonical({"b": "ä", "a": None}) == '{"a":null,"b":"\\u00e4"}'
    assert digest("abc") == "edbb19f6561be2674acd7b4d38098ea1222ab20edc1913845d66c9d922bc1410"


def test_whole_chain_has_no_fault() -> None:
    rows = chain(5)
    found = check_chain(rows, heads=[(3, rows[2].hash), (5, rows[4].hash)])
    assert (found.is_whole, found.n_rows, found.n_heads) == (True, 5, 2)


@pytest.mark.parametrize(
    "change",
    [
        {"after": "Words: other"},
        {"before": "x"},
        {"by": "otto"},
        {"at": time_text(AT - timedelta(days=1))},
        {"action": "read"},
        {"record_class": "case"},
        {"record_id": "n2"},
        {"record_no": 1},
        {"event_digest": "0" * 64},
        {"salt": "other"},
        {"content_digest": "0" * 64},
    ],
)
def test_altered_row_is_named(change: dict[str, object]) -> None:
    rows = chain(5)
    rows[2] = replace(rows[2], **change)  # type: ignore[arg-type]
    assert said(rows) == [(3, "Row 3 was altered: it no longer fits its hash.")]


def test_row_that_was_sealed_anew_does_not_carry_the_next() -> None:
    rows = chain(5)
    forged = Entry(time_text(AT), "maria", "changed", "note", "n1", after="forged")
    rows[2] = seal_entry(forged, None, no=3, previous_hash=rows[1].hash, salt="s")
    (fault,) = said(rows)
    assert fault == (
        4,
        "Row 4 does not follow row 3: the row before it was altered or replaced.",
    )


def test_removed_rows_are_named() -> None:
    rows = chain(6)
    assert said(rows[:1] + rows[2:]) == [(2, "Row 2 is missing.")]
    assert said(rows[2:]) == [(1, "Rows 1 to 2 are missing.")]


def test_rows_removed_at_the_end_show_by_the_head_kept_outside() -> None:
    rows = chain(6)
    heads = [(6, rows[5].hash)]
    assert said(rows[:4]) == []
    (fault,) = said(rows[:4], heads=heads)
    assert fault[0] == 6
    assert "Rows after 4 are missing" in fault[1]


def test_reordered_rows_are_named() -> None:
    rows = chain(6)
    rows[2], rows[3] = replace(rows[3], no=3), replace(rows[2], no=4)
    sentences = said(rows)
    assert {no for no, _ in sentences} >= {3, 4}
    assert any("rows changed places" in sentence for _, sentence in sentences)


def test_chain_sealed_anew_shows_by_the_head_kept_outside() -> None:
    rows, other = chain(3), chain(3)
    entry = Entry(time_text(AT), "maria", "changed", "note", "n1", after="other")
    other[2] = seal_entry(entry, None, no=3, previous_hash=other[1].hash, salt="s")
    assert said(other) == []
    assert said(other, heads=[(3, rows[2].hash)]) == [
        (3, "Row 3 is not the one whose hash was kept outside.")
    ]


def test_content_that_is_gone_needs_a_recorded_expiry() -> None:
    rows = chain(3)
    gone = dict.fromkeys(("salt", "by", "action", "record_id", "before", "after"))
    rows[1] = replace(rows[1], **gone)
    assert said(rows) == [(2, "Row 2 lost its content and no expiry says so.")]
    later = time_text(AT + timedelta(days=1))
    assert said(rows, expiries=[Expiry(9, "note", later)]) == []
    assert said(rows, expiries=[Expiry(9, "case", later)]) != []
    assert said(rows, expiries=[Expiry(9, "note", time_text(AT))]) != []


def _behind_its_back(store: FollowupStore, *statements: str) -> None:
    with store._engine.begin() as connection:
        if connection.dialect.name == "sqlite":
            for table in ("events", "trail"):
                connection.execute(sa.text(f"DROP TRIGGER {table}_keeps_rows"))
                connection.execute(sa.text(f"DROP TRIGGER {table}_keeps_content"))
        else:
            connection.execute(sa.text("ALTER TABLE trail DISABLE TRIGGER USER"))
            connection.execute(sa.text("ALTER TABLE events DISABLE TRIGGER USER"))
        for statement in statements:
            connection.execute(sa.text(statement))


@pytest.mark.parametrize(
    ("statement", "row", "words"),
    [
        ("UPDATE trail SET text_after = 'x' WHERE entry_no = 2", 2, "was altered"),
        ("DELETE FROM trail WHERE entry_no = 2", 2, "is missing"),
        ("DELETE FROM trail WHERE entry_no = 4", 4, "Rows after 3 are missing"),
        ('UPDATE events SET data = \'{"words":"x"}\' WHERE event_seq = 3', 3, "was altered"),
        ("UPDATE events SET recorded_by = 'otto' WHERE event_seq = 3", 3, "was altered"),
        ("DELETE FROM events WHERE event_seq = 3", 3, "is missing"),
    ],
)
def test_change_behind_its_back_is_found(
    store: FollowupStore, tmp_path: Path, statement: str, row: int, words: str
) -> None:
    for number in range(4):
        keep(store, "n1", f"words {number}")
    write_head(store, tmp_path / "heads", actor=ADMINISTRATOR, at=AT)
    _behind_its_back(store, statement)
    found = verify_trail(store, heads=read_heads(tmp_path / "heads"))
    assert any(fault.no == row and words in fault.sentence for fault in found.faults)


def test_cut_end_shows_by_the_events_even_without_a_head(store: FollowupStore) -> None:
    for number in range(3):
        keep(store, "n1", f"words {number}")
    _behind_its_back(store, "DELETE FROM trail WHERE entry_no = 3")
    (fault,) = verify_trail(store).faults
    assert fault.sentence == "An event has no row in the trail: note n1, number 3."


def test_list_filters_and_asks_for_the_right(store: FollowupStore) -> None:
    keep(store, "n1", "a")
    keep(store, "n2", "b", by="lena", at=AT + timedelta(days=2))
    keep(store, "n1", "c")
    wanted = {
        TrailFilter(): [1, 2, 3],
        TrailFilter(record_id="n1"): [1, 3],
        TrailFilter(by="lena"): [2],
        TrailFilter(action="changed"): [3],
        TrailFilter(since=AT + timedelta(days=1)): [2],
        TrailFilter(until=AT): [1, 3],
        TrailFilter(record_class="case"): [],
    }
    for one, numbers in wanted.items():
        assert [row.no for row in list_trail(store, one, actor=REVIEWER)] == numbers
    assert [row.no for row in list_trail(store, actor=MANAGER, last=1)] == [3]
    for actor in (LEAD, None):
        with pytest.raises(AccessRefused):
            list_trail(store, actor=actor)


def test_expired_content_is_gone_and_the_chain_stays_whole(
    store: FollowupStore, network_folder: Path, tmp_path: Path
) -> None:
    keep(store, "old", "zanzibar-one", at=AT.replace(year=2015))
    keep(store, "old", "zanzibar-two", at=AT.replace(year=2016))
    keep(store, "open", "zanzibar-open", at=AT.replace(year=2015))
    keep(store, "young", "young", at=AT.replace(year=2025))
    with store.writing() as writing:
        at = time_text(AT.replace(year=2015))
        writing.note(Entry(at, "lena", "logged in", "log-in", "lena", after="zanzibar-login"))
    write_head(store, tmp_path / "heads", actor=ADMINISTRATOR, at=AT)
    years = {"note": 6, "log-in": 2}
    kept = {"note": ["open"]}
    look = expire_records(store, years, actor=ADMINISTRATOR, at=AT, kept=kept, is_applied=False)
    assert look["note"][1].n_records == 1
    with store.reading() as reading:
        assert len(reading.events("note", "old")) == 2
    expire_records(store, years, actor=ADMINISTRATOR, at=AT, kept=kept, is_applied=True)
    found = verify_trail(store, heads=read_heads(tmp_path / "heads"))
    assert (found.faults, found.n_expired) == ([], 3)
    with store.reading() as reading:
        assert {event.record_id for event in reading.events("note")} == {"open", "young"}
        assert reading.n_records("note") == 3
        texts = [row.after or "" for row in reading.entries()]
    assert sum("zanzibar" in text for text in texts) == 1
    store.close()
    raw = b"".join(path.read_bytes() for path in network_folder.glob("followup.sqlite*"))
    for word in (b"zanzibar-one", b"zanzibar-two", b"zanzibar-login"):
        assert word not in raw


def test_expiry_of_what_says_so_is_refused(store: FollowupStore) -> None:
    for years in ({"retention": 5}, {"note": 0}):
        with pytest.raises(FollowupError, match="FUP-009"):
            expire_records(store, years, actor=ADMINISTRATOR, at=AT, kept={}, is_applied=True)


def test_head_file_that_is_none_is_refused(tmp_path: Path) -> None:
    (tmp_path / "bad").write_text("2026 x y\n", encoding="utf-8")
    for name in ("bad", "absent"):
        with pytest.raises(FollowupError, match="FUP-008"):
            read_heads(tmp_path / name)
