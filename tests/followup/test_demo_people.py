"""The demo's files and readings: what is planted shows, twice is once."""

from dataclasses import replace

from qa.jobs.followup.competence import CompetenceDesk
from qa.jobs.followup.demo_people import keep_demo_files, read_demo_samples
from qa.jobs.followup.demo_record import PROPOSER
from qa.jobs.followup.second_reading import SecondReadingDesk
from qa.jobs.followup.trail import verify_trail
from qa.model.parsing import parse_network
from qa.stores.followup.store import FollowupStore
from tests.followup.notes import AT, NETWORK_TEXT
from tests.pages.sample_published import sample_published

NETWORK = replace(
    sample_published().network, criteria=parse_network(NETWORK_TEXT, where="").criteria
)


def test_what_is_planted_shows_and_twice_is_once(store: FollowupStore) -> None:
    published = sample_published()
    for _ in range(2):
        keep_demo_files(store, NETWORK, at=AT)
        read_demo_samples(store, NETWORK, published, at=AT)
    desk = CompetenceDesk(store, NETWORK, PROPOSER, AT)
    ids = [one.id for one in NETWORK.operators]
    standings = {one.operator_id: one for one in desk.standings(published)}
    assert any("refresher was due" in lack for lack in standings[ids[0]].lacks)
    assert "standard" in standings[ids[1]].authorised[0]
    assert "no authorisation in force" in standings[ids[2]].lacks
    assert standings[ids[3]].refresher_due_on is not None
    readings = SecondReadingDesk(store, NETWORK, PROPOSER, AT)
    found = readings.agreement(readings.samples())
    assert (found.n_waiting, found.n_discrepant) == (3, 1)
    assert all(one.is_as_drawn for one in readings.samples())
    assert verify_trail(store).is_whole
