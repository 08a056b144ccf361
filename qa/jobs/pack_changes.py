"""What is different between two issues of one pack, in words, and whether it is worth an issue."""

from collections.abc import Mapping
from typing import Any

from qa.model.sealed import SEAL

OF_THE_MAKING = frozenset(
    {
        *("format", "format_version", "number", "pdf_sha256", "pdf_bytes", SEAL, "replaces"),
        *("snapshot_id", "snapshot_published_at", "snapshot_software_version"),
        *("software_version", "record_known_at", "trail_head", "signature"),
    }
)
"""Keys that say how and when a pack was made, not what it says."""
OF_OTHERS = (".network.", ".funnel")
"""Parts of names of figures that compare with other sites: a late file of one is no news here."""
_RULES = {"criteria": "criteria sets", "grade_tables": "grade tables", "documents": "documents"}


def says_the_same(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Nothing of its own that a pack states is different, so that a new issue would be no news.

    What an older format of manifests did not state yet is no difference.
    """
    before, now = _own(old), _own(new)
    return all(before[key] == now[key] for key in before.keys() & now.keys())


def _own(manifest: Mapping[str, Any]) -> dict[str, Any]:
    kept = {key: value for key, value in manifest.items() if key not in OF_THE_MAKING}
    kept["figures"] = [
        one
        for one in manifest.get("figures", [])
        if not any(part in str(one.get("name")) for part in OF_OTHERS)
    ]
    return kept


def changes_between(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    """Sentences: source files, rules, then figures in the order of the new issue."""
    found = _files(old, new)
    for key, title in _RULES.items():
        if key in old and old.get(key) != new.get(key):
            before, now = _ids(old.get(key)), _ids(new.get(key))
            found.append(f"{title.capitalize()}: {before} before, {now} now")
    stated = {str(one.get("name")): one for one in old.get("figures", [])}
    fresh = {str(one["name"]): one for one in new["figures"]}
    for name, one in fresh.items():
        if name not in stated:
            found.append(f"{one['label'].capitalize()}: new, {_words(one)}")
        elif _words(stated[name]) != _words(one):
            before = _words(stated[name])
            found.append(f"{one['label'].capitalize()}: {before} before, {_words(one)} now")
    found += [
        f"{str(stated[name].get('label')).capitalize()}: {_words(stated[name])} before, gone now"
        for name in stated
        if name not in fresh
    ]
    return list(dict.fromkeys(found))


def reason_of(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """Why, where no person gave a reason: the first cause that the manifests show."""
    if old.get("source_files") != new.get("source_files"):
        return "exports of the site arrived, were corrected or withdrawn since"
    if any(key in old and old.get(key) != new.get(key) for key in _RULES):
        return "other rules are in force for the month"
    if old.get("software_version") != new.get("software_version"):
        return f"made by version {new.get('software_version')} of the program"
    if old.get("snapshot_id") != new.get("snapshot_id"):
        return "figures of the month changed since"
    return "what people recorded changed since"


def _files(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    before = {(one["name"], one["sha256"]): one["state"] for one in old.get("source_files", [])}
    now = {(one["name"], one["sha256"]): one["state"] for one in new.get("source_files", [])}
    found = [
        f"Export {name} (SHA-256 {sha[:12]}…): new" for name, sha in now.keys() - before.keys()
    ]
    found += [
        f"Export {name} (SHA-256 {sha[:12]}…): gone" for name, sha in before.keys() - now.keys()
    ]
    found += [
        f"Export {key[0]}: {before[key]} before, {now[key]} now"
        for key in now.keys() & before.keys()
        if now[key] != before[key]
    ]
    return sorted(found)


def _file(key: tuple[str, str]) -> str:
    return f"{key[0]} (SHA-256 {key[1][:12]}…)"


def _ids(rules: Any) -> str:
    return ", ".join(f"{one.get('id')} ({one.get('fingerprint')})" for one in rules or []) or "none"


def _words(figure: Mapping[str, Any]) -> str:
    n = "" if figure.get("n") is None else f", n = {figure['n']}"
    return f"{str(figure.get('text')).rstrip('.')}{n}"
