"""python -m tests.benchmarks NAME [OPTIONS]: run one benchmark, then one JSON line per figure."""

import importlib
import json
import pkgutil
import sys

import tests.benchmarks


def names() -> list[str]:
    found = [one.name for one in pkgutil.iter_modules(tests.benchmarks.__path__)]
    return [name.replace("_", "-") for name in found if not name.startswith("_")]


def main(arguments: list[str]) -> int:
    if not arguments or arguments[0] not in names():
        print(f"usage: python -m tests.benchmarks {{{','.join(names())}}}", file=sys.stderr)
        return 2
    module = importlib.import_module(f"tests.benchmarks.{arguments[0].replace('-', '_')}")
    options = arguments[1:]
    figures = module.run(options) if options else module.run()
    for figure in figures:
        line = {
            "name": figure.name,
            "value": round(figure.value, 4),
            "goal": figure.goal,
            "met": figure.is_met,
            "baseline": figure.baseline,
        }
        print(json.dumps(line))
    return 0 if all(figure.is_met for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
