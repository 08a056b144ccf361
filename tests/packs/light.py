"""A pack of one page that is drawn in no time, for what happens around packs."""

import hashlib
import io
import os
import signal

from reportlab.pdfgen.canvas import Canvas

from qa.model.pack_request import PackRequest
from qa.model.published import Published
from qa.model.reissue import Replaced
from qa.model.sealed import seal
from qa.views.pack import RenderedPack
from qa.views.pack_facts import PackFacts
from reports import look


def draw_light(
    published: Published,
    request: PackRequest,
    *,
    number: int,
    facts: PackFacts | None = None,
    replaced: Replaced | None = None,
) -> RenderedPack:
    """One figure: all events of failed exams (MSR-003) of the site that the snapshot has."""
    points = published.frame("chart_points", unit_id=request.unit_id, measure_id="MSR-003")
    n_events = int(points["n_events"].sum())
    words = f"{n_events} failed exams; issue {number}; {replaced.reason if replaced else 'first'}"
    target = io.BytesIO()
    assert look.rl_config.useA85 == 0
    canvas = Canvas(target, invariant=1, pageCompression=1)
    canvas.drawString(72, 700, words)
    canvas.save()
    pdf = target.getvalue()
    figure = {"name": "failed", "label": "failed exams", "text": str(n_events), "n": None}
    content = {
        "format_version": 2,
        "network_id": published.network.id,
        "snapshot_id": published.snapshot_id,
        "site_id": request.unit_id,
        "month": f"{request.month:%Y-%m}",
        "number": number,
        "source_files": [],
        "figures": [figure],
        "pdf_sha256": hashlib.sha256(pdf).hexdigest(),
    }
    return RenderedPack(pdf, seal(content), ())


def draw_but_die_at_s2(
    published: Published,
    request: PackRequest,
    *,
    number: int,
    facts: PackFacts | None = None,
    replaced: Replaced | None = None,
) -> RenderedPack:
    """The system ends the process that draws S2, as it does when memory runs out."""
    if request.unit_id == "S2":
        os.kill(os.getpid(), signal.SIGKILL)
    return draw_light(published, request, number=number, facts=facts, replaced=replaced)


def draw_but_fail(
    published: Published,
    request: PackRequest,
    *,
    number: int,
    facts: PackFacts | None = None,
    replaced: Replaced | None = None,
) -> RenderedPack:
    """A fault of ours at one site; its message holds what nobody may read."""
    if request.unit_id in ("S2", "lantern"):
        raise ValueError("patient 4711")
    return draw_light(published, request, number=number, facts=facts, replaced=replaced)
