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
    "INT-020": "The file is larger than can be read at once.",
    "INT-021": "The file unpacks to far more than its own size.",
    "INT-022": "A line is too long.",
    "INT-023": "There are too many rows, columns, cells or characters.",
    "INT-024": "The file is not of the format that the profile states.",
    "INT-025": "The file is damaged or cut off.",
    "INT-026": "The workbook is of the old kind or locked by a password.",
    "INT-027": "It cannot be told which sheet of the workbook to read.",
    "INT-028": "The XML of the workbook declares entities.",
    "INT-029": "A value is nested or of a type that no cell can hold.",
    "INT-030": "A line or file is no JSON object.",
    "INT-031": "A key stands twice in one JSON object.",
    "INT-032": "A FHIR resource is not as HL7 FHIR R4 asks for.",
    "INT-033": "A FHIR resource refers to one that is not in the file.",
    "INT-034": "The DICOM file is no structured report, or one of its values has a wrong shape.",
    "INT-035": "A code of the DICOM report does not mean what its dictionary says.",
    "INT-036": "A figure of one exam stands twice with different values.",
    "INT-037": "There is no exam in the file.",
    "INT-039": "A number has more digits than a workbook keeps.",
    "INT-040": "The file changed while it was read.",
    "INT-041": "It is a link.",
    "INT-042": "It is a folder, pipe, socket or device.",
    "INT-043": "The program failed on the file: a fault of ours to be reported.",
    "PRF-002": "A site has a profile that is not there.",
    "PRF-003": "The profile contradicts itself.",
}
