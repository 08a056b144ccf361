"""Methods: how is every figure made?"""

from dash import html
from dash.development.base_component import Component

from dashboard.addresses import Page
from dashboard.components.basics import facts, wild
from dashboard.components.shell import screen
from dashboard.components.tables import table
from dashboard.selection import Context
from qa.model.definitions import GRADE_CAUTION
from qa.views import words
from qa.views.methods import Method, methods_view


def layout(context: Context) -> Component:
    view = methods_view(context.published)
    contents = [(key, title) for key, title, _ in view.sections]
    contents += [("outcomes", view.outcomes.title), ("settings", view.settings.title)]
    return screen(
        context,
        Page.METHODS,
        answer=view.answer,
        subline=view.snapshot_text,
        children=[
            html.P(view.caution, className="caution"),
            html.Nav(
                html.Ul([html.Li(html.A(title, href=f"#{key}")) for key, title in contents]),
                className="contents",
                **wild(aria_label="On this page"),
            ),
            *(_section(key, title, methods) for key, title, methods in view.sections),
            *(
                html.Section(
                    [
                        html.H2(shown.title, id=key),
                        table(shown.title, shown.headings, shown.rows, long=(1,)),
                    ]
                )
                for key, shown in (("outcomes", view.outcomes), ("settings", view.settings))
            ),
        ],
    )


def _section(key: str, title: str, methods: tuple[Method, ...]) -> Component:
    return html.Section(
        [
            html.H2(title, id=key),
            html.P(GRADE_CAUTION, className="caution") if key == "grades" else None,
            *(_method(method) for method in methods),
        ],
        className="methods",
        **wild(aria_labelledby=key),
    )


def _method(method: Method) -> Component:
    source = [("Source", words.as_sentence(method.source))] if method.source else []
    sure = [("How sure", method.confidence)] if method.confidence else []
    return html.Article(
        [
            html.H3([html.Span(method.code, className="code"), " ", method.title]),
            html.P(method.sentence) if method.sentence else None,
            facts((*method.facts, *source, *sure), css="facts list"),
        ],
        id=method.anchor,
        className="method" if method.is_in_force else "method not-in-force",
    )
