"""Issued packs as people fetch them from the screens: listed, checked, and written down."""

import hashlib

from qa.jobs.followup.archive import IssuedPack, Shelf
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.pack_opening import note_opened
from qa.jobs.users.uses import FETCHED_PACK, note_use
from qa.model.errors import FollowupError, PackError
from qa.model.months import parse_month
from qa.model.permissions import Permission, may, require
from qa.model.published import Published

MOST_DIGITS = 6


def issued_packs(desk: CaseDesk, site_id: str) -> list[IssuedPack]:
    """Packs of a site, the newest month and issue first; none for who may not fetch them."""
    if not may(desk.actor, Permission.DOWNLOAD_PACKS, site_id=site_id):
        return []
    return desk.archive.issued_of(site_id) if isinstance(desk.archive, Shelf) else []


def fetch_pack(
    desk: CaseDesk, published: Published, *, site_id: str, month: str, number: str
) -> tuple[str, bytes]:
    """A pack's name and its PDF; that it was fetched stands in the trail before it is handed out.

    Args:
        published: what the person may see; a site that is not in it does not exist.
        month, number: as they stand in the address; nothing but a month and digits is taken.
    Raises: AccessRefused; UserError for a month that is none; FollowupError FUP-014 when there is
        no such pack; PackError PCK-020 when it is not as it was issued.
    """
    actor = desk.actor
    if actor is None or not actor.reaches(Permission.DOWNLOAD_PACKS):
        actor = require(actor, Permission.DOWNLOAD_PACKS, site_id=site_id)
    pack = find_pack(desk, published, site_id=site_id, month=month, number=number)
    pdf, sha256 = pack.read_pdf(), pack.read_digest()
    if hashlib.sha256(pdf).hexdigest() != sha256:
        raise PackError(
            "this pack is not as it was issued",
            where=pack.name,
            expected="the SHA-256 of its manifest",
            todo="Nothing was handed out. Ask the QA manager; 'elastoqa verify' says more",
            code="PCK-020",
        )
    note_use(desk.store, actor, FETCHED_PACK, pack.name, at=desk.at, snapshot_id=f"PDF {sha256}")
    with desk.store.writing() as writing:
        note_opened(writing, pack, actor, at=desk.at)
    return f"{pack.name}.pdf", pdf


def find_pack(
    desk: CaseDesk, published: Published, *, site_id: str, month: str, number: str
) -> IssuedPack:
    """Raises: UserError for a month that is none; FollowupError FUP-014."""
    wanted = parse_month(month)
    is_number = number.isascii() and number.isdecimal() and len(number) <= MOST_DIGITS
    is_site = published.network.site(site_id) is not None
    issued = issued_packs(desk, site_id) if is_site and is_number else []
    found = [one for one in issued if (one.month, one.number) == (wanted, int(number))]
    if not found:
        raise FollowupError(
            "there is no such pack for this account",
            where=f"{site_id[:40]}, {wanted:%Y-%m}, number {number[:10]}",
            todo="See the list on the site's screen",
            code="FUP-014",
        )
    return found[0]
