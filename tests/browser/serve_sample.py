"""Serve the sample snapshot: python -m tests.browser.serve_sample PORT [--empty] [--accounts]

--accounts: with one account for each role, of tests/access/people.py.

Files are tried in the network of tests/bad_exports, which differs from the sample.
"""

import sys
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import waitress

from dashboard.access import Access
from dashboard.app import create_app
from dashboard.case_pages import MakeDesk
from dashboard.serving import HOST
from qa.jobs.followup.cases import CaseDesk
from qa.jobs.followup.demo_equipment import write_demo_equipment
from qa.jobs.followup.opening import command_actor, open_record
from qa.jobs.try_file import FileTrial
from tests.access.people import GRANTS, email_of, make_account, quick_door
from tests.followup.notes import NETWORK_TEXT
from tests.pages.sample_published import empty_published, sample_published

EQUIPMENT_AT = datetime(2026, 11, 4, 7, tzinfo=UTC)
BIASES = {"D6": (date(2026, 1, 1), 0.15)}
NETWORK = Path(__file__).parent.parent / "bad_exports" / "network"


def make_access(folder: Path) -> Access:
    """Accounts in a fresh store, with the invented machines of the sample's network."""
    (folder / "network.toml").write_text(NETWORK_TEXT, encoding="utf-8")
    door = quick_door(open_record(folder, environ={}))
    network = sample_published().network
    for role, grant in GRANTS.items():
        make_account(door, network, grant, email=email_of(role), name=f"Una {role} (invented)")
    write_demo_equipment(door.store, network, at=EQUIPMENT_AT, biases=BIASES)
    return Access(door, lambda: network, lambda: datetime.now(UTC))


def desk_of(access: Access | None) -> MakeDesk | None:
    if access is None:
        return None
    return lambda: CaseDesk(access.door.store, command_actor("server"), access.now())


if __name__ == "__main__":
    trial = FileTrial(
        NETWORK,
        find_key=lambda: bytes(32),
        now=lambda: datetime(2026, 11, 5, 8, tzinfo=UTC),
    )
    source = empty_published if "--empty" in sys.argv else sample_published
    with TemporaryDirectory() as place:
        access = make_access(Path(place)) if "--accounts" in sys.argv else None
        app = create_app(source, profile_tools=trial, make_desk=desk_of(access), access=access)
        waitress.serve(app.server, host=HOST, port=int(sys.argv[1]), threads=8)
