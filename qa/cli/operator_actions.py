"""What each action of 'elastoqa operators' does and prints."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import now
from qa.cli.who import acting

Arguments = argparse.Namespace
Environ = Mapping[str, str]


def _desk(arguments: Arguments, environ: Environ) -> Any:
    from qa.jobs.followup.competence import CompetenceDesk
    from qa.jobs.followup.opening import open_network, open_record

    store = open_record(arguments.network, environ=environ)
    actor = acting(arguments, environ)
    return CompetenceDesk(store, open_network(arguments.network), actor, now())


def _published(arguments: Arguments) -> Any:
    from qa.jobs.followup.evidence import open_published

    return open_published(arguments.network)


def _write(frame: Any, arguments: Arguments) -> int:
    from qa.jobs.export import write_frame

    report = write_frame(frame, arguments.out)
    print(f"{report.n_rows:,} rows in {report.path}.")
    return 0


def _say(file: Any) -> int:
    from qa.jobs.followup.competence_lines import kept_lines

    print("\n".join(kept_lines(file)))
    return 0


def run_list(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.competence_lines import standing_frame, standing_line

    desk = _desk(arguments, environ)
    homes = {one.id: one.site for one in desk.network.operators}
    found = [
        one
        for one in desk.standings(_published(arguments))
        if arguments.site in (None, homes[one.operator_id]) and (one.lacks or not arguments.lacking)
    ]
    if arguments.out:
        return _write(standing_frame(found), arguments)
    print("\n".join(standing_line(one) for one in found) or "No operator.")
    return 0


def run_show(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.competence_lines import file_lines

    desk = _desk(arguments, environ)
    file = desk.file(arguments.operator)
    standing = desk.standing(arguments.operator, _published(arguments))
    print("\n".join(file_lines(file, standing)))
    return 0


def run_outside(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.competence_lines import outside_lines

    desk, published = _desk(arguments, environ), _published(arguments)
    newest = published.frame("monthly_counts")["month"].max()
    from_day = getattr(arguments, "from") or newest or desk.today
    exams = desk.outside(published, from_day=from_day, to_day=arguments.to or desk.today)
    if arguments.out:
        return _write(exams, arguments)
    print("\n".join(outside_lines(exams)) or "Every exam was done within an authorisation.")
    return 0


def run_train(arguments: Arguments, environ: Environ) -> int:
    return _teach(arguments, _desk(arguments, environ).train)


def run_refresh(arguments: Arguments, environ: Environ) -> int:
    return _teach(arguments, _desk(arguments, environ).refresh)


def _teach(arguments: Arguments, keep: Any) -> int:
    told = {"day": arguments.on, "given_by": arguments.given_by, "words": arguments.words}
    return _say(keep(arguments.operator, **told, seen_no=arguments.seen))


def run_observe(arguments: Arguments, environ: Environ) -> int:
    return _say(
        _desk(arguments, environ).observe(
            arguments.operator,
            day=arguments.on,
            observer=arguments.observer,
            is_satisfactory=not arguments.not_yet,
            words=arguments.words,
            seen_no=arguments.seen,
        )
    )


def run_earlier(arguments: Arguments, environ: Environ) -> int:
    told = {"n": arguments.exams, "words": arguments.words, "seen_no": arguments.seen}
    return _say(_desk(arguments, environ).state_earlier(arguments.operator, **told))


def run_authorise(arguments: Arguments, environ: Environ) -> int:
    return _say(
        _desk(arguments, environ).authorise(
            arguments.operator,
            technique=arguments.technique,
            probe=arguments.probe,
            from_day=getattr(arguments, "from"),
            to_day=arguments.to,
            seen_no=arguments.seen,
        )
    )


def run_end(arguments: Arguments, environ: Environ) -> int:
    told = {"to_day": arguments.to, "why": arguments.why, "seen_no": arguments.seen}
    return _say(
        _desk(arguments, environ).end_authorisation(arguments.operator, arguments.number, **told)
    )
