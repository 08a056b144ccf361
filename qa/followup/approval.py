"""Which criteria sets network.toml may put in force: those that two people agreed on."""

from collections.abc import Mapping, Sequence

from qa.followup.documents import Document
from qa.model.definitions import CriteriaSet, InForce, Network
from qa.model.document_words import DocumentKind
from qa.model.errors import FollowupError


def approval_of(
    in_force: InForce, documents: Sequence[Document], *, fingerprint: str
) -> Document | None:
    """The approval that covers a criteria set from its first day on; None: there is none."""
    for one in documents:
        is_same = one.kind is DocumentKind.CRITERIA and one.document_id == in_force.id
        is_agreed = one.is_approved and one.fingerprint == fingerprint
        if is_same and is_agreed and one.from_day <= in_force.from_day:
            return one
    return None


def why_not_approved(in_force: InForce, documents: Sequence[Document], *, fingerprint: str) -> str:
    """In words, why a criteria set may not judge; "" where it may.

    Example: 'classic.v1 is proposed by maria and waits for approval'
    """
    if approval_of(in_force, documents, fingerprint=fingerprint):
        return ""
    known = [one for one in documents if one.document_id == in_force.id]
    if not known:
        return f"{in_force.id} was never proposed"
    one = known[-1]
    if one.refused_by:
        return f"{in_force.id} was not approved ({one.refused_because})"
    if not one.is_approved:
        return f"{in_force.id} is proposed by {one.proposed_by} and waits for approval"
    if one.fingerprint != fingerprint:
        return f"{in_force.id} was approved with another content (fingerprint {one.fingerprint})"
    return f"{in_force.id} is approved from {one.from_day} on, not from {in_force.from_day}"


def require_approved(
    network: Network, criteria: Mapping[str, CriteriaSet], documents: Sequence[Document]
) -> None:
    """Refuse a network whose criteria sets in force lack an approval.

    Does nothing where the network does not ask for approval (`criteria_need_approval`).

    Raises: FollowupError FUP-075 with the first set that lacks it.
    """
    if not network.settings.criteria_need_approval:
        return
    for in_force in network.criteria:
        if in_force.id not in criteria:
            continue  # Named as unknown by whoever looks the rules up.
        fingerprint = criteria[in_force.id].fingerprint
        why = why_not_approved(in_force, documents, fingerprint=fingerprint)
        if why:
            raise FollowupError(
                why,
                where="network.toml, [[criteria]]",
                expected="a criteria set that one person proposed and another approved, from the "
                "day on that stands in network.toml",
                todo=f'elastoqa documents propose "criteria set" {in_force.id} --from '
                f"{in_force.from_day}, then have it approved; what is published stays in force",
                code="FUP-075",
            )
