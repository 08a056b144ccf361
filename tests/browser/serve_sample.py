"""Serve the sample snapshot: python -m tests.browser.serve_sample PORT [--empty] [--accounts]

Or a published network folder, with accounts: … PORT --folder FOLDER

--accounts: with one account for each role, of tests/access/people.py.

Files are tried in the network of tests/bad_exports, which differs from the sample.
"""

import sys
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import waitress

from dashboard.access import Access
from dashboard.app import create_app
from dashboard.case_pages import MakeDesk
from dashboard.serving import HOST
from dashboard.source import CurrentSnapshot
from qa.jobs.followup.archive import Archive, NetworkArchive
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.demo_equipment import write_demo_equipment
from qa.jobs.followup.opening import command_actor, open_record
from qa.jobs.try_file import FileTrial
from qa.jobs.users.accounts import Grant
from qa.model.definitions import Network
from qa.model.permissions import Role
from qa.stores.settings import load_network
from tests.access.people import GRANTS, email_of, make_account, quick_door
from tests.followup.notes import NETWORK_TEXT
from tests.followup.sample_archive import sample_archive
from tests.pages.sample_published import empty_published, sample_published

EQUIPMENT_AT = datetime(2026, 11, 4, 7, tzinfo=UTC)
BIASES = {"D6": (date(2026, 1, 1), 0.15)}
DEMO_GRANTS = {
    Role.SITE_LEAD: Grant((Role.SITE_LEAD,), ("eider-point",)),
    Role.OPERATOR: Grant((Role.OPERATOR,), (), "op-18"),
}
NETWORK = Path(__file__).parent.parent / "bad_exports" / "network"


def make_access(folder: Path, network: Network, grants: Mapping[Role, Grant]) -> Access:
    """Accounts in a folder's store."""
    door = quick_door(open_record(folder, environ={}))
    for role, grant in grants.items():
        make_account(door, network, grant, email=email_of(role), name=f"Una {role} (invented)")
    return Access(door, lambda: network, lambda: datetime.now(UTC))


def desk_of(access: Access | None, archive: Archive) -> MakeDesk | None:
    if access is None:
        return None
    return lambda: CaseDesk(access.door.store, command_actor("server"), access.now(), archive)


def serve_folder(folder: Path, port: int) -> None:
    """One account for each role; the lead and the operator are those of the default demo."""
    access = make_access(folder, load_network(folder), GRANTS | DEMO_GRANTS)
    desk = desk_of(access, NetworkArchive(folder))
    app = create_app(CurrentSnapshot(folder), make_desk=desk, access=access)
    waitress.serve(app.server, host=HOST, port=port, threads=8)


if __name__ == "__main__":
    trial = FileTrial(
        NETWORK,
        find_key=lambda: bytes(32),
        now=lambda: datetime(2026, 11, 5, 8, tzinfo=UTC),
    )
    if "--folder" in sys.argv:
        serve_folder(Path(sys.argv[-1]), int(sys.argv[1]))
    source = empty_published if "--empty" in sys.argv else sample_published
    with TemporaryDirectory() as place:
        access = None
        if "--accounts" in sys.argv:
            (Path(place) / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
            network = sample_published().network
            access = make_access(Path(place), network, GRANTS)
            write_demo_equipment(access.door.store, network, at=EQUIPMENT_AT, biases=BIASES)
        desk = desk_of(access, sample_archive())
        app = create_app(source, profile_tools=trial, make_desk=desk, access=access)
        waitress.serve(app.server, host=HOST, port=int(sys.argv[1]), threads=8)
