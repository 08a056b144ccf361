"""Entry point of the command `elastoqa`."""

import os
import sys

from qa.cli import main


def run() -> None:
    sys.exit(main(sys.argv[1:], os.environ))


if __name__ == "__main__":
    run()
