"""What can be wrong with a file as a whole: stable codes and a sentence for the site.

A file with one of these is refused whole; the other files go on. What can be wrong with a single
row stands in qa/intake/checks.py.
"""

ROW_NO = "#row_no"
"""Name of the column in which a reader counts rows; the first row under the headings is 1."""

FILE_PROBLEMS: dict[str, str] = {
    "INT-001": "The file is empty.",
    "INT-002": "There are no rows under the headings.",
    "INT-003": "The file is no text file.",
    "INT-004": "The text is not in the encoding that the profile states.",
    "INT-005": "A row has more or fewer fields than there are headings.",
    "INT-006": "Two columns have the same heading.",
    "INT-007": "The text holds NUL characters.",
    "INT-008": "The fields are not separated as the profile states.",
    "INT-009": "Quotation marks do not pair.",
    "INT-010": "The site is not in network.toml.",
    "INT-011": "It cannot be told which site sent the file.",
    "INT-012": "The file cannot be opened.",
    "INT-013": "A column that the profile maps is missing.",
    "INT-014": "The profile does not know a column.",
    "INT-015": "The row of headings holds none of the profile's headings.",
    "INT-016": "The same file came from another site before.",
    "PRF-002": "A site has a profile that is not there.",
    "PRF-003": "The profile contradicts itself.",
}
