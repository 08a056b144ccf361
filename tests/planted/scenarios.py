"""Small scenarios as text, to be changed in one place by a test."""

from demo_sites.shapes import INVENTED_SHAPES

SMALL = """
seed = 7

[network]
id = "small"
name = "Small invented network"
time_zone = "Europe/London"
first_month = "2025-01"
last_month = "2025-06"
exams = 900
sites = 3
operators = 7
devices = 4

[[events]]
kind = "technique_drift"
operator = "op-02"
start = "2025-03"
size = 0.2
"""


def every_shape() -> str:
    """A scenario with one site for each shape, reports beside a table, and every mishap."""
    sites = [
        f"""
[[sites]]
id = "{shape.id}-site"
name = "{shape.id} site"
shape = "{shape.id}"
operators = 2
devices = {'[["TE"], ["TE"]]' if "pSWE" not in shape.techniques else '[["TE"], ["2D-SWE"]]'}
"""
        for shape in INVENTED_SHAPES
    ]
    own = 'id = "tideway-site"'
    reports = f'{own}\nreport_shape = "beacon"\nreport_from = "2025-05"'
    listed = "".join(sites).replace(own, reports)
    head = SMALL.split("[[events]]")[0].replace("exams = 900", "exams = 2400")
    head = head.replace("sites = 3\noperators = 7\ndevices = 4\n", "")
    return head.replace('first_month = "2025-01"', 'first_month = "2025-04"') + listed + COMINGS


COMINGS = """
[[visits]]
operator = "op-01"
site = "orchard-site"
start = "2025-05"
share = 0.3

[[moves]]
device = "dev-08"
to = "orchard-site"
start = "2025-05"

[[mishaps]]
kind = "corrected_export"
site = "harbour-site"
month = "2025-05"
exams = 3

[[mishaps]]
kind = "sent_twice"
site = "meadow-site"
month = "2025-05"

[[mishaps]]
kind = "amended"
site = "estuary-site"
month = "2025-05"
exams = 2

[[mishaps]]
kind = "taken_back"
site = "estuary-site"
month = "2025-04"
exams = 2

[[mishaps]]
kind = "taken_back"
site = "meadow-site"
month = "2025-04"

[[mishaps]]
kind = "unit_missing"
site = "pier-site"
month = "2025-06"
exams = 2

[[mishaps]]
kind = "valid_above_attempted"
site = "pier-site"
month = "2025-06"
exams = 2

[[mishaps]]
kind = "unknown_operator"
site = "pier-site"
month = "2025-06"
exams = 2

[[mishaps]]
kind = "stated_otherwise"
site = "terrace-site"
month = "2025-05"
exams = 2
"""
