"""What each action of 'elastoqa second-reading' does and prints."""

import argparse
from collections.abc import Mapping
from typing import Any

from qa.cli.shared import now
from qa.cli.who import acting

Arguments = argparse.Namespace
Environ = Mapping[str, str]


def _desk(arguments: Arguments, environ: Environ) -> Any:
    from qa.jobs.followup.opening import open_network, open_record
    from qa.jobs.followup.second_reading import SecondReadingDesk

    store = open_record(arguments.network, environ=environ)
    actor = acting(arguments, environ)
    return SecondReadingDesk(store, open_network(arguments.network), actor, now())


def _published(arguments: Arguments) -> Any:
    from qa.jobs.followup.evidence import open_published

    return open_published(arguments.network)


def _say(sample: Any, desk: Any) -> int:
    from qa.jobs.followup.reading_files import sample_lines

    print("\n".join(sample_lines(sample, desk)))
    return 0


def run_draw(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.reading_files import sample_line

    desk, published = _desk(arguments, environ), _published(arguments)
    month = arguments.month or published.frame("monthly_counts")["month"].max()
    done = {one.sample_id for one in desk.samples()}
    wanted = arguments.operators or desk.to_draw(month, published=published)
    for operator in wanted:
        if arguments.operators or f"{operator}.{month:%Y-%m}" not in done:
            print(sample_line(desk.draw(operator, month, published=published)))
    if not wanted:
        print("No operator has exams to draw from.")
    return 0


def run_pick(arguments: Arguments, environ: Environ) -> int:
    desk, published = _desk(arguments, environ), _published(arguments)
    if arguments.exams:
        told = {"exam_keys": arguments.exams, "reason": arguments.reason}
        return _say(desk.pick(arguments.sample, **told, published=published), desk)
    found = desk.proposed_picks(arguments.sample, published)
    for one in found:
        print(f'{one.exam_key}  "{one.reason}"  {one.shown}')
    if not found:
        print("No exam stands out.")
    return 0


def run_assign(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    told = {"reader": arguments.reader, "reader_operator": arguments.operator}
    return _say(desk.assign(arguments.sample, codes=arguments.codes, **told), desk)


def run_places(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    for code, place in desk.places(arguments.sample, _published(arguments)).items():
        print(f"{code}  {place}")
    return 0


def run_sheet(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.export import write_frame
    from qa.jobs.followup.reading_files import sheet_frame

    report = write_frame(sheet_frame(_desk(arguments, environ).tasks()), arguments.out)
    print(f"{report.n_rows:,} exams to read in {report.path}.")
    return 0


def run_enter(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.reading_files import read_sheet

    n = _desk(arguments, environ).read(read_sheet(arguments.file))
    print(f"{n:,} readings entered.")
    return 0


def run_read(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.second_reading import ReadForm

    form = ReadForm(
        arguments.code, arguments.outcome, arguments.kpa, arguments.db_m, arguments.words
    )
    _desk(arguments, environ).read([form])
    print(f"Exam {form.code} is read.")
    return 0


def run_list(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.reading_files import sample_line

    print("\n".join(map(sample_line, _desk(arguments, environ).samples())) or "No sample.")
    return 0


def run_show(arguments: Arguments, environ: Environ) -> int:
    desk = _desk(arguments, environ)
    return _say(desk.sample(arguments.sample), desk)


def run_agreement(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.reading_files import agreement_text

    desk = _desk(arguments, environ)
    samples = [
        one
        for one in desk.samples()
        if arguments.operator in (None, one.operator_id)
        and (arguments.since is None or one.month >= arguments.since)
    ]
    print(agreement_text(desk.agreement(samples)))
    return 0


def run_case(arguments: Arguments, environ: Environ) -> int:
    from qa.jobs.followup.case_lines import state_line

    desk = _desk(arguments, environ)
    told = {"owner": arguments.owner, "due_on": arguments.due}
    case = desk.open_case(arguments.sample, arguments.code, **told)
    print(state_line(case, on=desk.at.date()))
    return 0
