"""What packs cost: one, two hundred in two processes, and memory from 12 to 1,000 sites.

python -m tests.benchmarks packs [FOLDER of a demo network]; without one a demo is made first.

Baseline: plain reportlab drew a six-page pack with eight charts in 0.24 s of CPU, 98 kB; from it
the goals of 0.3 s and 150 kB. Packs have more pages, so time is stated for six of them. CPU is user
and system time; the wall of two processes says little on a busy machine, so CPU is stated too.
"""

import io
import json
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import duckdb
import pypdf

from qa.jobs.pack_work import Made, PackJob, make_in_processes, open_maker
from qa.model.pack_request import PackKind, PackRequest
from qa.stores.snapshots import current_snapshot_id, open_current
from qa.views.scope import published_months
from reports.pack import render_pack
from tests.benchmarks import BenchmarkFigure
from tests.benchmarks._measured import _peak_mb

MANY, PROCESSES, WIDE = 200, 2, 1_000
OWN = ("site_id", "unit_id", "operator_id", "device_id", "exam_key", "patient_key")
"""Columns that tell copies of a site apart."""


def run(options: Sequence[str] = ()) -> list[BenchmarkFigure]:
    with tempfile.TemporaryDirectory() as there:
        folder = Path(options[0]) if options else _made_demo(Path(there))
        one_s, pages, kb = _one_pack(folder)
        wall, cpu = _many_packs(folder, Path(there) / "many", one_s)
        narrow = _memory_mb(folder)
        wide = _memory_mb(_widened(folder, Path(there) / "wide"))
    base = "plain reportlab, 6 pages and 8 charts: 0.24 CPU s, 98 kB"
    share = f"{one_s:.3f} CPU s for one pack × {MANY} ÷ {PROCESSES}"
    return [
        BenchmarkFigure("six_pages_cpu_s", one_s * 6 / pages, 0.3, f"{base}; {pages:.0f} pages"),
        BenchmarkFigure("largest_pack_kb", kb, 150, base),
        BenchmarkFigure("many_wall_ratio", wall, 1.2, share),
        BenchmarkFigure("many_cpu_ratio", cpu, 1.2, share),
        BenchmarkFigure("memory_ratio_wide", wide / narrow, 1.25, f"12 sites: {narrow:.0f} MB"),
    ]


def _made_demo(there: Path) -> Path:
    what = [sys.executable, "-m", "qa", "demo", str(there / "demo"), "--no-serve"]
    subprocess.run(what, check=True, capture_output=True)
    return there / "demo"


def _requests(folder: Path, n: int) -> list[PackRequest]:
    """Packs of the newest months, all sites of each."""
    snapshot = open_current(folder)
    try:
        months = published_months(snapshot)[::-1]
        sites = [one.id for one in snapshot.network.sites]
    finally:
        snapshot.close()
    wanted = [(month, site) for month in months for site in sites]
    return [PackRequest(PackKind.SITE, site, month) for month, site in wanted[:n]]


def _job(folder: Path) -> PackJob:
    snapshot_id = current_snapshot_id(folder / "snapshots")
    assert snapshot_id is not None
    return PackJob(folder, snapshot_id, render_pack, {})


def _one_pack(folder: Path) -> tuple[float, float, float]:
    """Median CPU seconds and pages, and the largest kB, of packs drawn after the first."""
    seconds, pages, sizes = [], [], []
    with open_maker(_job(folder)) as maker:
        for request in _requests(folder, 13):
            start = time.process_time()
            assert maker.reader is not None
            pack = maker.draw(request, 1, maker.reader.read(request))
            seconds.append(time.process_time() - start)
            pages.append(pack.pdf.count(b"/Type /Page\n") or _n_pages(pack.pdf))
            sizes.append(len(pack.pdf) / 1000)
    return statistics.median(seconds[1:]), statistics.median(pages[1:]), max(sizes)


def _n_pages(pdf: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(pdf)).pages)


def _many_packs(folder: Path, copy: Path, one_s: float) -> tuple[float, float]:
    """Wall, and CPU of each process, of 200 packs over 1 pack's CPU × 200 ÷ 2."""
    _copy(folder, copy)
    chosen = _requests(copy, MANY)
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    made = [one for _, one in make_in_processes(_job(copy), chosen, PROCESSES)]
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    assert all(isinstance(one, Made) for one in made), made
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    ideal = one_s * len(chosen) / PROCESSES
    return wall / ideal, cpu / PROCESSES / ideal


def _copy(folder: Path, copy: Path) -> None:
    """The network without what it issued."""
    copy.mkdir()
    for name in ("network.toml", "followup.sqlite"):
        shutil.copy(folder / name, copy / name)
    shutil.copytree(folder / "snapshots", copy / "snapshots")


def _memory_mb(folder: Path) -> float:
    """Peak memory of a fresh process that makes the packs of twelve sites."""
    what = [sys.executable, "-m", "tests.benchmarks.packs", str(folder)]
    done = subprocess.run(what, check=True, capture_output=True, text=True)
    return float(json.loads(done.stdout)["peak_mb"])


def _widened(folder: Path, copy: Path) -> Path:
    """The same network with copies of its sites, 1,000 in all; exams of the newest months only."""
    _copy(folder, copy)
    times = WIDE // len({one.unit_id for one in _requests(folder, 10_000)})
    text = (copy / "network.toml").read_text(encoding="utf-8")
    (copy / "network.toml").write_text(_wide_text(text, times), encoding="utf-8")
    snapshot_id = current_snapshot_id(copy / "snapshots")
    with duckdb.connect(str(copy / "snapshots" / f"{snapshot_id}.duckdb")) as con:
        month = con.execute("select max(month) from exams").fetchall()[0][0]
        tables = con.execute("select table_name from duckdb_tables()").fetchall()
        for (table,) in tables:
            _widen_table(con, table, times, since=date(month.year, month.month, 1))
        wide = (copy / "network.toml").read_text(encoding="utf-8")
        con.execute("update meta set value = ? where key = 'network_text'", [wide])
    return copy


def _widen_table(con: duckdb.DuckDBPyConnection, table: str, times: int, *, since: date) -> None:
    query = "select column_name from duckdb_columns() where table_name = ? order by column_index"
    columns = [name for (name,) in con.execute(query, [table]).fetchall()]
    if not {"site_id", "unit_id"} & {*columns}:
        return
    picked = ", ".join(
        f"case when {one} = 'network' then {one} else {one} || '~' || k end" if one in OWN else one
        for one in columns
    )
    kept = f"month >= '{since}'" if table == "exams" else "true"
    if "unit_id" in columns:
        kept += " and unit_id <> 'network'"
    con.execute(
        f"insert into {table} select {picked} from {table}, "
        f"(select range as k from range(1, {times + 1})) where {kept}"
    )


def _wide_text(text: str, times: int) -> str:
    blocks = text.split("\n[[")
    own = [one for one in blocks if one.startswith(("sites]]", "operators]]", "devices]]"))]
    copies = [
        re.sub(r'^(id|site) = "([^"]+)"', rf'\1 = "\2~{k}"', one, flags=re.MULTILINE)
        for k in range(1, times + 1)
        for one in own
    ]
    return "\n[[".join([*blocks, *copies])


def tell_memory(folder: Path) -> None:
    with open_maker(_job(folder)) as maker:
        for request in _requests(folder, 12):
            assert maker.reader is not None
            maker.draw(request, 1, maker.reader.read(request))
    print(json.dumps({"peak_mb": _peak_mb()}))


if __name__ == "__main__":
    tell_memory(Path(sys.argv[1]))
