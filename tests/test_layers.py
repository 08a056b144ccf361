"""Imports go one way: which folder of ours may import which, and what each must not touch."""

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
STAGES = [
    "qa.intake",
    "qa.assess",
    "qa.counts",
    "qa.case_mix",
    "qa.measures",
    "qa.charts",
    "qa.drift",
]
STAGES += ["qa.signals", "qa.followup"]
OURS = ("qa", "dashboard", "reports", "demo_sites", "tests")

MAY_IMPORT: dict[str, list[str]] = {
    "qa.model": ["qa.model"],
    "qa.stats": ["qa.stats"],
    **{
        stage: ["qa.model", "qa.stats", *STAGES[: number + 1]]
        for number, stage in enumerate(STAGES)
    },
    "qa.views": ["qa.model", "qa.views", *STAGES],
    "qa.readers": ["qa.model", "qa.readers"],
    "qa.stores": ["qa.model", "qa.stores"],
    "qa.jobs": ["qa.model", "qa.stats", "qa.readers", "qa.stores", "qa.views", "qa.jobs", *STAGES],
    "qa.cli": ["qa.model", "qa.jobs", "qa.cli", "reports.pack", "dashboard.app", "demo_sites.make"],
    "qa.__main__": ["qa.cli"],
    "reports": ["qa.model", "qa.views", "reports"],
    "dashboard": [
        "qa.model",
        "qa.views",
        "qa.stores.snapshots",
        "qa.jobs.followup",
        "qa.jobs.users",
        "dashboard",
    ],
    "demo_sites": ["qa.model", "demo_sites"],
    "tests": [*OURS],
}

OUTSIDE_WORLD = ["duckdb", "os", "pathlib", "io", "random", "secrets", "socket", "subprocess"]
OUTSIDE_WORLD += ["sqlite3", "time", "urllib", "tempfile", "shutil"]
MUST_NOT_TOUCH: dict[str, list[str]] = {
    "qa.model": OUTSIDE_WORLD,
    "qa.stats": [*OUTSIDE_WORLD, "polars"],
    **dict.fromkeys(STAGES, OUTSIDE_WORLD),
    "qa.views": OUTSIDE_WORLD,
    "dashboard": ["duckdb", "scipy", "statsmodels"],
    "reports": ["duckdb", "scipy", "sqlite3"],
}


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def source_files() -> list[Path]:
    return sorted(path for folder in OURS for path in (ROOT / folder).rglob("*.py"))


@cache
def is_module(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.is_dir() or path.with_suffix(".py").exists()


@cache
def nodes_of(path: Path) -> list[ast.Import | ast.ImportFrom | ast.Call]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        one for one in ast.walk(tree) if isinstance(one, ast.Import | ast.ImportFrom | ast.Call)
    ]


@cache
def imports_of(path: Path) -> list[tuple[int, str]]:
    found = []
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write imports in full"
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                found.append((node.lineno, full if is_module(full) else node.module or ""))
    return found


def is_inside(name: str, folder: str) -> bool:
    return name == folder or name.startswith(folder + ".")


def folder_of(name: str, rules: dict[str, list[str]]) -> str | None:
    fitting = [folder for folder in rules if is_inside(name, folder)]
    return max(fitting, key=len) if fitting else None


@pytest.mark.parametrize("path", source_files(), ids=module_name)
def test_module_imports_only_what_its_folder_may(path: Path) -> None:
    name = module_name(path)
    folder = folder_of(name, MAY_IMPORT)
    if folder is None:
        assert name in ("qa",), f"{name} lies in no folder of the layout"
        return
    for line, imported in imports_of(path):
        if imported.split(".")[0] in OURS:
            allowed = any(is_inside(imported, one) for one in MAY_IMPORT[folder])
            assert allowed, f"{name}:{line} imports {imported}; {folder} may not"


@pytest.mark.parametrize("path", source_files(), ids=module_name)
def test_module_does_not_touch_the_outside_world(path: Path) -> None:
    name = module_name(path)
    folder = folder_of(name, MUST_NOT_TOUCH)
    for line, imported in imports_of(path):
        for forbidden in MUST_NOT_TOUCH.get(folder or "", []):
            assert not is_inside(imported, forbidden), f"{name}:{line} touches {imported}"


def test_pure_code_reads_no_clock() -> None:
    clocks = {"now", "today", "utcnow"}
    for path in source_files():
        folder = folder_of(module_name(path), MUST_NOT_TOUCH)
        if folder in (None, "dashboard", "reports"):
            continue
        for node in nodes_of(path):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                assert node.func.attr not in clocks, f"{path}:{node.lineno} reads the clock"


def test_the_rules_notice_a_forbidden_import(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("from qa.stores import settings\nimport duckdb\n", encoding="utf-8")
    found = [imported for _, imported in imports_of(bad)]
    assert found == ["qa.stores.settings", "duckdb"]
    assert not any(is_inside(found[0], one) for one in MAY_IMPORT["qa.model"])
    assert is_inside(found[1], "duckdb")
