"""What `elastoqa documents` does."""

import argparse
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from qa.cli.shared import now
from qa.cli.who import acting
from qa.model.document_words import DocumentKind
from qa.model.errors import WrongUse


def _desk(arguments: argparse.Namespace, environ: Mapping[str, str], sites: Any = ()) -> Any:
    from qa.jobs.followup.documents import DocumentDesk
    from qa.jobs.followup.opening import open_record

    actor = replace(acting(arguments, environ), sites=tuple(sites))
    return DocumentDesk(open_record(arguments.network, environ=environ), actor, now())


def _kind(text: str) -> DocumentKind:
    try:
        return DocumentKind(text)
    except ValueError:
        raise WrongUse(
            f"'{text}' is no kind of document",
            expected=f"one of {', '.join(DocumentKind)}",
            code="USE-050",
        ) from None


def run_list(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.document_lines import documents_json, list_lines

    desk = _desk(arguments, environ)
    kind = _kind(arguments.kind) if arguments.kind else None
    found = [one for one in desk.documents() if kind is None or one.kind is kind]
    if arguments.json:
        print(json.dumps(documents_json(found, on=desk.today), indent=1, ensure_ascii=False))
        return 0
    print("\n".join(list_lines(found, on=desk.today)) or "No document is under control yet.")
    return 0


def run_show(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.document_lines import document_lines

    desk = _desk(arguments, environ)
    one = desk.document(arguments.document)
    if arguments.text:
        print(one.content or "Only its fingerprint is kept.")
        return 0
    print("\n".join(document_lines(one, on=desk.today)))
    return 0


def run_propose(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.drafts import draft_of_definition, draft_of_protocol, find_definition

    kind, before = _kind(arguments.kind), ""
    if kind is DocumentKind.PROTOCOL:
        if arguments.file is None:
            raise WrongUse("no file is named", expected="--file FILE", code="USE-051")
        draft = draft_of_protocol(
            arguments.file,
            series=arguments.name,
            version=arguments.edition,
            title=arguments.title or arguments.name,
            site_id=arguments.site,
        )
    else:
        text, _ = find_definition(kind, arguments.name)
        draft = draft_of_definition(kind, text, where=arguments.name)
        if arguments.before:
            before = find_definition(kind, arguments.before)[0]
    one = _desk(arguments, environ).propose(
        draft, from_day=getattr(arguments, "from"), changes=arguments.changes, before=before
    )
    print(f"{one.document_id} waits for approval by somebody else than {one.proposed_by}.")
    for words in one.differences:
        print(f"  {words}")
    return 0


def run_preview(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    from qa.jobs.followup.document_lines import preview_json, preview_lines
    from qa.jobs.followup.drafts import find_definition, read_file
    from qa.jobs.followup.preview import preview_criteria
    from qa.jobs.progress_bar import ProgressBar
    from qa.model.parsing import parse_criteria_set

    if (arguments.criteria is None) == (arguments.file is None):
        raise WrongUse("name one criteria set", expected="ID or --file FILE", code="USE-052")
    if arguments.file:
        text = read_file(arguments.file).decode("utf-8", errors="replace")
        proposed = parse_criteria_set(text, where=arguments.file.name)
    else:
        proposed = find_definition(DocumentKind.CRITERIA, arguments.criteria)[1]
    with ProgressBar("Judging exams twice") as progress:
        report = preview_criteria(
            arguments.network, proposed, n_months=max(arguments.months, 1), progress=progress
        )
    if arguments.json:
        print(json.dumps(preview_json(report), indent=1))
    else:
        print("\n".join(preview_lines(report)))
    return 0


def run_approve(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    desk = _desk(arguments, environ)
    one = desk.approve(arguments.document, fingerprint=arguments.fingerprint, words=arguments.words)
    print(
        f"{one.document_id} is approved by {one.approved_by}, in force from {one.from_day}. "
        f"Fingerprint {one.fingerprint}."
    )
    if one.kind is DocumentKind.CRITERIA:
        print("It judges once [[criteria]] in network.toml names it with that day or a later one.")
    return 0


def run_refuse(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    one = _desk(arguments, environ).turn_down(arguments.document, why=arguments.why)
    print(f"{one.document_id} is not approved: {one.refused_because}")
    return 0


def run_read(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    one = _desk(arguments, environ, arguments.site).confirm_reading(arguments.document)
    print(f"{one.document_id} was read by {len(one.reads)}: {one.reads[-1].by} is noted.")
    return 0


def run_end(arguments: argparse.Namespace, environ: Mapping[str, str]) -> int:
    one = _desk(arguments, environ).end(arguments.document, on=arguments.on, why=arguments.why)
    print(f"{one.document_id} is no longer in force from {one.ended_on} on.")
    return 0
