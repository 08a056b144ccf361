from qa.signals.items import Items
from tests.unit.charts.frames import month


def row(unit, *, kind="operator", stake=10.0, measure="MSR-001"):
    return {
        "signal_id": f"{kind}.{unit}.{measure}",
        "unit_kind": kind,
        "unit_id": unit,
        "measure_id": measure,
        "criteria_id": "plain.v1",
        "direction": "higher",
        "at_stake": stake,
    }


SITE, ONE, TWO = row("eider", kind="site", stake=20.0), row("op-1"), row("op-2", stake=8.0)


def carry(*months):
    """Item ids month by month; a month is a list of groups, the leading row of each first."""
    items, found = Items(), []
    for number, groups in enumerate(months, start=1):
        ids = items.carry(month(number), {group[0]["signal_id"]: group for group in groups})
        found.append([ids[group[0]["signal_id"]] for group in groups])
    return found


def test_items_keep_their_id_when_another_unit_takes_the_lead():
    first, second, third = carry([[SITE]], [[ONE, SITE]], [[SITE, ONE]])
    assert first == second == third == ["2025-01.site.eider.MSR-001.plain.v1.higher"]


def test_items_of_two_causes_stay_apart_when_a_follower_changes_sides():
    first, second = carry([[ONE, SITE], [TWO]], [[ONE], [TWO, SITE]])
    assert first == second
    assert len(set(first)) == 2


def test_items_that_turn_out_to_be_one_keep_the_id_of_the_lead():
    first, second, third = carry([[ONE]], [[ONE], [TWO]], [[TWO, ONE]])
    assert third == second[1:]
    assert second[1] not in first


def test_items_that_were_joined_for_a_while_take_up_their_own_ids():
    """The site's common cause was none: both operators go on under the ids they had."""
    apart, joined, again = carry([[ONE], [TWO]], [[SITE, ONE, TWO]], [[ONE, SITE], [TWO]])
    assert joined == apart[:1]
    assert again == apart


def test_items_split_off_are_new_and_the_lead_keeps_the_id():
    first, second = carry([[ONE, SITE]], [[SITE], [ONE]])
    assert second[1] == first[0]
    assert second[0] == "2025-02.site.eider.MSR-001.plain.v1.higher"


def test_items_go_back_to_the_signal_that_opened_them():
    apart, joined, again = carry([[ONE]], [[SITE, ONE]], [[SITE], [ONE]])
    assert joined == apart == again[1:]
    assert again[0] == "2025-03.site.eider.MSR-001.plain.v1.higher"


def test_items_that_come_back_after_a_pause_are_new():
    found = carry([[ONE]], [], [[ONE]], [], [], [[ONE]])
    assert found[2] == found[0]
    assert found[5] != found[0]
