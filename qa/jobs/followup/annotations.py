"""Notes in charts: written, read, withdrawn."""

from datetime import date, datetime

from qa.followup import annotations
from qa.followup.annotations import ANNOTATION, Annotation
from qa.jobs.followup.opening import change_record, load_record, load_records, no_such_record
from qa.model.definitions import Network
from qa.model.errors import FollowupError
from qa.model.permissions import Actor, Permission, may, require
from qa.model.words import UnitKind
from qa.stores.followup.store import FollowupStore


def add_annotation(
    store: FollowupStore,
    *,
    network: Network,
    unit_kind: str,
    unit_id: str,
    day: date,
    kind: str,
    words: str,
    actor: Actor | None,
    at: datetime,
) -> Annotation:
    """Write a note at a unit's charts.

    Raises: AccessRefused; FollowupError FUP-035 (no such unit or kind, a day ahead), FUP-011 to
        FUP-013.
    """
    site_id = _site_of_unit(network, unit_kind, unit_id)
    actor = require(actor, Permission.ANNOTATE, site_id=site_id)
    with store.writing() as writing:
        return change_record(
            writing,
            ANNOTATION,
            f"NOTE-{writing.n_records(ANNOTATION.name) + 1:04d}",
            lambda one: annotations.annotate(
                one,
                unit_kind=unit_kind,
                unit_id=unit_id,
                site_id=site_id,
                day=day,
                kind=kind,
                words=words,
                on=at.date(),
            ),
            by=actor.user_id,
            at=at,
        )


def _site_of_unit(network: Network, unit_kind: str, unit_id: str) -> str | None:
    known: dict[str, dict[str, str | None]] = {
        UnitKind.NETWORK: {"network": None},
        UnitKind.SITE: {site.id: site.id for site in network.sites},
        UnitKind.OPERATOR: {person.id: person.site for person in network.operators},
        UnitKind.DEVICE: {device.id: device.site for device in network.devices},
    }
    units = known.get(unit_kind, {})
    if unit_id not in units:
        raise FollowupError(
            f"there is no {unit_kind[:60]} '{unit_id[:60]}'",
            where="annotation",
            expected="a network, site, operator or device of network.toml",
            code="FUP-035",
        )
    return units[unit_id]


def withdraw_annotation(
    store: FollowupStore, annotation_id: str, *, why: str, actor: Actor | None, at: datetime
) -> Annotation:
    """Raises: AccessRefused; FollowupError FUP-014 when there is none that this person may see."""
    with store.writing() as writing:
        one = load_record(writing, ANNOTATION, annotation_id)
        if actor and not may(actor, Permission.SEE_CASES, site_id=one.site_id):
            raise no_such_record(ANNOTATION, annotation_id)
        actor = require(actor, Permission.ANNOTATE, site_id=one.site_id)
        return change_record(
            writing,
            ANNOTATION,
            annotation_id,
            lambda one: annotations.withdraw_annotation(one, why=why),
            by=actor.user_id,
            at=at,
        )


def list_annotations(store: FollowupStore, *, actor: Actor | None) -> list[Annotation]:
    """Notes that stand in charts this person may see; notes of the whole network for everybody."""
    with store.reading() as reading:
        found = [one for one in load_records(reading, ANNOTATION) if not one.is_withdrawn]
    return [
        one
        for one in found
        if may(actor, Permission.SEE_RESULTS, site_id=one.site_id, owner=one.unit_id)
        or (actor is not None and one.site_id is None and actor.reaches(Permission.SEE_RESULTS))
    ]
