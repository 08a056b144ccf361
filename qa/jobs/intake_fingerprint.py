"""What a file was read with: when it changes, the file is read again."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict

from qa.intake.checks import INTAKE_VERSION
from qa.model.definitions import Device, Network, Operator, Profile


def intake_fingerprint(network: Network, profile: Profile, site_id: str | None) -> str:
    """Hash of everything that decides how a site's file is read."""

    def of_site(items: Sequence[Operator | Device]) -> list[dict]:
        return [asdict(item) for item in items if site_id is None or site_id in item.sites]

    facts = {
        "version": INTAKE_VERSION,
        "profile": asdict(profile),
        "zones": [(one.id, one.time_zone) for one in network.sites if site_id in (None, one.id)],
        "operators": of_site(network.operators),
        "devices": of_site(network.devices),
    }
    text = json.dumps(facts, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
