"""Page one: the month in words, six figures, the chart that matters, changes, and asks."""

from collections.abc import Sequence

from reportlab.platypus import Flowable, HRFlowable

from qa.views import words
from qa.views.pack import SitePack
from qa.views.shown import Figure
from reports import look
from reports.parts import Bookmark, gap, grid, note, part, small, stacked_height, table, text
from reports.sections.charts import chart_with_words

NOTHING_CHANGED = "Nothing changed against the month before."
NOTHING_ASKED = "Nothing is asked this month."
LEAST_CHART, MOST_CHART = 92.0, 160.0


def summary_section(pack: SitePack) -> list[Flowable]:
    """The month on one page; the chart takes the height that the words leave."""
    before: list[Flowable] = [
        Bookmark("summary", "The month in words"),
        text(pack.answer.text, size=look.TITLE, is_strong=True),
        gap(6),
        text(pack.site.subline, is_muted=True),
        gap(12),
        _hairline(),
        gap(8),
        _figures(pack.site.figures),
        gap(10),
        _hairline(),
        gap(8),
    ]
    after = [*part("What changed"), *(text(one) for one in pack.changes or (NOTHING_CHANGED,))]
    after += _asks(pack)
    if not pack.lead_chart:
        return [*before, *after]
    month, room = pack.site.month, look.TOP - look.BOTTOM - 2.0
    words_only = chart_with_words(pack.lead_chart, month=month, height=0.0, is_lead=True)
    height = room - stacked_height([*before, *words_only, *after])
    height = min(max(height, LEAST_CHART), MOST_CHART)
    chart = chart_with_words(pack.lead_chart, month=month, height=height, is_lead=True)
    return [*before, *chart, *after]


def _asks(pack: SitePack) -> list[Flowable]:
    heading = part("What is asked of whom")
    if not pack.asks:
        return [*heading, text(NOTHING_ASKED)]
    rows = [[small(ask.what), small(ask.who), small(ask.why)] for ask in pack.asks]
    what, who = look.WIDTH * 0.53, look.COLUMN + 4
    widths = (what, who, look.WIDTH - what - who)
    return [*heading, table(("What", "Who", "Why"), rows, widths=widths)]


def _hairline() -> HRFlowable:
    return HRFlowable(
        width="100%", thickness=look.HAIRLINE, color=look.RULE, spaceBefore=0, spaceAfter=0
    )


def _figures(figures: Sequence[Figure]) -> Flowable:
    """Six figures side by side, each with its interval, its n and what to hold it against."""
    last = look.COLUMN + 20.0
    others = (look.WIDTH - last) / max(len(figures) - 1, 1)
    widths = [others] * (len(figures) - 1) + [last]
    return grid([_figure(figure) for figure in figures], widths=widths)


def _figure(figure: Figure) -> list[Flowable]:
    lines: list[Flowable] = [
        text(figure.text, size=look.HEAD, is_strong=True),
        small(figure.label),
    ]
    if figure.interval_text:
        lines += [note(figure.interval_text), note(f"n = {words.whole(figure.n)}")]
    if figure.beside:
        lines.append(note(figure.beside))
    return lines
