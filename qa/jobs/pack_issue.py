"""Make one pack, and issue it unless the newest issue says the same."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from qa.jobs.pack_changes import changes_between, reason_of, says_the_same
from qa.jobs.pack_facts import FactsReader
from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.model.reissue import Replaced, replaced_of
from qa.model.sealed import SEAL, seal
from qa.stores.pack_archive import Issue, archive_pack, list_issues, read_manifest
from qa.stores.signing import PackSigner
from qa.views.pack import RenderedPack
from qa.views.pack_facts import PackFacts


class Render(Protocol):
    """Draws one pack; reports.pack.render_pack is handed in by the command line."""

    def __call__(
        self,
        published: Published,
        request: PackRequest,
        *,
        number: int,
        facts: PackFacts | None = None,
        replaced: Replaced | None = None,
    ) -> RenderedPack: ...


@dataclass(frozen=True)
class PackMaker:
    """All that one process needs to make packs.

    Args:
        reader: the record of decisions; None: packs are made without it.
        signer: None: packs are not signed.
        reason: of a person who wants new issues of whatever is different; "" asks only for what
            says something else.
    """

    folder: Path
    snapshot: Published
    reader: FactsReader | None
    render: Render
    signer: PackSigner | None = None
    reason: str = ""

    def issue(self, request: PackRequest) -> tuple[Issue, bool]:
        """The issue that says what the snapshot says, and whether it is new.

        Raises: PackError; SnapshotError. Nothing is left of a pack that failed.
        """
        issues = list_issues(self.folder, month=request.month, site_id=request.key)
        facts = self.reader.read(request) if self.reader else None
        if not issues:
            return self._archive(request, self.draw(request, 1, facts), 1), True
        newest = issues[-1]
        old = read_manifest(newest.manifest_path)
        again = self.draw(request, newest.number, facts, replaced_of(old))
        fresh = json.loads(again.manifest)
        is_same = _bare(fresh) == _bare(old)
        if is_same or (says_the_same(old, fresh) and not self.reason):
            return newest, False
        number = newest.number + 1
        replaced = Replaced(
            number=newest.number,
            sha256=hashlib.sha256(newest.read_pdf()).hexdigest(),
            reason=self.reason or reason_of(old, fresh),
            changed=tuple(changes_between(old, fresh)),
        )
        pack = self.draw(request, number, facts, replaced)
        return self._archive(request, pack, number), True

    def draw(
        self,
        request: PackRequest,
        number: int,
        facts: PackFacts | None,
        replaced: Replaced | None = None,
    ) -> RenderedPack:
        """The pack as it would be issued, before it is signed."""
        pack = self.render(self.snapshot, request, number=number, facts=facts, replaced=replaced)
        content = json.loads(pack.manifest)
        content["pdf_bytes"] = len(pack.pdf)
        content["replaces"] = replaced.plain if replaced else None
        return replace(pack, manifest=seal(content))

    def _archive(self, request: PackRequest, pack: RenderedPack, number: int) -> Issue:
        pdf, manifest = pack.pdf, pack.manifest
        if self.signer:
            pdf = self.signer.sign(pdf, reason=f"Issue {number} of this audit pack")
            content = json.loads(manifest)
            digest = hashlib.sha256(pdf).hexdigest()
            content["signature"] = {**self.signer.plain, "file_sha256": digest}
            manifest = seal(content)
        return archive_pack(
            self.folder,
            month=request.month,
            site_id=request.key,
            number=number,
            pdf=pdf,
            manifest=manifest,
        )


def _bare(manifest: Mapping[str, Any]) -> dict[str, Any]:
    """A manifest without what signing and the seal add."""
    return {key: value for key, value in manifest.items() if key not in (SEAL, "signature")}
