"""What each action of 'elastoqa cases' does and prints."""

import argparse
import json
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import now
from qa.cli.who import acting

Arguments = argparse.Namespace
Environ = Mapping[str, str]


def _desk(arguments: Arguments, environ: Environ) -> Any:
    from qa.jobs.followup.cases import CaseDesk
    from qa.jobs.followup.opening import open_record

    store = open_record(arguments.network, environ=environ)
    return CaseDesk(store, acting(arguments, environ), now())


def _published(arguments: Arguments) -> Any:
    from qa.jobs.followup.evidence import open_published

    return open_published(arguments.network)


def _say(desk: Any, case: Any) -> int:
    from qa.jobs.followup.case_lines import state_line

    print(state_line(case, on=desk.today))
    return 0


def run_list(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.case_lines import cases_json, list_lines

    desk = _desk(arguments, environ)
    cases = [case for case in desk.cases() if arguments.site in (None, case.site_id)]
    cases = [case for case in cases if arguments.all or not case.is_closed]
    if arguments.json:
        print(json.dumps(cases_json(cases, on=desk.today), indent=1, ensure_ascii=False))
        return 0
    lines = list_lines(cases, on=desk.today, only_overdue=arguments.overdue)
    print("\n".join(lines) or "No case.")
    return 0


def run_show(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.case_lines import case_lines

    desk = _desk(arguments, environ)
    print("\n".join(case_lines(desk.case(arguments.case), on=desk.today)))
    return 0


def run_open(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    return _say(
        desk,
        desk.open(
            title=arguments.title,
            owner=arguments.owner,
            due_on=arguments.due,
            why=arguments.why,
            site_id=arguments.site,
            item_ids=arguments.items,
            published=_published(arguments) if arguments.items else None,
        ),
    )


def run_dismiss(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.signals import dismiss_item, take_up_item

    desk = _desk(arguments, environ)
    told = {"why": arguments.why, "actor": desk.actor, "at": desk.at}
    if arguments.undo:
        take_up_item(desk.store, arguments.item, **told)
        print(f"{arguments.item}: taken up again.")
    else:
        published = _published(arguments)
        review = dismiss_item(desk.store, arguments.item, published=published, **told)
        print(f"{review.item_id}: not pursued ({review.why}).")
    return 0


def run_assign(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    told = {"owner": arguments.owner, "due_on": arguments.due, "seen_no": arguments.seen}
    return _say(desk, desk.assign(arguments.case, **told))


def run_exams(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    if arguments.decide:
        keys = arguments.exams or [one.exam_key for one in desk.case(arguments.case).exams]
        case = desk.decide_exams(
            arguments.case,
            exam_keys=keys,
            decision=arguments.decide,
            words=arguments.words,
            seen_no=arguments.seen,
        )
    else:
        case = desk.list_exams(
            arguments.case,
            published=_published(arguments),
            exam_keys=arguments.exams or None,
            seen_no=arguments.seen,
        )
    for exam in case.exams:
        print(f"{exam.exam_key}  {exam.shown}  {exam.decision or 'not decided'}")
    return _say(desk, case)


def run_contain(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    return _say(desk, desk.contain(arguments.case, words=arguments.words, seen_no=arguments.seen))


def run_cause(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    told = {"category": arguments.category, "method": arguments.method, "words": arguments.words}
    return _say(desk, desk.find_cause(arguments.case, **told, seen_no=arguments.seen))


def run_plan(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.plan_form import PlanForm

    desk = _desk(arguments, environ)
    is_below = arguments.at_most is not None
    form = PlanForm(
        kind=arguments.action,
        words=arguments.words,
        owner=arguments.owner,
        due_on=arguments.due,
        threshold_percent=arguments.at_most if is_below else arguments.at_least,
        check_on=arguments.check_on,
        n_months=arguments.months,
        min_n=arguments.min_exams,
        is_below=is_below,
        measure_id=arguments.measure,
        unit_kind=arguments.unit[0],
        unit_id=arguments.unit[1],
        step=arguments.step,
        device_id=arguments.device,
        decided_by_clinic=arguments.decided_by,
    )
    published = _published(arguments)
    return _say(
        desk,
        desk.plan_action(arguments.case, form, published=published, seen_no=arguments.seen),
    )


def run_done(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    told = {"done_on": arguments.on, "words": arguments.words, "seen_no": arguments.seen}
    return _say(desk, desk.finish_action(arguments.case, **told))


def run_check(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.case_lines import effect_lines

    desk, published = _desk(arguments, environ), _published(arguments)
    result = desk.preview(arguments.case, published=published)
    if result is not None:
        print("\n".join(effect_lines(result)))
    if arguments.look:
        return 0
    return _say(desk, desk.check(arguments.case, published=published, seen_no=arguments.seen))


def run_put_off(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    told = {"check_on": arguments.to, "why": arguments.why, "seen_no": arguments.seen}
    return _say(desk, desk.put_check_off(arguments.case, **told))


def run_close(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    return _say(desk, desk.close(arguments.case, words=arguments.words, seen_no=arguments.seen))


def run_reopen(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    return _say(desk, desk.reopen(arguments.case, why=arguments.why, seen_no=arguments.seen))


def run_comment(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    return _say(desk, desk.comment(arguments.case, words=arguments.words))


def run_annotate(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.annotations import add_annotation
    from qa.jobs.followup.opening import open_network

    desk = _desk(arguments, environ)
    note = add_annotation(
        desk.store,
        network=open_network(arguments.network),
        unit_kind=arguments.kind,
        unit_id=arguments.unit,
        day=arguments.day,
        kind=arguments.what,
        words=arguments.words,
        actor=desk.actor,
        at=desk.at,
    )
    print(f"{note.annotation_id}: {note.kind} on {note.day}, {note.unit_kind} {note.unit_id}.")
    return 0


def run_remind(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.reminders import queue_reminders

    desk = _desk(arguments, environ)
    queued = queue_reminders(desk.store, at=desk.at, by=desk.actor.user_id)
    for one in queued.new:
        print(f"{one.record_id}  {one.for_user}  due {one.due_on}  {one.what}")
    print(f"{len(queued.new):,} new reminders, {queued.n_waiting:,} wait to be sent.")
    return 0
