"""Intake: what came in, what didn't?"""

from dash import html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.addresses import Download, Form, Page
from dashboard.components.basics import file_link, link, section, state_mark
from dashboard.components.charts import chart_figure
from dashboard.components.choices import period_links, select
from dashboard.components.shell import screen
from dashboard.components.tables import months_table, table
from dashboard.selection import Context
from qa.model.months import month_name, short_month_name
from qa.model.words import IntakeState, PointState
from qa.views import words
from qa.views.intake import IntakeView, intake_view
from qa.views.intake_rows import MARKS, IntakeCell

RESTATED = "restated"


def layout(context: Context) -> Component:
    chosen = context.selection
    view = intake_view(
        context.published, month=chosen.month, site_id=chosen.site_id, months=chosen.period
    )
    return screen(
        context,
        Page.INTAKE,
        answer=view.answer,
        subline=view.subline,
        children=[
            _choices(context),
            _months(view, context),
            _remarks(view),
            _waiting(view, context),
            _refused(view),
            _chart(view, context),
            _newest(view),
            _try_a_file(context),
        ],
    )


def _choices(context: Context) -> Component:
    options = [("All sites", context.here(Page.INTAKE, site=None))] + [
        (site.name, context.here(Page.INTAKE, site=site.id))
        for site in context.published.network.sites
    ]
    return html.Div(
        [
            select("Site", options, chosen=context.here(Page.INTAKE)),
            period_links(context, Page.INTAKE) if Page.SITE in context.pages else None,
        ],
        className="choices",
    )


def _months(view: IntakeView, context: Context) -> Component:
    heads = [
        [short_month_name(month), html.Span("closed", className="under")]
        if month in view.closed
        else [short_month_name(month)]
        for month in reversed(view.months)
    ]
    rows = [
        (
            link(row.name, context.to(Page.INTAKE, site=row.site_id)),
            [(_cell(cell), f"{row.name}: {cell.sentence}") for cell in reversed(row.cells)],
        )
        for row in view.rows
    ]
    return section(
        "Sites and months",
        months_table(f"What came in of the months up to {view.month_text}", heads, rows),
        _legend(),
        html.P(file_link("This table as CSV", context.here(Download.INTAKE)), className="links"),
        id=ids.Intake.MONTHS,
    )


def _cell(cell: IntakeCell) -> list[Component]:
    parts = [state_mark(cell.mark, word=cell.state) if cell.mark else _word(cell.state)]
    return [*parts, _word(RESTATED)] if cell.is_restated else parts


def _word(text: str) -> Component:
    return html.Span(text, className="state-word")


def _legend() -> Component:
    said = (
        (IntakeState.IN, "in"),
        (IntakeState.THIN, "thin = far fewer exams than before"),
        (IntakeState.PARTIAL, "partial = ends early"),
        (IntakeState.LATE, "late = no exams, and the day has passed"),
    )
    marks = [state_mark(MARKS[state], word=text) for state, text in said]
    return html.P(
        [
            *marks,
            html.Span("closed = its figures are settled"),
            html.Span("restated = exams came, changed or left after that"),
        ],
        className="legend",
    )


def _remarks(view: IntakeView) -> Component | None:
    if not view.remarks:
        return None
    rows = [(month_name(month), name, sentence) for name, month, sentence in view.remarks]
    return section(
        "What is not plain",
        table("Months that are not plain", ("Month", "Site", "What is known"), rows, long=(2,)),
        id=ids.Intake.REMARKS,
    )


def _waiting(view: IntakeView, context: Context) -> Component:
    if not view.reasons and not view.refused:
        return section(
            "Rows that wait",
            html.P("No row waits and no file is refused. There is nothing to send back."),
            id=ids.Intake.WAITING,
        )
    rows = [
        (
            one.site_name,
            words.whole(one.n_rows),
            one.sentence,
            link(one.code, context.to(Page.METHODS, anchor=one.code), css="quiet"),
        )
        for one in view.reasons
    ]
    return section(
        "Rows that wait",
        table(
            "Rows that wait, by site and reason",
            ("Site", "Rows", "Why", "Check"),
            rows,
            numeric=(1,),
            long=(2,),
        )
        if rows
        else html.P("No row waits; what is refused stands below."),
        html.P(
            "A row counts under each of its reasons. It is kept as it came, enters no figure and "
            "is read again after the site, its profile or network.toml was mended.",
            className="note",
        ),
        *_return_sheet(context),
        id=ids.Intake.WAITING,
    )


def _return_sheet(context: Context) -> list[Component]:
    site = context.selection.site_id
    text = "Return sheet of this site as CSV" if site else "Return sheet of all sites as CSV"
    return [
        html.P(
            [
                "What the site has to mend, line by line: ",
                file_link(text, context.here(Download.RETURN_SHEET)),
                ".",
            ]
        ),
        html.P(
            [
                "The same as a workbook: ",
                html.Code(f"elastoqa quarantine sheet --site {site or 'SITE'} --out mend.xlsx"),
            ]
        ),
        html.P(
            [
                "When it is mended: ",
                html.Code("elastoqa quarantine retry" + (f" --site {site}" if site else "")),
            ],
        ),
    ]


def _refused(view: IntakeView) -> Component | None:
    if not view.refused:
        return None
    rows = [
        (file.name, file.site_id or "–", f"{file.read_at:%Y-%m-%d %H:%M}", file.problem)
        for file in view.refused
    ]
    return section(
        "Refused files",
        table(
            "Files that were refused; all of their rows wait",
            ("File", "Site", "Read (UTC)", "Why"),
            rows,
            long=(3,),
        ),
        id=ids.Intake.REFUSED,
    )


def _chart(view: IntakeView, context: Context) -> Component | None:
    chart = view.chart
    if chart is None or Page.SITE not in context.pages:  # An administrator sees no results.
        return None
    return section(
        chart.measure_title,
        chart_figure(
            chart,
            csv=context.here(Download.CHART, measure=chart.measure_id, operator=None),
            methods=context.to(Page.METHODS, anchor="rules"),
        )
        if chart.points
        else html.P("No rows were read in this period."),
        id=ids.Intake.CHART,
    )


def _newest(view: IntakeView) -> Component:
    if not view.newest:
        return section(
            "Newest files",
            html.P("No file was read yet. Put exports into incoming/ and run 'elastoqa intake'."),
            id=ids.Intake.FILES,
        )
    rows = [
        (
            file.name,
            file.site_name,
            f"{file.read_at:%Y-%m-%d %H:%M}",
            state_mark(PointState.LOOK, word=file.state) if file.state == "refused" else file.state,
            *map(words.whole, (file.n_rows, file.n_accepted, file.n_unchanged, file.n_quarantined)),
            file.profile_id or "–",
        )
        for file in view.newest
    ]
    return section(
        "Newest files",
        table(
            "Files, the newest first",
            (
                *("File", "Site", "Read (UTC)", "State", "Rows"),
                *("Entered", "Known already", "Held back", "Profile"),
            ),
            rows,
            numeric=(4, 5, 6, 7),
        ),
        html.P("Held back: when the file was read; what waits now stands above.", className="note"),
        id=ids.Intake.FILES,
    )


def _try_a_file(context: Context) -> Component | None:
    if not context.can_try:
        return None
    return section(
        "Try a file",
        html.P(
            [
                "See what a site's profile makes of an export before it is read, or have a profile "
                "proposed for one that is new: ",
                html.A(
                    "Try a file",
                    href=context.to(Form.TRY, site=context.selection.site_id),
                ),
                ". Nothing of it is kept.",
            ]
        ),
        id=ids.Intake.TRY,
    )
