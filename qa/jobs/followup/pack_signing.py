"""Packs in the hands of people: opened, signed off; and what is still open of a month."""

from collections.abc import Sequence
from datetime import date
from functools import partial

from qa.followup import pack_records as records
from qa.followup.pack_records import PACK, PackRecord
from qa.jobs.followup.archive import IssuedPack, Shelf
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.issued_packs import find_pack
from qa.jobs.followup.opening import change_record, load_records
from qa.jobs.followup.pack_opening import note_opened
from qa.jobs.users.opening import names_of_people
from qa.model.permissions import Actor, Permission, may, require
from qa.model.published import Published


def open_page(
    desk: CaseDesk, published: Published, *, site_id: str, month: str, number: str
) -> tuple[IssuedPack, PackRecord]:
    """A pack and its record; that somebody opened it is kept, once for each person.

    Raises: AccessRefused; FollowupError FUP-014 when there is no such pack for this account.
    """
    actor = _require(desk, site_id)
    pack = find_pack(desk, published, site_id=site_id, month=month, number=number)
    with desk.store.writing() as writing:
        record = note_opened(writing, pack, actor, at=desk.at)
    return pack, record


def sign_pack(
    desk: CaseDesk, published: Published, *, site_id: str, month: str, number: str, comment: str
) -> PackRecord:
    """Sign a pack off, in the name of its site.

    Raises: AccessRefused; FollowupError FUP-014, PCK-031 (signed already), PCK-033 (an issue that
        was replaced), FUP-012, FUP-013.
    """
    pack = find_pack(desk, published, site_id=site_id, month=month, number=number)
    actor = require(desk.actor, Permission.SIGN_PACKS, site_id=pack.site_id)
    decide = partial(records.sign_off, comment=comment, is_newest=pack.is_newest)
    with desk.store.writing() as writing:
        note_opened(writing, pack, actor, at=desk.at)
        return change_record(writing, PACK, pack.name, decide, by=actor.user_id, at=desk.at)


def packs_of_month(
    desk: CaseDesk, sites: Sequence[str], month: date
) -> list[tuple[IssuedPack, PackRecord | None]]:
    """The newest pack of each site's month with its record; None: nobody was sent it or opened it.

    Only of sites whose packs this person may fetch.
    """
    if not isinstance(desk.archive, Shelf):
        return []
    with desk.store.reading() as reading:
        known = {one.pack_id: one for one in load_records(reading, PACK)}
    seen = [one for one in sites if may(desk.actor, Permission.DOWNLOAD_PACKS, site_id=one)]
    found = [one for site_id in seen for one in desk.archive.issued_of(site_id)]
    return [(one, known.get(one.name)) for one in found if one.month == month and one.is_newest]


def names_for(desk: CaseDesk) -> dict[str, str]:
    """Account's id → name, for what the record says."""
    return names_of_people(desk.store)


def _require(desk: CaseDesk, site_id: str) -> Actor:
    if desk.actor is None or not desk.actor.reaches(Permission.DOWNLOAD_PACKS):
        return require(desk.actor, Permission.DOWNLOAD_PACKS, site_id=site_id)
    return desk.actor
