"""Writes the column tables of README.md from the schemas: python -m tests.write_export_columns"""

import re
from pathlib import Path

from qa.jobs.export import EXPORTS
from qa.model.schemas import Schema

README = Path(__file__).parent.parent / "README.md"
START = (
    "<!-- export columns: made by `python -m tests.write_export_columns`, "
    "checked by tests/test_docs.py -->"
)
END = "<!-- end of export columns -->"


def describe(name: str, schema: Schema) -> str:
    rows = [
        f"| `{column.name}` | {kind_of(column.dtype)} | {column.unit} | "
        f"{'yes' if column.is_nullable else ''} | {column.sentence} |"
        for column in schema.columns
    ]
    head = f"<details><summary><code>export {name}</code>: {schema.grain}</summary>\n\n"
    table = "| column | type | unit | may be empty | meaning |\n|---|---|---|---|---|\n"
    return head + table + "\n".join(rows) + "\n\n</details>\n"


def kind_of(dtype: object) -> str:
    text = str(dtype)
    if text.startswith("Datetime"):
        return "time (UTC)"
    names = {"String": "text", "Int32": "integer", "Int64": "integer", "Float64": "number"}
    names |= {"Boolean": "true/false", "Date": "date", "List(String)": "list of text"}
    names |= {"List(Float64)": "list of numbers"}
    return names[text]


def write_into(text: str) -> str:
    block = "\n".join(describe(name, schema) for name, schema in EXPORTS.items())
    pattern = re.escape(START) + ".*" + re.escape(END)
    return re.sub(pattern, lambda _: f"{START}\n{block}{END}", text, flags=re.DOTALL)


if __name__ == "__main__":
    README.write_text(write_into(README.read_text(encoding="utf-8")), encoding="utf-8")
