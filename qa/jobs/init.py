"""Start a network folder with a commented network.toml and one example profile."""

from pathlib import Path

from qa.model.errors import NetworkFolderError
from qa.stores.key import create_key
from qa.stores.settings import NetworkFolder

NETWORK_TEMPLATE = """\
# The network: who measures where, and by which rules exams are judged.
id = "our-network"
name = "Our network"
is_invented = false          # true marks every screen and pack as invented demo data

[settings]
repeat_window_days = 90      # a repeat: the same patient again within so many days
restart_window_minutes = 30  # started again on the same device so soon: one exam
confirmation_window_days = 180  # a second exam after a reliable one within so many days confirms it
follow_up_after_days = 180   # a later exam than this is a follow-up
deferred_after_days = 7      # examined so many days after being found ineligible: deferred
expected_day = 10            # day of the month by which last month's files are expected
baseline_months = 12         # months that set a chart's centre line and limits
baseline_min_exams = 100     # fewer than this in those months: the network's baseline is used
funnel_months = 12           # period over which sites and operators are compared
min_exams_shown = 5          # smaller cells are not shown outside a site
false_items_per_month = 1.0  # new items a month that chance alone may put on the list
criteria_need_approval = false  # true: a criteria set judges only when two people agreed on it
port = 8050                  # where 'elastoqa serve' listens, on this machine only
# followup_url = "postgresql://USER@HOST/DATABASE"  # where several machines write decisions

# Years that the content of records is kept, by class; a class that is not named is kept for ever.
# [retention_years]
# log-in = 2

# Limits of phantom checks (proposals, no published basis known).
# [phantom_checks]
# warn_share = 0.05            # warning: so far from the baseline's mean, as a share of it
# act_share = 0.10             # action
# baseline_sessions = 10       # first sessions after a sign-off that make the baseline
# every_days = 35              # a check later than this is overdue

# How people log in to the screens.
# [log_in]
# idle_minutes = 30            # logged out after so long without doing anything
# absolute_hours = 12          # and at the latest after so long
# public_url = "https://qa.example.org"    # where people reach the screens, behind a proxy
# issuer = "https://log-in.example.org"    # the hospital's OpenID Connect provider
# client_id = "elastography-qa"            # its secret: ELASTOQA_OIDC_SECRET, or
# secret_file = "oidc_secret"              # a file readable by its owner only

# How the screens are served behind a proxy with TLS.
# [server]
# path_prefix = "/qa/"           # where they are mounted
# behind_proxy = true            # X-Forwarded-For, -Proto and -Host of the one proxy are believed

# One block for each site. Exports go to incoming/<id>/. The time zone is an IANA name.
[[sites]]
id = "first-site"
name = "First site"
time_zone = "Europe/London"
profile = "example"          # profiles/example.toml says how this site's columns map
# expected_day = 5           # where this site's day is another than the network's
lead = ""                    # role or initials, shown on the site's pack
# Days without exams that were planned, so that their month is not called partial, thin or late:
# [[sites.closed]]
# from = 2026-12-24
# to = 2027-01-01            # both days included
# reason = "holidays"

# Operators are codes. `code` is what stands in the site's exports.
[[operators]]
id = "op-01"
site = "first-site"
code = "A"
# Who leaves, returns, takes over a code or works at two sites is said by date (both days included):
# [[operators.assignments]]
# site = "first-site"
# from = 2024-01-01
# to = 2025-06-30            # left out: until further notice

# A device that moves has [[devices.assignments]] of the same kind.
[[devices]]
id = "dev-01"
site = "first-site"
code = "1"
techniques = ["TE"]
# Lowest and highest value that it shows, so that values there (and ">75") are marked as censored:
# stiffness_limits_kpa = [1.5, 75.0]
# attenuation_limits_db_m = [100.0, 400.0]

# The set in force on an exam's date judges it. A new set is a new block with a later day.
[[criteria]]
id = "common-practice.v1"
from = 2020-01-01

# Bands are histogram bins for comparing sites, never a diagnosis.
[[grade_tables]]
id = "lsm_baveno7.v1"
from = 2020-01-01
quantity = "stiffness"
techniques = ["TE"]
"""

PROFILE_TEMPLATE = """\
# How one site's export maps to the columns of the network: an allow-list.
# A column that is neither mapped nor listed under `ignore` stops the file, so nothing slips in.
id = "example"
version = 1
title = "Example: one row per exam"
ignore = ["Name", "Birth date", "Remarks"]

[file]
format = "csv"
delimiter = ","
encoding = "utf-8"
decimal = "."
header_row = 1
missing = ["", "NA"]

[columns.exam_id]            # replaced by a keyed hash while reading
headings = ["Exam"]
[columns.patient_id]         # replaced by a keyed hash while reading
headings = ["Patient"]
[columns.exam_at]
headings = ["Date"]
date_format = "%Y-%m-%d %H:%M"
[columns.operator]
headings = ["Operator"]
[columns.device]
headings = ["Device"]
[columns.technique]
constant = "TE"
[columns.probe]
headings = ["Probe"]
codes = { S = "standard", L = "large-patient", P = "paediatric" }
[columns.n_valid]
headings = ["Valid"]
[columns.n_attempted]
headings = ["Attempted"]
is_optional = true
[columns.stiffness]
headings = ["Stiffness"]
unit = "kPa"
[columns.stiffness_iqr]
headings = ["Stiffness IQR"]
unit = "kPa"
[columns.attenuation]
headings = ["Attenuation"]
unit = "dB/m"
[columns.attenuation_iqr]
headings = ["Attenuation IQR"]
unit = "dB/m"
[columns.fasting_hours]
headings = ["Fasting hours"]
is_optional = true
"""


def run_init(folder: Path) -> list[Path]:
    """Write a new network folder; returns what was made.

    Raises: NetworkFolderError when the folder already holds a network.
    """
    root = NetworkFolder(folder)
    if root.network_file.exists():
        raise NetworkFolderError(
            "already holds a network.toml",
            where=str(folder),
            todo="Choose another folder; nothing was changed",
            code="NET-005",
        )
    for place in (root.profiles, root.incoming / "first-site", root.snapshots, root.packs):
        place.mkdir(parents=True, exist_ok=True)
    root.network_file.write_text(NETWORK_TEMPLATE, encoding="utf-8")
    profile = root.profiles / "example.toml"
    profile.write_text(PROFILE_TEMPLATE, encoding="utf-8")
    create_key(folder)
    return [root.network_file, profile, root.incoming / "first-site"]
